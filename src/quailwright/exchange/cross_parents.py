"""Who is crossed, from what a keeper types: a ring, a look, or genes."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from fractions import Fraction
from typing import Final

from quailwright.flock.plumage import (
    Recorded,
    recorded,
    shown_by,
)
from quailwright.flock.state import Flock, RingedBird
from quailwright.husbandry.plumage.genotypes import (
    NotAGenotype,
    is_like_genotype,
    read,
)
from quailwright.husbandry.plumage.guesses import Sex, Told
from quailwright.husbandry.plumage.table import (
    Look,
    Shown,
    looks,
    looks_meant,
    plain,
)
from quailwright.journal.findings import BadInput
from quailwright.language import figure, mark, say, with_point

FIELDS: Final = ("cock", "hen", "carriers", "recombination")
"""Of the form, as the page and the API have them."""
MOST_LETTERS: Final = 200
"""As long as a genotype of the journal may be."""
FIGURES: Final = ("plumage.carriers", "plumage.recombination_al_br", "plumage.poor_fit")


@dataclass(frozen=True, slots=True)
class Ask:
    """What is asked: a cock and a hen as typed, and the two settings, None for the table's."""

    cock: str
    hen: str
    carriers: Fraction | None = None
    recombination: Fraction | None = None


@dataclass(frozen=True, slots=True)
class Parent:
    """A parent as asked for: its ring where it has one, what is told of it, and notes said."""

    name: str
    ring: str | None
    told: Told
    words: str
    notes: tuple[str, ...] = ()

    @property
    def heading(self) -> str:
        """Its name, and what it is where the name does not say."""
        if plain(self.name) == plain(self.words):
            return self.words
        return say("{bird} ({look})", bird=self.name, look=self.words)


def asked(typed: Mapping[str, str]) -> Ask:
    """What is asked, from fields as typed. Raises BadInput."""
    cock, hen = (typed.get(name, "").strip() for name in ("cock", "hen"))
    for text in (cock, hen):
        if len(text) > MOST_LETTERS:
            raise BadInput(
                say("{text!r}: so long is no ring, no colour and no genes.", text=text[:40] + "...")
            )
    for text, sentence in (
        (cock, mark("Name a cock: its ring, its colour such as brown, or its genes such as B/+.")),
        (hen, mark("Name a hen: her ring, her colour such as wild, or her genes such as B/+.")),
    ):
        if not text:
            raise BadInput(say(sentence))
    return Ask(
        cock,
        hen,
        _share(
            typed.get("carriers", ""), 1, mark("Carriers are a share, such as 0.1, not {told!r}.")
        ),
        _share(
            typed.get("recombination", ""), Fraction(1, 2),
            mark("Recombination is a share from 0 to 0.5, such as 0.4, not {told!r}."),
        ),
    )  # fmt: skip


def _share(text: str, most: Fraction | int, sentence: str) -> Fraction | None:
    told = text.strip()
    if not told:
        return None
    try:
        value = Fraction(with_point(told.removesuffix("%").strip()))
    except (ValueError, ZeroDivisionError):
        raise BadInput(say(sentence, told=text)) from None
    if told.endswith("%"):
        value /= 100
    if not 0 <= value <= most or (most == 1 and value in (0, 1)):
        raise BadInput(say(sentence, told=text))
    return value.limit_denominator(10_000)


def parent(flock: Flock, text: str, sex: Sex) -> Parent:
    """A parent from what was typed: a ring, a genotype, or a look. Raises BadInput."""
    bird = flock.birds.get(text)
    if bird is None:
        folded = [one for name, one in flock.birds.items() if plain(name) == plain(text)]
        bird = folded[0] if len(folded) == 1 and not _is_ours(text) else None
    if bird is not None:
        return _ringed(bird, sex)
    if is_like_genotype(text):
        try:
            told = Told(read(text, sex))
        except NotAGenotype as error:
            raise BadInput(error.sentence) from None
        return Parent(text, None, told, str(told.genotype))
    look = shown_by(text)
    if not look:
        raise BadInput(_not_understood(flock, text))
    notes = []
    alike = [one for one in looks_meant(text) if (one.code,) != look]
    if alike:
        notes.append(
            say(
                "{look} is taken as that of locus {locus}. Other genes make birds that are called "
                "so: {alike}; write that where it is meant.",
                look=say(looks()[look[0]].name),
                locus=looks()[look[0]].locus,
                alike=", ".join(say(one.name) for one in alike),
            )
        )
    return Parent(text, None, Told(None, look), look_words(look), tuple(notes))


def _is_ours(text: str) -> bool:
    return bool(shown_by(text)) or bool(looks_meant(text))


def _ringed(bird: RingedBird, sex: Sex) -> Parent:
    if bird.sex not in (sex, "unknown"):
        raise BadInput(
            say("{bird} is a hen. Name a cock first, then a hen.", bird=bird.name)
            if sex == "cock"
            else say("{bird} is a cock. Name a cock first, then a hen.", bird=bird.name)
        )
    found = recorded(bird, sex)
    notes = []
    if found.fault:
        notes.append(say("{bird}: {fault}", bird=bird.name, fault=found.fault))
    if bird.left is not None:
        notes.append(say("{bird} is gone from the flock.", bird=bird.name))
    if not found.known:
        raise BadInput(unknown_words(bird, found))
    if found.told.genotype is not None and bird.plumage and not found.told.look:
        notes.append(
            say(
                "{bird} is called {word}, your own name for it; it is reckoned by its genes.",
                bird=bird.name,
                word=bird.plumage,
            )
        )
    parts = [look_words(found.told.look)] if found.told.look else []
    if found.told.genotype is not None:
        parts.append(str(found.told.genotype))
    return Parent(bird.name, bird.name, found.told, ", ".join(parts), tuple(notes))


def unknown_words(bird: RingedBird, found: Recorded) -> str:
    """Why a ringed bird cannot be reckoned with, and how to mend it."""
    if found.fault:
        return say("{bird}: {fault}", bird=bird.name, fault=found.fault)
    if not bird.plumage:
        return say(
            "Nothing tells the colour of {bird}: log it again with plumage or genotype, or name "
            "its look here.",
            bird=bird.name,
        )
    if found.may_be:
        return say(
            "{bird} is {word}, which may be {looks}. Log it again with the one that is meant, or "
            "with its genotype.",
            bird=bird.name,
            word=bird.plumage,
            looks=either(looks()[code] for code in found.may_be),
        )
    return say(
        "{bird} is {word}, your own name for it: no published description says which genes make "
        "it, so it cannot be predicted. Log it again with its genotype where you know it.",
        bird=bird.name,
        word=bird.plumage,
    )


def _not_understood(flock: Flock, text: str) -> str:
    meant = looks_meant(text)
    if meant:
        return say(
            "{word} may be {looks}, which are different genes. Write which.",
            word=text,
            looks=either(meant),
        )
    names = {say(look.name): None for look in looks().values() if look.alone}
    near = get_close_matches(text, [*flock.birds, *names], n=3)
    if near:
        return say(
            "{word!r} is no ring and no colour with a published description. Did you mean {near}?",
            word=text,
            near=", ".join(near),
        )
    return say(
        "{word!r} is no ring, and no published description of such a colour was read: it cannot "
        "be predicted. Colours that can: {looks}.",
        word=text,
        looks=", ".join(names),
    )


def either(many: Iterable[Look]) -> str:
    *first, last = (say(one.name) for one in many)
    return say("{names} or {last}", names=", ".join(first), last=last) if first else last


def look_words(seen: Shown) -> str:
    """A look in words; several that no source describes together are joined by `+`."""
    return " + ".join(say(looks()[code].name) for code in seen)


def either_look(many: Sequence[Shown]) -> str:
    *first, last = map(look_words, many)
    return say("{names} or {last}", names=", ".join(first), last=last) if first else last


def share_words(share: Fraction) -> str:
    """A share as a keeper reads it: in percent; small ones as under 1 %."""
    if 0 < share < Fraction(1, 100):
        return say("under 1%")
    if Fraction(99, 100) < share < 1:
        return say("over 99%")
    return figure(float(share), ".0%")

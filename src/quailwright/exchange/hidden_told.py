"""What parents hide, learnt from counts of their chicks, as the page and the terminal tell it."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import Final, Literal

from quailwright.exchange.colours_told import dispute_words
from quailwright.exchange.cross_parents import (
    Ask,
    Parent,
    either,
    either_look,
    parent,
    share_words,
)
from quailwright.flock.plumage import (
    shown_by,
)
from quailwright.flock.state import Flock
from quailwright.husbandry import facts
from quailwright.husbandry.plumage.genotypes import (
    NotAGenotype,
)
from quailwright.husbandry.plumage.guesses import Sex, Told, carriers, loci_of
from quailwright.husbandry.plumage.hidden import Belief, Count, Hidden, hidden
from quailwright.husbandry.plumage.table import (
    NONE_HERE,
    Shown,
    loci,
    looks,
    looks_meant,
    plain,
    predicted,
)
from quailwright.journal.findings import BadInput
from quailwright.language import LANGUAGES, figure, mark, say, say_many, speaking


@dataclass(frozen=True, slots=True)
class BeliefRow:
    """What a parent may be at a locus, with its chance, in words."""

    belief: Belief
    who: str
    genotype: str
    chance: str
    between: str


@dataclass(frozen=True, slots=True)
class HiddenTold:
    """What counts of chicks tell of their parents, said."""

    cock: Parent
    hen: Parent
    counts: tuple[Count, ...]
    found: Hidden
    answer: list[str]
    rows: list[BeliefRow]
    expected: list[tuple[str, int, str]]
    warnings: list[str]
    more: list[str]
    notes: list[str] = field(default_factory=list)


MOST_CHICKS: Final = 10_000


def counts_of(texts: Iterable[str]) -> list[tuple[str, str, int]]:
    """Counts as typed, as ``brown hens=9``: look, sex or "", chicks. Raises BadInput."""
    found = []
    for text in texts:
        sign = max(text.rfind("="), text.rfind(":"))
        what, number = text[: max(sign, 0)].strip(), text[sign + 1 :].strip()
        if not what or not number:
            raise BadInput(
                say("{text!r} is no count: write a look and a number, as in silver=5.", text=text)
            )
        if not (number.isascii() and number.isdigit()) or int(number[:9]) > MOST_CHICKS:
            raise BadInput(
                say(
                    "{number!r} is no count of chicks: write a whole number up to {most:,}.",
                    number=number,
                    most=MOST_CHICKS,
                )
            )
        look, sex = _without_sex(what)
        found.append((look, sex, int(number)))
    return found


_SEX_WORDS: Final[Mapping[str, Sex]] = {
    mark("cock"): "cock",
    mark("cocks"): "cock",
    mark("hen"): "hen",
    mark("hens"): "hen",
}


def _without_sex(text: str) -> tuple[str, str]:
    words = text.split()
    for word, sex in _SEX_WORDS.items():
        for language in LANGUAGES:
            with speaking(language):
                told = plain(say(word))
            if len(words) > 1 and plain(words[-1]) == told:
                return " ".join(words[:-1]), sex
    return text, ""


def hidden_told(flock: Flock, ask: Ask, typed: Sequence[tuple[str, str, int]]) -> HiddenTold:
    """What parents hide, by counts of their chicks: look, sex or "", number. Raises BadInput."""
    cock, hen = parent(flock, ask.cock, "cock"), parent(flock, ask.hen, "hen")
    if not any(number for _, _, number in typed):
        raise BadInput(say("No chicks are counted: write, say, wild=13 silver=5."))
    try:
        codes = loci_of(cock.told, hen.told, *(Told(None, shown_by(look)) for look, _, _ in typed))
        counts = tuple(
            Count(_meant(look, codes), number, _sex(sex)) for look, sex, number in typed if number
        )
        found = hidden(cock.told, hen.told, counts, codes, ask.carriers, ask.recombination)
    except NotAGenotype as error:
        raise BadInput(error.sentence) from None
    notes = list(dict.fromkeys((*cock.notes, *hen.notes)))
    known = predicted()
    notes += [
        dispute_words(known[code]) for code in sorted(codes) if known[code].standing == "disputed"
    ]
    notes.append(
        say(
            "Reckoned from what is told of the two and these chicks alone: {share} of birds are "
            "taken to hide something at a locus before any chick is seen. The range is what comes "
            "where they are {low:.0%} to {high:.0%}. Alleles that show in none of them are left "
            "out.",
            share=share_words(carriers() if ask.carriers is None else ask.carriers),
            low=facts.figure("plumage.carriers").low,
            high=facts.figure("plumage.carriers").high,
        )
    )
    return HiddenTold(
        cock, hen, counts, found, _believed(cock, hen, found), _belief_rows(cock, hen, found),
        [
            (_count_words(each.count), each.count.chicks, figure(each.chicks, ".1f"))
            for each in found.expected
        ],
        _warnings(cock, hen, found), _more_words(cock, hen, found, counts), notes,
    )  # fmt: skip


def _sex(sex: str) -> Literal["cock", "hen", ""]:
    return "cock" if sex == "cock" else "hen" if sex == "hen" else ""


def _meant(text: str, codes: Iterable[str]) -> frozenset[Shown]:
    look = shown_by(text)
    if look:
        return frozenset({look})
    meant = looks_meant(text)
    wanted = set(codes)
    fits = [(one.code,) for one in meant if one.locus in wanted]
    if fits:
        return frozenset(fits)
    if meant:
        raise BadInput(
            say(
                "{word} may be {looks}, which are different genes. Write which.",
                word=text,
                looks=either(meant),
            )
        )
    names = [say(one.name) for one in looks().values() if one.alone]
    near = get_close_matches(text, names, n=3)
    raise BadInput(
        say(
            "{word!r} is no colour known here. Did you mean {near}?",
            word=text,
            near=", ".join(near),
        )
        if near
        else say(
            "{word!r} is no colour known here. There are {looks}.",
            word=text,
            looks=", ".join(names),
        )
    )


def _count_words(count: Count) -> str:
    name = either_look(sorted(count.looks))
    match count.sex:
        case "cock":
            return say("{look}, cocks", look=name)
        case "hen":
            return say("{look}, hens", look=name)
    return name


def _who(belief_parent: str, cock: Parent, hen: Parent) -> str:
    one = cock if belief_parent == "cock" else hen
    if one.ring is not None:
        return one.ring
    return say("the cock") if belief_parent == "cock" else say("the hen")


def _chance_words(chance: float) -> str:
    if chance > _NEARLY:
        return say("over 99.9%")
    if chance < 1 - _NEARLY:
        return say("under 0.1%")
    return figure(chance, ".0%" if 0.01 <= chance <= 0.99 else ".1%")


_NEARLY: Final = 0.999


def _believed(cock: Parent, hen: Parent, found: Hidden) -> list[str]:
    if not found.possible:
        return []
    if not found.beliefs:
        return [say("Their looks leave nothing hidden at these loci.")]
    sure = facts.value("plumage.sure")
    said = []
    for (who, locus), beliefs in _by_parent(found).items():
        first = beliefs[0]
        name = _who(who, cock, hen)
        nothing = set(first.pair) <= {loci()[locus].wild, NONE_HERE}
        if first.low >= sure:
            sentence = (
                mark("{who} hides nothing at {locus} ({name}): {chance}, as good as sure.")
                if nothing
                else mark("{who} is {genotype} at {locus} ({name}): {chance}, as good as sure.")
            )
        elif first.chance >= sure:
            sentence = (
                mark(
                    "{who} most likely hides nothing at {locus} ({name}): {chance}, but it hangs "
                    "on how common carriers are."
                )
                if nothing
                else mark(
                    "{who} is most likely {genotype} at {locus} ({name}): {chance}, but it hangs "
                    "on how common carriers are."
                )
            )
        else:
            sentence = (
                mark("{who} may hide nothing at {locus} ({name}): {chance}, not sure yet.")
                if nothing
                else mark("{who} may be {genotype} at {locus} ({name}): {chance}, not sure yet.")
            )
        said.append(
            _capital(
                say(
                    sentence,
                    who=name,
                    genotype="/".join(first.pair),
                    locus=locus,
                    name=say(loci()[locus].name),
                    chance=_chance_words(first.chance),
                )
            )
        )
    return said


def _capital(sentence: str) -> str:
    return sentence[:1].upper() + sentence[1:]


def _by_parent(found: Hidden) -> dict[tuple[str, str], list[Belief]]:
    grouped: dict[tuple[str, str], list[Belief]] = {}
    for belief in found.beliefs:
        grouped.setdefault((belief.parent, belief.locus), []).append(belief)
    return grouped


def _belief_rows(cock: Parent, hen: Parent, found: Hidden) -> list[BeliefRow]:
    return [
        BeliefRow(
            belief,
            _who(belief.parent, cock, hen),
            f"{belief.locus}: {'/'.join(belief.pair)}",
            _chance_words(belief.chance),
            say(
                "{low} to {high}", low=_chance_words(belief.low), high=_chance_words(belief.high)
            ),
        )
        for belief in found.beliefs
    ]  # fmt: skip


def _warnings(cock: Parent, hen: Parent, found: Hidden) -> list[str]:
    said = []
    poor = facts.value("plumage.poor_fit")
    if not found.possible:
        odd = ", ".join(
            say("{look} ({chicks})", look=_count_words(one), chicks=one.chicks) for one in found.odd
        )
        said.append(
            say(
                "No genes that {cock} and {hen} can have, by their looks, make chicks that are "
                "{odd}.",
                cock=cock.words,
                hen=hen.words,
                odd=odd,
            )
            if odd
            else say(
                "No genes that {cock} and {hen} can have, by their looks, make all these chicks.",
                cock=cock.words,
                hen=hen.words,
            )
        )
        said.append(
            say(
                "Another cock may be the father (a hen keeps sperm for days), a look may be "
                "another than named, or genes at work that nobody has described."
            )
        )
    elif found.fit is not None and found.fit < poor:
        said.append(
            say(
                "The counts fit poorly: chance alone makes so poor a fit {p} of the time. That is "
                "a warning and no proof. See whether a look is another than named, whether chicks "
                "were picked, or whether another cock had a part.",
                p=_p_words(found.fit),
            )
        )
    if found.sexes is not None and found.sexes < poor:
        said.append(
            say(
                "Cocks and hens are less even than chance makes them: so uneven {p} of the time. "
                "Chance does it too; look whether chicks were sexed rightly and all were counted.",
                p=_p_words(found.sexes),
            )
        )
    return said


def _p_words(p: float) -> str:
    if p < 1e-4:
        return say("under 0.01%")
    return figure(p, ".2%")


def _more_words(cock: Parent, hen: Parent, found: Hidden, counts: Sequence[Count]) -> list[str]:
    counted = sum(one.chicks for one in counts)
    said = []
    for more in found.more:
        if more.chicks is not None and more.chicks <= counted:
            continue  # So many have been seen.
        who = _who(more.parent, cock, hen)
        genotype = f"{more.locus}: {'/'.join(more.pair)}"
        if more.chicks is None:
            said.append(
                say(
                    "This cross cannot show whether {who} is {genotype}: put it to a bird that "
                    "shows the colour.",
                    who=who,
                    genotype=genotype,
                )
            )
        else:
            said.append(
                say_many(
                    "{n} chick without it makes {sure:.0%} sure that {who} is not {genotype} (it "
                    "would show in {share} of chicks); {counted} counted so far.",
                    "{n} chicks without it make {sure:.0%} sure that {who} is not {genotype} (it "
                    "would show in {share} of chicks); {counted} counted so far.",
                    more.chicks,
                    sure=facts.value("plumage.sure"),
                    who=who,
                    genotype=genotype,
                    share=share_words(more.share),
                    counted=counted,
                )
            )
    return said

"""A cross as the page and the terminal tell it: odds by sex, what dies, which chicks tell sex."""

from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from quailwright.exchange.colours_told import dispute_words
from quailwright.exchange.cross_parents import (
    Ask,
    Parent,
    either_look,
    look_words,
    parent,
    share_words,
)
from quailwright.flock.plumage import (
    guess_of,
    loci_with_kin,
    recorded,
)
from quailwright.flock.state import Flock
from quailwright.husbandry.plumage.crosses import (
    Cross,
    Guess,
    Odds,
    cross,
    parted,
    recombination,
)
from quailwright.husbandry.plumage.genotypes import NotAGenotype
from quailwright.husbandry.plumage.guesses import (
    Loci,
    Sex,
    Told,
    carriers,
    guess,
    loci_of,
    unplayed,
)
from quailwright.husbandry.plumage.sexing import Sexing, sexing
from quailwright.husbandry.plumage.table import (
    Shown,
    loci,
    looks,
    predicted,
    seen_of,
)
from quailwright.journal.findings import BadInput
from quailwright.language import say


@dataclass(frozen=True, slots=True)
class Row:
    """A look of the chicks: odds among all, cocks and hens; the range over what is hidden.

    `words`, `of_cocks`, `of_hens` and `between` say them; `bar` is the share of all in percent.
    """

    look: Shown
    name: str
    chicks: Fraction
    cocks: Fraction
    hens: Fraction
    low: Fraction | None
    high: Fraction | None
    published: bool
    words: str
    of_cocks: str
    of_hens: str
    between: str
    bar: float


@dataclass(frozen=True, slots=True)
class CrossTold:
    """All of a cross, said.

    Attributes:
        answer: the odds in sentences.
        deaths: what lethal genotypes take.
        sexes: what colour tells of sex.
        cares: cautions for looks of parents and chicks.
        notes: what is to be known of these figures.
    """

    cock: Parent
    hen: Parent
    found: Cross
    sexing: Sexing
    codes: Loci
    carriers: Fraction
    recombination: Fraction
    answer: list[str]
    rows: list[Row]
    deaths: list[str]
    sexes: list[str]
    cares: list[str]
    notes: list[str]


def cross_told(flock: Flock, ask: Ask) -> CrossTold:
    """The odds of a cross. Raises BadInput."""
    cock, hen = parent(flock, ask.cock, "cock"), parent(flock, ask.hen, "hen")
    share = carriers() if ask.carriers is None else ask.carriers
    rate = recombination() if ask.recombination is None else ask.recombination
    try:
        codes, of_cock, of_hen = _guesses(flock, cock, hen, share, rate)
        found = cross(of_cock, of_hen, codes, rate)
    except NotAGenotype as error:
        raise BadInput(error.sentence) from None
    tells = sexing(found)
    return CrossTold(
        cock, hen, found, tells, codes, share, rate, _answer(found), _rows(found), _deaths(found),
        [*sexes_words(tells), *_other_way(cock, hen, tells, share, rate)], _cares(cock, hen, found),
        _notes(cock, hen, found, codes, share, rate),
    )  # fmt: skip


def _guesses(
    flock: Flock, cock: Parent, hen: Parent, share: Fraction, rate: Fraction
) -> tuple[Loci, Guess, Guess]:
    rings = [one.ring for one in (cock, hen) if one.ring is not None]
    codes = loci_with_kin(flock, (cock.told, hen.told), rings)
    made = []
    sexes: tuple[tuple[Parent, Sex], ...] = ((cock, "cock"), (hen, "hen"))
    for one, sex in sexes:
        if one.ring is None:
            made.append(guess(one.told, sex, codes, share))
        else:
            made.append(guess_of(flock, one.ring, sex, codes, share, rate=rate))
    return codes, made[0], made[1]


def _answer(found: Cross) -> list[str]:
    if found.cocks == found.hens:
        return [say("Chicks: {odds}. Cocks and hens alike.", odds=_odds(found.cocks))]
    return [
        say("Cocks: {odds}.", odds=_odds(found.cocks)),
        say("Hens: {odds}.", odds=_odds(found.hens)),
    ]


def _odds(odds: Odds) -> str:
    if len(odds) == 1:
        return say("all {look}", look=look_words(next(iter(odds))))
    first = list(odds.items())[:_MOST_SAID]
    said = [
        say("{share} {look}", share=share_words(share), look=look_words(seen))
        for seen, share in first
    ]
    if len(odds) > len(first):
        rest = sum((share for _, share in list(odds.items())[_MOST_SAID:]), Fraction())
        said.append(say("{share} others", share=share_words(rest)))
    return ", ".join(said)


_MOST_SAID: Final = 6
"""So many looks are told in the sentence; the list below has them all."""


def _rows(found: Cross) -> list[Row]:
    rows = []
    for seen, share in found.chicks.items():
        cocks, hens = found.cocks.get(seen, Fraction()), found.hens.get(seen, Fraction())
        low, high = found.ranges[seen] if found.ranges is not None else (None, None)
        between = ""
        if low is not None and high is not None and low != high:
            between = say("{low} to {high}", low=share_words(low), high=share_words(high))
        rows.append(
            Row(
                seen, look_words(seen), share, cocks, hens, low, high, len(seen) == 1,
                _exactly(share), share_words(cocks), share_words(hens), between,
                round(float(share) * 100, 1),
            )
        )  # fmt: skip
    return rows


_MOST_PARTS: Final = 64
"""Parts up to which a fraction is told as such beside the percent."""


def _exactly(share: Fraction) -> str:
    if share == 1:
        return say("all")
    if share.denominator <= _MOST_PARTS:
        return say(
            "{percent} ({count} in {number})",
            percent=share_words(share),
            count=share.numerator,
            number=share.denominator,
        )
    return share_words(share)


def _deaths(found: Cross) -> list[str]:
    said = []
    for death in found.deaths:
        genotype = "/".join(death.lethal.genotype)
        name = say(loci()[death.lethal.locus].name)
        if death.share.numerator == 1:
            said.append(
                say(
                    "One embryo in {number} dies ({genotype}, {name}): {left} of the normal hatch. "
                    "{told}",
                    number=death.share.denominator,
                    genotype=genotype,
                    name=name,
                    left=share_words(1 - death.share),
                    told=say(death.lethal.told),
                )
            )
        else:
            said.append(
                say(
                    "{share} of the embryos die ({genotype}, {name}): {left} of the normal hatch. "
                    "{told}",
                    share=share_words(death.share),
                    genotype=genotype,
                    name=name,
                    left=share_words(1 - death.share),
                    told=say(death.lethal.told),
                )
            )
    if len(found.deaths) > 1:
        said.append(
            say(
                "Together that leaves {left} of the normal hatch.", left=share_words(found.hatching)
            )
        )
    return said


def sexes_words(tells: Sexing) -> list[str]:
    if tells.tells == "none":
        return [say("Colour tells no sex in this cross.")]
    said = []
    if tells.tells == "all":
        said.append(
            say(
                "Colour tells the sex of every chick: cocks {cocks}, hens {hens}.",
                cocks=either_look(tells.cocks),
                hens=either_look(tells.hens),
            )
        )
    else:
        said += [
            say("A chick that is {look} is a cock.", look=either_look((seen,)))
            for seen in tells.cocks
        ]
        said += [
            say("A chick that is {look} is a hen.", look=either_look((seen,)))
            for seen in tells.hens
        ]
        if tells.either:
            said.append(say("One that is {looks} may be either.", looks=either_look(tells.either)))
        if tells.unpublished:
            said.append(
                say(
                    "One that is {looks} tells nothing: what it looks like is not published.",
                    looks=either_look(tells.unpublished),
                )
            )
    if tells.at_hatch:
        said.append(say("Published sources say that it shows in the down, on the day of hatch."))
    elif tells.not_told:
        said.append(
            say(
                "How the down of {looks} looks is not published in what was read: it may show "
                "with the feathers only. Mark the chicks, and see whether it holds.",
                looks=either_look(tells.not_told),
            )
        )
    return said


def _other_way(
    cock: Parent, hen: Parent, tells: Sexing, share: Fraction, rate: Fraction
) -> list[str]:
    """Whether the same looks tell the sex where cock and hen change sides."""
    if tells.tells == "all" or cock.told.genotype is not None or hen.told.genotype is not None:
        return []
    first, second = hen.told, cock.told
    if first.look == second.look:
        return []
    codes = loci_of(first, second)
    turned = sexing(
        cross(guess(first, "cock", codes, share), guess(second, "hen", codes, share), codes, rate)
    )
    if turned.tells != "all":
        return []
    return [
        say(
            "The other way round it does: {cock} cock, {hen} hen make cocks {cocks}, hens {hens}.",
            cock=look_words(first.look),
            hen=look_words(second.look),
            cocks=either_look(turned.cocks),
            hens=either_look(turned.hens),
        )
    ]


def _cares(cock: Parent, hen: Parent, found: Cross) -> list[str]:
    seen = {code for one in (cock.told.look, hen.told.look, *found.chicks) for code in one}
    for parent_told in (cock.told, hen.told):
        if parent_told.genotype is not None:
            seen |= {seen_of(*each) for each in parent_told.genotype.pairs.items()}
    return [
        say("{look}: {care}", look=say(look.name), care=say(look.care))
        for look in looks().values()
        if look.code in seen and look.care
    ]


def _notes(
    cock: Parent, hen: Parent, found: Cross, codes: Loci, share: Fraction, rate: Fraction
) -> list[str]:
    said = [*cock.notes, *hen.notes]
    known = predicted()
    said += [dispute_words(known[code]) for code in codes if known[code].standing == "disputed"]
    mixed = [seen for seen in found.chicks if len(seen) > 1]
    if mixed:
        said.append(
            say(
                "What {looks} look like together is not published: the genes are reckoned, the "
                "look is not known.",
                looks=", ".join(map(look_words, mixed)),
            )
        )
    for code, hiding in found.hiding.items():
        said.append(
            say(
                "{share} of the chicks hide an allele of {locus} ({name}) and do not show it.",
                share=share_words(hiding),
                locus=code,
                name=say(known[code].name),
            )
        )
    sexes: tuple[tuple[Parent, Sex], ...] = ((cock, "cock"), (hen, "hen"))
    for one, sex in sexes:
        for code, allele, left in unplayed(one.told, sex, codes):
            said.append(
                say(
                    "A bird that is {look} might hide {alleles} at {locus}, which shows in neither "
                    "and is left out: {example} in its place tells what comes then.",
                    look=look_words(one.told.look),
                    alleles=", ".join(left),
                    locus=code,
                    example=f"{code}: {allele}/{left[0]}",
                )
            )
    if found.ranges is not None:
        said.append(
            say(
                "What a look hides is not known: {share} of such birds are taken to hide something "
                "at a locus, which is a guess. The range is what comes if they all do, or none.",
                share=share_words(share),
            )
        )
    if len(parted(codes)[1]) > 1:
        said.append(
            say(
                "{loci} lie together on Z: in cocks {rate} of gametes part them (from memory), in "
                "hens none.",
                loci=", ".join(parted(codes)[1]),
                rate=share_words(rate),
            )
        )
    said.append(
        say(
            "Every other locus is taken as wild. Where both parents hide the same recessive "
            "allele, one chick in four shows it."
        )
    )
    return list(dict.fromkeys(said))


@dataclass(frozen=True, slots=True)
class Sexable:
    """Cocks and hens on hand whose chicks tell their sex by colour."""

    cocks: tuple[str, ...]
    hens: tuple[str, ...]
    sexing: Sexing
    said: tuple[str, ...]


_MOST_KINDS: Final = 20


def sexable(flock: Flock) -> list[Sexable]:
    """Crosses of living ringed birds in which colour tells the sex of every chick."""
    kinds: dict[Sex, dict[tuple[str, Shown], list[str]]] = {"cock": {}, "hen": {}}
    told: dict[tuple[str, Shown], Told] = {}
    for bird in flock.birds.values():
        if bird.left is not None or bird.sex == "unknown":
            continue
        found = recorded(bird)
        if found.known:
            key = (str(found.told.genotype or ""), found.told.look)
            told[key] = found.told
            kinds[bird.sex].setdefault(key, []).append(bird.name)
    made = []
    for first, cocks in list(kinds["cock"].items())[:_MOST_KINDS]:
        for second, hens in list(kinds["hen"].items())[:_MOST_KINDS]:
            try:
                codes = loci_of(told[first], told[second])
                chicks = cross(
                    guess(told[first], "cock", codes), guess(told[second], "hen", codes), codes
                )
            except NotAGenotype:
                continue
            tells = sexing(chicks)
            if tells.tells == "all":
                made.append(Sexable(tuple(cocks), tuple(hens), tells, tuple(sexes_words(tells))))
    return sorted(made, key=lambda one: not one.sexing.at_hatch)


def likely_looks(found: CrossTold) -> list[str]:
    """Looks of the chicks of a cross, for a form that counts them."""
    return [row.name for row in found.rows if len(row.look) == 1]

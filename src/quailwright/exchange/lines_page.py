"""The flock's lines as a page and the terminal tell them: who breeds, how related, what next."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from quailwright.exchange.kin_told import (
    FIRST_COUSINS,
    hardly,
    inbreeding_words,
    kinship_words,
    tie,
)
from quailwright.exchange.mating_words import in_a_row
from quailwright.flock.breeding import (
    Breeding,
    GroupKin,
    Kin,
    Pen,
    breeding_of,
    by_group,
    inbred,
    related_to,
)
from quailwright.flock.pedigree import Lines, lines_of
from quailwright.flock.state import Flock
from quailwright.guide import wording
from quailwright.husbandry.inheritance.depression import (
    chicks_kept,
    chicks_kept_range,
    kept,
    points_lost,
)
from quailwright.husbandry.inheritance.effective_size import census, rise
from quailwright.husbandry.inheritance.means import Related
from quailwright.language import figure, say, say_many

MOST_ROWS = 12
"""Birds or pairs shown at once on a page."""


@dataclass(frozen=True, slots=True)
class InbredRow:
    """A ringed bird, its inbreeding, and what that is like."""

    bird: str
    share: float
    percent: str
    words: str
    alive: bool


@dataclass(frozen=True, slots=True)
class PenRow:
    """A pen where cocks and hens run together, in words."""

    place: str
    birds: str
    chicks: str
    words: str
    sure: str


@dataclass(frozen=True, slots=True)
class ShareRow:
    """A founder, or founders told together, and their share of the genes of the living."""

    name: str
    birds: int
    percent: str
    share: float


@dataclass(frozen=True, slots=True)
class GenerationRow:
    """A generation in words."""

    number: int
    birds: int
    mean: str
    most: str


@dataclass(frozen=True, slots=True)
class LinesPage:
    """All of it, said.

    Attributes:
        summary: who breeds, and what that brings, in a line.
        answer: what to do next, the most pressing first.
        pens, between: the pens, and each two of them.
        inbred: living ringed birds, the most inbred first.
        realised: what the record shows of the past.
        founders: whose genes the living carry; `founders_say` in a sentence.
        brings: what the inbreeding of the next chicks does to hatch, survival and eggs.
        problems: what in the record cannot be, or is not known.
        notes: what is to be known of these figures.
    """

    on: date
    summary: str
    answer: list[str]
    pens: list[PenRow]
    between: list[tuple[str, str, str, str]]
    inbred: list[InbredRow]
    generations: list[GenerationRow]
    realised: str
    founders: list[ShareRow]
    founders_say: str
    brings: list[str]
    problems: list[str]
    notes: list[str]


def percent(share: float) -> str:
    """Inbreeding as `12.5%`, to a tenth of a point; `none` where that would show nothing."""
    return say("none") if hardly(share) else figure(share, ".1%")


def inbred_rows(flock: Flock, living: bool = False) -> list[InbredRow]:
    """Ringed birds, the most inbred first; with `living` only those that live."""
    return inbred_told(flock, living)[0]


def inbred_told(flock: Flock, living: bool = False) -> tuple[list[InbredRow], list[str]]:
    """As `inbred_rows`, and the sentences on parents that are not known, not logged or wrong."""
    lines, found = inbred(flock)
    return _rows(lines, found, living), [say(problem) for problem in lines.problems]


def _rows(lines: Lines, found: dict[str, float], living: bool) -> list[InbredRow]:
    rows = [
        InbredRow(ring, share, percent(share), inbreeding_words(share), member.alive)
        for ring, share in found.items()
        if (member := lines.members[lines.places[ring]]).alive or not living
    ]
    return sorted(rows, key=lambda row: -row.share)


def lines_page(flock: Flock, on: date) -> tuple[Breeding, LinesPage]:
    """The flock's lines, and the page of them."""
    found = breeding_of(flock, on)
    lines = found.lines
    rings = {ring: float(found.inbreeding[lines.places[ring]]) for ring in flock.birds}
    return found, LinesPage(
        on,
        _summary(found),
        _answer(flock, found),
        [_pen(pen, on) for pen in found.pens],
        [
            (one, other, "" if hardly(kin) else figure(kin, ".3f"), kinship_words(kin))
            for one, other, kin in sorted(found.between, key=lambda pair: -pair[2])
        ],
        _rows(lines, rings, living=True)[:MOST_ROWS],
        [
            GenerationRow(each.number, each.birds, percent(each.mean), percent(each.most))
            for each in found.generations
        ],
        _realised(found),
        [
            ShareRow(one.name, one.birds, figure(one.share, ".1%"), one.share)
            for one in found.founders[:MOST_ROWS]
        ],
        _founders(found),
        brings(found.chicks_inbreeding),
        [say(problem) for problem in lines.problems],
        _notes(found),
    )


def _summary(found: Breeding) -> str:
    if found.size is None or found.rise is None:
        return say("By the record no cock runs with hens now.")
    return say(
        "{cocks} and {hens} breed now: an effective size of {size:.1f}, about {rise:.1%} "
        "more inbreeding with each generation.",
        cocks=say_many("{n} cock", "{n} cocks", found.cocks),
        hens=say_many("{n} hen", "{n} hens", found.hens),
        size=found.size,
        rise=found.rise,
    )


def _answer(flock: Flock, found: Breeding) -> list[str]:
    if not found.lines.members:
        return [say("Log your groups, or the first birds by ring: then their lines stand here.")]
    if not found.pens:
        return [say("Log where the cocks run: move them to their hens, or log a pairing by ring.")]
    said = [_close_pen(found, pen) for pen in found.pens if pen.chicks_inbreeding >= FIRST_COUSINS]
    said += _crowded([pen for pen in found.pens if pen.cocks_there > 1])
    said += [
        say(
            "Eggs of {place} are surely of its cocks from {day} on: what hens keep of earlier "
            "cocks is spent by then.",
            place=pen.place,
            day=wording.when(pen.sure_from, found.on),
        )
        for pen in found.pens
        if pen.sure_from is not None and pen.sure_from > found.on
    ]
    if found.cocks < found.hens:
        more = float(census(found.cocks + 1, found.hens))
        said.append(
            say(
                "One cock more does most: {cocks} with the same {hens} make an effective size of "
                "{size:.1f}, {rise:.1%} a generation.",
                cocks=say_many("{n} cock", "{n} cocks", found.cocks + 1),
                hens=say_many("{n} hen", "{n} hens", found.hens),
                size=more,
                rise=float(rise(more)),
            )
        )
    if not flock.birds:
        said.append(
            say(
                "Rings on the birds that you keep for breeding, with father and mother, would tell "
                "more than pens can."
            )
        )
    return said


def _close_pen(found: Breeding, pen: Pen) -> str:
    parts = {
        "place": pen.place,
        "share": percent(pen.chicks_inbreeding),
    }
    at = found.pens.index(pen)
    best = int(np.argmin(found.crossed[:, at]))
    if best == at or found.crossed[best, at] >= pen.chicks_inbreeding - _CLEARLY:
        return say(
            "Look for a cock from elsewhere for {place}. Chicks set from there now would be "
            "inbred by {share}, and no cock here is farther from its hens.",
            **parts,
        )
    less, other = float(found.crossed[best, at]), found.pens[best].place
    if hardly(less):
        return say(
            "Give the hens of {place} a cock of {other}. Their chicks would now be inbred by "
            "{share}; with him not at all, as far as the record goes back.",
            other=other,
            **parts,
        )
    return say(
        "Give the hens of {place} a cock of {other}. Their chicks would now be inbred by {share}; "
        "with him by {less}.",
        other=other,
        less=percent(less),
        **parts,
    )


def _crowded(pens: list[Pen]) -> list[str]:
    if not pens:
        return []
    if len(pens) == 1:
        return [
            say(
                "{place} holds {cocks} with {hens}: nobody can say whose chicks are whose, and one "
                "cock may father most of them. Part them into pens of one cock each; the matings "
                "say whom with whom.",
                place=pens[0].place,
                cocks=say_many("{n} cock", "{n} cocks", pens[0].cocks_there),
                hens=say_many("{n} hen", "{n} hens", pens[0].hens_there),
            )
        ]
    where = [say("{place} ({cocks})", place=pen.place, cocks=pen.cocks_there) for pen in pens]
    return [
        say(
            "Several cocks run together in {places}: nobody can say whose chicks are whose, and "
            "one cock may father most of them. Part them into pens of one cock each; the matings "
            "say whom with whom.",
            places=in_a_row(where),
        )
    ]


_CLEARLY = 0.005
"""Half a point of inbreeding is worth no move."""


def _pen(pen: Pen, on: date) -> PenRow:
    cocks = say_many("{n} cock", "{n} cocks", pen.cocks_there)
    hens = say_many("{n} hen", "{n} hens", pen.hens_there)
    sure = pen.sure_from
    return PenRow(
        pen.place,
        say("{cocks}, {hens}", cocks=cocks, hens=hens),
        percent(pen.chicks_inbreeding),
        inbreeding_words(pen.chicks_inbreeding),
        say("sure from {day}", day=wording.when(sure, on)) if sure and sure > on else "",
    )


def _realised(found: Breeding) -> str:
    told = found.realised
    if told is None:
        return say(
            "What inbreeding the past has brought cannot be told yet: that takes two generations "
            "of known parents."
        )
    if not told.rise > 0:
        return say_many(
            "By the record {n} bird of today is not inbred by its forebears.",
            "By the record none of {n} birds of today is inbred by its forebears.",
            told.birds,
        )
    parts = {"rise": told.rise, "size": told.size}
    if math.isnan(told.error):
        return say(
            "By the record inbreeding has risen by {rise:.1%} a generation so far: an effective "
            "size of {size:.1f}, told by one bird alone.",
            **parts,
        )
    return say(
        "By the record inbreeding has risen by {rise:.1%} a generation so far: an effective size "
        "of {size:.1f} (± {error:.1f} by how birds differ; by {birds} birds that share forebears, "
        "so the truth is less sure).",
        error=told.error,
        birds=told.birds,
        **parts,
    )


def brings(inbreeding: float | None) -> list[str]:
    """What chicks so inbred mean in hatch, survival and eggs, beside chicks not inbred."""
    if inbreeding is None or inbreeding < _HARDLY:
        return []
    low, high = (float(share) for share in chicks_kept_range(inbreeding))
    hens = float(points_lost("lay", inbreeding))
    return [
        say(
            "Chicks set now would be inbred by {share}, {words}.",
            share=percent(inbreeding),
            words=inbreeding_words(inbreeding),
        ),
        say(
            "By published trials {hatch:.0%} of the fertile eggs that would hatch of chicks not "
            "inbred still hatch, and {alive:.0%} of the chicks that would live to 4 weeks do. "
            "Both together: {both:.0%}, in lines that differed {low:.0%} to {high:.0%}.",
            hatch=float(kept("hatch", inbreeding)),
            alive=float(kept("survival", inbreeding)),
            both=float(chicks_kept(inbreeding)),
            low=low,
            high=high,
        ),
        say(
            "Their hens would lay {points:.1f} eggs fewer in a hundred hen days. The trials were "
            "of lines of full sibs; where inbreeding comes slowly it costs less.",
            points=hens,
        ),
    ]


_HARDLY = 0.001


def _founders(found: Breeding) -> str:
    if found.effective_founders is None:
        return ""
    total = sum(one.birds for one in found.founders)
    return say_many(
        "The living carry the genes of {n} founder.",
        "The living carry the genes of {n} founders. By their shares that is as good as "
        "{equal:.1f} with equal shares.",
        total,
        equal=found.effective_founders,
    )


def _notes(found: Breeding) -> list[str]:
    said = [
        say(
            "The effective size reckons as if all birds bred by chance in one flock. With pens of "
            "one cock each and a son from each it is better; where few birds leave most chicks, "
            "worse."
        ),
        say(
            "Inbreeding is as far as the record goes back: birds without known parents count as "
            "unrelated, so the truth is this or more."
        ),
    ]
    if any(not member.ringed for member in found.lines.members):
        said.append(
            say(
                "Birds without a ring stand for their group: their parents are those that may have "
                "been, each with its chance."
            )
        )
    return said


# Kinship.


@dataclass(frozen=True, slots=True)
class KinRow:
    """A bird's relative: its name, whether it is ringed, the kinship, and how they are related."""

    bird: str
    ringed: bool
    kinship: float
    how: str


@dataclass(frozen=True, slots=True)
class PairRow:
    """Two birds, their kinship, and what the other is to the first."""

    bird: str
    other: str
    kinship: float
    how: str


def nearest(flock: Flock, ring: str) -> list[KinRow]:
    """A ringed bird's living and dead relatives by ring, the nearest first."""
    lines = lines_of(flock)
    return nearest_of(lines, ring, related_to(lines, ring), list(flock.birds))


def nearest_of(
    lines: Lines, ring: str, row: np.ndarray, among: Sequence[str], most: int = 20
) -> list[KinRow]:
    """As `nearest`, of kinship known already."""
    own = lines.places[ring]
    some = [Kin(lines.places[other], float(row[lines.places[other]])) for other in among]
    related = sorted((kin for kin in some if kin.at != own and kin.kinship > _NOTHING),
                     key=lambda kin: -kin.kinship)[:most]  # fmt: skip
    return [
        KinRow(
            lines.members[kin.at].called,
            True,
            kin.kinship,
            tie(lines, own, kin.at, kin.kinship).words,
        )
        for kin in related
    ]


_NOTHING = 1e-9


def groups_kin(flock: Flock) -> GroupKin:
    """Mean kinship of the living by group."""
    lines = lines_of(flock)
    return by_group(lines, Related(lines.pedigree))


def pair_rows(flock: Flock, found: Mapping[str, Mapping[str, float]]) -> list[PairRow]:
    """Each two birds of a table of kinship, the nearest first."""
    lines = lines_of(flock)
    names = list(found)
    return [
        PairRow(one, other, kin, tie(lines, lines.places[one], lines.places[other], kin).words)
        for kin, one, other in sorted(
            ((found[one][other], one, other) for n, one in enumerate(names) for other in names[:n]),
            key=lambda pair: -pair[0],
        )
    ]

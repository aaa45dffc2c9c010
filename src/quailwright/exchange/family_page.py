"""One ringed bird and its family, as a page and the terminal tell them."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date

import numpy as np

from quailwright.exchange.kin_told import hardly, inbreeding_words, tie
from quailwright.exchange.lines_page import KinRow, nearest_of, percent
from quailwright.flock.booking.parents import hatched
from quailwright.flock.breeding import known_rings, related_to
from quailwright.flock.pedigree import Lines, lines_of
from quailwright.flock.state import Flock, RingedBird
from quailwright.guide import told, wording
from quailwright.husbandry.inheritance.kinship import inbreeding
from quailwright.husbandry.inheritance.pedigree import Chances
from quailwright.journal.entries import Sex
from quailwright.language import figure, mark, say, say_many

GENERATIONS_UP = 3
MOST_LISTED = 4
"""Possible parents that are named; of more, their group is."""
_SURE = 0.999
_LEAST = 0.01


@dataclass(frozen=True, slots=True)
class Node:
    """A forebear in the family: as what, who, with what chance, and its own parents.

    `ring` is "" where it has none or is one of several; `note` tells its chance.
    """

    role: str
    name: str
    ring: str
    note: str
    parents: tuple["Node", ...] = ()

    @property
    def lines(self) -> list[tuple[int, "Node"]]:
        """Itself and its forebears, with how far up each stands."""
        found = [(0, self)]
        for parent in self.parents:
            found += [(up + 1, node) for up, node in parent.lines]
        return found


@dataclass(frozen=True, slots=True)
class Brood:
    """Chicks of one hatch or group: rings, and how many have none."""

    of: str
    rings: tuple[tuple[str, str], ...]
    others: str


@dataclass(frozen=True)
class Family:
    """A bird and its family, said.

    Attributes:
        bird, sex: its ring, and its sex.
        about: its sex, group, hatch and colour, a bit each.
        inbreeding: its share; `says` in words; `parents_say` how its parents are related.
        tree: its father and mother with their forebears.
        sibs, kin: its sibs by ring, and its other nearest.
        broods: its chicks.
        weights: (day, weight); `eggs` what she laid, if known.
        problems: what the record does not tell or cannot be, about it.
    """

    bird: str
    sex: Sex
    about: list[str]
    inbreeding: float
    says: str
    parents_say: str
    tree: tuple[Node, ...]
    sibs: list[KinRow]
    kin: list[KinRow]
    broods: list[Brood]
    weights: list[tuple[str, str]]
    eggs: str
    problems: list[str] = field(default_factory=list)
    parents: tuple[dict[str, float], dict[str, float]] = ({}, {})


def family(flock: Flock, ring: str, on: date) -> Family:
    """The family of a ringed bird. Raises BadInput where it is not logged."""
    (ring,) = known_rings(flock, [ring])
    lines = lines_of(flock)
    bird, at = flock.birds[ring], lines.places[ring]
    row = related_to(lines, ring)
    share = float(inbreeding(lines.pedigree)[at])
    relatives = nearest_of(lines, ring, row, list(flock.birds), most=_MOST_KIN)
    sibs = {other for other in flock.birds if other != ring and _is_sib(lines, at, other)}
    chicks = {name for name in flock.birds if _chance(lines, lines.places[name], at) > _LEAST}
    return Family(
        ring,
        bird.sex,
        _about(flock, bird, on),
        share,
        say("Not inbred, as far as the record goes back.")
        if hardly(share)
        else say(
            "Inbreeding {share}: {words}.", share=percent(share), words=inbreeding_words(share)
        ),
        _parents_say(lines, at, share),
        _tree(lines, at, 1),
        nearest_of(lines, ring, row, sorted(sibs), most=_MOST_KIN),
        [kin for kin in relatives if kin.bird not in sibs | chicks][:_SHOWN],
        _broods(flock, lines, at),
        [
            (wording.when(day, on), say("{grams:g} g", grams=grams))
            for day, grams in reversed(bird.weights)
        ],
        _eggs(bird),
        [
            say(problem)
            for problem in lines.problems
            if any(word.strip(".,:;") == ring for word in problem.split())
        ],
        (_named(lines, lines.pedigree.fathers[at]), _named(lines, lines.pedigree.mothers[at])),
    )


_MOST_KIN = 60
_SHOWN = 12


def _named(lines: Lines, chances: Chances) -> dict[str, float]:
    return {lines.members[at].called: float(chance) for at, chance in chances.items()}


def _about(flock: Flock, bird: RingedBird, on: date) -> list[str]:
    said = [say(_SEXES[bird.sex])]
    if bird.group is not None:
        said.append(say("of {group}", group=bird.group))
    day = hatched(flock, bird)
    if day is not None:
        days = (on - day).days
        said.append(
            say_many(
                "hatched {day}, {n} day old",
                "hatched {day}, {n} days old",
                days,
                day=wording.when(day, on),
            )
            if bird.left is None and days >= 0
            else say("hatched {day}", day=wording.when(day, on))
        )
    if bird.hatch is not None:
        said.append(say("from hatch {hatch}", hatch=bird.hatch))
    if bird.plumage:
        said.append(bird.plumage)
    if bird.genotype:
        said.append(bird.genotype)
    if bird.left is not None and bird.left_on is not None:
        said.append(
            say(
                "{how} {day}",
                how=told.choice_words(bird.left),
                day=wording.when(bird.left_on, on),
            )
        )
    return said


_SEXES = {"hen": mark("hen"), "cock": mark("cock"), "unknown": mark("not sexed")}


def _parents_say(lines: Lines, at: int, share: float) -> str:
    fathers, mothers = lines.pedigree.fathers[at], lines.pedigree.mothers[at]
    if not fathers and not mothers:
        return say("Its parents are not known: it is taken as unrelated to all others.")
    if len(fathers) == len(mothers) == 1:
        (father,), (mother,) = fathers, mothers
        if min(fathers[father], mothers[mother]) > _SURE:
            named = {
                "father": lines.members[father].called,
                "mother": lines.members[mother].called,
            }
            if share < _NOTHING:
                return say(
                    "Its parents {father} and {mother} are not related by the record.", **named
                )
            return say(
                "{mother} is to {father}: {tie}.", tie=tie(lines, father, mother, share).words,
                **named,
            )  # fmt: skip
    if not fathers:
        return say("Its father is not known: he is taken as unrelated to all others.")
    if not mothers:
        return say("Its mother is not known: she is taken as unrelated to all others.")
    return say("Its parents are known by chance: the inbreeding is the mean of who they may be.")


_NOTHING = 1e-9


def _tree(lines: Lines, at: int, up: int) -> tuple[Node, ...]:
    """Father and mother of a bird with their forebears, so far up."""
    return (
        _node(lines, lines.pedigree.fathers[at], mark("father"), True, up),
        _node(lines, lines.pedigree.mothers[at], mark("mother"), False, up),
    )


_NOT_KNOWN = mark("not known")


def _node(lines: Lines, chances: Chances, role: str, of_cocks: bool, up: int) -> Node:
    if not chances:
        return Node(say(role), say(_NOT_KNOWN), "", "")
    total = sum(chances.values())
    if len(chances) == 1:
        (parent,) = chances
        member = lines.members[parent]
        note = "" if total > _SURE else say("chance {chance:.0%}", chance=total)
        known = lines.pedigree.fathers[parent] or lines.pedigree.mothers[parent]
        above = _tree(lines, parent, up + 1) if known and up < GENERATIONS_UP else ()
        return Node(say(role), member.called, member.name if member.ringed else "", note, above)
    likely = sorted(chances.items(), key=lambda one: -one[1])
    if len(likely) <= MOST_LISTED and all(lines.members[p].ringed for p, _ in likely):
        names = ", ".join(
            say("{name} {chance:.0%}", name=lines.members[p].called, chance=chance)
            for p, chance in likely
        )
        return Node(say(role), say("one of: {names}", names=names), "", "")
    groups = Counter(lines.members[parent].group or "" for parent in chances)
    told_groups = [
        say_many("one of {n} cock of {group}", "one of {n} cocks of {group}", number, group=group)
        if of_cocks
        else say_many(
            "one of {n} hen of {group}", "one of {n} hens of {group}", number, group=group
        )
        for group, number in groups.items()
    ]
    note = "" if total > _SURE else say("{share:.0%} not known", share=1 - total)
    return Node(say(role), "; ".join(told_groups), "", note)


def _chance(lines: Lines, chick: int, parent: int) -> float:
    pedigree = lines.pedigree
    return max(pedigree.fathers[chick].get(parent, 0.0), pedigree.mothers[chick].get(parent, 0.0))


def _is_sib(lines: Lines, at: int, other: str) -> bool:
    there = lines.places[other]
    if _chance(lines, at, there) > _LEAST or _chance(lines, there, at) > _LEAST:
        return False
    pedigree = lines.pedigree
    return any(
        sum(chance * others.get(parent, 0.0) for parent, chance in mine.items()) > _LEAST
        for mine, others in (
            (pedigree.fathers[at], pedigree.fathers[there]),
            (pedigree.mothers[at], pedigree.mothers[there]),
        )
    )


def _broods(flock: Flock, lines: Lines, at: int) -> list[Brood]:
    rings: dict[str, list[tuple[str, str]]] = {}
    others: dict[str, list[float]] = {}
    for chick, member in enumerate(lines.members):
        chance = _chance(lines, chick, at)
        if chance <= _LEAST:
            continue
        if member.ringed:
            ring = flock.birds.get(member.name)
            of = (ring.hatch if ring is not None else None) or member.group or ""
            note = "" if chance > _SURE else say("chance {chance:.0%}", chance=chance)
            rings.setdefault(of, []).append((member.name, note))
        else:
            others.setdefault(member.group or "", []).append(chance)
    return [
        Brood(of, tuple(rings.get(of, ())), _others(others.get(of, ())))
        for of in dict.fromkeys([*rings, *others])
    ]


def _others(chances: Iterable[float]) -> str:
    some = list(chances)
    if not some:
        return ""
    if min(some) > _SURE:
        return say_many("{n} bird without a ring", "{n} birds without a ring", len(some))
    return say_many(
        "{n} bird without a ring, its chick with a chance of {chance:.0%}",
        "{n} birds without a ring, each its chick with a chance of {chance:.0%}",
        len(some),
        chance=float(np.mean(some)),
    )


def _eggs(bird: RingedBird) -> str:
    if not bird.laid:
        return ""
    eggs = sum(entry.eggs for _, entry in bird.laid)
    days = sum(entry.days for _, entry in bird.laid)
    weighed = [(entry.total_g, entry.eggs) for _, entry in bird.laid
               if entry.total_g is not None and entry.eggs]  # fmt: skip
    said = say(
        "{eggs} in {days} known to be hers: {rate} a day.",
        eggs=say_many("{n} egg", "{n} eggs", eggs),
        days=say_many("{n} day", "{n} days", days),
        rate=figure(eggs / days, ".2f"),
    )
    if not weighed:
        return said
    mean = sum(grams for grams, _ in weighed) / sum(number for _, number in weighed)
    return said + " " + say("Mean weight {grams:.1f} g.", grams=mean)

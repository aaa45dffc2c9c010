"""Inbreeding and kinship in a keeper's words."""

from collections.abc import Sequence
from dataclasses import dataclass

from quailwright.flock.pedigree import Lines
from quailwright.husbandry.inheritance.pedigree import Chances, Pedigree
from quailwright.journal.entries import Sex
from quailwright.language import mark, say

_AS_CHICKS_OF = (
    (1 / 4, mark("as of full sibs' chicks, or of a parent's with its own chick")),
    (1 / 8, mark("as of half sibs' chicks")),
    (1 / 16, mark("as of first cousins' chicks")),
    (1 / 32, mark("as of half cousins' chicks")),
)
"""Inbreeding of chicks of parents not inbred themselves (Falconer and Mackay 1996, Introduction to
quantitative genetics, ch. 5; from memory)."""
_BETWEEN = (
    (1 / 4, mark("more than of full sibs' chicks")),
    (1 / 8, mark("more than of half sibs' chicks, less than of full sibs'")),
    (1 / 16, mark("more than of first cousins' chicks, less than of half sibs'")),
    (1 / 32, mark("more than of half cousins' chicks, less than of first cousins'")),
)
_AS_KIN = (
    (1 / 4, mark("as near as full sibs, or parent and chick")),
    (1 / 8, mark("as near as half sibs, or grandparent and grandchick")),
    (1 / 16, mark("as near as first cousins")),
    (1 / 32, mark("as near as half cousins")),
)
_KIN_BETWEEN = (
    (1 / 4, mark("nearer than full sibs of unrelated parents")),
    (1 / 8, mark("nearer than half sibs, not so near as full sibs")),
    (1 / 16, mark("nearer than first cousins, not so near as half sibs")),
    (1 / 32, mark("nearer than half cousins, not so near as first cousins")),
)
FIRST_COUSINS = 1 / 16
"""Inbreeding of first cousins' chicks: from here on a keeper is told."""
_SAME = 0.04
"""Within such a part of a round figure it is called by it."""
_HARDLY = 0.0005


def hardly(share: float) -> bool:
    """Whether inbreeding or kinship is so little that a tenth of a point would not show it."""
    return share < _HARDLY


def inbreeding_words(share: float) -> str:
    """What an inbreeding of this share is like: `as of half sibs' chicks`."""
    if hardly(share):
        return say("not inbred, as far as the record goes back")
    return _like(share, _AS_CHICKS_OF, _BETWEEN, mark("less than of half cousins' chicks"))


def kinship_words(share: float) -> str:
    """What a kinship of this share is like: `as near as half sibs`."""
    if hardly(share):
        return say("not related, as far as the record goes back")
    return _like(share, _AS_KIN, _KIN_BETWEEN, mark("farther than half cousins"))


def _like(
    share: float,
    same: Sequence[tuple[float, str]],
    between: Sequence[tuple[float, str]],
    below: str,
) -> str:
    for (figure, words), (_, above) in zip(same, between, strict=True):
        if abs(share - figure) <= _SAME * figure:
            return say(words)
        if share > figure:
            return say(above)
    return say(below)


@dataclass(frozen=True, slots=True)
class Tie:
    """How a bird is related to another.

    Attributes:
        words: `half sister`, `its father with a chance of 33 %`.
        rank: the smaller, the nearer in the order of a family; of no meaning else.
    """

    words: str
    rank: int


_NAMES: dict[str, dict[Sex, str]] = {
    "parent": {"cock": mark("father"), "hen": mark("mother"), "unknown": mark("parent")},
    "chick": {"cock": mark("son"), "hen": mark("daughter"), "unknown": mark("chick")},
    "full": {
        "cock": mark("full brother"), "hen": mark("full sister"), "unknown": mark("full sib"),
    },
    "half": {
        "cock": mark("half brother"), "hen": mark("half sister"), "unknown": mark("half sib"),
    },
    "grandparent": {
        "cock": mark("grandfather"), "hen": mark("grandmother"), "unknown": mark("grandparent"),
    },
    "grandchick": {
        "cock": mark("grandson"), "hen": mark("granddaughter"), "unknown": mark("grandchick"),
    },
    "aunt": {
        "cock": mark("parent's full brother"), "hen": mark("parent's full sister"),
        "unknown": mark("parent's full sib"),
    },
    "niece": {
        "cock": mark("full sib's son"), "hen": mark("full sib's daughter"),
        "unknown": mark("full sib's chick"),
    },
}  # fmt: skip
_WITH_CHANCE = {
    "parent": mark("{kin} with a chance of {chance:.0%}"),
    "chick": mark("{kin} with a chance of {chance:.0%}"),
    "grandparent": mark("{kin} with a chance of {chance:.0%}"),
    "grandchick": mark("{kin} with a chance of {chance:.0%}"),
}
_SURE = 0.999
_LEAST = 0.01
_ORDER = ("parent", "chick", "full", "half", "grandparent", "grandchick", "aunt", "niece")


def tie(lines: Lines, bird: int, other: int, kinship: float) -> Tie:
    """What `other` is to `bird`, both by their places in the pedigree."""
    pedigree, sex = lines.pedigree, lines.members[other].sex
    for what, chance in (
        ("parent", _is_parent(pedigree, bird, other)),
        ("chick", _is_parent(pedigree, other, bird)),
    ):
        if chance > _LEAST:
            return _told(what, sex, chance)
    father = _shared(pedigree.fathers[bird], pedigree.fathers[other])
    mother = _shared(pedigree.mothers[bird], pedigree.mothers[other])
    if min(father, mother) > _SURE:
        return _told("full", sex, 1.0)
    if max(father, mother) > _LEAST:
        return _sib(sex, father, mother)
    for what, chance in (
        ("grandparent", _is_grandparent(pedigree, bird, other)),
        ("grandchick", _is_grandparent(pedigree, other, bird)),
    ):
        if chance > _LEAST:
            return _told(what, sex, chance)
    if _is_parents_sib(pedigree, bird, other):
        return _told("aunt", sex, 1.0)
    if _is_parents_sib(pedigree, other, bird):
        return _told("niece", sex, 1.0)
    return Tie(kinship_words(kinship), len(_ORDER))


def _told(what: str, sex: Sex, chance: float) -> Tie:
    kin = say(_NAMES[what][sex])
    rank = _ORDER.index(what)
    if chance > _SURE:
        return Tie(kin, rank)
    return Tie(say(_WITH_CHANCE[what], kin=kin, chance=chance), rank)


def _sib(sex: Sex, father: float, mother: float) -> Tie:
    half, rank = _NAMES["half"], _ORDER.index("half")
    if max(father, mother) > _SURE and min(father, mother) <= _LEAST:
        return Tie(say(half[sex]), rank)
    return Tie(
        say(
            "sib by chance: same father {father:.0%}, same mother {mother:.0%}",
            father=father,
            mother=mother,
        ),
        rank,
    )


def _is_parent(pedigree: Pedigree, chick: int, parent: int) -> float:
    return pedigree.fathers[chick].get(parent, 0.0) + pedigree.mothers[chick].get(parent, 0.0)


def _is_grandparent(pedigree: Pedigree, chick: int, other: int) -> float:
    return sum(
        chance * _is_parent(pedigree, parent, other)
        for parents in (pedigree.fathers[chick], pedigree.mothers[chick])
        for parent, chance in parents.items()
    )


def _shared(mine: Chances, others: Chances) -> float:
    """The chance that two birds have one parent of these."""
    return sum(chance * others.get(parent, 0.0) for parent, chance in mine.items())


def _is_parents_sib(pedigree: Pedigree, chick: int, other: int) -> bool:
    """Whether it surely is a full sib of a parent."""
    for parents in (pedigree.fathers[chick], pedigree.mothers[chick]):
        for parent, chance in parents.items():
            father = _shared(pedigree.fathers[parent], pedigree.fathers[other])
            mother = _shared(pedigree.mothers[parent], pedigree.mothers[other])
            if chance > _SURE and min(father, mother) > _SURE and parent != other:
                return True
    return False

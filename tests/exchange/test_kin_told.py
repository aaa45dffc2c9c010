"""Kinship and inbreeding in words, by textbook cases (Falconer and Mackay 1996, ch. 5)."""

import pytest

from quailwright.exchange.kin_told import inbreeding_words, kinship_words, tie
from quailwright.flock.pedigree import Lines, Member
from quailwright.husbandry.inheritance.kinship import relationships
from quailwright.husbandry.inheritance.pedigree import Pedigree

NAMES = ["rex", "ada", "bea", "kim", "bo", "max", "lu", "chance"]
SEXES = ["cock", "hen", "hen", "hen", "cock", "cock", "hen", "unknown"]
# kim and max of rex and ada, bo of rex and bea, lu of bo and kim; chance of bo, and kim or ada.
FATHERS: list[dict[int, float]] = [{}, {}, {}, {0: 1}, {0: 1}, {0: 1}, {4: 1}, {4: 1}]
MOTHERS: list[dict[int, float]] = [{}, {}, {}, {1: 1}, {2: 1}, {1: 1}, {3: 1}, {3: 0.5, 1: 0.5}]


def ties(of: str, other: str) -> str:
    members = tuple(
        Member(name, sex, None, True, None, True, None, 0.0)  # type: ignore[arg-type]
        for name, sex in zip(NAMES, SEXES, strict=True)
    )
    lines = Lines(Pedigree(FATHERS, MOTHERS), members)
    bird, there = NAMES.index(of), NAMES.index(other)
    kinship = relationships(lines.pedigree)[bird, there] / 2
    return tie(lines, bird, there, float(kinship)).words


@pytest.mark.parametrize(
    ("of", "other", "words"),
    [
        ("kim", "rex", "father"), ("rex", "kim", "daughter"), ("kim", "max", "full brother"),
        ("kim", "bo", "half brother"), ("bo", "kim", "half sister"), ("lu", "rex", "grandfather"),
        ("ada", "lu", "granddaughter"), ("lu", "max", "parent's full brother"),
        ("max", "lu", "full sib's daughter"), ("rex", "ada", "not related"),
        ("chance", "ada", "mother with a chance of 50%"),
        ("chance", "lu", "sib by chance: same father 100%, same mother 50%"),
        ("bea", "kim", "not related"),
    ],
)  # fmt: skip
def test_a_bird_is_called_by_its_tie(of: str, other: str, words: str) -> None:
    assert ties(of, other).startswith(words)


@pytest.mark.parametrize(
    ("share", "words"),
    [
        (0.0, "not inbred"), (1 / 4, "as of full sibs' chicks"), (1 / 8, "as of half sibs'"),
        (1 / 16, "as of first cousins'"), (0.1, "more than of first cousins' chicks, less"),
        (0.2, "more than of half sibs' chicks, less"), (0.4, "more than of full sibs'"),
        (0.01, "less than of half cousins'"),
    ],
)  # fmt: skip
def test_inbreeding_is_likened_to_what_a_keeper_knows(share: float, words: str) -> None:
    assert inbreeding_words(share).startswith(words)


def test_kinship_is_likened_too() -> None:
    assert kinship_words(0.25).startswith("as near as full sibs")
    assert kinship_words(0.01) == "farther than half cousins"

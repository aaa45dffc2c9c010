"""What the record tells of a ringed bird's genes: its word, its parents, its chicks."""

from datetime import date
from fractions import Fraction
from typing import Any

import pytest
from tests.makers import made

from quailwright.flock.fold import fold
from quailwright.flock.plumage import guess_of, loci_with_kin, recorded
from quailwright.flock.state import Flock
from quailwright.husbandry.plumage.guesses import Told
from quailwright.journal import checks

ON = date(2027, 5, 2)


def birds(*rings: dict[str, Any]) -> Flock:
    return fold([made("bird", "2027-05-01", **ring) for ring in rings], ON)


def may_have(flock: Flock, name: str, *asked: str) -> dict[Any, Fraction]:
    bird = flock.birds[name]
    told = [Told(None, (look,)) for look in asked]
    codes = loci_with_kin(flock, [recorded(bird).told, *told], [name])
    assert bird.sex != "unknown"
    (ways,) = guess_of(flock, name, bird.sex, codes).values()
    return dict(ways)


def test_a_chick_of_a_lavender_sire_carries_for_certain() -> None:
    flock = birds(
        {"bird": "Wes", "sex": "cock", "plumage": "lavender"},
        {"bird": "Kid", "sex": "hen", "plumage": "wild", "sire": "Wes"},
    )
    assert may_have(flock, "Kid") == {("+", "lav"): 1}


def test_grandparents_are_asked_too() -> None:
    """Both parents are carriers for certain; a wild chick of two carriers carries in 2 of 3."""
    flock = birds(
        {"bird": "Wes", "sex": "cock", "plumage": "lavender"},
        {"bird": "Max", "sex": "cock", "plumage": "wild", "sire": "Wes"},
        {"bird": "Ada", "sex": "hen", "plumage": "wild", "sire": "Wes"},
        {"bird": "Kid", "sex": "hen", "plumage": "wild", "sire": "Max", "dam": "Ada"},
    )
    assert may_have(flock, "Kid") == {("+", "lav"): Fraction(2, 3), ("+", "+"): Fraction(1, 3)}


def test_a_lavender_chick_proves_its_parents_carriers() -> None:
    flock = birds(
        {"bird": "Max", "sex": "cock", "plumage": "wild"},
        {"bird": "Ada", "sex": "hen", "plumage": "wild"},
        {"bird": "Kid", "sex": "hen", "plumage": "lavender", "sire": "Max", "dam": "Ada"},
    )
    assert may_have(flock, "Max") == may_have(flock, "Ada") == {("+", "lav"): 1}


def test_a_brown_daughter_proves_her_sire_and_not_her_dam() -> None:
    """A hen's Z comes from her sire alone."""
    flock = birds(
        {"bird": "Max", "sex": "cock", "plumage": "wild"},
        {"bird": "Ada", "sex": "hen", "plumage": "wild"},
        {"bird": "Kid", "sex": "hen", "plumage": "brown", "sire": "Max", "dam": "Ada"},
    )
    assert may_have(flock, "Max") == {(("B",), ("N",)): 1}
    assert may_have(flock, "Ada") == {(("N",),): 1}


def test_a_circle_of_parents_ends() -> None:
    flock = birds(
        {"bird": "A", "sex": "cock", "plumage": "wild", "sire": "B", "dam": "A"},
        {"bird": "B", "sex": "cock", "plumage": "lavender", "sire": "A", "dam": "B"},
    )
    assert may_have(flock, "A") == {("+", "lav"): 1}


@pytest.mark.parametrize(
    ("plumage", "look", "may_be"),
    [
        ("Lavender", ("lavender",), 0),
        ("silver + lavender", ("silver", "lavender"), 0),
        ("golden", (), 4),
        ("my own word", (), 0),
    ],
)
def test_the_word_of_a_bird(plumage: str, look: tuple[str, ...], may_be: int) -> None:
    flock = birds({"bird": "Kid", "sex": "hen", "plumage": plumage})
    found = recorded(flock.birds["Kid"])
    assert (found.told.look, len(found.may_be), found.known) == (look, may_be, bool(look))


@pytest.mark.parametrize(
    ("sex", "genotype", "sentence"),
    [
        ("hen", "AL: C/A", "genotype: Locus AL lies on Z, and a hen has one Z"),
        ("cock", "E: E/q", "Locus E (extended brown) has no allele 'q'. It has E, +."),
        ("unknown", "rubbish", "genotype: 'rubbish' is no genotype"),
    ],
)
def test_a_genotype_is_checked_when_written(sex: str, genotype: str, sentence: str) -> None:
    fields = {"kind": "bird", "id": "0191d5a0-5f5e-7c3a-9d52-3f0c5a1b2c3d", "at": "2027-05-02"}
    entry, findings = checks.build_entry(fields | {"bird": "K", "sex": sex, "genotype": genotype})
    assert entry is None
    assert any(sentence in one.sentence for one in findings)
    sound, _ = checks.build_entry(fields | {"bird": "K", "sex": "hen", "genotype": "B/+ C/W"})
    assert sound is not None

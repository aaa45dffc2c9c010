"""Roles hold on what an entry means: also on what takes back, and on what takes back that."""

from typing import Any, get_args

import pytest
from tests.makers import made

from quailwright.exchange.who_may import may_write, refused
from quailwright.journal.entries import KINDS, Entry, as_dict
from quailwright.journal.people import PersonRole

HOLDING = made("holding", name="Home")
EGGS = made("eggs_collected", group="hens", eggs=3, by="Ida")
OTHERS = made("eggs_collected", group="hens", eggs=4, by="Mira")
GONE = made("retract", entry=HOLDING.id, why="wrong", by="Mira")
KNOWN = {entry.id: entry for entry in (HOLDING, EGGS, OTHERS, GONE)}


def back(entry: Entry, instead: Entry | None = None) -> Entry:
    """Takes an entry back."""
    given: dict[str, Any] = {"instead": as_dict(instead)} if instead is not None else {}
    return made("retract", entry=entry.id, why="wrong", **given)


@pytest.mark.parametrize(
    ("role", "entry", "may"),
    [
        ("keeper", HOLDING, True),
        ("keeper", back(HOLDING), True),
        ("helper", EGGS, True),
        ("helper", back(OTHERS), True),
        ("helper", HOLDING, False),
        ("helper", back(HOLDING), False),
        ("helper", back(GONE), False),
        ("helper", back(EGGS, instead=made("goal", eggs_per_week=1)), False),
        ("child", EGGS, True),
        ("child", back(EGGS), True),
        ("child", back(OTHERS), False),
        ("child", made("birds_died", group="hens", hens=1), False),
        ("child", back(EGGS, instead=made("eggs_collected", group="hens", eggs=2)), False),
        ("viewer", EGGS, False),
        (None, EGGS, False),
    ],
)
def test_a_role_holds_on_what_an_entry_means(
    role: PersonRole | None, entry: Entry, may: bool
) -> None:
    assert (refused(role, "Ida", [entry], KNOWN) == "") == may


def test_an_entry_and_its_undoing_may_come_together() -> None:
    fresh = made("eggs_collected", group="hens", eggs=5, by="Ida")
    assert refused("child", "Ida", [fresh, back(fresh)], {}) == ""


def test_what_takes_itself_back_in_a_ring_ends() -> None:
    one = made("retract", id="00000000-0000-4000-8000-00000000000a",
               entry="00000000-0000-4000-8000-00000000000b", why="x")  # fmt: skip
    two = made("retract", id="00000000-0000-4000-8000-00000000000b", entry=one.id, why="x")
    assert refused("child", "Ida", [one, two], {})


def test_each_role_writes_less_than_the_one_before() -> None:
    allowed = {role: {kind for kind in KINDS if may_write(role, kind)}
               for role in get_args(PersonRole)}  # fmt: skip
    assert allowed["keeper"] == set(KINDS)
    assert allowed["keeper"] > allowed["helper"] > allowed["child"] > allowed["viewer"] == set()

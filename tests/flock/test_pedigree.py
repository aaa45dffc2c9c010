"""Who may descend from whom, by what the journal tells of pens, hatches and rings."""

from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from tests.flock.journals import journals
from tests.makers import made, uid

from quailwright.flock.fold import fold
from quailwright.flock.individuals import MOST_APART
from quailwright.flock.pedigree import Lines, lines_of, parentage_sure_from
from quailwright.flock.state import Flock
from quailwright.husbandry.inheritance.kinship import inbreeding, relationships


class Log:
    """A journal written line by line."""

    def __init__(self) -> None:
        self.entries = []

    def __call__(self, kind: str, at: str, **fields: object) -> None:
        self.entries.append(made(kind, at, id=uid(len(self.entries)), **fields))

    @property
    def flock(self) -> Flock:
        return fold(self.entries)

    @property
    def lines(self) -> Lines:
        return lines_of(self.flock)


@settings(max_examples=150)
@given(journals(size=18))
def test_any_journal_gives_a_valid_pedigree(entries):
    flock = fold(entries)
    lines = lines_of(flock)  # raises where a parent stands after its chick, or chances are none
    assert len(lines.members) == len(lines.pedigree)
    assert set(flock.birds) <= set(lines.places)
    names = [member.name for member in lines.members]
    assert len(set(names)) == len(names)
    for ring, place in lines.places.items():
        assert lines.members[place].name == ring
    for place in ("shed", "barn", "loft"):
        parentage_sure_from(flock, place)


@settings(max_examples=100)
@given(journals(size=18))
def test_as_many_birds_stand_in_it_as_live(entries):
    flock = fold(entries)
    lines = lines_of(flock)
    for group in flock.groups_alive():
        here = [m for m in lines.members if m.alive and m.group == group.name]
        ringed = sum(m.ringed for m in here)
        assert len(here) >= min(group.alive.total, MOST_APART)
        assert len(here) <= group.alive.total + ringed

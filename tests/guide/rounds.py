"""Rounds made from small journals, and what a test looks for in them."""

from collections.abc import Iterable
from datetime import date, timedelta

from tests.makers import made

from quailwright.flock.fold import fold
from quailwright.flock.state import Flock
from quailwright.guide.round import Round, Task, todays_round
from quailwright.guide.signs import Sign
from quailwright.journal.entries import Entry

START = date(2027, 5, 2)


def day(number: int) -> date:
    """The day so many days after the start."""
    return START + timedelta(days=number)


def home(zone: str = "Europe/Lisbon", units: str = "metric") -> Entry:
    """The holding."""
    return made("holding", "2027-01-01", timezone=zone, units=units)


def adults(place: str = "pen", hens: int = 32, cocks: int = 8, age: int = 200) -> list[Entry]:
    """A pen with grown birds since the start."""
    hatched = START - timedelta(days=age)
    return [
        made("place", "2027-01-01", place=place, role="pen"),
        made("group", START, group=f"{place} birds", place=place, hens=hens, cocks=cocks,
             hatched_on=str(hatched)),
    ]  # fmt: skip


def chicks(number: int = 30, place: str = "brooder") -> list[Entry]:
    """A brooder with chicks hatched at the start."""
    return [
        made("place", "2027-01-01", place=place, role="brooder"),
        made("group", START, group="chicks", place=place, chicks=number, hatched_on=str(START)),
    ]


def hatch(name: str = "may", at: str = "2027-05-02T20:00+01:00", place: str = "incubator",
          eggs: int = 24) -> Entry:  # fmt: skip
    """A setting."""
    return made("eggs_set", at, hatch=name, eggs=eggs, place=place, source="friend")


def standing_on(entries: Iterable[Entry], on: date) -> Flock:
    """What stands at the end of the day."""
    return fold(entries, on)


def round_on(entries: Iterable[Entry], on: date) -> Round:
    """The round of the day."""
    return todays_round(standing_on(entries, on), on)


def tasks_of(the_round: Round) -> list[Task]:
    """Every task of the round, in its order."""
    return [task for place in the_round.places for task in place.tasks]


def asked(the_round: Round, rule: str, place: str | None = None) -> list[Task]:
    """The tasks of that rule, anywhere or at one place."""
    return [t for t in tasks_of(the_round) if t.rule == rule and place in (None, t.place)]


def rules_asked(the_round: Round) -> set[str]:
    """The names of all rules on the round."""
    return {task.rule for task in tasks_of(the_round)}


def missed_rules(the_round: Round) -> set[str]:
    """The names of the rules whose step is told of as too late."""
    return {missed.rule for missed in the_round.missed}


def signs_of(the_round: Round, sign: str) -> list[Sign]:
    """The signs of that name."""
    return [found for found in the_round.signs if found.sign == sign]

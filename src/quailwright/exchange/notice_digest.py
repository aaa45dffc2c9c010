"""The digest of a day: what is due, what looks wrong, hatches, eggs held back, in a few lines."""

from collections.abc import Iterator
from datetime import date, datetime

from quailwright.exchange.air_seen import air_seen
from quailwright.exchange.desk import Desk
from quailwright.flock.state import Flock
from quailwright.guide import wording
from quailwright.guide.notices.words import Letter
from quailwright.guide.round import Round, day_at, day_of_hatch, todays_round
from quailwright.language import say, say_many

_MOST = 6
"""Lines of one part: a digest is read at a glance."""


def digest(desk: Desk, flock: Flock, address: str, now: datetime) -> Letter:
    """The digest of the day of `now` at the holding, in the language spoken."""
    on = day_at(flock, now)
    todays = todays_round(flock, on, air_seen(desk.store, flock, now))
    parts = [part for part in _parts(flock, todays, now) if part]
    if address:
        parts.append([address])
    return Letter(
        say("Quail on {day}", day=wording.day_and_month(on)),
        "\n\n".join("\n".join(part) for part in parts),
    )


def _parts(flock: Flock, todays: Round, now: datetime) -> Iterator[list[str]]:
    tasks = [task for place in todays.places for task in place.tasks]
    yield [
        say_many(
            "{n} task today, about {minutes:.0f} minutes.",
            "{n} tasks today, about {minutes:.0f} minutes.",
            len(tasks), minutes=todays.minutes + todays.minutes_apart,
        )
    ]  # fmt: skip
    yield _at_most([
        say("{what}: {task}", what=task.subject or task.place, task=task.task)
        for task in tasks if task.once
    ])  # fmt: skip
    yield _at_most([
        say("Look: {where}, {sign}", where=sign.where, sign=say(sign.sign))
        for sign in todays.signs
    ])  # fmt: skip
    yield _at_most([
        say("Hatch {hatch}: {day}, {eggs} eggs.",
            hatch=hatch.name, day=day_of_hatch(hatch, now), eggs=hatch.alive)
        for hatch in flock.hatches_open()
    ])  # fmt: skip
    yield _at_most([_held(held.what, held.of, held.until) for held in todays.withheld])


def _held(what: str, of: str, until: date | None) -> str:
    parts = {"what": say(what), "whose": of}
    if until is not None:
        return say(
            "Not to be used or moved, up to and on {day}: {what} of {whose}.",
            day=wording.weekday(until), **parts,
        )  # fmt: skip
    return say("Not to be used or moved: {what} of {whose}.", **parts)


def _at_most(lines: list[str]) -> list[str]:
    more = len(lines) - _MOST
    if more <= 0:
        return lines
    return [*lines[:_MOST], say_many("And {n} more.", "And {n} more.", more)]

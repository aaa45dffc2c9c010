"""The sitter's sheet as JSON."""

from datetime import date
from typing import TypedDict

from quailwright.exchange.sitter import SitterSheet, Visit, Week
from quailwright.guide.away import Falls


class SitterLineShape(TypedDict):
    """One thing to do, with the mark beside it."""

    column: str
    mark: str
    text: str
    short: str


class SitterStopShape(TypedDict):
    """A place on a round."""

    place: str
    holds: str
    held: str
    lines: list[SitterLineShape]


class SitterVisitShape(TypedDict):
    """A round at a clock time."""

    name: str
    at: str
    stops: list[SitterStopShape]


class SitterWeekShape(TypedDict):
    """A page: days of one week, its rounds, and the counts to fill in."""

    monday: str
    days: list[str]
    visits: list[SitterVisitShape]
    eggs: list[str]
    deaths: list[str]
    feeds: list[str]
    feeds_usual: list[str]
    waters: list[str]
    waters_usual: list[str]


class SitterStepShape(TypedDict):
    """A step of a hatch or of chicks that falls into the absence."""

    at: str
    until: str | None
    place: str
    subject: str
    task: str
    when: str
    by: str | None
    critical: bool
    instead: str


class SitterSetShape(TypedDict):
    """A planned set that had better begin on another day."""

    hatch: str
    on: str
    instead_before: str | None
    instead_after: str


class SitterFeedShape(TypedDict):
    """Feed for all days away."""

    stage: str
    needed_kg: float
    store_kg: float | None
    lasts_days: float | None


class SitterContactShape(TypedDict):
    """Whom to ring."""

    contact: str
    role: str
    phone: str


SitterShape = TypedDict(
    "SitterShape",
    {
        "on": str,
        "from": str,
        "until": str,
        "weeks": list[SitterWeekShape],
        "steps": list[SitterStepShape],
        "quiet_from": str | None,
        "sets": list[SitterSetShape],
        "feeds": list[SitterFeedShape],
        "held": list[str],
        "before": list[str],
        "after": list[str],
        "never": list[str],
        "ring_if": list[str],
        "failing": list[str],
        "hands": list[str],
        "contacts": list[SitterContactShape],
        "lacking": list[str],
    },
)
"""`away --json`."""


def sitter_shape(sheet: SitterSheet) -> SitterShape:
    """The sheet as plain values: days and instants by ISO 8601, amounts in words and in SI."""
    return {
        "on": sheet.on.isoformat(),
        "from": sheet.asked.first.isoformat(),
        "until": sheet.asked.last.isoformat(),
        "weeks": [_week(week) for week in sheet.weeks],
        "steps": [_step(step) for step in sheet.steps],
        "quiet_from": _iso(sheet.quiet_from),
        "sets": [
            {
                "hatch": one.hatch,
                "on": one.on.isoformat(),
                "instead_before": _iso(one.instead_before),
                "instead_after": one.instead_after.isoformat(),
            }
            for one in sheet.sets
        ],
        "feeds": [
            {
                "stage": feed.stage,
                "needed_kg": round(feed.needed_kg, 3),
                "store_kg": feed.store_kg,
                "lasts_days": None if feed.lasts_days is None else round(feed.lasts_days, 1),
            }
            for feed in sheet.feeds
        ],
        "held": sheet.held,
        "before": sheet.before,
        "after": sheet.after,
        "never": sheet.never,
        "ring_if": sheet.ring_if,
        "failing": sheet.failing,
        "hands": sheet.hands,
        "contacts": [
            {"contact": one.contact, "role": one.role, "phone": one.phone} for one in sheet.contacts
        ],
        "lacking": sheet.lacking,
    }


def _iso(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


def _week(week: Week) -> SitterWeekShape:
    return {
        "monday": week.monday.isoformat(),
        "days": [day.isoformat() for day in week.days],
        "visits": [_visit(visit) for visit in week.visits],
        "eggs": week.eggs,
        "deaths": week.deaths,
        "feeds": week.feeds,
        "feeds_usual": week.feeds_usual,
        "waters": week.waters,
        "waters_usual": week.waters_usual,
    }


def _visit(visit: Visit) -> SitterVisitShape:
    return {
        "name": visit.name,
        "at": f"{visit.at:%H:%M}",
        "stops": [
            {
                "place": stop.place,
                "holds": stop.holds,
                "held": stop.held,
                "lines": [
                    {
                        "column": line.column,
                        "mark": line.mark,
                        "text": line.text,
                        "short": line.short,
                    }
                    for line in stop.lines
                ],
            }
            for stop in visit.stops
        ],
    }


def _step(step: Falls) -> SitterStepShape:
    return {
        "at": step.at.isoformat(),
        "until": _iso(step.until),
        "place": step.place,
        "subject": step.subject,
        "task": step.task,
        "when": step.when,
        "by": _iso(step.by),
        "critical": step.critical,
        "instead": step.instead,
    }

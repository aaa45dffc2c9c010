"""What a plan is asked, as plain questions: their answers so far, and the brief that they make.

A question bears the name that the brief gives what it asks for, so that what the brief's own reader
finds wrong can be said beside it.
"""

import math
import tomllib
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Literal

from quailwright.flock.state import Flock
from quailwright.husbandry import facts
from quailwright.journal.entries import LONGEST_BRIEF
from quailwright.journal.findings import BadInput
from quailwright.language import TwoReadings, dated, mark, say, with_point
from quailwright.outlook.report import prices_of
from quailwright.planning.brief import CERTAINTY, Brief, completed, read_brief
from quailwright.planning.brief_text import brief_text

Takes = Literal["number", "whole", "day", "text", "choice"]

SURE = (
    ("0.6", mark("more often than not")),
    ("0.8", mark("four weeks in five")),
    ("0.95", mark("nearly always")),
)
_LAMP = (
    ("", mark("as it is now")),
    ("true", mark("with a lamp")),
    ("false", mark("without a lamp")),
)
_TO_BEGIN = timedelta(weeks=2)
"""Our judgement: to find eggs and warm the machine."""


@dataclass(frozen=True, slots=True)
class Question:
    """One thing that is asked.

    Attributes:
        name: of the value in the brief.
        label, says: what is asked, and a word on it.
        choices: values to choose from, with their words.
        value: the answer so far, as text.
        said: what is wrong with it.
        more: whether it is folded away until asked for.
    """

    name: str
    label: str
    says: str
    takes: Takes
    choices: tuple[tuple[str, str], ...] = ()
    value: str = ""
    said: tuple[str, ...] = ()
    more: bool = False


def questions(
    flock: Flock,
    on: date,
    typed: Mapping[str, str] | None = None,
    said: Mapping[str, tuple[str, ...]] | None = None,
    besides: Mapping[str, str] | None = None,
) -> list[Question]:
    """The questions with what was typed, else with the accepted brief's answers, else with those
    that the journal gives.

    Args:
        flock: folded up to the end of the day `on`.
        said: what is wrong with an answer, by name.
        besides: answers that take the place of those so far, by name.
    """
    values = {**(typed if typed is not None else _so_far(flock, on)), **(besides or {})}
    wrong = said or {}
    currency = flock.holding.currency if flock.holding is not None else ""
    return [
        Question(name, label, says, takes, choices, values.get(name, ""), wrong.get(name, ()), more)
        for name, label, says, takes, choices, more in _asked(flock, on, currency)
    ]


_Row = tuple[str, str, str, Takes, tuple[tuple[str, str], ...], bool]


def _asked(flock: Flock, on: date, currency: str) -> Iterator[_Row]:
    sure, lamp, months = _said(SURE), _said(_LAMP), _months()
    yield "goal.eggs_per_week", say("eggs a week"), "", "number", (), False
    yield "goal.table_birds_per_month", say("table birds a month"), "", "number", (), False
    yield "goal.certainty", say("how sure, week by week"), "", "choice", sure, False
    yield "goal.from", say("from when"), "", "day", (), False
    yield "limits.lamp", say("lamp"), "", "choice", lamp, False
    yield "limits.absences 1, from", say("away from"), "", "day", (), False
    yield "limits.absences 1, until", say("away until"), "", "day", (), False
    yield "limits.max_birds", say("most grown birds"), "", "whole", (), False
    if not _has_incubator(flock):
        label, says = (
            say("eggs that your incubator holds"),
            say("no incubator is in the journal yet"),
        )
        yield "place 1, capacity_eggs", label, says, "whole", (), False
    if not _has_source(flock, on):
        label, says = say("hatching eggs from"), say("whom you would get them from")
        yield "source 1, source", label, says, "text", (), False
        yield "source 1, route", say("they are"), "", "choice", _said(ROUTES), False
        yield "source 1, price_per_egg", say("price of an egg"), currency, "number", (), False
    yield "goal.until", say("until"), say("a year when left empty"), "day", (), True
    yield (
        "goal.breeding_hens",
        say("hens to breed from"),
        say("kept all the time"),
        "whole",
        (),
        True,
    )
    yield "limits.budget_per_month", say("most to spend a month"), currency, "number", (), True
    yield "limits.minutes_per_day", say("most minutes a day"), "", "number", (), True
    label, says = say("bought eggs from"), say("the first day you can have them")
    yield "limits.earliest_eggs", label, says, "day", (), True
    label, says = say("hens a cock"), say("none is kept when left empty")
    yield "limits.hens_per_cock", label, says, "number", (), True
    yield "limits.absences 2, from", say("away again from"), "", "day", (), True
    yield "limits.absences 2, until", say("until then"), "", "day", (), True
    label, says = say("no chicks from"), say("every year")
    yield "limits.no_hatching 1, from", label, says, "choice", months, True
    yield "limits.no_hatching 1, until", say("through"), "", "choice", months, True
    yield "prices.feed_per_kg", say("price of feed a kg"), currency, "number", (), True
    says = say("{currency} 0 if none", currency=currency).strip()
    yield "prices.minute", say("price of your minute"), says, "number", (), True
    yield "prices.kwh", say("price of a kWh"), currency, "number", (), True


ROUTES = (("collected", mark("fetched nearby")), ("shipped", mark("sent by post")))


def _said(choices: tuple[tuple[str, str], ...]) -> tuple[tuple[str, str], ...]:
    return tuple((value, say(words)) for value, words in choices)


def _months() -> tuple[tuple[str, str], ...]:
    days = [date(2000, number, 1) for number in range(1, 13)]
    return (("", ""), *((f"{day:%m}", dated(day, f"{day:%B}", "MMMM")) for day in days))


def _has_incubator(flock: Flock) -> bool:
    return any(
        place.role == "incubator" and place.capacity_eggs and not place.closed
        for place in flock.places.values()
    )


def _has_source(flock: Flock, on: date) -> bool:
    brief, _ = completed(Brief(), flock, on)
    return bool(brief.sources)


def _so_far(flock: Flock, on: date) -> dict[str, str]:
    found = {"goal.certainty": f"{CERTAINTY:g}", "goal.from": _from_when(flock, on).isoformat()}
    if flock.goal is not None:
        goal = flock.goal
        found["goal.eggs_per_week"] = _as_text(goal.eggs_per_week)
        found["goal.table_birds_per_month"] = _as_text(goal.table_birds_per_month)
        found["goal.until"] = _as_text(goal.until)
        found["goal.certainty"] = _nearest_certainty(goal.certainty)
        if goal.from_ is not None and goal.from_ > on:
            found["goal.from"] = goal.from_.isoformat()
    feed = prices_of(flock, on).feed_per_kg
    if feed is not None:
        found["prices.feed_per_kg"] = f"{feed:.2f}"
    if flock.plan is not None:
        told = _flat(_values(flock.plan.brief.encode()))
        if told.get("goal.from", "") <= on.isoformat():
            told.pop("goal.from", None)
        if "goal.certainty" in told:
            told["goal.certainty"] = _nearest_certainty(float(told["goal.certainty"]))
        if told.get("limits.lamp") not in (None, "false"):
            told["limits.lamp"] = "true"
        found |= told
    return found


def _from_when(flock: Flock, on: date) -> date:
    """From tomorrow where there are hens; else when chicks of eggs set soon would lay."""
    if any(group.alive.hens for group in flock.groups_alive()):
        return on + timedelta(days=1)
    grown = facts.figure("laying.rise_mid_w").high or 0.0
    hatched_d = facts.value("incubation.hatch_day_late")
    return on + _TO_BEGIN + timedelta(days=round(hatched_d), weeks=round(grown))


def _nearest_certainty(asked: float | None) -> str:
    sure = CERTAINTY if asked is None else asked
    return min((value for value, _ in SURE), key=lambda value: abs(float(value) - sure))


def _as_text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _values(brief: bytes) -> dict[str, Any]:
    return tomllib.loads(brief.decode("utf-8-sig"))


def _flat(values: Mapping[str, Any]) -> dict[str, str]:
    """The answers that a brief gives, by the names of the questions."""
    found = {}
    for table in _TABLES:
        for key, value in values.get(table, {}).items():
            if key in _PAIRS:
                for number, pair in enumerate(value, 1):
                    for end, one in zip(_ENDS, pair, strict=True):
                        found[f"{table}.{key} {number}, {end}"] = str(one)
            elif not isinstance(value, list | dict):
                found[f"{table}.{key}"] = _as_text(value)
    return found


_TABLES = ("goal", "limits", "prices")
_LISTS = ("place", "source")
_NOT_ASKED = ("holding", "place", "source", "feed")
"""Tables of a brief that an answer leaves as they are."""
_PAIRS = ("absences", "no_hatching")
_ENDS = ("from", "until")
_TEXTS = ("source", "route")
"""Answers that are text, whatever they look like."""


def brief_of(typed: Mapping[str, str], earlier: bytes = b"") -> bytes:
    """The brief that answers make: TOML, read back without a fault.

    Args:
        typed: text by the names of the questions; what is empty is not asked.
        earlier: a brief whose places, sources, feeds and holding stay as they are.

    Raises:
        BadInput: an answer will not do, with every finding; its field is the question's name.
    """
    before = _values(earlier)
    return _written(typed, {name: before[name] for name in _NOT_ASKED if name in before})


def changed(brief: bytes, whole: Brief, typed: Mapping[str, str], machine_eggs: str = "") -> bytes:
    """A brief with some answers changed; those left empty set no limit.

    Args:
        whole: the brief as it was completed: its goal is written out, so that the journal's stays.
        machine_eggs: what the one incubator holds; "" for as it is.

    Raises:
        BadInput: as `brief_of`.
    """
    before, goal = _values(brief), whole.goal
    values = _flat(before) | {
        "goal.eggs_per_week": _as_text(goal.eggs_per_week),
        "goal.table_birds_per_month": _as_text(goal.table_birds_per_month),
        "goal.breeding_hens": _as_text(goal.breeding_hens),
        "goal.from": _as_text(goal.first),
        "goal.until": _as_text(goal.last),
        "goal.certainty": _as_text(goal.certainty),
    }
    kept = {name: before[name] for name in _NOT_ASKED if name in before}
    if machine_eggs:
        kept["place"] = _holding_so_many(kept.get("place", []), whole, number_or_day(machine_eggs))
    for table, key in (("goal", "season"), ("limits", "minutes_per_day")):
        if isinstance(before.get(table, {}).get(key), list | dict):
            kept[table] = {key: before[table][key]}
    return _written(values | dict(typed), kept)


def _holding_so_many(places: Any, whole: Brief, eggs: Any) -> list[dict[str, Any]]:
    """The brief's places, its first incubator holding so many eggs."""
    name = whole.places_for("incubator")[0].name
    others = [one for one in places if one.get("place") != name]
    told: dict[str, Any] = next((one for one in places if one.get("place") == name), {})
    return [*others, {**told, "place": name, "role": "incubator", "capacity_eggs": eggs}]


def _written(typed: Mapping[str, str], kept: Mapping[str, Any]) -> bytes:
    values = dict(kept)
    for name, text in typed.items():
        if text:
            _put(values, name, text)
    if "place 1, capacity_eggs" in typed and "place" in values:
        values["place"][0] |= {"place": "incubator", "role": "incubator"}
    brief = brief_text(values).encode()
    if len(brief) > LONGEST_BRIEF:
        raise BadInput(
            say("That is too much for a plan: {most} characters can be kept.", most=LONGEST_BRIEF)
        )
    _, findings = read_brief(brief)
    if findings:
        raise BadInput(say("There is no plan like this yet."), tuple(findings))
    return brief


def _put(values: dict[str, Any], name: str, text: str) -> None:
    """Puts an answer where its name says; of a pair of which one end is left empty, both are it."""
    head, _, key = name.partition(", ")
    if not key:
        table, _, key = head.partition(".")
        if table in _TABLES and key:
            value = number_or_day(text)
            no_lamp = key == "lamp" and value == 0
            values.setdefault(table, {})[key] = False if no_lamp else value
        return
    path, _, _ = head.partition(" ")
    if path in _LISTS:
        rows = values.setdefault(path, [{}])
        rows[0][key] = text if key in _TEXTS else number_or_day(text)
        return
    table, _, pairs = path.partition(".")
    if table in _TABLES and pairs in _PAIRS and key in _ENDS:
        _put_end(values.setdefault(table, {}), pairs, head, key, text)


def _put_end(table: dict[str, Any], pairs: str, head: str, end: str, text: str) -> None:
    value = text if pairs == "no_hatching" and len(text) == len("08") else number_or_day(text)
    rows = table.setdefault(pairs, [])
    number = int(head.rpartition(" ")[2])
    if end == "from" or len(rows) < number:
        rows.append([value, value])
    else:
        rows[-1][1] = value


def number_or_day(text: str) -> Any:
    """A number, a day, a yes or no; what is none of them stays text, for the reader to refuse."""
    if text in ("true", "false"):
        return text == "true"
    try:
        plain = with_point(text)
    except TwoReadings:
        return text
    with suppress(ValueError):
        return int(plain)
    with suppress(ValueError):
        return float(plain) if math.isfinite(float(plain)) else text
    with suppress(ValueError):
        return date.fromisoformat(text)
    return text


def check(brief: bytes, flock: Flock, on: date) -> None:
    """Raises BadInput, with every finding, when a brief lacks something that nobody told."""
    read, findings = read_brief(brief)
    if read is not None:
        _, findings = completed(read, flock, on)
    if findings:
        raise BadInput(say("There is no plan without this:"), tuple(findings))

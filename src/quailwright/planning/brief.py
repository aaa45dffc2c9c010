"""What a keeper asks of a plan, read from TOML, and completed from the journal."""

import difflib
import json
import math
import re
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Annotated, Any, TypeVar

import msgspec
from msgspec import Meta

from quailwright.flock.state import Flock
from quailwright.husbandry import facts
from quailwright.journal import entries as kinds
from quailwright.journal.checks import describe, has_deep_keys, own_problems
from quailwright.journal.findings import Finding
from quailwright.journal.moments import FIRST_YEAR, LAST_YEAR
from quailwright.language import later, mark, say
from quailwright.outlook.report import prices_of
from quailwright.planning.problem import Span

CERTAINTY = 0.8
LEAST_CERTAINTY, MOST_CERTAINTY = 0.5, 0.99
_USUAL_SPAN = timedelta(weeks=52)
_WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_MONTHS_A_YEAR = 12


# What is asked.


@dataclass(frozen=True, slots=True)
class Months:
    """Months that come round every year, both counted; November to February is 11 to 2."""

    first: int
    last: int

    def holds(self, day: date) -> bool:
        """Whether the day lies in them."""
        since = (day.month - self.first) % _MONTHS_A_YEAR
        return since <= (self.last - self.first) % _MONTHS_A_YEAR


When = Span | Months


@dataclass(frozen=True, slots=True)
class Season:
    """Eggs wanted a week in a part of the time."""

    when: When
    eggs_per_week: float


@dataclass(frozen=True, slots=True)
class Goal:
    """What is wanted.

    Attributes:
        eggs_per_week, table_birds_per_month: None where nothing is asked.
        seasons: eggs a week that hold instead while they last; of two, the later.
        cushion: share wanted on top, 0 to 1.
        first, last: days; None where not told.
        certainty: chance that a week is met; None where not told.
        breeding_hens: hens kept all the time, with their cocks; None where nothing is asked.
    """

    eggs_per_week: float | None = None
    table_birds_per_month: float | None = None
    seasons: tuple[Season, ...] = ()
    cushion: float = 0.0
    first: date | None = None
    last: date | None = None
    certainty: float | None = None
    breeding_hens: int | None = None

    @property
    def asks(self) -> bool:
        """Whether it asks for anything."""
        amounts = (self.eggs_per_week, self.table_birds_per_month, self.breeding_hens)
        return any(amounts) or any(season.eggs_per_week for season in self.seasons)

    @property
    def sure(self) -> float:
        """The certainty, `CERTAINTY` where none was told."""
        return CERTAINTY if self.certainty is None else self.certainty

    def days(self, on: date) -> Span:
        """The days it holds for as seen on `on`: from tomorrow at the earliest, a year if no end
        was told, and never more than two years ahead."""
        first = max(self.first or on, on + timedelta(days=1))
        last = first + _USUAL_SPAN - timedelta(days=1) if self.last is None else self.last
        return Span(first, min(last, _two_years_after(on)))

    def eggs_per_week_on(self, day: date) -> float:
        """Eggs a week wanted on a day within its days, cushion and all."""
        wanted = self.eggs_per_week or 0.0
        for season in self.seasons:
            if season.when.holds(day):
                wanted = season.eggs_per_week
        return wanted * (1.0 + self.cushion)


@dataclass(frozen=True, slots=True)
class Limits:
    """What the plan must keep to. Infinite or None where there is no limit.

    Attributes:
        minutes_by_weekday: Monday first.
        absences: no step of a hatch may need hands then; no_hatching: nothing may hatch then.
        earliest_eggs: first day on which bought eggs can be there.
        lamp_h: hours of light that a lamp makes of each day, 0 for no lamp, None for as things are.
        lamp: a lamp is asked for, without its hours; `completed` puts them into `lamp_h`.
    """

    budget_per_month: float = math.inf
    minutes_by_weekday: tuple[float, ...] = (math.inf,) * len(_WEEKDAYS)
    max_birds: int | None = None
    no_hatching: tuple[When, ...] = ()
    absences: tuple[Span, ...] = ()
    earliest_eggs: date | None = None
    lamp_h: float | None = None
    lamp: bool = False
    hens_per_cock: float | None = None
    keep_hens_until_w: float | None = None


@dataclass(frozen=True, slots=True)
class Place:
    """Room for eggs or birds; None where its size was not told."""

    name: str
    role: kinds.Role
    capacity_eggs: int | None = None
    floor_m2: float | None = None
    heater_w: float | None = None


@dataclass(frozen=True, slots=True)
class Source:
    """Where hatching eggs come from; an own group with cocks is one too.

    Attributes:
        least_eggs, most_eggs: of one order; most is None where there is no end of eggs.
        claimed_hatch_of_set: what the seller says, 0 to 1.
        first, last: days on which it has eggs; None where it always has.
    """

    name: str
    route: kinds.Route
    price_per_egg: float | None = None
    postage: float = 0.0
    least_eggs: int = 1
    most_eggs: int | None = None
    claimed_hatch_of_set: float | None = None
    first: date | None = None
    last: date | None = None


@dataclass(frozen=True, slots=True)
class Feed:
    """A feed by its label."""

    name: str
    stage: kinds.Stage | None = None
    protein_pct: float | None = None
    me_kcal_kg: float | None = None
    calcium_pct: float | None = None
    price_per_kg: float | None = None
    bag_kg: float | None = None


@dataclass(frozen=True, slots=True)
class Prices:
    """What things are worth, in the keeper's currency; None where not told.

    `egg` and `bird` are what one is worth eaten or sold, `minute` the keeper's own minute.
    """

    egg: float | None = None
    bird: float | None = None
    minute: float | None = None
    kwh: float | None = None
    bedding_per_month: float | None = None
    feed_per_kg: float | None = None


@dataclass(frozen=True, slots=True)
class Brief:
    """All that is asked. `closed` names places that are not to be used."""

    goal: Goal = field(default_factory=Goal)
    limits: Limits = field(default_factory=Limits)
    prices: Prices = field(default_factory=Prices)
    places: tuple[Place, ...] = ()
    sources: tuple[Source, ...] = ()
    feeds: tuple[Feed, ...] = ()
    holding: kinds.Holding | None = None
    closed: frozenset[str] = frozenset()

    def places_for(self, role: kinds.Role) -> tuple[Place, ...]:
        """The places of a role."""
        return tuple(place for place in self.places if place.role == role)


def spans_between(whens: Iterable[When], first: date, last: date) -> tuple[Span, ...]:
    """The days of `whens` from `first` to `last`, months written out year by year."""
    found = []
    for when in whens:
        if isinstance(when, Span):
            found.append(when)
            continue
        for year in range(first.year - 1, last.year + 1):
            wraps = when.last < when.first
            found.append(
                Span(date(year, when.first, 1), _month_end(year + wraps, when.last)),
            )
    return tuple(
        Span(max(span.first, first), min(span.last, last))
        for span in found
        if span.meets(first, last)
    )


def _month_end(year: int, month: int) -> date:
    following = date(year + month // _MONTHS_A_YEAR, month % _MONTHS_A_YEAR + 1, 1)
    return following - timedelta(days=1)


def _two_years_after(day: date) -> date:
    year = min(day.year + 2, LAST_YEAR)
    leap_day = (day.month, day.day) == (2, 29)
    return date(year, 2, 28) if leap_day else day.replace(year=year)


# How a TOML file of the keeper's is read: every problem of it at once, each with its line.

Path = tuple[str | int, ...]
"""Where a value stands: keys, and the number of a table in its list, from 1."""


@dataclass(frozen=True, slots=True)
class Field:
    """What a key takes: its type, the same in words, whether it is needed."""

    type: Any
    wanted: str
    required: bool = False


@dataclass(frozen=True, slots=True)
class Document:
    """A TOML file: its values, the line of each key, and what was found wrong so far."""

    values: dict[str, Any]
    lines: Mapping[Path, int]
    findings: list[Finding]

    def find(self, path: Path, what: str, mend: str) -> None:
        """Keeps a problem of the value at `path`."""
        line = next(
            (self.lines[path[:n]] for n in range(len(path), 0, -1) if path[:n] in self.lines), None
        )
        self.findings.append(Finding("shape", what, mend, line=line, field=_written(path)))

    def in_order_of_lines(self) -> list[Finding]:
        """What was found, as the keeper meets it reading down the file."""
        return sorted(self.findings, key=lambda finding: finding.line or 0)

    def keys(self, path: Path, known: Iterable[str], given: Iterable[str]) -> None:
        """Refuses keys that nobody knows, with the nearest known."""
        names = list(known)
        for name in given:
            if name not in names:
                near = difflib.get_close_matches(name, names, 1) or [n for n in names if name in n]
                hint = (
                    say("Did you mean {name}?", name=near[0])
                    if near
                    else say("Known are {names}.", names=", ".join(names))
                )
                self.find((*path, name), say("nothing of this name is known here."), hint)

    def fields(self, path: Path, fields: Mapping[str, Field], given: object) -> dict[str, Any]:
        """The values of a table that are as they should be; what is not is found."""
        if not isinstance(given, dict):
            self.find(path, say("{value} is not a table.", value=shown(given)), _head(path))
            return {}
        self.keys(path, fields, given)
        good = {}
        for name, expected in fields.items():
            if name in given:
                value = self._value((*path, name), expected, given[name])
                if value is not None:
                    good[name] = value
            elif expected.required:
                mend = say("Add {name}: {wanted}.", name=name, wanted=say(expected.wanted))
                self.find((*path, name), say("this is missing."), mend)
        return good

    def tables(self, name: str, fields: Mapping[str, Field]) -> list[tuple[Path, dict[str, Any]]]:
        """Each table of the list `[[name]]`, with where it stands."""
        given = self.values.get(name, [])
        if not isinstance(given, list):
            self.find(
                (name,),
                say("there may be several of these."),
                say("Write [[{name}]], in double brackets, over each.", name=name),
            )
            return []
        rows: list[tuple[Path, dict[str, Any]]] = [
            ((name, number), self.fields((name, number), fields, one))
            for number, one in enumerate(given, 1)
        ]
        names: dict[str, int] = {}
        for number, (path, row) in enumerate(rows, 1):
            if row.get(name) in names:
                self.find(
                    (*path, name),
                    say(
                        "{value} stands there already, as {table} {number}.",
                        value=shown(row[name]),
                        table=name,
                        number=str(names[row[name]]),
                    ),
                    say("Give each a name of its own, or make them one."),
                )
            elif name in row:
                names[row[name]] = number
        return rows

    def low_first(self, path: Path, values: Mapping[str, Any], first: str, last: str) -> bool:
        """Whether two values of a table do not stand the wrong way round."""
        if first in values and last in values and values[first] > values[last]:
            both = {
                "last": last,
                "last_value": values[last],
                "first": first,
                "first_value": values[first],
            }
            self.find(
                (*path, last),
                say("{last} {last_value} is before {first} {first_value}.", **both)
                if isinstance(values[first], date)
                else say("{last} {last_value} is less than {first} {first_value}.", **both),
                say("Swap them, or mend the wrong one."),
            )
            return False
        return True

    def _value(self, path: Path, expected: Field, given: object) -> Any:
        if isinstance(given, float) and not math.isfinite(given):
            what = say("{value} is not a number to plan with.", value=str(given))
            self.find(path, what, say("Give {wanted}.", wanted=say(expected.wanted)))
            return None
        try:
            value = msgspec.convert(given, expected.type, strict=True)
        except msgspec.ValidationError:
            what = say("{value} will not do.", value=shown(given))
            self.find(path, what, say("Give {wanted}.", wanted=say(expected.wanted)))
            return None
        if isinstance(value, date) and not FIRST_YEAR <= value.year <= LAST_YEAR:
            self.find(
                path,
                say("the year {year} is out of range.", year=str(value.year)),
                say("Use {first} to {last}.", first=str(FIRST_YEAR), last=str(LAST_YEAR)),
            )
            return None
        return value


def read_document(data: bytes) -> tuple[Document | None, list[Finding]]:
    """A keeper's TOML file, or what stops it from being read."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as bad:
        return None, [
            Finding(
                "shape",
                say("this is not UTF-8 text (byte {byte}).", byte=f"0x{data[bad.start]:02x}"),
                say("Save the file as UTF-8."),
                line=data[: bad.start].count(b"\n") + 1,
            )
        ]
    if has_deep_keys(text):
        what = say("a key in it has too many parts.")
        return None, [
            Finding("shape", what, say("Write key = value, one below the other."), line=1)
        ]
    try:
        values = tomllib.loads(text)
    except (ValueError, RecursionError) as bad:
        told = re.search(r"^(.*) \(at line (\d+), column (\d+)\)$", str(bad))
        line = int(told[2]) if told else text.count("\n") + 1
        mend = say('Write key = value, text in "quotes", dates as 2027-05-02.')
        if told:
            what = say("this is not TOML: {why}, at column {column}.", why=told[1], column=told[3])
        elif isinstance(bad, tomllib.TOMLDecodeError | RecursionError):
            what = say("this is not TOML: {why}.", why=str(bad).partition(" (at")[0])
        else:  # Python reads no number of more than some thousands of digits.
            what = say("this is not TOML: a number in it has thousands of digits.")
        return None, [Finding("shape", what, mend, line=line)]
    return Document(values, _lines(text), []), []


_LONGEST_STATEMENT = 200
"""Lines of one statement beyond which its end is not looked for; the keys below have no line."""


def _lines(text: str) -> dict[Path, int]:
    """The line on which each table and key begins: each statement is read by itself."""
    found: dict[Path, int] = {}
    counts: dict[Path, int] = {}
    table: Path = ()
    statement, begun = "", 1
    for number, line in enumerate(text.splitlines(), 1):
        if not statement:
            begun = number
        statement += line + "\n"
        try:
            read = tomllib.loads(statement)
        except tomllib.TOMLDecodeError:
            if number - begun > _LONGEST_STATEMENT:
                return found
            continue
        names, in_list = _names(read)
        if line.lstrip().startswith("[") and begun == number:
            table = _numbered(names, counts)
            if in_list:
                counts[table] = counts.get(table, 0) + 1
                table = (*table, counts[table])
            found.setdefault(table, number)
        elif names:
            for depth in range(1, len(names) + 1):
                found.setdefault((*table, *names[:depth]), begun)
        statement = ""
    return found


def _names(read: dict[str, Any]) -> tuple[Path, bool]:
    """The keys that one statement names, and whether it heads a table of a list."""
    names: list[str] = []
    inner: Any = read
    while isinstance(inner, dict) and len(inner) == 1:
        ((name, inner),) = inner.items()
        names.append(name)
    return tuple(names), inner == [{}]


def _numbered(names: Path, counts: Mapping[Path, int]) -> Path:
    """Names with the number of the list's table that stands open, as in `goal, season 2`."""
    path: Path = ()
    for position, name in enumerate(names, 1):
        path = (*path, name)
        if path in counts and position < len(names):
            path = (*path, counts[path])
    return path


def _written(path: Path) -> str:
    """`goal.from`, `place 2, floor_m2`."""
    text = ""
    for before, part in zip(("", *path), path, strict=False):
        if isinstance(part, int):
            text += f" {part}"
        elif text:
            text += f", {_plain(part)}" if isinstance(before, int) else f".{_plain(part)}"
        else:
            text = _plain(part)
    return text


def _head(path: Path) -> str:
    *outer, last = path
    if isinstance(last, int):
        head = f"[[{'.'.join(str(part) for part in outer)}]]"
    else:
        head = f"[{'.'.join(str(part) for part in path)}]"
    return say("Write {head} and its keys below it.", head=head)


def shown(value: object) -> str:
    """A value as it is quoted in a sentence: short, and without what could drive a terminal."""
    plain = value.isoformat() if isinstance(value, date) else value
    text = json.dumps(plain, ensure_ascii=False, default=str)
    return _plain(text if len(text) <= 60 else text[:57] + "...")


def _plain(text: str) -> str:
    return "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in text[:80])


# What each table takes.

_A_DATE = mark("a date such as 2027-05-02")
_A_SHARE = mark("a number between 0 and 1, such as 0.8 for 80 %")
AMOUNT = Field(kinds.Amount, mark("a number, 0 or more"))
DAY = Field(date, _A_DATE)
SHARE = Field(kinds.Share, _A_SHARE)
EGGS = Field(kinds.Positive, mark("a whole number, 1 or more"))
CERTAIN = Field(
    Annotated[float, Meta(ge=LEAST_CERTAINTY, le=MOST_CERTAINTY)],
    later(
        "a number from {low} to {high}, such as 0.8 for 80 %",
        low=f"{LEAST_CERTAINTY:g}",
        high=f"{MOST_CERTAINTY:g}",
    ),
)
_ANYTHING = Field(Any, "")
_WHEN = Field(Any, mark('a date such as 2027-05-02, or a month such as "08"'))
_GOAL = {
    "eggs_per_week": AMOUNT,
    "table_birds_per_month": AMOUNT,
    "from": DAY,
    "until": DAY,
    "certainty": CERTAIN,
    "cushion": Field(Annotated[float, Meta(ge=0, le=1)], mark("a number from 0 to 1, such as 0.1")),
    "season": _ANYTHING,
    "breeding_hens": Field(kinds.Count, mark("a whole number, 0 or more")),
}
_SEASON = {
    "from": replace(_WHEN, required=True),
    "until": replace(_WHEN, required=True),
    "eggs_per_week": replace(AMOUNT, required=True),
}
_LIMITS = {
    "budget_per_month": AMOUNT,
    "minutes_per_day": _ANYTHING,
    "max_birds": Field(kinds.Positive, mark("a whole number, 1 or more")),
    "no_hatching": _ANYTHING,
    "absences": _ANYTHING,
    "earliest_eggs": DAY,
    "lamp": Field(
        bool | Annotated[float, Meta(gt=0, le=24)],
        mark("true, false, or hours of light a day up to 24"),
    ),
    "hens_per_cock": Field(
        Annotated[float, Meta(gt=0, le=100)], mark("a number above 0, such as 4")
    ),
    "keep_hens_until_weeks": Field(
        Annotated[float, Meta(gt=0, le=520)], mark("their age in weeks, above 0 and up to 520")
    ),
}
_MINUTES = Field(Annotated[float, Meta(ge=0, le=1440)], mark("minutes, 0 to 1440"))
_PRICES = dict.fromkeys(
    ("egg", "bird", "minute", "kwh", "bedding_per_month", "feed_per_kg"), AMOUNT
)
_NOT_IN_A_BRIEF = ("id", "at", "by", "force")


def _as_journal(kind: str) -> dict[str, Field]:
    """The fields of a journal kind, as the brief takes them."""
    words = {
        name: wanted.replace("0 to 1e+09", "0 or more") for name, wanted, _, _ in describe(kind)
    }
    return {
        one.encode_name: Field(one.type, words[one.encode_name], one.required)
        for one in msgspec.structs.fields(kinds.KINDS[kind])
        if one.encode_name not in _NOT_IN_A_BRIEF
    }


def source_fields() -> dict[str, Field]:
    """What tells of a source of eggs: the journal's fields, and what it offers."""
    return {
        **_as_journal("source"),
        "postage": AMOUNT,
        "least_eggs": EGGS,
        "most_eggs": EGGS,
        "hatch_of_set": SHARE,
        "from": DAY,
        "until": DAY,
    }


# Reading a brief.


def read_brief(data: bytes, changes: Sequence[str] = ()) -> tuple[Brief | None, list[Finding]]:
    """A plan brief from TOML: the brief, or None and every problem found in it.

    Args:
        data: the file. All tables may be left out; `completed` takes them from the journal.
        changes: what is told otherwise, each as ``limits.max_birds = 100``; a table of a list by
            its name: ``place.pens.floor_m2 = 8``.
    """
    document, findings = read_document(data)
    if document is None:
        return None, findings
    for change in changes:
        _change(document, change)
    readers: dict[str, Callable[[Document], Any]] = {
        "goal": _goal,
        "limits": _limits,
        "prices": lambda doc: Prices(**doc.fields(("prices",), _PRICES, doc.values["prices"])),
        "holding": _holding,
        "place": _places,
        "source": _sources,
        "feed": _feeds,
    }
    document.keys((), readers, document.values)
    read = {name: reader(document) for name, reader in readers.items() if name in document.values}
    if document.findings:
        return None, document.in_order_of_lines()
    places, closed = read.get("place", ((), frozenset()))
    return Brief(
        goal=read.get("goal", Goal()),
        limits=read.get("limits", Limits()),
        prices=read.get("prices", Prices()),
        places=places,
        closed=closed,
        sources=read.get("source", ()),
        feeds=read.get("feed", ()),
        holding=read.get("holding"),
    ), []


def _change(document: Document, change: str) -> None:
    """Writes `change` over the values of a brief."""
    try:
        told = tomllib.loads(change)
    except (ValueError, RecursionError):
        told = {}
    if not told:
        what = say("{value} changes nothing.", value=shown(change))
        document.find((), what, say("Write, say, limits.max_birds=100."))
    _merge(document.values, told)


def _merge(values: dict[str, Any], told: Mapping[str, Any]) -> None:
    for name, value in told.items():
        there = values.get(name)
        if isinstance(value, dict) and (isinstance(there, list) or name in _LISTED):
            rows = values.setdefault(name, [])
            if not isinstance(rows, list):
                continue  # found where the list is read
            for called, fields in value.items():
                row = next((r for r in rows if isinstance(r, dict) and r.get(name) == called), None)
                if row is None:
                    rows.append(row := {name: called})
                _merge(row, fields if isinstance(fields, dict) else {str(fields): True})
        elif isinstance(value, dict) and isinstance(there, dict):
            _merge(there, value)
        else:
            values[name] = value


_LISTED = ("place", "source", "feed")


def _goal(document: Document) -> Goal:
    path: Path = ("goal",)
    given = document.values["goal"]
    told = document.fields(path, _GOAL, given)
    document.low_first(path, told, "from", "until")
    if "from" in told and told.get("until", date.min) > _two_years_after(told["from"]):
        document.find(
            (*path, "until"),
            say(
                "{first} to {last} is more than two years.", first=told["from"], last=told["until"]
            ),
            _up_to(_two_years_after(told["from"])),
        )
    seasons = tuple(_seasons(document, told.pop("season", [])))
    goal = Goal(
        told.get("eggs_per_week"),
        told.get("table_birds_per_month"),
        seasons,
        told.get("cushion", 0.0),
        told.get("from"),
        told.get("until"),
        told.get("certainty"),
        told.get("breeding_hens"),
    )
    amounts = ("eggs_per_week", "table_birds_per_month", "breeding_hens", "season")
    asked = isinstance(given, dict) and any(name in given for name in amounts)
    said_badly = any(finding.field.startswith("goal") for finding in document.findings)
    if not said_badly and not goal.asks and (asked or not told):
        document.find(
            path,
            say("the goal asks for nothing."),
            say(
                "Give eggs_per_week or table_birds_per_month above 0, or leave [goal] out to plan "
                "for the goal of the journal."
            ),
        )
    return goal


def _seasons(document: Document, given: object) -> Iterator[Season]:
    path: Path = ("goal", "season")
    if not isinstance(given, list):
        document.find(
            path,
            say("{value} is not a list of seasons.", value=shown(given)),
            say(
                "Write {example}.",
                example='season = [{from = "11", until = "02", eggs_per_week = 60}]',
            ),
        )
        return
    for number, one in enumerate(given, 1):
        told = document.fields((*path, number), _SEASON, one)
        if set(told) == set(_SEASON):
            when = _when(document, (*path, number), [told["from"], told["until"]], months=True)
            if when is not None:
                yield Season(when, told["eggs_per_week"])


def _limits(document: Document) -> Limits:
    path: Path = ("limits",)
    told = document.fields(path, _LIMITS, document.values["limits"])
    lamp = told.get("lamp")
    return Limits(
        told.get("budget_per_month", math.inf),
        _minutes(document, told.get("minutes_per_day", {})),
        told.get("max_birds"),
        tuple(_whens(document, "no_hatching", told, months=True)),
        tuple(
            when
            for when in _whens(document, "absences", told, months=False)
            if isinstance(when, Span)
        ),
        told.get("earliest_eggs"),
        None if lamp is None or lamp is True else float(lamp),
        lamp is True,
        told.get("hens_per_cock"),
        told.get("keep_hens_until_weeks"),
    )


def _minutes(document: Document, given: object) -> tuple[float, ...]:
    name = "minutes_per_day"
    if not isinstance(given, dict):
        told = document.fields(("limits",), {name: _MINUTES}, {name: given})
        return (float(told.get(name, math.inf)),) * len(_WEEKDAYS)
    by_day = document.fields(("limits", name), dict.fromkeys(_WEEKDAYS, _MINUTES), given)
    return tuple(float(by_day.get(day, math.inf)) for day in _WEEKDAYS)


def _whens(
    document: Document, name: str, told: Mapping[str, Any], *, months: bool
) -> Iterator[When]:
    given = told.get(name, [])
    path: Path = ("limits", name)
    if not isinstance(given, list):
        document.find(
            path, say("{value} is not a list.", value=shown(given)), _pair_of(name, months)
        )
        return
    for number, pair in enumerate(given, 1):
        if not (isinstance(pair, list) and len(pair) == len(("from", "until"))):
            document.find(
                (*path, number),
                say("{value} is not a pair of [from, until].", value=shown(pair)),
                _pair_of(name, months),
            )
            continue
        when = _when(document, (*path, number), pair, months=months)
        if when is not None:
            yield when


def _pair_of(name: str, months: bool) -> str:
    days, by_month = f"{name} = [[2027-08-01, 2027-08-31]]", f'{name} = [["08", "08"]]'
    if months:
        return say("Write {days}, or {months} for every August.", days=days, months=by_month)
    return say("Write {example}.", example=days)


def _when(document: Document, path: Path, pair: Sequence[object], *, months: bool) -> When | None:
    names = ("from", "until")
    ends = [_end(document, path, *one, months) for one in zip(names, pair, strict=True)]
    match ends:
        case [int(first), int(last)]:
            return Months(first, last)
        case [date() as first_day, date() as last_day]:
            if document.low_first(path, {"from": first_day, "until": last_day}, "from", "until"):
                return Span(first_day, last_day)
        case [None, _] | [_, None]:
            pass
        case _:
            document.find(
                path,
                say(
                    "{first} and {last} do not go together.",
                    first=shown(pair[0]),
                    last=shown(pair[1]),
                ),
                say("Give two dates, or two months."),
            )
    return None


def _end(
    document: Document, path: Path, name: str, given: object, months: bool
) -> date | int | None:
    if months and isinstance(given, str) and re.fullmatch(r"0?[1-9]|1[0-2]", given):
        return int(given)
    wanted = _WHEN.wanted if months else _A_DATE
    value = document.fields(path, {name: Field(date, wanted)}, {name: given}).get(name)
    return value if isinstance(value, date) else None


def _holding(document: Document) -> kinds.Holding:
    path: Path = ("holding",)
    told = document.fields(path, _as_journal("holding"), document.values["holding"])
    holding = kinds.Holding(id=NOT_AN_ENTRY, at="2000-01-01", **told)
    for name, what, mend in own_problems(holding):
        document.find((*path, name), what, mend)
    return holding


NOT_AN_ENTRY = "00000000-0000-0000-0000-000000000000"
_NO_EGGS = mark("with {field} 0 it holds no eggs.")
_NO_BIRDS = mark("with {field} 0 it holds no birds.")
_ROOM: dict[str, tuple[str, str]] = {
    "incubator": ("capacity_eggs", _NO_EGGS),
    "hatcher": ("capacity_eggs", _NO_EGGS),
    "brooder": ("floor_m2", _NO_BIRDS),
    "pen": ("floor_m2", _NO_BIRDS),
}


def _places(document: Document) -> tuple[tuple[Place, ...], frozenset[str]]:
    places, closed = [], set()
    for path, told in document.tables("place", _as_journal("place")):
        room, what = _ROOM.get(told.get("role", ""), ("", ""))
        if told.get("closed"):
            closed.add(told.get("place", ""))
            continue
        if told.get(room) == 0:
            document.find(
                (*path, room),
                say(what, field=room),
                say("Give its size, or closed = true to plan without it."),
            )
        if "place" in told and "role" in told:
            places.append(
                Place(
                    told["place"],
                    told["role"],
                    told.get("capacity_eggs"),
                    told.get("floor_m2"),
                    told.get("heater_w"),
                )
            )
    return tuple(places), frozenset(closed)


def _sources(document: Document) -> tuple[Source, ...]:
    found = []
    for path, told in document.tables("source", source_fields()):
        document.low_first(path, told, "least_eggs", "most_eggs")
        document.low_first(path, told, "from", "until")
        if "source" in told and "route" in told:
            found.append(
                Source(
                    told["source"],
                    told["route"],
                    told.get("price_per_egg"),
                    told.get("postage", 0.0),
                    told.get("least_eggs", 1),
                    told.get("most_eggs"),
                    told.get("hatch_of_set"),
                    told.get("from"),
                    told.get("until"),
                )
            )
    return tuple(found)


def _feeds(document: Document) -> tuple[Feed, ...]:
    return tuple(
        _feed(told) for _, told in document.tables("feed", _as_journal("feed")) if "feed" in told
    )


def _feed(told: Mapping[str, Any]) -> Feed:
    return Feed(
        told["feed"],
        told.get("stage"),
        told.get("protein_pct"),
        told.get("me_kcal_kg"),
        told.get("calcium_pct"),
        told.get("price_per_kg"),
        told.get("bag_kg"),
    )


# What the brief leaves out.


def completed(brief: Brief, flock: Flock, on: date) -> tuple[Brief, list[Finding]]:
    """The brief with what it leaves out taken from the journal, and what must still be asked.

    A goal that names amounts stands by itself, else the journal's is taken, with whatever else the
    brief says of it. Of places, sources and feeds both are taken, and of one name what the brief
    says goes first. Own groups with hens and cocks are sources of eggs too.

    Args:
        flock: folded up to the end of the day `on`.

    Returns:
        The brief; its goal has days and a certainty. A plan can be made when nothing is found.
    """
    goal = _goal_of(brief.goal, flock)
    holding = _holding_of(brief.holding, flock)
    limits = brief.limits
    if limits.lamp:
        target = holding.light_target_h if holding is not None else None
        usual = facts.value("laying.light_target_h")
        limits = replace(limits, lamp_h=usual if target is None else target, lamp=False)
    sources = _sources_of(brief, flock)
    if limits.hens_per_cock is None and (
        goal.breeding_hens or any(source.route == "own" for source in sources)
    ):
        limits = replace(limits, hens_per_cock=facts.value("housing.hens_per_cock"))
    prices = brief.prices
    if prices.feed_per_kg is None:
        prices = replace(prices, feed_per_kg=prices_of(flock, on).feed_per_kg)
    days = goal.days(on)
    whole = Brief(
        replace(goal, first=days.first, last=days.last, certainty=goal.sure),
        limits,
        prices,
        _places_of(brief, flock),
        sources,
        _feeds_of(brief, flock),
        holding,
        brief.closed,
    )
    return whole, [*_wrong_in(goal, days, on, whole, flock), *_missing(whole)]


def _goal_of(goal: Goal, flock: Flock) -> Goal:
    kept = flock.goal
    if goal.asks or kept is None:
        return goal
    return replace(
        goal,
        eggs_per_week=kept.eggs_per_week,
        table_birds_per_month=kept.table_birds_per_month,
        first=goal.first or kept.from_,
        last=goal.last or kept.until,
        certainty=kept.certainty if goal.certainty is None else goal.certainty,
    )


def _holding_of(told: kinds.Holding | None, flock: Flock) -> kinds.Holding | None:
    if told is None or flock.holding is None:
        return told or flock.holding
    plain = msgspec.structs.asdict(told)
    given = {
        name: value
        for name, value in plain.items()
        if name not in _NOT_IN_A_BRIEF and value is not None and value != ""
    }
    return msgspec.structs.replace(flock.holding, **given)


Part = TypeVar("Part", Place, Source, Feed)


def _together(told: Sequence[Part], kept: Iterable[Part]) -> tuple[Part, ...]:
    """Parts of both, by name; what the brief does not tell of one is taken from the journal."""
    found = {one.name: one for one in told}
    for one in kept:
        mine = found.get(one.name)
        gaps = (
            {}
            if mine is None
            else {
                name: getattr(one, name)
                for name in one.__slots__
                if getattr(mine, name) is None and getattr(one, name) is not None
            }
        )
        found[one.name] = one if mine is None else replace(mine, **gaps)
    return tuple(found.values())


def _places_of(brief: Brief, flock: Flock) -> tuple[Place, ...]:
    kept = [
        Place(place.name, place.role, place.capacity_eggs, place.floor_m2, place.heater_w)
        for place in flock.in_walking_order()
        if place.role is not None and not place.closed and place.name not in brief.closed
    ]
    return _together(brief.places, kept)


def _sources_of(brief: Brief, flock: Flock) -> tuple[Source, ...]:
    kept = [Source(one.source, one.route, one.price_per_egg) for one in flock.sources.values()]
    own = [
        Source(group.name, "own", 0.0)
        for group in flock.groups_alive()
        if group.alive.hens and group.alive.cocks
    ]
    return _together(brief.sources, [*kept, *own])


def _feeds_of(brief: Brief, flock: Flock) -> tuple[Feed, ...]:
    labels = [stock.label for stock in flock.feeds.values() if stock.label is not None]
    return _together(brief.feeds, [_feed(msgspec.structs.asdict(label)) for label in labels])


def _wrong_in(goal: Goal, days: Span, on: date, whole: Brief, flock: Flock) -> Iterator[Finding]:
    if not goal.asks:
        return
    if not LEAST_CERTAINTY <= goal.sure <= MOST_CERTAINTY:
        yield _ask(
            "goal.certainty",
            say("a certainty of {share:g} cannot be planned for.", share=goal.sure),
            say("Give {wanted}.", wanted=say(CERTAIN.wanted)),
        )
    if goal.last is not None and goal.last > _two_years_after(on):
        yield _ask(
            "goal.until",
            say("{last} is more than two years after {day}.", last=goal.last, day=on),
            _up_to(_two_years_after(on)),
        )
    elif goal.last is not None and goal.last <= on:
        yield _ask(
            "goal.until",
            say("the goal ended on {last}.", last=goal.last),
            say("Give an end after {day}.", day=on),
        )
    elif days.first > days.last:
        yield _ask(
            "goal.from",
            say("the goal begins on {first} and ends on {last}.", first=days.first, last=days.last),
            say(
                "Give days in their order, from {first} to {last}.",
                first=on,
                last=_two_years_after(on),
            ),
        )
    elif days.last < (laid := _first_egg(whole, flock, on)):
        yield _ask(
            "goal.until",
            say(
                "the goal ends on {last}, before any bird can lay: there are no birds and no "
                "eggs under way, so the first egg comes on {day} at the earliest.",
                last=days.last,
                day=laid,
            ),
            say("Give a later end."),
        )


def _first_egg(brief: Brief, flock: Flock, on: date) -> date:
    """The earliest day of an own egg; `on` where birds or hatches are there."""
    if any(flock.groups_alive()) or any(flock.hatches_open()):
        return on
    begun = max(on, brief.limits.earliest_eggs or on)
    earliest_d, _ = facts.spread("laying.first_egg_age_d")
    hatched_d = facts.value("incubation.hatch_day_earliest")
    return begun + timedelta(days=math.floor(hatched_d + earliest_d))


def _missing(brief: Brief) -> Iterator[Finding]:
    if not brief.goal.asks:
        yield _ask(
            "goal",
            say("neither the brief nor the journal says what is wanted."),
            say("Give eggs_per_week or table_birds_per_month under [goal], or log a goal."),
        )
    incubators = brief.places_for("incubator")
    if not incubators:
        yield _ask(
            "place",
            say("there is no incubator to set eggs in."),
            say('Add [[place]] with role = "incubator" and capacity_eggs, or log the place.'),
        )
    for machine in (*incubators, *brief.places_for("hatcher")):
        if not machine.capacity_eggs:
            yield _ask(
                "place",
                say("nobody has said how many eggs {place} holds.", place=shown(machine.name)),
                say("Give its capacity_eggs."),
            )
    if not brief.sources:
        yield _ask(
            "source",
            say("there is nowhere to get hatching eggs from."),
            say(
                "Add [[source]] with its name, route and price_per_egg, or keep cocks with the "
                "hens."
            ),
        )


def _up_to(day: date) -> str:
    return say("Plan up to {day}, and go on from there when it is near.", day=day)


def _ask(name: str, what: str, mend: str) -> Finding:
    return Finding("impossible", what, mend, field=name)


def taken_for_granted(brief: Brief) -> list[str]:
    """What a plan for a completed brief takes for granted because nobody told, in sentences."""
    said: list[str] = []
    floors: tuple[tuple[kinds.Role, str], ...] = (
        ("brooder", later("The floor of every brooder is not told, so it sets no limit.")),
        ("pen", later("The floor of every pen is not told, so it sets no limit.")),
    )
    for role, text in floors:
        places = brief.places_for(role)
        if not places or any(place.floor_m2 is None for place in places):
            said.append(text)
    unpriced = [
        one.name for one in brief.sources if one.price_per_egg is None and one.route != "own"
    ]
    if unpriced:
        said.append(
            later(
                "No price of an egg is told for {names}: counted as nothing.",
                names=", ".join(unpriced),
            )
        )
    if brief.prices.feed_per_kg is None and not any(one.price_per_kg for one in brief.feeds):
        said.append(later("No price of feed is told: counted as nothing."))
    if brief.prices.minute is None:
        said.append(later("No price of your minute is told: your time costs nothing here."))
    if brief.limits.hens_per_cock is None:
        said.append(later("No cock is kept: hens lay without. Give hens_per_cock to keep some."))
    if brief.holding is None or brief.holding.latitude is None:
        said.append(
            later("Where the flock lives is not told, so short days are not reckoned with.")
        )
    return said

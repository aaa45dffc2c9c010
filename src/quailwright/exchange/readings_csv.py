"""Readings from a CSV file of any common shape into the store, all or none, in bounded memory.

`readings_layout` tells how the file is written. Then rows stream through in batches. A batch is
converted column by column, with everything that repeats (days, clock times, figures) looked up; a
batch in which something does not fit, or a clock is changed, is read again with care, line by
line, and every bad line becomes a finding.
"""

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta, tzinfo
from itertools import compress, islice
from operator import itemgetter
from pathlib import Path
from typing import Any, Generic, NamedTuple, TypeVar

from quailwright.exchange import readings_stamps as stamps
from quailwright.exchange.readings_layout import (
    FIGURE,
    Layout,
    Told,
    celsius,
    look_at,
    number_in,
    opened,
    rows,
)
from quailwright.exchange.readings_stamps import DateOrder, NotAStamp
from quailwright.journal import readings
from quailwright.journal.findings import BadInput, Finding, FindingKind
from quailwright.journal.moments import FIRST_YEAR, LAST_YEAR, zone
from quailwright.journal.readings import Kept
from quailwright.journal.store import Store
from quailwright.language import say, say_many

MOST_FINDINGS = 1000
_BATCH_ROWS = 20_000
_MOST_REMEMBERED = 200_000
_CLOCKS_DIFFER = timedelta(days=1)
"""How far ahead of now a reading may lie: clocks of other zones, and clocks set a little wrong."""
_MISSING = frozenset(
    {"", "-", "--", "---", "nan", "na", "n/a", "#n/a", "null", "none", "nil", "?", "unknown",
     "unavailable"}
)  # fmt: skip
_LINE_END = re.compile(r"\r\n|\r|\n")
_NAME = re.compile(r"\S(?:.{0,78}\S)?\Z")
_FIRST_MS = stamps.midnight_ms(date(FIRST_YEAR, 1, 1))
_END_MS = stamps.midnight_ms(date(LAST_YEAR + 1, 1, 1))

K = TypeVar("K")
V = TypeVar("V")


@dataclass(frozen=True, slots=True)
class Imported:
    """What an import did, or with `dry_run` would have done."""

    kept: Kept
    lines: int
    empty: int
    first: datetime | None
    last: datetime | None
    layout: Layout
    findings: tuple[Finding, ...]


class _NotKept(Exception):
    """Ends a dry run, so that its transaction is rolled back."""


def import_csv(
    store: Store,
    path: Path,
    place: str,
    instrument: str,
    told: Told,
    dry_run: bool = False,
    now: datetime | None = None,
) -> Imported:
    """Takes in the readings of a CSV file for one place, all or none.

    `instrument` ('' when nobody named one) stands for every reading of a file without a column
    that names instruments. Readings are kept as shown. A line more than a day ahead of `now` is
    wrong; None: nobody knows what time it is.

    Raises BadInput when the file cannot be read as readings or any line is wrong, with a finding
    for each bad line (the first 1,000), and FlockUnusable; then nothing was written.
    """
    _refuse_name("--place", place)
    if instrument:
        _refuse_name("--instrument", instrument)
    layout, notes = look_at(path, told)
    latest = None if now is None else readings.to_ms(now + _CLOCKS_DIFFER)
    reading = _Pass(layout, instrument, latest)
    kept = Kept()
    try:
        with store.writing() as writer:
            for batch in reading.batches(path):
                for name, at, celsius, percent in batch:
                    kept += writer.append_readings(place, name, at, celsius, percent)
            reading.refuse_if_bad(told)
            if dry_run:
                raise _NotKept
    except _NotKept:
        pass
    return Imported(
        kept,
        reading.lines,
        reading.empty,
        None if reading.first is None else readings.from_ms(reading.first),
        None if reading.last is None else readings.from_ms(reading.last),
        layout,
        (*notes, *_notes_of(kept)),
    )


def _refuse_name(where: str, name: str) -> None:
    if not (_NAME.match(name) and name.isprintable()):
        raise BadInput(
            say(
                "{where}: {given} is no name. "
                "Give 1 to 80 printed characters, with no space at the ends.",
                where=where,
                given=stamps.shown(name),
            )
        )


def _notes_of(kept: Kept) -> Iterator[Finding]:
    if kept.differing:
        yield Finding(
            "conflict",
            say_many(
                "{n} lines show something else than a reading of the same instrument "
                "at the same instant.",
                "{n} lines show something else than a reading of the same instrument "
                "at the same instant.",
                kept.differing,
            ),
            say(
                "The reading that came first was kept. "
                "Name the instruments apart if they are several."
            ),
        )


# The readings.


class _Memo(dict[K, V], Generic[K, V]):
    """Remembers what a function made of a text; forgets all when that becomes too much."""

    def __init__(self, find: Callable[[K], V]) -> None:
        super().__init__()
        self._find = find

    def __missing__(self, key: K) -> V:
        value = self._find(key)
        if len(self) >= _MOST_REMEMBERED:
            self.clear()
        self[key] = value
        return value


class _BadCell(Exception):
    """A figure that will not do; caught where its line is known."""

    def __init__(self, what: str, mend: str, kind: FindingKind = "impossible") -> None:
        super().__init__(what)
        self.what = what
        self.mend = mend
        self.kind = kind


_Problem = tuple[FindingKind, int, str, str]
"""Kind, column, what is wrong, how to mend it."""


class _ClockChanged(Exception):
    """On that day the clock is changed, so that the hour of the day alone does not say when."""


class _Batch(NamedTuple):
    """Readings of one instrument, in columns."""

    instrument: str
    at_ms: Sequence[int]
    temperature_c: Sequence[float | None]
    humidity_pct: Sequence[float | None]


@dataclass
class _Pass:
    """One run through a file: what was found in it so far."""

    layout: Layout
    instrument: str
    latest: int | None = None
    lines: int = 0
    empty: int = 0
    bad_lines: int = 0
    first: int | None = None
    last: int | None = None
    findings: list[Finding] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._days = _Memo(self._day)
        self._clocks = _Memo(self._clock)
        self._temperatures = _Memo(self._temperature)
        self._humidities = _Memo(self._humidity)
        self._offsets: dict[int, int] = {}
        self._offset_of: _Memo[str, int] = _Memo(lambda text: stamps.clock(text)[1] or 0)
        self._offsets_seen: set[int] = set()
        self._offsets_by_day: set[tuple[str, int]] = set()
        self._blanks = False
        self._before: int | None = None

    def batches(self, path: Path) -> Iterator[list[_Batch]]:
        """The readings, some thousand at a time. After the first bad line, only findings."""
        layout = self.layout
        with opened(path, layout.encoding) as stream:
            table = rows(stream, layout.separator, layout.skip_lines)
            line = layout.skip_lines + 1
            while raw := list(islice(table, _BATCH_ROWS)):
                try:
                    batch = self._quickly(raw, line)
                except (_BadCell, _ClockChanged, ValueError, IndexError, OverflowError):
                    batch = self._with_care(raw, line)
                line += len(raw) + _line_ends(raw)
                if not self.bad_lines:
                    yield list(self._by_instrument(batch))

    def refuse_if_bad(self, told: Told) -> None:
        """Raises BadInput when any line is wrong, or the file mixes time zones."""
        self._refuse_two_zones(told)
        if not self.bad_lines:
            if self.first is None:
                raise BadInput(say("The file holds no readings: every cell of them is empty."))
            return
        refused = say_many(
            "One line is not right; nothing was imported.",
            "{n:,} lines are not right; nothing was imported.",
            self.bad_lines,
        )
        if self.bad_lines > MOST_FINDINGS:
            refused = say(
                "{lines:,} lines are not right; nothing was imported. The first {first:,} follow.",
                lines=self.bad_lines,
                first=MOST_FINDINGS,
            )
        raise BadInput(refused, tuple(self.findings))

    # Whole columns.

    def _quickly(self, raw: list[list[str]], line: int) -> tuple[list[str], _Batch]:
        layout = self.layout
        whole = raw if [] not in raw else [row for row in raw if row]
        columns = list(zip(*whole, strict=True))
        if any(map(any, columns[len(layout.columns.headings) :])):
            raise ValueError("cells under no heading")
        at_ms = self._instants(columns, line)
        if self.latest is not None and max(at_ms) > self.latest:
            raise ValueError("a time that lies ahead")
        nothing: list[float | None] = [None] * len(whole)
        temperature = percent = nothing
        if layout.temperature is not None:
            temperatures = self._temperatures
            temperature = [temperatures[text] for text in columns[layout.temperature]]
        if layout.humidity is not None:
            humidities = self._humidities
            percent = [humidities[text] for text in columns[layout.humidity]]
        names = list(columns[layout.instrument]) if layout.instrument is not None else []
        self.lines += len(whole)
        return names, _Batch("", at_ms, temperature, percent)

    def _instants(self, columns: list[tuple[str, ...]], line: int) -> list[int]:
        layout = self.layout
        texts = columns[layout.time[0]]
        if layout.count_unit_ms is not None:
            unit = layout.count_unit_ms
            at_ms = [round(float(text) * unit) for text in texts]
            if min(at_ms) < _FIRST_MS or max(at_ms) >= _END_MS:
                raise ValueError("a time out of range")
            return at_ms
        days, clocks = self._days, self._clocks
        if layout.split_at and len(layout.time) == 1 and not layout.with_offset:
            between = layout.split_at
            at_ms = [
                days[(parts := text.partition(between))[0]] + clocks[parts[2]] for text in texts
            ]
        else:
            dates, hours = self._dates_and_hours(columns)
            at_ms = [days[day] + clocks[hour] for day, hour in zip(dates, hours, strict=True)]
            if layout.with_offset:
                self._note_offsets(dates, hours, line)
        self._before = at_ms[-1]
        return at_ms

    def _dates_and_hours(
        self, columns: list[tuple[str, ...]]
    ) -> tuple[Sequence[str], Sequence[str]]:
        time, between = self.layout.time, self.layout.split_at
        if len(time) > 1:
            return columns[time[0]], columns[time[1]]
        if not between:
            dates, hours = zip(*map(stamps.split, columns[time[0]]), strict=True)
            return dates, hours
        dates, _, hours = zip(*[text.partition(between) for text in columns[time[0]]], strict=True)
        return dates, hours

    def _note_offsets(self, dates: Sequence[str], hours: Sequence[str], line: int) -> None:
        offset_of = self._offset_of
        if len(self._offsets) == len(self._offsets_seen) == 1:
            (offset,) = self._offsets
            self._offsets_by_day.update((day, offset) for day in set(dates))
            return
        offsets = [offset_of[hour] for hour in hours]
        self._offsets_by_day.update(zip(dates, offsets, strict=True))
        for offset in set(offsets) - set(self._offsets):
            self._offsets[offset] = line + offsets.index(offset)

    # Line by line.

    def _with_care(self, raw: list[list[str]], line: int) -> tuple[list[str], _Batch]:
        layout = self.layout
        names: list[str] = []
        at_ms: list[int] = []
        warmth: list[float | None] = []
        percent: list[float | None] = []
        for row in raw:
            here, line = line, line + 1 + _line_ends([row])
            if not any(map(str.strip, row)):
                continue
            self.lines += 1
            cells, problems = self._cells(row)
            if problems:
                self._bad(here, problems)
                continue
            at, temperature, humidity, name = cells
            if layout.with_offset and layout.count_unit_ms is None:
                day, hour = self._split(row)
                offset = self._offset_of[hour]
                self._offsets.setdefault(offset, here)
                self._offsets_by_day.add((day, offset))
            at_ms.append(at)
            warmth.append(temperature)
            percent.append(humidity)
            names.append(name)
        return names if layout.instrument is not None else [], _Batch("", at_ms, warmth, percent)

    def _cells(
        self, row: list[str]
    ) -> tuple[tuple[int, float | None, float | None, str], list[_Problem]]:
        layout = self.layout
        problems: list[_Problem] = []
        last = max(layout.used)
        headings = len(layout.columns.headings)
        if len(row) <= last or (len(row) > headings and any(row[headings:])):
            comma = layout.separator == "," and len(row) > headings
            problems.append(
                (
                    "shape",
                    layout.time[0],
                    say(
                        "{cells} cells stand under {headings} headings.",
                        cells=len(row),
                        headings=headings,
                    ),
                    say("Quote figures with a decimal comma, or separate the cells by semicolons.")
                    if comma
                    else say("Is the line cut off, or a separator missing?"),
                )
            )
            return (0, None, None, ""), problems
        at, temperature, humidity = 0, None, None
        try:
            at = self._instant(row)
            self._refuse_ahead(at, row)
        except NotAStamp as error:
            problems.append(("shape", layout.time[0], error.what, error.mend))
        for number, memo in (
            (layout.temperature, self._temperatures),
            (layout.humidity, self._humidities),
        ):
            if number is None:
                continue
            try:
                value = memo[row[number]]
            except _BadCell as error:
                problems.append((error.kind, number, error.what, error.mend))
                continue
            if memo is self._temperatures:
                temperature = value
            else:
                humidity = value
        name = row[layout.instrument] if layout.instrument is not None else ""
        return (at, temperature, humidity, name), problems

    def _heading(self, column: int | None) -> str:
        return "" if column is None else self.layout.columns.name(column)

    def _bad(self, line: int, problems: list[_Problem]) -> None:
        self.bad_lines += 1
        for kind, number, what, mend in problems:
            if len(self.findings) < MOST_FINDINGS:
                name = self.layout.columns.name(number)
                self.findings.append(Finding(kind, what, mend, line=line, field=name))

    def _split(self, row: list[str]) -> tuple[str, str]:
        time = self.layout.time
        if len(time) > 1:
            return stamps.split(row[time[0]])[0], row[time[1]].strip()
        return stamps.split(row[time[0]])

    def _instant(self, row: list[str]) -> int:
        layout = self.layout
        if layout.count_unit_ms is not None:
            return self._counted(row[layout.time[0]].strip(), layout.count_unit_ms)
        day, hour = self._split(row)
        try:
            midnight = self._days[day]
        except _ClockChanged:
            at_ms = self._on_a_day_of_change(day, hour, self._clocks[hour])
        else:
            at_ms = midnight + self._clocks[hour]
        self._before = at_ms
        return at_ms

    def _refuse_ahead(self, at_ms: int, row: list[str]) -> None:
        if self.latest is not None and at_ms > self.latest:
            text = " ".join(row[number].strip() for number in self.layout.time)
            raise NotAStamp(
                say("{given} lies ahead.", given=stamps.shown(text)),
                say(
                    "Was the logger's clock set, and are day and month in the order read (--dates)?"
                ),
            )

    def _counted(self, text: str, unit_ms: float) -> int:
        if stamps.count_unit_ms(text) is None:
            raise NotAStamp(
                say("{given} is not a count of seconds since 1970.", given=stamps.shown(text)),
                say("The other lines have one."),
            )
        at_ms = round(float(text) * unit_ms)
        if not _FIRST_MS <= at_ms < _END_MS:
            raise NotAStamp(
                say("{given} is a time beyond {year}.", given=text, year=LAST_YEAR),
                say("Is it in the same unit as the others?"),
            )
        return at_ms

    def _on_a_day_of_change(self, day: str, hour: str, since: int) -> int:
        """The instant of a wall-clock time; of the hour that comes twice, by the order of rows."""
        layout = self.layout
        assert layout.zone is not None
        wall = stamps.midnight_ms(stamps.date_as(day, layout.dates)) + since
        both = stamps.both_instants_ms(wall, layout.zone)
        if both is None:
            raise NotAStamp(
                say(
                    "{clock} on {day} does not exist in {zone}: the clock skips that hour.",
                    clock=hour,
                    day=day,
                    zone=layout.zone,
                ),
                say(
                    "If the logger's clock is never changed, say --timezone with a zone that is "
                    "not either, such as UTC."
                ),
            )
        likely, other = reversed(both) if layout.newest_first else both
        before = self._before
        if before is None or self._follows(likely, before) or not self._follows(other, before):
            return likely
        return other

    def _follows(self, at_ms: int, before: int) -> bool:
        return at_ms <= before if self.layout.newest_first else at_ms >= before

    # What a text means.

    def _day(self, text: str) -> int:
        day = stamps.date_as(stamps.split(text)[0], self.layout.dates)
        midnight = stamps.midnight_ms(day)
        if self.layout.zone is None:
            return midnight
        ahead = stamps.offset_ms(day, self.layout.zone)
        if ahead is None:
            raise _ClockChanged
        return midnight - ahead

    def _clock(self, text: str) -> int:
        since, offset = stamps.clock(text)
        if not self.layout.with_offset:
            if offset is not None:
                raise NotAStamp(
                    say(
                        "{given} names its offset from UTC, and other lines do not.",
                        given=stamps.shown(text),
                    ),
                    say("Write all times in one way."),
                )
            return since
        if offset is None:
            raise NotAStamp(
                say(
                    "{given} has no offset from UTC, and other lines have one.",
                    given=stamps.shown(text),
                ),
                say("Write all times in one way."),
            )
        self._offsets_seen.add(offset)
        return since - offset * 60_000

    def _temperature(self, text: str) -> float | None:
        figure = self._figure(text)
        if figure is None:
            return None
        value, unit = figure
        if (unit or self.layout.units) == "f":
            value = celsius(value)
        problem = readings.temperature_problem(value)
        if problem is not None:
            raise _BadCell(*problem)
        return value

    def _humidity(self, text: str) -> float | None:
        figure = self._figure(text)
        if figure is None:
            return None
        problem = readings.humidity_problem(figure[0])
        if problem is not None:
            raise _BadCell(*problem)
        return figure[0]

    def _figure(self, text: str) -> tuple[float, str | None] | None:
        bare = text.strip().casefold()
        if bare in _MISSING:
            self._blanks = True
            return None
        found = FIGURE.match(bare)
        if found is None:
            raise _BadCell(
                say("{given} is not a figure.", given=stamps.shown(text)),
                say("Write a number, or leave the cell empty."),
                "shape",
            )
        sign = {"℃": "c", "℉": "f"}
        return number_in(found[1]), found[2] or sign.get(found[3] or "")

    # What comes of it.

    def _by_instrument(self, read: tuple[list[str], _Batch]) -> Iterator[_Batch]:
        names, batch = read
        columns: tuple[Sequence[Any], ...] = batch[1:]
        if self._blanks:
            has = [pair != (None, None) for pair in zip(*columns[1:], strict=True)]
            self.empty += has.count(False)
            names = list(compress(names, has))
            columns = tuple(list(compress(column, has)) for column in columns)
        if not columns[0]:
            return
        low, high = min(columns[0]), max(columns[0])
        self.first = low if self.first is None else min(self.first, low)
        self.last = high if self.last is None else max(self.last, high)
        if not names:
            yield _Batch(self.instrument, *columns)
            return
        by_name: dict[str, list[Any]] = {}
        for name, *row in zip(names, *columns, strict=True):
            by_name.setdefault(name.strip(), []).append(row)
        for name, some in by_name.items():
            if name:
                _refuse_name(self._heading(self.layout.instrument), name)
            yield _Batch(name or self.instrument, *zip(*some, strict=True))

    def _refuse_two_zones(self, told: Told) -> None:
        if len(self._offsets) < 2:
            return
        home = told.timezone or told.home_zone
        named = zone(home) if home else None
        if named is not None and all(
            offset in _offsets_on(text, self.layout.dates, named)
            for text, offset in self._offsets_by_day
        ):
            return
        where = ", ".join(
            say("line {line} is at {zone}", line=line, zone=_written(offset))
            for offset, line in sorted(self._offsets.items(), key=itemgetter(1))
        )
        if not home:
            raise BadInput(
                say(
                    "The file mixes time zones: {where}; nothing was imported. If the logger "
                    "stands elsewhere, say --timezone with its zone; else split the file.",
                    where=where,
                )
            )
        raise BadInput(
            say(
                "The file mixes time zones: {where}, and the clock change of {home} does not "
                "explain it; nothing was imported. If the logger stands elsewhere, say --timezone "
                "with its zone; else split the file.",
                where=where,
                home=home,
            )
        )


def _line_ends(rows: Iterable[Sequence[str]]) -> int:
    """Line ends inside the cells: how many more lines than rows these are."""
    text = "\0".join(["\0".join(row) for row in rows])
    return len(_LINE_END.findall(text)) if "\n" in text or "\r" in text else 0


def _offsets_on(text: str, order: DateOrder, named: tzinfo) -> set[int]:
    """The offsets from UTC [min] that the clock of a zone has on a day."""
    day = stamps.date_as(text, order)
    minute = timedelta(minutes=1)
    found = set()
    for on in (day, day + timedelta(days=1)):
        ahead = datetime(on.year, on.month, on.day, tzinfo=named).utcoffset()
        assert ahead is not None
        found.add(ahead // minute)
    return found


def _written(offset: int) -> str:
    sign = "-" if offset < 0 else "+"
    return f"{sign}{abs(offset) // 60:02d}:{abs(offset) % 60:02d}"

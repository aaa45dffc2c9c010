"""How a CSV file of readings is written: encoding, separator, columns, unit, times.

The first rows tell. Where they do not settle it, the whole file is looked through once for that,
and where that does not settle it either, the file is refused with what the keeper may say.
"""

import csv
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import timedelta, timezone, tzinfo
from itertools import islice
from pathlib import Path
from typing import TextIO

from quailwright.exchange import readings_stamps as stamps
from quailwright.exchange.readings_headings import (
    Columns,
    TemperatureUnit,
    recognise,
    same_but_for_the_unit,
    temperature_unit,
    zone_offset,
)
from quailwright.exchange.readings_stamps import DateOrder, NotAStamp
from quailwright.husbandry import facts
from quailwright.journal.entries import Role
from quailwright.journal.findings import BadInput, Finding
from quailwright.journal.moments import NotAMoment, zone
from quailwright.journal.readings import temperature_problem
from quailwright.language import mark, say, say_many

_SAMPLE_ROWS = 1000
_HEAD_BYTES = 65_536
_PREAMBLE_LINES = 25
_MOST_VALUES_ASKED = 100_000
SEPARATORS = ",;\t|"
FIGURE = re.compile(
    r"([+\-\u2212]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:e[+\-]?\d{1,3})?)\s*"
    r"(?:(?:[°º\ufffd]\s*)?([cf])|(℃|℉)|%\s*(?:r\.?h\.?)?|r\.?h\.?)?\Z"
)
"""A figure in lower case, perhaps with its unit: the number, `c` or `f`, or a sign for these."""


@dataclass(frozen=True, slots=True)
class Told:
    """What the keeper and the journal say beside the file.

    Attributes:
        timezone: the keeper's word on naive stamps (an IANA name), or ''.
        home_zone: the zone taken for naive stamps when neither file nor keeper says one.
        home: whose zone that is, in words said, for a finding; '' when it is the holding's.
        units: unit of temperature, when the headings do not say or say it wrong.
        dates: order of day, month and year.
        role: the role of the place, which helps to tell °C from °F.
    """

    timezone: str = ""
    home_zone: str = ""
    home: str = ""
    units: TemperatureUnit | None = None
    dates: DateOrder | None = None
    role: Role | None = None


@dataclass(frozen=True, slots=True)
class Layout:
    """How the file is written, as it was read."""

    encoding: str
    separator: str
    skip_lines: int
    columns: Columns
    time: tuple[int, ...]
    temperature: int | None
    humidity: int | None
    instrument: int | None
    units: TemperatureUnit | None
    dates: DateOrder
    count_unit_ms: float | None
    split_at: str
    with_offset: bool
    zone: tzinfo | None
    newest_first: bool

    @property
    def used(self) -> tuple[int, ...]:
        """The columns that were read."""
        numbers = (*self.time, self.temperature, self.humidity, self.instrument)
        return tuple(number for number in numbers if number is not None)


@contextmanager
def opened(path: Path, encoding: str) -> Iterator[TextIO]:
    """The file as text with its own line ends. Raises BadInput when it cannot be read."""
    try:
        with path.open(encoding=encoding, errors="replace", newline="") as stream:
            yield stream
    except FileNotFoundError:
        raise BadInput(say("There is no file {path}. Check the name.", path=path)) from None
    except IsADirectoryError:
        raise BadInput(say("{path} is a folder. Name the file in it.", path=path)) from None
    except OSError as error:
        raise BadInput(
            say("{path} cannot be read: {why}.", path=path, why=error.strerror)
        ) from None


def look_at(path: Path, told: Told) -> tuple[Layout, list[Finding]]:
    """How a file of readings is written, and what the keeper should know of it.

    Raises BadInput with a sentence when it cannot be told.
    """
    encoding = encoding_of(path)
    with opened(path, encoding) as stream:
        head = list(islice(stream, _PREAMBLE_LINES + 1))
    separator, skip, columns = _headings(head)
    notes = []
    if skip > 1:
        notes.append(
            _note(
                say_many(
                    "{n} lines before the headings were passed over.",
                    "{n} lines before the headings were passed over.",
                    skip - 1,
                )
            )
        )
    with opened(path, encoding) as stream:
        sample = list(islice(rows(stream, separator, skip), _SAMPLE_ROWS))
    columns, more = _with_row_of_units(columns, sample)
    sample = [row for row in sample[more:] if any(map(str.strip, row))]
    skip += more
    if not sample:
        raise BadInput(say("The file has headings but no readings under them."))
    try:
        time, texts = _time_columns(columns, sample)
        temperature = _only_temperature(columns)
        humidity = _only_humidity(columns)
        instrument = columns.instruments[0] if len(columns.instruments) == 1 else None
        whole = _Whole(path, encoding, separator, skip)
        count = stamps.count_unit_ms(texts[0])
        split_at = _split_at(texts, time)
        with_offset = count is not None or _says_offset(texts)
        dates, by_run = _dates(told, texts, whole, time, count)
        if by_run:
            notes.append(
                _note(
                    say(
                        "The dates were read as {order}: only so are they days in a row.",
                        order=say(_IN_WORDS[dates]),
                    ),
                    say(
                        "If that is wrong, say --dates {other}.",
                        other="mdy" if dates == "dmy" else "dmy",
                    ),
                )
            )
        units = None
        if temperature is not None:
            units = _units(told, columns, temperature, sample, whole)
        if humidity is not None:
            _refuse_shares(columns, humidity, sample)
    except NotAStamp as error:
        raise BadInput(f"{error.what} {error.mend}") from None
    local, note = (None, None) if with_offset else _zone(told, columns, time, whole)
    if note is not None:
        notes.append(note)
    layout = Layout(
        encoding, separator, skip, columns, time, temperature, humidity, instrument, units, dates,
        count, split_at, with_offset, local, count is None and _newest_first(texts, dates),
    )  # fmt: skip
    return layout, notes


def _note(what: str, mend: str = "") -> Finding:
    return Finding("shape", what, mend)


def encoding_of(path: Path) -> str:
    """How the text of a file is encoded. Raises BadInput where it is empty or no text."""
    with opened(path, "latin-1") as stream:
        head = stream.buffer.read(_HEAD_BYTES)
    if not head.strip():
        raise BadInput(say("{path} is empty.", path=path))
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    if b"\0" in head:
        raise BadInput(
            say(
                "{path} is not text: it holds a zero byte. Export the readings as CSV (UTF-8).",
                path=path,
            )
        )
    if len(head) == _HEAD_BYTES and b"\n" not in head and b"\r" not in head:
        raise BadInput(say("{path} is not a table: its first line has no end.", path=path))
    try:
        head.rpartition(b"\n")[0].decode("utf-8-sig") if b"\n" in head else head.decode("utf-8-sig")
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8-sig"


def rows(stream: Iterable[str], separator: str, skip: int) -> Iterator[list[str]]:
    """The rows of the table. Raises BadInput where the quotes are beyond reading."""
    lines = iter(stream)
    for _ in islice(lines, skip):
        pass
    reader = csv.reader(lines, delimiter=separator, skipinitialspace=True)
    try:
        yield from reader
    except csv.Error as error:
        raise _not_a_row(skip + reader.line_num, error) from None


def _not_a_row(line: int, error: csv.Error) -> BadInput:
    mend = say("Is a quote opened and not closed near there?") if "limit" in str(error) else ""
    what = say("this is not a row of a table ({error}).", error=error)
    finding = Finding("shape", what, mend, line=line)
    return BadInput(say("The file cannot be read; nothing was imported."), (finding,))


def _headings(head: Sequence[str]) -> tuple[str, int, Columns]:
    """The separator, how many lines the table begins after, and its columns."""
    for number, line in enumerate(head, start=1):
        found = []
        for separator in SEPARATORS:
            try:
                cells = next(csv.reader([line], delimiter=separator, skipinitialspace=True), [])
            except csv.Error:
                continue
            columns = recognise(cells)
            if columns.usable:
                found.append((columns.known, len(cells), separator, columns))
        if found:
            _, _, separator, columns = max(found, key=lambda each: each[:2])
            return separator, number, columns
    raise BadInput(
        say(
            "No headings were found. The file needs a line that names its columns, such as "
            "time,temperature_c,humidity_pct, before the readings."
        )
    )


def _with_row_of_units(columns: Columns, sample: Sequence[Sequence[str]]) -> tuple[Columns, int]:
    """Takes a row of units under the headings (`,°C,%`) into them: the columns, and its lines."""
    row = sample[0] if sample else []
    if not any(row) or any(map(str.isdigit, "".join(row))) or len(row) > len(columns.headings):
        return columns, 0
    for number in columns.temperatures:
        if number < len(row) and temperature_unit(row[number]) is not None:
            units = [*row, *[""] * (len(columns.headings) - len(row))]
            joined = [
                f"{heading} {unit}" for heading, unit in zip(columns.headings, units, strict=True)
            ]
            again = recognise(joined)
            return (again, 1) if again.usable else (columns, 1)
    return columns, 0


def _time_columns(
    columns: Columns, sample: Sequence[Sequence[str]]
) -> tuple[tuple[int, ...], list[str]]:
    """The column of whole stamps, or those of date and clock time; and some stamps."""

    def cells(number: int) -> list[str]:
        return [text for row in sample if number < len(row) and (text := row[number].strip())]

    in_utc_first = sorted(
        columns.stamps, key=lambda number: zone_offset(columns.headings[number]) is None
    )
    for number in (*in_utc_first, *columns.dates, *columns.clocks):
        texts = cells(number)
        if not texts or (columns.clocks and number in columns.dates and _all_at_midnight(texts)):
            continue
        if stamps.split(texts[0])[1] or stamps.count_unit_ms(texts[0]):
            return (number,), texts
    if columns.dates and columns.clocks:
        pair = (columns.dates[0], columns.clocks[0])
        texts = [
            f"{stamps.split(row[pair[0]])[0]} {row[pair[1]].strip()}"
            for row in sample
            if max(pair) < len(row) and row[pair[0]].strip()
        ]
        if texts:
            return pair, texts
    number = (*columns.stamps, *columns.dates, *columns.clocks)[0]
    texts = cells(number)
    if not texts:
        raise BadInput(
            say(
                "{column}: an empty cell is not a date with a time of day. "
                "Write it as 2027-05-02 20:00, or date and time in columns of their own.",
                column=columns.name(number),
            )
        )
    raise BadInput(
        say(
            "{column}: {given} is not a date with a time of day. "
            "Write it as 2027-05-02 20:00, or date and time in columns of their own.",
            column=columns.name(number),
            given=stamps.shown(texts[0]),
        )
    )


def _all_at_midnight(texts: Sequence[str]) -> bool:
    """Whether spreadsheet dates drag an empty clock time along (`2027-05-02 00:00:00`)."""
    return not any(set(stamps.split(text)[1]) - set("0:. ") for text in texts)


def _only_temperature(columns: Columns) -> int | None:
    numbers, headings = columns.temperatures, columns.headings
    if len(numbers) < 2:
        return numbers[0] if numbers else None
    first, *others = numbers
    if all(same_but_for_the_unit(headings[first], headings[other]) for other in others):
        return min(numbers, key=lambda number: temperature_unit(headings[number]) != "c")
    raise BadInput(
        say(
            "Several columns may be the temperature: {columns}. Take out those that do not count, "
            "and import the file once for each instrument with --instrument.",
            columns=_all_of(columns, numbers),
        )
    )


def _only_humidity(columns: Columns) -> int | None:
    numbers = columns.humidities
    if len(numbers) < 2:
        return numbers[0] if numbers else None
    raise BadInput(
        say(
            "Several columns may be the humidity: {columns}. Take out those that do not count, "
            "and import the file once for each instrument with --instrument.",
            columns=_all_of(columns, numbers),
        )
    )


def _all_of(columns: Columns, numbers: Sequence[int]) -> str:
    first, *others = map(columns.name, numbers)
    for name in others:
        first = say("{columns} and {column}", columns=first, column=name)
    return first


def _split_at(texts: Sequence[str], time: tuple[int, ...]) -> str:
    """The character between date and clock time in every stamp, or '' when it is not so simple."""
    if len(time) > 1:
        return " "
    for character in "T ":
        if all(
            (parts := text.partition(character))[0].strip(" ,") == stamps.split(text)[0]
            and parts[2] == stamps.split(text)[1]
            for text in texts
        ):
            return character
    return ""


def _says_offset(texts: Sequence[str]) -> bool:
    """Whether the stamps carry their offset: as the first of them that can be read."""
    for text in texts:
        try:
            return stamps.clock(stamps.split(text)[1])[1] is not None
        except NotAStamp:
            continue
    return False


def _newest_first(texts: Sequence[str], dates: DateOrder) -> bool:
    walls = []
    for text in (texts[0], texts[-1]):
        day, hour = stamps.split(text)
        try:
            walls.append(stamps.midnight_ms(stamps.date_as(day, dates)) + stamps.clock(hour)[0])
        except NotAStamp:
            return False
    return walls[0] > walls[1]


_IN_WORDS = {
    "dmy": mark("day, month, year"),
    "mdy": mark("month, day, year"),
    "ymd": mark("year, month, day"),
}


def _dates(
    told: Told, texts: Sequence[str], whole: "_Whole", time: tuple[int, ...], count: float | None
) -> tuple[DateOrder, bool]:
    """The order in which dates are written, and whether it was told by their run."""
    if told.dates is not None:
        return told.dates, False
    if count is not None:
        return "ymd", False
    written = dict.fromkeys(stamps.split(text)[0] for text in texts)
    order, by_run = stamps.settle_order(written)
    if order is None or by_run:
        order, by_run = stamps.settle_order(whole.dates(time))
    if order is None:
        example = stamps.shown(next(iter(written)))
        raise BadInput(
            say(
                "It cannot be told in which order dates such as {example} are written. Say "
                "--dates dmy (day first), --dates mdy (month first) or --dates ymd (year first).",
                example=example,
            )
        )
    return order, by_run


def _units(
    told: Told,
    columns: Columns,
    number: int,
    sample: Sequence[Sequence[str]],
    whole: "_Whole",
) -> TemperatureUnit:
    """The unit of temperature: as told, as headed, as in the cells, or as the values leave no
    doubt. Raises BadInput when they do."""
    if told.units is not None:
        return told.units
    headed = temperature_unit(columns.headings[number])
    if headed == "k":
        raise BadInput(
            say(
                "{column}: kelvin is not read. Convert the column to °C.",
                column=columns.name(number),
            )
        )
    if headed is not None:
        return headed
    figures = [FIGURE.match(row[number].strip().casefold()) for row in sample if number < len(row)]
    if found := [figure for figure in figures if figure is not None]:
        in_cells = {figure[2] or figure[3] for figure in found}
        if None not in in_cells:
            return "c"
    return (
        _by_value([number_in(figure[1]) for figure in found], told.role)
        or _by_value(whole.values(number), told.role)
        or _unit_unknown(columns, number, found)
    )


def _unit_unknown(columns: Columns, number: int, found: Sequence[re.Match[str]]) -> TemperatureUnit:
    figures = [number_in(figure[1]) for figure in found]
    if figures and all(map(temperature_problem, map(celsius, figures))):
        return "c"
    name = columns.name(number)
    if not found:
        raise BadInput(
            say(
                "{column}: nothing says whether figures are °C or °F. Say --units c or --units f.",
                column=name,
            )
        )
    raise BadInput(
        say(
            "{column}: nothing says whether figures such as {example} are °C or °F. "
            "Say --units c or --units f.",
            column=name,
            example=found[0][1],
        )
    )


def _by_value(figures: Sequence[float], role: Role | None) -> TemperatureUnit | None:
    """The only unit in which the middle of the figures is a temperature that such a place has."""
    if not figures:
        return None
    middle = sorted(figures)[len(figures) // 2]
    machine = role in {"incubator", "hatcher"} or (
        role is None and _between(middle, "incubation.temperature_harm_low", "unit_machine")
    )
    place = "unit_machine" if machine else f"unit_{role or 'pen'}"
    low, high = facts.spread(f"sensors.{place}")
    as_celsius = low <= middle <= high
    as_fahrenheit = low <= celsius(middle) <= high
    if as_celsius == as_fahrenheit:
        return None
    return "c" if as_celsius else "f"


def _between(middle: float, above: str, below: str) -> bool:
    return facts.value(above) <= middle <= facts.spread(f"sensors.{below}")[1]


def celsius(fahrenheit: float) -> float:
    """The same temperature in °C."""
    return (fahrenheit - 32) * 5 / 9


def number_in(text: str) -> float:
    """The number in a text that `FIGURE` matched, with a decimal point or comma."""
    return float(text.replace(",", ".").replace("\u2212", "-"))


def _refuse_shares(columns: Columns, number: int, sample: Sequence[Sequence[str]]) -> None:
    found = [
        number_in(figure[1])
        for row in sample
        if number < len(row) and (figure := FIGURE.match(row[number].strip().casefold()))
    ]
    if found and any(found) and max(found) <= facts.value("sensors.humidity_as_share"):
        raise BadInput(
            say(
                "{column}: figures up to {highest:g} look like shares of 1. "
                "Write relative humidity in percent.",
                column=columns.name(number),
                highest=max(found),
            )
        )


def _zone(
    told: Told, columns: Columns, time: tuple[int, ...], whole: "_Whole"
) -> tuple[tzinfo | None, Finding | None]:
    """The zone of naive stamps: as told, as the file says, else the holding's."""
    try:
        if told.timezone:
            return zone(told.timezone), None
        for number in columns.zones:
            named = _named_zone(columns.name(number), whole.first_lines(number))
            if named is not None:
                return named, None
        for number in time:
            headed = zone_offset(columns.headings[number])
            if headed is not None and abs(headed) < timedelta(days=1):
                return timezone(headed), None
        if told.home_zone:
            note = None
            if told.home:
                note = _note(
                    say(
                        "The times name no zone and the holding has none: they were read as "
                        "{zone}, {whose}.",
                        zone=told.home_zone,
                        whose=told.home,
                    ),
                    say("Say --timezone if that is wrong."),
                )
            return zone(told.home_zone), note
    except NotAMoment as error:
        raise BadInput(f"--timezone: {error}") from None
    raise BadInput(
        say(
            "The times name no zone, and the holding has none. "
            "Say --timezone Europe/Lisbon (yours)."
        )
    )


def _named_zone(column: str, first_lines: Mapping[str, int]) -> tzinfo | None:
    """The one zone that a column of zone names gives; None when its cells are empty."""
    zones: list[tzinfo] = []
    for name, line in first_lines.items():
        try:
            zones.append(zone(name))
        except NotAMoment as error:
            raise BadInput(
                say("One line is not right; nothing was imported."),
                (Finding("shape", str(error), say("Or say --timezone."), line=line, field=column),),
            ) from None
    if len(zones) > 1:
        where = ", ".join(
            say("line {line} is at {zone}", line=line, zone=name)
            for name, line in first_lines.items()
        )
        raise BadInput(
            say(
                "The file mixes time zones: {where}; nothing was imported. Split the file, or say "
                "--timezone if the clock was never changed.",
                where=where,
            )
        )
    return zones[0] if zones else None


@dataclass(frozen=True, slots=True)
class _Whole:
    """The whole file, looked through for what its first rows do not tell."""

    path: Path
    encoding: str
    separator: str
    skip: int

    def _cells(self, numbers: tuple[int, ...]) -> Iterator[list[str]]:
        last = max(numbers)
        with opened(self.path, self.encoding) as stream:
            for row in rows(stream, self.separator, self.skip):
                if len(row) > last:
                    yield [row[number].strip() for number in numbers]

    def dates(self, time: tuple[int, ...]) -> list[str]:
        """Every date as written, once."""
        if len(time) > 1:
            time = time[:1]
        found: dict[str, None] = {}
        for (text,) in self._cells(time):
            found.setdefault(stamps.split(text)[0])
        return list(found)

    def first_lines(self, number: int) -> dict[str, int]:
        """What stands in a column, and in which line first."""
        found: dict[str, int] = {}
        for line, (text,) in enumerate(self._cells((number,)), start=self.skip + 1):
            if text:
                found.setdefault(text, line)
        return found

    def values(self, number: int) -> list[float]:
        """Figures of a column, the first 100,000."""
        figures = (FIGURE.match(text.casefold()) for (text,) in self._cells((number,)))
        some = islice(filter(None, figures), _MOST_VALUES_ASKED)
        return [number_in(figure[1]) for figure in some]

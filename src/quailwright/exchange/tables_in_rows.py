"""Rows of a keeper's own sheet as entries: what each becomes, what is left out and why.

Nothing is guessed in silence: a cell that cannot be read is named (sheet, B17) with how to mend
it, and a row that is left out is told with its reason.
"""

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from itertools import pairwise
from typing import Any

from quailwright.exchange.tables_in_cells import (
    Dates,
    NotRead,
    Read,
    bare_day,
    clock_of,
    day_of,
    figure_of,
    figures_of,
    in_figures,
    is_nothing,
    is_unknown,
    lacks_year,
    ticked,
    unit_in,
)
from quailwright.exchange.tables_in_grid import (
    Grid,
    Value,
    cell_name,
    column_of,
    letters,
)
from quailwright.exchange.tables_in_guess import (
    TOTALS,
    label,
    labels,
)
from quailwright.exchange.tables_in_match import (
    CLOCK,
    HATCH,
    OF_BIRDS,
    SPENT,
    TICK,
    fields_of,
)
from quailwright.exchange.tables_in_seen import MOST_PROBLEMS, Left, Preview, Problem, Row
from quailwright.exchange.typed import with_offset
from quailwright.flock.state import Flock
from quailwright.journal.checks import FieldNote, build_entry
from quailwright.journal.moments import has_happened
from quailwright.language import figure, mark, say, say_many

_NEARLY = 1e-6
_CELLS_NAMED = 5
_FEWEST_IN_ORDER = 5
_FEWEST_TURNED = 2
_NO_ID = "00000000-0000-4000-8000-000000000000"
"""Stands until `tables_in_known` gives the entry its own."""
_ORDERS = {
    "dmy": mark("day, month, year"),
    "mdy": mark("month, day, year"),
    "ymd": mark("year, month, day"),
}
_CHOICES = {
    "sale": "sold", "sales": "sold", "vendido": "sold", "vendidos": "sold", "vendidas": "sold",
    "venda": "sold", "ate": "eaten", "eat": "eaten", "kitchen": "eaten", "home": "eaten",
    "consumo": "eaten", "comidos": "eaten", "gift": "given", "gave": "given", "free": "given",
    "gave away": "given", "given away": "given", "presente": "given",
    "dado": "given", "dados": "given", "doado": "given", "doados": "given",
    "thrown": "discarded", "binned": "discarded", "waste": "discarded",
    "descartados": "discarded", "f": "hen",
    "female": "hen", "fêmea": "hen", "femea": "hen", "m": "cock", "male": "cock",
    "rooster": "cock", "macho": "cock", "hens": "hen", "cocks": "cock", "males": "cock",
    "females": "hen", "fêmeas": "hen", "machos": "cock", "chicks": "chick", "baby": "chick",
    "codorninha": "chick", "codorninhas": "chick", "filhote": "chick", "filhotes": "chick",
    "cold": "chilled", "chill": "chilled",
    "drown": "drowned", "rat": "predator", "cat": "predator", "hawk": "predator",
    "injury": "injured", "ferido": "injured", "frio": "chilled", "afogado": "drowned",
    "desconhecido": "unknown",
}  # fmt: skip
"""What sheets write for a choice of ours."""
_BROKEN = re.compile(r"(\d{1,6})\s*(?:broken|cracked|soft|bad|quebrad\w*|trincad\w*|rachad\w*)\Z")


@dataclass(slots=True)
class _Given:
    """What one row tells so far: fields as typed, and the cell of each."""

    row: int
    fields: dict[str, Any]
    cells: dict[str, str]
    notes: list[str]


class Reading:
    """One pass through the rows."""

    def __init__(self, grid: Grid, seen: Preview, flock: Flock, now: datetime) -> None:
        match = seen.match
        self.grid, self.seen, self.match, self.flock, self.now = grid, seen, match, flock, now
        self.dates = Dates(match.dates, match.year, grid.epoch_1904, match.month)
        self.heads = labels(grid, match.head)
        self.notes = {note.name: note for note in fields_of(match.kind)}
        self.columns = {
            column: name
            for letter, name in match.columns.items()
            if name and (column := column_of(letter)) is not None
        }
        self.wide = {
            column: name
            for letter, name in (match.wide.columns if match.wide is not None else {}).items()
            if (column := column_of(letter)) is not None
        }
        self.units = [
            unit_in(label(self._unit_parts(column, parts)))
            for column, parts in enumerate(self.heads)
        ]
        self.down = {column_of(letter) for letter in match.down}
        self.at = next((c for c, name in self.columns.items() if name == "at"), None)
        self.above: dict[int, Value] = {}
        self.sums: dict[int, list[tuple[int, float]]] = {}
        self.all: dict[int, list[tuple[int, float]]] = {}
        self.days: list[Value] = []
        self.asides = 0
        self.serials: list[str] = []
        self.causes: list[str] = []
        self.unnamed: Counter[str] = Counter()
        self.run: list[tuple[int, str]] = []
        self.from_above: list[int] = []

    def _unit_parts(self, column: int, parts: Sequence[str]) -> Sequence[str]:
        """The parts of a head that may name a unit: of a pen's own name only what is in brackets,
        so that one called `Pen G` or `Tub` weighs nothing."""
        if column not in self.wide or not parts:
            return parts
        return (*parts[:-1], *re.findall(r"[(\[].*?[)\]]", parts[-1]))

    def read(self) -> None:
        """Fills the preview."""
        seen, grid, match = self.seen, self.grid, self.match
        self._first()
        self._days_turned()
        blank = 0
        for row in range(match.head[1], len(grid.rows)):
            if grid.blank(row):
                blank += 1
                continue
            if row > match.head[1] and self._another_begins(row):
                self._problem(
                    say("row {row}", row=row + 1),
                    say("another table seems to begin here."),
                    say("Copy it, with all below it, to a sheet of its own."),
                )
                break
            if self._is_word(row):
                seen.left.append(Left(row + 1, say("a word alone stands in it")))
                continue
            if self._is_head(row):
                seen.left.append(Left(row + 1, say("it is the head again")))
                continue
            why = self._sums_up(row)
            if why is not None:
                if why:
                    seen.left.append(Left(row + 1, why))
                continue
            self._row(row)
            if len(seen.problems) >= MOST_PROBLEMS:
                break
        if blank:
            seen.remarks.append(
                say_many(
                    "{n} blank row was passed over.", "{n} blank rows were passed over.", blank
                )
            )
        if match.dates is not None and any(map(_order_counts, self.days)):
            seen.remarks.append(
                say("Days in figures were read as {order}.", order=say(_ORDERS[match.dates]))
            )
        if match.year is not None and any(map(lacks_year, self.days)):
            seen.remarks.append(
                say("Days without a year were read as of {year}.", year=str(match.year))
            )
        if match.month is not None and any(bare_day(day) is not None for day in self.days):
            seen.remarks.append(
                say(
                    "Days that are only a number were read as of {month}.",
                    month=f"{match.year}-{match.month:02}",
                )
            )
        self._days_go_back()
        if self.serials:
            seen.remarks.append(
                say(
                    "Bare day numbers were read as days: {example}.",
                    example="; ".join(self.serials[:3]),
                )
            )
        if self.causes:
            seen.remarks.append(
                say_many(
                    "In {n} row how the birds were found stands in other words ({cells}); they "
                    "are kept in its note.",
                    "In {n} rows how the birds were found stands in other words ({cells}); they "
                    "are kept in their notes.",
                    len(self.causes),
                    cells=", ".join(self.causes[:_CELLS_NAMED]),
                )
            )
        if self.from_above:
            seen.remarks.append(
                say_many(
                    "In {n} row the day was taken from the row above.",
                    "In {n} rows the day was taken from the row above.",
                    len(self.from_above),
                )
            )
        unread = [
            letters(column)
            for column in range(grid.width)
            if column not in self.columns
            and column not in self.wide
            and any(
                grid.own(row, column) is not None for row in range(match.head[1], len(grid.rows))
            )
        ]
        if unread:
            seen.remarks.append(
                say("Columns that are not taken in: {columns}.", columns=", ".join(unread))
            )

    def _days_turned(self) -> None:
        """Refuses days of which a spreadsheet program took the month for the day where it could:
        then those up to the 12th are dates, and all after it have stayed texts."""
        if self.at is None:
            return
        rows = range(self.match.head[1], len(self.grid.rows))
        cells = [(row, self.grid.own(row, self.at)) for row in rows]
        dates = [(row, cell) for row, cell in cells if isinstance(cell, date)]
        texts = [cell for _, cell in cells if isinstance(cell, str) and _order_counts(cell)]
        if len(dates) < _FEWEST_TURNED or len(texts) < _FEWEST_TURNED:
            return
        try:
            read = [day_of(text, self.dates)[0] for text in texts]
        except NotRead:
            return
        if all(day.day > 12 for day in read) and all(day.day <= 12 for _, day in dates):
            row, first = dates[0]
            self._problem(
                cell_name(row, self.at),
                say(
                    "this cell is the date {day}, and others such as {text} are text: the program "
                    "that made the sheet seems to have taken month and day for one another.",
                    day=first.isoformat()[:10],
                    text=texts[0],
                ),
                say("Write all days of this column in one way, such as 2027-05-02."),
            )

    def _first(self) -> None:
        """The entries that the match puts before the rows."""
        for number, fields in enumerate(self.match.first, 1):
            where = say("first, number {number}", number=number)
            self._build({"kind": "group", **fields}, _Given(0, {}, {}, []), where)

    # What is no row of its own.

    def _another_begins(self, row: int) -> bool:
        """Whether a row is the head of another table: words in several columns, one of them where
        the day would stand."""
        if self.at is None or self._is_head(row):
            return False
        cells = [cell for cell in self.grid.rows[row] if cell is not None]
        return (
            len(cells) > 1
            and all(_is_word(cell) for cell in cells)
            and _is_word(self.grid.own(row, self.at))
            and not self._named_total(row)
        )

    def _is_word(self, row: int) -> bool:
        """Whether only a word stands in a row, where the day would stand: the name of a month."""
        if self.at is None or not _is_word(self.grid.own(row, self.at)):
            return False
        return sum(cell is not None for cell in self.grid.rows[row]) == 1 and not (
            self._named_total(row)
        )

    def _days_go_back(self) -> None:
        """Tells of single days that lie before those above them: often another year, or day and
        month changed round."""
        run = [(row, day) for row, day in self.run if day]
        back = [
            (row, day, before)
            for (_, before), (row, day) in pairwise(run)
            if day < before
        ]  # fmt: skip
        if back and len(run) >= _FEWEST_IN_ORDER and len(back) <= len(run) / _FEWEST_IN_ORDER:
            row, day, before = back[0]
            assert self.at is not None
            self.seen.remarks.append(
                say(
                    "{cell} is {day}, and the row above it {before}: are year, month and day "
                    "right?",
                    cell=cell_name(row, self.at),
                    day=day,
                    before=before,
                )
            )

    def _is_head(self, row: int) -> bool:
        first, last = self.match.head
        return first > 0 and any(
            self.grid.rows[row] == self.grid.rows[head] for head in range(first - 1, last)
        )

    def _sums_up(self, row: int) -> str | None:
        """Why a row that sums others up is left out; "" where that is a problem; None: it does
        not."""
        figures = {
            column: value
            for column in (*self.wide, *self.columns)
            if column in self.wide or self._counts(column)
            if (value := self._lenient(row, column)) is not None
        }
        named = self._named_total(row)
        day = None if self.at is None else self.grid.shown(row, self.at)
        has_day = not is_nothing(day) and not _is_word(day)
        if named:
            return self._total(row, figures)
        if self.at is None or has_day or not figures:
            self._add(row, figures)
            return None
        over = self._runs(figures)
        if over is None:
            self._add(row, figures)
            return None
        if self.at in self.down:
            self._problem(
                cell_name(row, self.at),
                say(
                    "the row has no day, and its figures are the sum of the rows above: it may be "
                    "a total."
                ),
                say("Write Total in this cell, or the day."),
            )
            return ""
        self.sums = {}
        column, (first, last) = next(iter(over.items()))
        return say(
            "a total: {cell} is the sum of rows {first} to {last}",
            cell=cell_name(row, column),
            first=first + 1,
            last=last + 1,
        )

    def _counts(self, column: int) -> bool:
        note = self.notes.get(self.columns.get(column, ""))
        return note is not None and note.takes in ("whole", "number")

    def _lenient(self, row: int, column: int) -> float | None:
        value = self.grid.own(row, column)
        if value is None or isinstance(value, bool):
            return None
        name = self.match.wide.field if self.match.wide and column in self.wide else (
            self.columns.get(column, "")
        )  # fmt: skip
        try:
            return figure_of(value, name, self.units[column], self.match.decimal or ".").figure
        except NotRead:
            return None

    def _named_total(self, row: int) -> bool:
        """Whether a row is called a total where its day or name would stand."""
        for column in range(self.grid.width):
            value = self.grid.own(row, column)
            if not isinstance(value, str) or not TOTALS.match(value.strip().casefold()):
                continue
            name = self.columns.get(column)
            if column == self.at or (
                name is not None and name != "note" and not self._counts(column)
            ):
                return True
            if self.at is None or is_nothing(self.grid.own(row, self.at)):
                return True
        return False

    def _add(self, row: int, figures: Mapping[int, float]) -> None:
        for column, value in figures.items():
            self.sums.setdefault(column, []).append((row, value))
            self.all.setdefault(column, []).append((row, value))

    def _summed(self, figures: Mapping[int, float]) -> dict[int, tuple[int, int]] | None:
        """Of each figure the rows that it is the sum of: those since the last total, or all; None
        where one is the sum of neither."""
        for sums in (self.sums, self.all):
            above = {column: sums.get(column, []) for column in figures}
            if all(
                rows and _near(sum(each for _, each in rows), figures[column])
                for column, rows in above.items()
            ):
                return {column: (rows[0][0], rows[-1][0]) for column, rows in above.items()}
        return None

    def _runs(self, figures: Mapping[int, float]) -> dict[int, tuple[int, int]] | None:
        """As `_summed`, of a row that no word calls a total: of two rows or more."""
        over = self._summed(figures)
        if over is None or any(first == last for first, last in over.values()):
            return None
        return over

    def _total(self, row: int, figures: Mapping[int, float]) -> str:
        """Why a row that is called a total is left out; a remark where it is not the sum."""
        over = self._summed(figures) if figures else None
        above, self.sums = self.sums, {}
        if over is not None:
            column, (first, last) = next(iter(over.items()))
            return say(
                "a total, by its name: {cell} sums up rows {first} to {last}",
                cell=cell_name(row, column),
                first=first + 1,
                last=last + 1,
            )
        for column, value in figures.items():
            rows = above.get(column, [])
            total = sum(each for _, each in rows)
            if rows and not _near(total, value) and not _near(total / len(rows), value, 0.01):
                self.seen.remarks.append(
                    say(
                        "{cell} says {said}, and rows {first} to {last} come to {total}: one of "
                        "them is wrong, or it sums up something else.",
                        cell=cell_name(row, column),
                        said=_plain(value),
                        first=rows[0][0] + 1,
                        last=rows[-1][0] + 1,
                        total=_plain(total),
                    )
                )
                break
        return say("a total, by its name")

    # What is one.

    def _row(self, row: int) -> None:
        given = _Given(row, {}, {}, [])
        before = len(self.seen.problems)
        unknown: list[str] = []
        for column, name in self.columns.items():
            if name == CLOCK:
                continue
            self._field(given, column, name, unknown)
        if len(self.seen.problems) > before:
            return
        self._moment(given)
        for name, value in self.match.always.items():
            given.fields.setdefault(name, value)
            if name in ("group", "place", "source", "hatch", "feed"):
                given.fields[name] = self._named(str(given.fields[name]))
        if len(self.seen.problems) > before:
            return
        if self.match.wide is not None:
            self._wide_row(given)
            return
        lacking = [
            name
            for name, note in self.notes.items()
            if note.needed and name not in given.fields and name != "at"
        ]
        if lacking and not self._says_something(given):
            self.seen.left.append(Left(row + 1, say("nothing is told in it")))
            return
        if lacking and unknown:
            self.seen.left.append(
                Left(row + 1, say("not known, by the sheet: {cells}", cells=", ".join(unknown)))
            )
            return
        if self.match.kind == "money" and not self._money(given):
            return
        bare = [name for name in lacking if self.notes[name].takes in ("whole", "number")]
        if bare and bare[0] in given.cells:
            cell = given.cells[bare[0]]
            column = next(c for c, name in self.columns.items() if name == bare[0])
            over = self.grid.merged.get((row, column))
            why = say("nothing stands in {cell}", cell=cell)
            if over is not None:
                first = cell_name(*over)
                why = say("{cell} is merged with {first}, and counts there", cell=cell, first=first)
            self.seen.left.append(Left(row + 1, why))
            return
        if self.match.kind in OF_BIRDS and not self._birds(given):
            return
        if self.match.kind == HATCH:
            self._hatch(given)
        else:
            self._build({"kind": self.match.kind, **given.fields}, given, "")

    def _says_something(self, given: _Given) -> bool:
        """Whether a row has more than its day, what is the same in all, and a note."""
        return any(
            name not in ("at", "note") and name not in self.match.always for name in given.fields
        )

    def _field(self, given: _Given, column: int, name: str, unknown: list[str]) -> None:
        note = self.notes[name]
        cell = cell_name(given.row, column)
        value = self._cell(given.row, column, note)
        given.cells[name] = cell
        if is_unknown(value) and name != "note":
            unknown.append(cell)
            return
        if value is None or (is_nothing(value) and name != "note"):
            return
        try:
            read = self._value(given, value, note, column)
            if read is not None:
                given.fields[name] = read
        except NotRead as error:
            self._problem(cell, error.what, error.mend)

    def _cell(self, row: int, column: int, note: FieldNote) -> Value:
        """The cell, or what stands for a blank one: figures of merged cells count once."""
        figures = note.takes in ("whole", "number", "numbers")
        value = self.grid.own(row, column) if figures else self.grid.shown(row, column)
        if column in self.down:
            if value is None and column in self.above:
                value = self.above[column]
                if column == self.at:
                    self.from_above.append(row)
            self.above[column] = value
        return value

    def _value(self, given: _Given, value: Value, note: FieldNote, column: int) -> Any:
        if note.name == "at":
            self.days.append(value)
            day, remark = day_of(value, self.dates)
            if remark:
                self.serials.append(f"{cell_name(given.row, column)} {remark}")
            return day
        match note.takes:
            case "whole" | "number":
                read = figure_of(value, note.name, self.units[column], self.match.decimal)
                self._aside(given, read, note)
                return _whole(read.figure) if note.takes == "whole" else read.figure
            case "day":
                day, _ = day_of(value, self.dates)
                return day.date().isoformat() if isinstance(day, datetime) else day.isoformat()
            case "flag":
                yes = ticked(value)
                if yes is None:
                    raise NotRead(
                        say("{given!r} is neither yes nor no.", given=str(value)),
                        say("Write yes or no."),
                    )
                return yes
            case "choice":
                try:
                    return self._choice(str(value), note)
                except NotRead:
                    if note.name != "found":
                        raise
                    # A cause in the keeper's own words is kept as a note.
                    given.notes.append(_as_name(value))
                    self.causes.append(cell_name(given.row, column))
                    return None
            case "numbers":
                return figures_of(value, note.name, self.units[column], self.match.decimal)
            case "names":
                return _as_name(value)
            case _:
                text = _as_name(value)
                if note.name in ("note", "task", "product", "dose", "to"):
                    return text
                return self._named(text)

    def _named(self, text: str) -> str:
        return self.match.names.get(text, text)

    def _choice(self, text: str, note: FieldNote) -> str:
        named = self.match.names.get(text, text).casefold().strip()
        for chosen in (named, named.replace(" ", "_"), _CHOICES.get(named, "")):
            if chosen in note.choices:
                return chosen
        raise NotRead(
            say("{given!r} is none of: {choices}.", given=text, choices=", ".join(note.choices)),
            say("Write one of these, or tell under names what it means."),
        )

    def _aside(self, given: _Given, read: Read, note: FieldNote) -> None:
        """What a cell says beside its figure: broken eggs where they are asked for, else a note."""
        if not read.aside:
            return
        broken = _BROKEN.match(read.aside.casefold())
        for name in ("cracked", "broken"):
            if broken is not None and name in self.notes and note.name == "eggs":
                given.fields.setdefault(name, int(broken[1]))
                if not self.asides:
                    self.seen.remarks.append(
                        say(
                            "Eggs said to be broken beside a count are taken for part of that "
                            "count ({cell}).",
                            cell=given.cells.get(note.name, cell_name(given.row, 0)),
                        )
                    )
                self.asides += 1
                return
        given.notes.append(read.aside)

    def _moment(self, given: _Given) -> None:
        """The day of a row, with the time of day where another column tells it."""
        day = given.fields.get("at")
        where = cell_name(given.row, self.at if self.at is not None else 0)
        if day is None and "at" not in self.match.always:
            self._problem(where, say("the row has no day."), say("Write it, or take the row out."))
            return
        if day is None:
            return
        column = next((c for c, name in self.columns.items() if name == CLOCK), None)
        if column is not None and not is_nothing(clock := self.grid.shown(given.row, column)):
            try:
                only = day.date() if isinstance(day, datetime) else day
                day = datetime.combine(only, clock_of(clock))
            except NotRead as error:
                self._problem(cell_name(given.row, column), error.what, error.mend)
                return
        text = day.isoformat()
        if isinstance(day, datetime):
            text = with_offset(day.isoformat(timespec="minutes"), self.now, self.flock.zone)
        if not has_happened(text, self.now, self.flock.zone):
            self._problem(
                where,
                say("{day} lies ahead.", day=text[:10]),
                say("Is the year right, and do day and month stand in the order told?"),
            )
            return
        given.fields["at"] = text
        if self.at is not None:
            self.run.append((given.row, text[:10]))

    def _wide_row(self, given: _Given) -> None:
        wide = self.match.wide
        assert wide is not None
        told = False
        for column, name in self.wide.items():
            value = self.grid.own(given.row, column)
            cell = cell_name(given.row, column)
            if is_nothing(value):
                continue
            if is_unknown(value):
                told = True
                self.seen.left.append(
                    Left(given.row + 1, say("not known, by the sheet: {cells}", cells=cell))
                )
                continue
            own = _Given(given.row, dict(given.fields), dict(given.cells), list(given.notes))
            own.cells[wide.field] = own.cells[wide.name] = cell
            own.fields[wide.name] = self._named(name)
            try:
                if wide.field == TICK:
                    yes = ticked(value)
                    if yes is None:
                        raise NotRead(
                            say("{given!r} is no tick.", given=str(value)),
                            say("Write x, or leave the cell empty."),
                        )
                    told = True
                    if not yes:
                        continue
                else:
                    own.fields[wide.field] = self._value(own, value, self.notes[wide.field], column)
            except NotRead as error:
                self._problem(cell, error.what, error.mend)
                continue
            told = True
            self._build({"kind": self.match.kind, **own.fields}, own, cell)
        if not told:
            self.seen.left.append(Left(given.row + 1, say("nothing is told in it")))

    def _money(self, given: _Given) -> bool:
        """What came in less what was spent, as one amount; whether the row tells any."""
        fields, cells = given.fields, given.cells
        spent = fields.pop(SPENT, None)
        if spent is None and "amount" not in fields:
            self.seen.left.append(Left(given.row + 1, say("no money is told in it")))
            return False
        if spent is not None and float(spent) < 0:
            self._problem(
                cells[SPENT],
                say("the column tells what was spent, and this is negative."),
                say("Write it without a minus, or take the column for amounts with their sign."),
            )
            return False
        if spent is not None:
            fields["amount"] = float(fields.get("amount", 0)) - float(spent)
            if "amount" not in cells or not fields.get("amount"):
                cells["amount"] = cells[SPENT]
        return True

    def _birds(self, given: _Given) -> bool:
        """How many birds there were under what they were; whether that can be told."""
        birds, sex = given.fields.pop("birds", None), given.fields.pop("sex", None)
        if birds is None:
            return True
        if sex is None:
            self._problem(
                given.cells.get("sex", cell_name(given.row, 0)),
                say("it is not told whether they were hens, cocks or chicks."),
                say("Write hen, cock or chick."),
            )
            return False
        given.fields[f"{sex}s"] = birds
        given.cells[f"{sex}s"] = given.cells.get("birds", "")
        return True

    # A row that tells of a hatch.

    def _hatch(self, given: _Given) -> None:
        fields = given.fields
        at = str(fields["at"])
        hatch = str(fields.get("hatch") or self._by_day(at[:10]))
        day = date.fromisoformat(at[:10])
        setting: dict[str, Any] = {
            name: fields[name]
            for name in ("eggs", "place", "source", "group", "lot", "laid_from", "laid_to",
                         "mean_egg_g", "note")
            if name in fields
        }  # fmt: skip
        self._build({"kind": "eggs_set", "hatch": hatch, "at": at, **setting}, given, "")
        plain = _Given(given.row, {}, given.cells, [])
        candled = {name: fields.get(name, 0) for name in ("clear", "dead")}
        if "clear" in fields or "dead" in fields:
            on = self._day_after(given, "candled", day)
            if on is not None:
                self._build(
                    {"kind": "eggs_candled", "hatch": hatch, "at": on, **candled}, plain, ""
                )
        if "chicks" not in fields:
            return
        on = self._day_after(given, "hatched", day)
        if on is None:
            return
        told = {"hatch": hatch, "at": on}
        self._build({"kind": "chicks_hatched", **told, "chicks": fields["chicks"]}, plain, "")
        opened: dict[str, Any] = {
            name: fields[name]
            for name in ("infertile", "early", "middle", "late", "pipped", "contaminated")
            if name in fields
        }
        if opened:
            self._build({"kind": "eggs_opened", **told, **opened}, plain, "")
        self._build({"kind": "hatch_closed", **told}, plain, "")

    def _by_day(self, day: str) -> str:
        """The name of a hatch that the sheet gives none: its day, and a number to those after the
        first of a day."""
        self.unnamed[day] += 1
        return day if self.unnamed[day] == 1 else f"{day} no. {self.unnamed[day]}"

    def _day_after(self, given: _Given, step: str, day: date) -> str | None:
        on = given.fields.get(f"{step}_on")
        if on is None:
            after = given.fields.get(f"{step}_day")
            if after is None:
                self._problem(
                    given.cells.get(f"{step}_on", cell_name(given.row, 0)),
                    say("the row tells a count and not its day."),
                    say("Write the day, or take the count out."),
                )
                return None
            on = (day + timedelta(days=int(float(after)))).isoformat()
        if not has_happened(str(on), self.now, self.flock.zone):
            self._problem(
                given.cells.get(f"{step}_on", cell_name(given.row, 0)),
                say("{day} lies ahead.", day=on),
                say("Is the year right, and do day and month stand in the order told?"),
            )
            return None
        return str(on)

    # Entries.

    def _build(self, fields: Mapping[str, Any], given: _Given, where: str) -> None:
        told = dict(fields)
        notes = [str(told.get("note", "")), *given.notes]
        if any(notes):
            told["note"] = "; ".join(filter(None, notes))
        if isinstance(told.get("at"), date):
            told["at"] = told["at"].isoformat()
        entry, findings = build_entry({"id": _NO_ID, **told})
        for finding in findings:
            cell = given.cells.get(finding.field) or where
            if not cell and given.row:
                cell = say("row {row}", row=given.row + 1)
            elif not cell:
                cell = where
            what = say(finding.what)
            if finding.field not in given.cells:
                what = f"{finding.field}: {what}"
            self._problem(cell, what, say(finding.mend))
        if entry is not None:
            self.seen.rows.append(Row(given.row + 1 if given.cells else 0, entry, given.cells))

    def _problem(self, cell: str, what: str, mend: str) -> None:
        where = say("{sheet}, {cell}", sheet=self.grid.name, cell=cell) if cell else self.grid.name
        self.seen.problems.append(Problem(where, what, mend))


def _is_word(value: Value) -> bool:
    """Whether a cell is words that are no day, no figure and no sign for nothing."""
    if not isinstance(value, str) or is_nothing(value) or is_unknown(value):
        return False
    return not any(map(str.isdigit, value)) and ticked(value) is None


def _order_counts(value: Value) -> bool:
    """Whether a day in figures needed to be told which comes first."""
    text = in_figures(value)
    return text is not None and not re.match(r"\d{4}", text)


def _whole(figure: float) -> int:
    if figure != int(figure):
        raise NotRead(
            say("{given} is no whole number.", given=_plain(figure)),
            say("Write how many there were."),
        )
    return int(figure)


def _near(first: float, second: float, part: float = _NEARLY) -> bool:
    return abs(first - second) <= part * max(1.0, abs(second))


def _plain(value: float) -> str:
    return figure(value, ".15g") if value != int(value) else str(int(value))


def _as_name(value: Value) -> str:
    """A cell as a name: rings that are numbers without a decimal point."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return f"{value:.15g}"
    if isinstance(value, date | time):
        return value.isoformat()
    return " ".join(str(value).split())

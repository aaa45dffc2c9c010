"""A keeper's sheet as a grid of cells, from .xlsx, .xls, .ods, .csv or .tsv.

Cells are named as spreadsheets name them: column letters and the row from 1 (`B17`).
"""

import csv
import json
import subprocess
import sys
import zipfile
import zlib
from collections import Counter
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from itertools import islice
from pathlib import Path

from quailwright.exchange import tables_in_reader as reader
from quailwright.exchange.readings_layout import SEPARATORS, encoding_of, opened, rows
from quailwright.exchange.table_cells import text_of
from quailwright.journal.findings import BadInput
from quailwright.language import say

Value = str | float | int | bool | date | datetime | time | timedelta | None
"""What a cell holds; None where it is blank."""

MOST_BYTES = 20 * 1024 * 1024
MOST_UNPACKED = 200 * 1024 * 1024
_MOST_PARTS = 5_000
_PRESSED = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_LONGEST_WAIT_S = 40
_LOOKED_AT = 50
BOOKS = (".xlsx", ".xlsm", ".xls", ".ods")
TEXTS = (".csv", ".tsv", ".txt")


@dataclass(frozen=True, slots=True)
class Grid:
    """One sheet.

    Attributes:
        name: the sheet's; of a text file, the file's without its ending.
        rows: cells by row and column from 0; rows are as long as the widest.
        merged: of each cell of a merged range but its first, that first cell; by row and column.
        knows_merged: whether the file could tell of merged cells.
        hidden: whether the sheet is hidden in its book.
        epoch_1904: whether bare day numbers count from 1904.
    """

    name: str
    rows: tuple[tuple[Value, ...], ...]
    merged: dict[tuple[int, int], tuple[int, int]] = field(default_factory=dict)
    knows_merged: bool = False
    hidden: bool = False
    epoch_1904: bool = False

    @property
    def width(self) -> int:
        """Columns."""
        return len(self.rows[0]) if self.rows else 0

    def own(self, row: int, column: int) -> Value:
        """What stands in the cell itself."""
        return self.rows[row][column]

    def shown(self, row: int, column: int) -> Value:
        """What a reader of the sheet sees there: of merged cells, what their first holds."""
        row, column = self.merged.get((row, column), (row, column))
        return self.rows[row][column]

    def blank(self, row: int) -> bool:
        """Whether nothing stands in a row."""
        return all(cell is None for cell in self.rows[row])


@dataclass(frozen=True, slots=True)
class Book:
    """All sheets of a file, by the name that the keeper knows it by."""

    file: str
    sheets: tuple[Grid, ...]

    def sheet(self, name: str) -> Grid:
        """The sheet of that name. Raises BadInput."""
        for grid in self.sheets:
            if grid.name == name:
                return grid
        raise BadInput(
            say(
                "{file} has no sheet {name!r}. It has {names}.",
                file=self.file,
                name=name,
                names=", ".join(grid.name for grid in self.sheets),
            )
        )


def letters(column: int) -> str:
    """`C` for column 2, `AA` for 26."""
    name, left = "", column + 1
    while left:
        left, rest = divmod(left - 1, 26)
        name = chr(ord("A") + rest) + name
    return name


def column_of(name: str) -> int | None:
    """2 for `C`; None for what is no column's name."""
    if not (name.isascii() and name.isalpha() and len(name) <= 3):
        return None
    number = 0
    for letter in name.upper():
        number = number * 26 + ord(letter) - ord("A") + 1
    return number - 1


def cell_name(row: int, column: int) -> str:
    """`B17` for row 16, column 1."""
    return f"{letters(column)}{row + 1}"


def read_book(path: Path, name: str = "") -> Book:
    """The sheets of a file; `name` is what the keeper calls it, its own name when left out.

    Raises BadInput with a sentence for what is no spreadsheet, or too large.
    """
    name = name or path.name
    ending = Path(name).suffix.lower()
    try:
        size = path.stat().st_size
    except OSError as error:
        raise BadInput(
            say("{path} cannot be read: {why}.", path=name, why=error.strerror)
        ) from None
    if size > MOST_BYTES:
        raise BadInput(
            say(
                "{file} is larger than {mb} MB. Copy the sheet that counts into a file of its own.",
                file=name,
                mb=MOST_BYTES // 2**20,
            )
        )
    if ending in BOOKS:
        found = _of_book(path, name)
    elif ending in TEXTS:
        found = (_of_text(path, name),)
    else:
        raise BadInput(
            say(
                "{file}: this ending is not known. Give a spreadsheet (.xlsx, .xls, .ods) or text "
                "(.csv, .tsv).",
                file=name,
            )
        )
    if not any(grid.rows for grid in found):
        raise BadInput(say("{path} is empty.", path=name))
    return Book(name, tuple(grid for grid in found if grid.rows))


def _of_book(path: Path, name: str) -> tuple[Grid, ...]:
    from_1904 = False
    with path.open("rb") as stream:
        packed = stream.read(2) == b"PK"
    if packed:
        from_1904 = _unpacked_fits(path, name)
    command = [sys.executable, "-P", reader.__file__, str(path)]
    try:
        done = subprocess.run(command, capture_output=True, timeout=_LONGEST_WAIT_S, check=False)
    except subprocess.TimeoutExpired:
        raise _too_large(name) from None
    try:
        told = json.loads(done.stdout)
    except ValueError:
        raise _too_large(name) from None
    if "sheets" in told:
        return tuple(_grid(sheet, from_1904) for sheet in told["sheets"])
    if told["error"] == "password":
        raise BadInput(say("{file} is locked by a password. Save a copy without one.", file=name))
    if told["error"] == "large":
        raise BadInput(
            say(
                "{file}, sheet {sheet!r}, has more than {rows} rows or {columns} columns. Copy the "
                "part that counts into a sheet of its own.",
                file=name,
                sheet=told["sheet"],
                rows=reader.MOST_ROWS,
                columns=reader.MOST_COLUMNS,
            )
        )
    raise BadInput(
        say(
            "{file} cannot be read as a spreadsheet ({why}). Open it and save it anew as .xlsx.",
            file=name,
            why=told["why"],
        )
    )


def _too_large(name: str) -> BadInput:
    return BadInput(
        say(
            "{file} takes too much memory or time to read. Copy the sheet that counts into a file "
            "of its own, or save it as CSV.",
            file=name,
        )
    )


_UNREADABLE = (
    zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError, RuntimeError,
    ValueError,
)  # fmt: skip
"""What zipfile raises for a file that is damaged, encrypted or pressed in some other way."""


def _unpacked_fits(path: Path, name: str) -> bool:
    """Whether day numbers count from 1904. Raises BadInput for what would unpack to too much."""
    try:
        with zipfile.ZipFile(path) as packed:
            parts = packed.infolist()
            if len(parts) > _MOST_PARTS or sum(part.file_size for part in parts) > MOST_UNPACKED:
                raise _too_large(name)
            if any(part.compress_type not in _PRESSED for part in parts):
                raise zipfile.BadZipFile(say("it is pressed in a way that no spreadsheet is"))
            if "xl/workbook.xml" not in packed.namelist():
                return False
            with packed.open("xl/workbook.xml") as stream:
                head = stream.read(100_000)
    except _UNREADABLE as error:
        raise BadInput(
            say(
                "{file} cannot be read as a spreadsheet ({why}). Open it and save it anew as "
                ".xlsx.",
                file=name,
                why=str(error)[:200],
            )
        ) from None
    return b'date1904="1"' in head or b'date1904="true"' in head


def _grid(sheet: dict[str, object], from_1904: bool) -> Grid:
    raw = sheet["rows"]
    assert isinstance(raw, list)
    width = max(map(len, raw), default=0)
    cells = tuple(tuple(_value(cell) for cell in [*row, *[""] * (width - len(row))]) for row in raw)
    ranges = sheet["merged"]
    merged: dict[tuple[int, int], tuple[int, int]] = {}
    if isinstance(ranges, list):
        for first_row, first_column, last_row, last_column in ranges:
            # A range may be written larger than all that is filled in: only what is there counts.
            for row in range(first_row, min(last_row + 1, len(cells))):
                for column in range(first_column, min(last_column + 1, width)):
                    if (row, column) != (first_row, first_column):
                        merged[row, column] = (first_row, first_column)
    return Grid(
        str(sheet["name"]), cells, merged, ranges is not None, bool(sheet["hidden"]), from_1904
    )


def _value(cell: object) -> Value:
    if isinstance(cell, str):
        cell = cell.strip("\u200b\ufeff")
        return cell if cell.strip() else None
    if isinstance(cell, dict):
        if "clock" in cell:
            return time.fromisoformat(cell["clock"])
        if "seconds" in cell:
            return timedelta(seconds=cell["seconds"])
        at = datetime.fromisoformat(cell["at"])
        return at.date() if at.time() == time() else at
    assert isinstance(cell, bool | int | float)
    return cell


def _of_text(path: Path, name: str) -> Grid:
    encoding = encoding_of(path)
    with opened(path, encoding) as stream:
        separator = _separator(list(islice(stream, _LOOKED_AT)))
    found: list[tuple[Value, ...]] = []
    with opened(path, encoding) as stream:
        for row in rows(stream, separator, 0):
            if len(found) >= reader.MOST_ROWS or len(row) > reader.MOST_COLUMNS:
                raise BadInput(
                    say(
                        "{file} has more than {rows} rows or {columns} columns. Copy the part that "
                        "counts into a file of its own.",
                        file=name,
                        rows=reader.MOST_ROWS,
                        columns=reader.MOST_COLUMNS,
                    )
                )
            found.append(tuple(_value(text_of(cell)) for cell in row))
    while found and all(cell is None for cell in found[-1]):
        found.pop()
    width = max(map(len, found), default=0)
    whole = tuple((*row, *[None] * (width - len(row))) for row in found)
    return Grid(Path(name).stem, whole)


def _separator(head: list[str]) -> str:
    """The sign that parts most lines alike, into the most cells."""
    best, most = ",", (0, 0)
    for separator in SEPARATORS:
        try:
            counts = Counter(
                len(row)
                for row in csv.reader(head, delimiter=separator, skipinitialspace=True)
                if len(row) > 1
            )
        except csv.Error:
            continue
        if counts:
            cells, lines = max(counts.items(), key=lambda each: (each[1], each[0]))
            best, most = max((best, most), (separator, (lines, cells)), key=lambda each: each[1])
    return best

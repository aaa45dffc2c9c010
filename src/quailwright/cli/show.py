"""Putting answers on the terminal: readable tables there, plain text in a pipe, JSON when asked."""

import shutil
import sys
import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import msgspec

from quailwright.language import ENGLISH, figure, said_plainly, say, spoken

if TYPE_CHECKING:
    from quailwright.guide.hatch.report import LossPoint

_LABEL_WIDTH = 72
_LINE_WIDTH = 100
_NARROWEST = 40
_CAUTION = " " * 6


def json_document(document: Any) -> None:
    """One JSON document on standard output."""
    plain = msgspec.json.encode(document, enc_hook=said_plainly)
    sys.stdout.buffer.write(msgspec.json.format(plain, indent=2) + b"\n")


def first_steps() -> None:
    """What to do when nothing is recorded yet."""
    print(say("Nothing is recorded up to then. Begin with where the flock lives:"))
    print("  quailwright log holding name=... timezone=Europe/Lisbon units=metric")


def heading(text: str) -> None:
    """A line that stands out on a terminal."""
    print()
    _styled(text, "bold")


def paragraph(text: str, indent: str = "  ") -> None:
    """A sentence or more, folded to the terminal's width; to 100 where that is more, or a pipe."""
    print(_filled(text, indent))


def _filled(text: str, indent: str) -> str:
    terminal = shutil.get_terminal_size().columns if sys.stdout.isatty() else _LINE_WIDTH
    width = max(_NARROWEST, min(_LINE_WIDTH, terminal))
    return textwrap.fill(text, width, initial_indent=indent, subsequent_indent=indent)


def caution(text: str) -> None:
    """A caution, marked by a word and not by colour alone."""
    _styled(_filled(say("Caution: {text}", text=text), _CAUTION), "yellow")


def cautions(step: str) -> None:
    """The cautions of a step, as `kind:treated`, with who decides."""
    from quailwright.guide.cautions import cautions_for, who_decides

    for each in cautions_for(step):
        said = say("Caution: {caution}", caution=each.said_at(step))
        who = say("Who decides: {who}.", who=who_decides(each))
        _styled(textwrap.fill(f"{said} {who}", _LINE_WIDTH), "yellow")


def _styled(text: str, style: str) -> None:
    if not sys.stdout.isatty():
        print(text)
        return
    from rich.console import Console
    from rich.text import Text

    Console().print(Text(text, style=style))


def table(columns: Sequence[str], rows: Sequence[Sequence[object]]) -> None:
    """Rows under their headings; numbers to the right. Nothing when there are no rows."""
    if not rows:
        return
    cells = [[_cell(each) for each in row] for row in rows]
    numeric = [all(_is_number(row[i]) for row in cells) for i in range(len(columns))]
    if sys.stdout.isatty():
        _rich_table(columns, cells, numeric)
    else:
        _plain_table(columns, cells, numeric)


def _cell(value: object) -> str:
    if isinstance(value, int | float):
        return figure(value)
    return "" if value is None else str(value)


def _is_number(text: str) -> bool:
    """Whether a cell is a number, by whatever sign its language writes decimals."""
    if spoken() != ENGLISH:
        text = text.replace(",", ".", 1)
    return text == "" or text.replace(".", "", 1).replace("-", "", 1).isdigit()


def _rich_table(columns: Sequence[str], cells: list[list[str]], numeric: list[bool]) -> None:
    from rich import box
    from rich.console import Console
    from rich.markup import escape
    from rich.table import Table

    shown = Table(box=box.SIMPLE)
    for name, is_number in zip(columns, numeric, strict=True):
        shown.add_column(name, justify="right" if is_number else "left", overflow="fold")
    for row in cells:
        shown.add_row(*map(escape, row))
    Console().print(shown)


def _plain_table(columns: Sequence[str], cells: list[list[str]], numeric: list[bool]) -> None:
    lines = [list(columns), *cells]
    widths = [min(_LABEL_WIDTH, max(len(line[i]) for line in lines)) for i in range(len(columns))]
    for line in lines:
        padded = [
            cell.rjust(width) if is_number else cell.ljust(width)
            for cell, width, is_number in zip(line, widths, numeric, strict=True)
        ]
        print("  " + "  ".join(padded).rstrip())


_PLOT_ROWS = 12
_PLOT_COLUMNS = 45


def corridor_plot(
    points: "Sequence[LossPoint]", corridor: tuple[float, float], stop_day: float
) -> None:
    """Weighings (o) against the way to the corridor (.): days along, loss downward."""
    last = max(stop_day, max(point.day for point in points))
    most = max(corridor[1], *(point.loss_pct for point in points)) * 1.05
    rows = [[" "] * (_PLOT_COLUMNS + 1) for _ in range(_PLOT_ROWS + 1)]

    def mark(day: float, loss: float, sign: str) -> None:
        column = round(day / last * _PLOT_COLUMNS)
        row = round(max(0.0, loss) / most * _PLOT_ROWS)
        rows[row][column] = sign

    for step in range(_PLOT_COLUMNS + 1):
        day = step / _PLOT_COLUMNS * min(stop_day, last)
        for end in corridor:
            mark(day, end * day / stop_day, ".")
    for point in points:
        mark(point.day, point.loss_pct, "o")
    print(
        say(
            "  Lost, % (downward), by day (along); o weighed, . the way to {least:g} and "
            "{most:g} %",
            least=corridor[0],
            most=corridor[1],
        )
    )
    for number, row in enumerate(rows):
        print(f"  {figure(number * most / _PLOT_ROWS, '4.1f')} |{''.join(row).rstrip()}")
    axis = say("day").center(_PLOT_COLUMNS - 4)
    print(f"       0{axis}{last:.0f}")


_FAN_COLUMNS = 50


def bars(rows: Sequence[tuple[str, Sequence[tuple[str, float, float]]]], scale: str) -> None:
    """Spans along a line, a row each: (label, spans of (letter, from, to) as parts of the whole).

    `scale` is printed below them, as wide as they are.
    """
    width = max((len(label) for label, _ in rows), default=0)
    for label, spans in rows:
        line = [" "] * _FAN_COLUMNS
        for letter, first, last in spans:
            begin = min(_FAN_COLUMNS - 1, round(first * _FAN_COLUMNS))
            end = min(_FAN_COLUMNS, max(begin + 1, round(last * _FAN_COLUMNS)))
            line[begin:end] = letter * (end - begin)
        print(f"  {label:{width}} {''.join(line).rstrip()}")
    print(f"  {'':{width}} {scale}")


def fan(labels: Sequence[str], bands: Sequence[Sequence[float]], line: float | None) -> None:
    """Bands of chance, a row each: `-` nine tenths to a tenth, `=` the middle half, `o` the middle.

    Each band is the quantiles 0.1, 0.25, 0.5, 0.75, 0.9; `line` is marked `|` in every row.
    """
    most = max([band[-1] for band in bands] + ([line] if line is not None else [])) or 1.0
    width = max(len(label) for label in labels)

    def column(value: float) -> int:
        return round(max(0.0, value) / most * _FAN_COLUMNS)

    for label, band in zip(labels, bands, strict=True):
        row = [" "] * (_FAN_COLUMNS + 1)
        low, quarter, middle, three_quarters, high = (column(value) for value in band)
        row[low : high + 1] = "-" * (high + 1 - low)
        row[quarter : three_quarters + 1] = "=" * (three_quarters + 1 - quarter)
        row[middle] = "o"
        if line is not None:
            row[column(line)] = "|"
        print(f"  {label:{width}} {''.join(row).rstrip()}")
    key = say("o the middle, = half of the time, - four times in five")
    if line is not None:
        key = say("o the middle, = half of the time, - four times in five, | the goal")
    print(f"  {'':{width}} 0{f'{most:.0f}'.rjust(_FAN_COLUMNS)}")
    print(f"  {'':{width}} {key}")

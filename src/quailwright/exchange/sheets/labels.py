"""Labels for eggs that may be sold, on sheets of labels or to cut out."""

from dataclasses import dataclass
from datetime import date
from typing import Final

from quailwright.exchange.sheets.press import Paper, Press, pdf
from quailwright.exchange.store_told import Label, labels, store_told
from quailwright.guide import wording
from quailwright.journal.findings import Withheld
from quailwright.language import say, say_many


@dataclass(frozen=True, slots=True)
class Grid:
    """Labels on a sheet, in mm: how many across and down, their size, margins, gaps between."""

    across: int
    down: int
    width: float
    height: float
    left: float
    top: float
    gap: float


GRIDS: Final[dict[Paper, Grid]] = {
    "a4": Grid(3, 8, 63.5, 33.9, 7.25, 12.9, 2.5),
    "letter": Grid(3, 10, 66.675, 25.4, 4.7625, 12.7, 3.175),
}
"""Usual sheets of labels of each paper. Common practice, no source: measure yours before use."""
CUT: Final[dict[Paper, Grid]] = {
    "a4": Grid(2, 5, 91.0, 52.0, 14.0, 18.5, 0.0),
    "letter": Grid(2, 5, 94.0, 49.0, 13.95, 17.2, 0.0),
}
"""Larger ones on plain paper, with lines to cut along, for labels with more to say."""


def labels_pdf(press: Press, copies: int = 1, cut: bool = False) -> bytes:
    """So many labels of each box and lot that may be sold.

    They stand on a sheet of labels if all find room there at the smallest size of letters, else
    (or if `cut`) on plain paper with lines to cut along.

    Raises:
        Withheld: no eggs that may be sold are in the store.
    """
    flock, on = press.flock, press.on
    found = labels(flock, on)
    told = store_told(flock, on)
    left_out = told.held + told.past
    if not found:
        why = say("No eggs that may be sold are in the store.")
        if left_out:
            why += " " + say_many(
                "{n} egg is held or past its time.",
                "{n} eggs are held or past their time.",
                left_out,
            )
        raise Withheld(why)
    grid = GRIDS[press.paper]
    mark = say("Invented") if press.invented else ""
    return pdf(
        press,
        "labels",
        say("Labels for eggs"),
        {
            "labels": [_label(label, mark) for label in found for _ in range(copies)],
            "grid": _plain(grid),
            "cut": _plain(CUT[press.paper]),
            "always_cut": cut,
        },
    )


def _plain(grid: Grid) -> dict[str, float]:
    return {
        "across": grid.across,
        "down": grid.down,
        "width": grid.width,
        "height": grid.height,
        "left": grid.left,
        "top": grid.top,
        "gap": grid.gap,
    }


def _label(label: Label, invented: str) -> dict[str, object]:
    eggs = say_many("{n} quail egg", "{n} quail eggs", label.eggs)
    first, last = (_day(day) for day in (label.laid_first, label.laid_last))
    laid = (
        say("laid {day}", day=first)
        if label.laid_first == label.laid_last
        else say("laid {first} to {last}", first=first, last=last)
    )
    until = "" if label.keep_until is None else say("keeps until {day}", day=_day(label.keep_until))
    lot = say("lot {lot}", lot=f"{label.laid_first} {' '.join(label.groups)}")
    lines = [
        " · ".join(bit for bit in (lot, label.storage) if bit),
        " ".join(bit for bit in (label.allergy, label.text) if bit),
        " · ".join(bit for bit in (label.name, label.contact, invented) if bit),
    ]
    return {
        "head": f"{label.title} · {eggs}" if label.title else eggs,
        "dates": [line for line in (laid, until) if line],
        "lines": [line for line in lines if line],
    }


def _day(day: date) -> str:
    """`Sun 2 May 2027`: a label is read in another year too."""
    return say("{day} {year}", day=wording.weekday(day), year=day.year)

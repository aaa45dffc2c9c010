"""Reads a spreadsheet in a process of its own, which may take so much memory and time.

It is run as a program by `tables_in_grid`: a file made to do harm ends this process and no other.
It writes one JSON document: the sheets, or why they were not read.
"""

import json
import sys
from datetime import date, datetime, time, timedelta
from typing import Any

MEMORY_BYTES = 1 << 30
CPU_S = 20
MOST_ROWS, MOST_COLUMNS, MOST_CELLS = 20_000, 256, 1_500_000


def _limit() -> None:
    try:
        import resource
    except ImportError:  # no such limits on this system: its parent's clock is left
        return
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (CPU_S, CPU_S))


def _plain(value: Any) -> Any:
    if isinstance(value, datetime):
        return {"at": value.isoformat()}
    if isinstance(value, date):
        return {"at": value.isoformat()}
    if isinstance(value, time):
        return {"clock": value.isoformat()}
    if isinstance(value, timedelta):
        return {"seconds": value.total_seconds()}
    return value


def _used(rows: list[list[Any]]) -> list[list[Any]]:
    """Without the blank rows and columns at the end."""
    width = max(
        (number for row in rows for number, cell in enumerate(row, 1) if cell != ""), default=0
    )
    rows = [row[:width] for row in rows]
    while rows and not any(cell != "" for cell in rows[-1]):
        rows.pop()
    return rows


def _read(path: str) -> dict[str, Any]:
    import python_calamine as calamine

    try:
        with calamine.load_workbook(path) as book:
            sheets = []
            for about in book.sheets_metadata:
                if about.typ != calamine.SheetTypeEnum.WorkSheet:
                    continue
                sheet = book.get_sheet_by_name(about.name)
                if sheet.total_height * sheet.total_width > MOST_ROWS * MOST_COLUMNS:
                    return {"error": "large", "sheet": about.name}
                rows = _used(sheet.to_python(skip_empty_area=False))
                if len(rows) > MOST_ROWS or sum(map(len, rows)) > MOST_CELLS:
                    return {"error": "large", "sheet": about.name}
                merged = sheet.merged_cell_ranges
                sheets.append(
                    {
                        "name": about.name,
                        "hidden": about.visible != calamine.SheetVisibleEnum.Visible,
                        "rows": [[_plain(cell) for cell in row] for row in rows],
                        "merged": None
                        if merged is None
                        else [[*first, *last] for first, last in merged],
                    }
                )
            return {"sheets": sheets}
    except calamine.PasswordError:
        return {"error": "password"}
    except (calamine.CalamineError, ValueError, OSError) as error:
        return {"error": "broken", "why": str(error)[:200]}


if __name__ == "__main__":
    _limit()
    json.dump(_read(sys.argv[1]), sys.stdout)

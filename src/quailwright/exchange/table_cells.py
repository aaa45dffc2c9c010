"""Cells of CSV that no spreadsheet takes for a formula, and what they held before.

A text that begins with a sign that starts a formula gets an apostrophe in front (OWASP, CSV
injection). So that this can be undone, a text of apostrophes before such a sign gets one more.
"""

import re

_STARTS = re.compile(r"'*[=+\-@\t\r\n\uff0b\uff0d\uff1d\uff20]")


def safe_cell(text: str) -> str:
    """The text as a cell."""
    return f"'{text}" if _STARTS.match(text) else text


def text_of(cell: str) -> str:
    """The text that `safe_cell` made the cell of."""
    return cell[1:] if cell[:1] == "'" and _STARTS.match(cell) else cell

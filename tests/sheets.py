"""Keepers' own sheets as they are in life, for tests, by other libraries than read them."""

import io
import zipfile
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import openpyxl

Rows = Sequence[Sequence[Any]]


def messy(path: Path) -> Path:
    """A title, a head of two rows with merged cells, days in five styles of which one is merged
    over two rows, a row of subtotals in the middle, notes in cells, and totals at the end."""
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = "Spring"
    sheet["A1"] = "Our quail eggs"
    sheet.merge_cells("A1:E1")
    for cell, text in {"A3": "Date", "B3": "Eggs", "E3": "Notes", "B4": "pen A", "C4": "pen B",
                       "D4": "Total"}.items():  # fmt: skip
        sheet[cell] = text
    for merged in ("A3:A4", "B3:D3", "E3:E4"):
        sheet.merge_cells(merged)
    rows: Rows = (
        (date(2026, 4, 1), 5, 6, 11, None),
        ("2/4/26", 4, "7 (2 broken)", 11, None),
        ("3 April", 6, "-", 6, "pen B not let out"),
        (None, 1, 2, 3, "second round"),
        ("Week 1", 16, 15, 31, None),
        (None, None, None, None, None),
        (46_116, "?", 5, 5, None),
        ("13/4/26", 3, 3, 6, None),
        ("Total", 19, 23, 42, None),
    )
    for number, row in enumerate(rows, 5):
        for column, value in enumerate(row, 1):
            sheet.cell(number, column).value = value
    sheet.merge_cells("A7:A8")
    sheet["A9"] = None
    book.save(path)
    return path


def plain(path: Path, rows: Rows, title: str = "Sheet1") -> Path:
    """Rows as they are, in a workbook of one sheet."""
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = title
    for row in rows:
        sheet.append(list(row))
    book.save(path)
    return path


def open_document(path: Path, rows: Rows, title: str = "Sheet1") -> Path:
    """Rows as an OpenDocument spreadsheet (OASIS Open Document Format 1.3, part 3), by hand."""
    cells = []
    for row in rows:
        made = []
        for value in row:
            if value is None:
                made.append("<table:table-cell/>")
            elif isinstance(value, date):
                made.append(
                    f'<table:table-cell office:value-type="date" office:date-value="{value}">'
                    f"<text:p>{value}</text:p></table:table-cell>"
                )
            elif isinstance(value, int | float):
                made.append(
                    f'<table:table-cell office:value-type="float" office:value="{value}">'
                    f"<text:p>{value}</text:p></table:table-cell>"
                )
            else:
                text = escape(str(value))
                made.append(
                    '<table:table-cell office:value-type="string">'
                    f"<text:p>{text}</text:p></table:table-cell>"
                )
        cells.append(f"<table:table-row>{''.join(made)}</table:table-row>")
    names = {part: f"urn:oasis:names:tc:opendocument:xmlns:{part}:1.0" for part in
             ("office", "table", "text")}  # fmt: skip
    spaces = " ".join(f'xmlns:{part}="{name}"' for part, name in names.items())
    content = (
        f'<?xml version="1.0" encoding="UTF-8"?><office:document-content {spaces} '
        'office:version="1.3"><office:body><office:spreadsheet>'
        f'<table:table table:name="{escape(title)}">{"".join(cells)}</table:table>'
        "</office:spreadsheet></office:body></office:document-content>"
    )
    kind = "application/vnd.oasis.opendocument.spreadsheet"
    manifest = (
        '<?xml version="1.0"?><manifest:manifest xmlns:manifest='
        '"urn:oasis:names:tc:opendocument:xmlns:manifest:1.0">'
        f'<manifest:file-entry manifest:full-path="/" manifest:media-type="{kind}"/>'
        '<manifest:file-entry manifest:full-path="content.xml" manifest:media-type="text/xml"/>'
        "</manifest:manifest>"
    )
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as packed:
        packed.writestr("mimetype", kind)
        packed.writestr("content.xml", content)
        packed.writestr("META-INF/manifest.xml", manifest)
    path.write_bytes(out.getvalue())
    return path

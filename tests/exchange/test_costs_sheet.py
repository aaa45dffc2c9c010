"""Exports of the costs: the spreadsheet reckons by itself, and no name is taken for a formula."""

import csv
import io
import re
import zipfile
from dataclasses import replace
from datetime import date
from typing import Any
from xml.etree import ElementTree

import pytest
from tests.makers import made

from quailwright.exchange.costs_sheet import costs_sheet
from quailwright.exchange.costs_told import Costs, costs, costs_csv
from quailwright.exchange.table_cells import safe_cell
from quailwright.flock.fold import fold

LAST = date(2027, 5, 30)
NAMES = {"m": "http://schemas.openxmlformats.org/spreadsheetml/2006/main"}
EVIL = ["=1+1", "+1", "-1", "@SUM(A1)", '=HYPERLINK("http://example.org","x")']


def costs_of(*more: Any) -> Costs:
    entries = [
        made("group", "2027-05-01", group="hens", place="pen", hens=10, cocks=2,
             hatched_on="2026-10-01"),
        made("feed_bought", "2027-05-01", feed="pellets", kg=25, cost=24),
        *(made("feed_given", date(2027, 5, day), feed="pellets", kg=0.3) for day in range(1, 30)),
        *(made("eggs_collected", date(2027, 5, day), group="hens", eggs=7)
          for day in range(1, 30)),
        made("eggs_out", "2027-05-20", use="sold", eggs=60, income=15),
        made("eggs_out", "2027-05-21", use="eaten", eggs=30),
        made("money", "2027-04-20", amount=-100, category="cage", lasts_years=4),
        *more,
    ]  # fmt: skip
    return costs(entries, fold(entries, LAST), LAST, date(2027, 4, 1))


class Book:
    """A workbook that is read and reckoned here, formula by formula, without what wrote it.

    Enough of the formula language of ISO/IEC 29500 for sums, IF, and arithmetic.
    """

    def __init__(self, data: bytes) -> None:
        self.texts: dict[tuple[str, str], str] = {}
        self.cached: dict[tuple[str, str], str] = {}
        self.formulas: dict[tuple[str, str], str] = {}
        with zipfile.ZipFile(io.BytesIO(data)) as package:
            shared = [
                "".join(text.text or "" for text in one.iter(f"{{{NAMES['m']}}}t"))
                for one in ElementTree.fromstring(package.read("xl/sharedStrings.xml"))
            ]
            book = ElementTree.fromstring(package.read("xl/workbook.xml"))
            self.sheets = [one.attrib["name"] for one in book.findall(".//m:sheet", NAMES)]
            for number, name in enumerate(self.sheets, 1):
                sheet = package.read(f"xl/worksheets/sheet{number}.xml")
                for cell in ElementTree.fromstring(sheet).findall(".//m:c", NAMES):
                    self._read(name, cell, shared)

    def _read(self, sheet: str, cell: ElementTree.Element, shared: list[str]) -> None:
        key = sheet, cell.attrib["r"]
        formula, value = cell.find("m:f", NAMES), cell.findtext("m:v", "", NAMES)
        if formula is not None:
            self.formulas[key] = formula.text or ""
            self.cached[key] = value
        elif cell.attrib.get("t") == "s":
            self.texts[key] = shared[int(value)]
        else:
            self.cached[key] = value

    def value(self, sheet: str, cell: str) -> Any:
        key = sheet, cell
        if key in self.texts:
            return self.texts[key]
        if key not in self.formulas:
            return float(self.cached.get(key) or 0.0)
        return eval(self._as_python(self.formulas[key], sheet), self._functions())

    def _as_python(self, formula: str, here: str) -> str:
        place = r"(?:'([^']+)'!)?([A-Z]+[0-9]+)(?::([A-Z]+[0-9]+))?"

        def read(found: re.Match[str]) -> str:
            sheet = found[1] or here
            if found[3]:
                return f"SPAN({sheet!r}, {found[2]!r}, {found[3]!r})"
            return f"CELL({sheet!r}, {found[2]!r})"

        # A conditional reckons only the side that holds, as spreadsheets do.
        text = re.sub(place, read, formula)
        return re.sub(r'IF\((.+?)=(0|""),(.*?),', r"IF((\1)==\2, lambda: \3, lambda: ", text)

    def _functions(self) -> dict[str, Any]:
        def span(sheet: str, first: str, last: str) -> list[float]:
            (a, b), (c, d) = (re.fullmatch(r"([A-Z])(\d+)", one).groups() for one in (first, last))  # type: ignore[union-attr]
            return [
                self.value(sheet, f"{chr(column)}{row}")
                for column in range(ord(a), ord(c) + 1)
                for row in range(int(b), int(d) + 1)
            ]

        return {
            "CELL": self.value,
            "SPAN": span,
            "SUM": lambda values: sum(values),
            "IF": lambda holds, then, other: then() if holds else other(),
        }


def test_every_formula_reckons_to_the_value_beside_it() -> None:
    """Another evaluator agreed too (the `formulas` package, 1.3.4, on the demo's sheet)."""
    book = Book(costs_sheet(costs_of()))
    assert book.sheets == ["Months", "Shares", "What if"]
    assert len(book.formulas) > 20
    for (sheet, cell), formula in book.formulas.items():
        told = book.cached[sheet, cell]
        reckoned = book.value(sheet, cell)
        assert reckoned == pytest.approx(float(told), abs=1e-9), (sheet, cell, formula)


def test_what_is_changed_in_the_sheet_changes_what_follows() -> None:
    found = costs_of()
    book = Book(costs_sheet(found))
    [price] = [key for key, text in book.texts.items() if text == "price of feed, a kg"]
    [dozen] = [key for key, text in book.texts.items() if text == "a dozen" and key[0] == "What if"]
    before = book.value("What if", f"B{dozen[1][1:]}")
    assert found.moves is not None
    assert before == pytest.approx(found.moves.keeping.per_dozen)
    book.cached["What if", f"B{price[1][1:]}"] = str(2 * found.moves.keeping.feed_per_kg)
    dearer = replace(found.moves.keeping, feed_per_kg=2 * found.moves.keeping.feed_per_kg)
    assert book.value("What if", f"B{dozen[1][1:]}") == pytest.approx(dearer.per_dozen)


def test_a_month_changed_changes_the_sums() -> None:
    book = Book(costs_sheet(costs_of()))
    heads = {text: key[1] for key, text in book.texts.items() if key[0] == "Months"}
    feed = heads["cost: feed"][0]
    costs_at, left = heads["all costs"][0], heads["money left"][0]
    before = book.value("Months", f"{left}4")
    book.cached["Months", f"{feed}2"] = "1000"
    assert book.value("Months", f"{costs_at}4") > 1000
    assert book.value("Months", f"{left}4") == pytest.approx(before - 1000)


def test_without_eggs_there_is_no_division_by_nothing() -> None:
    entries = [made("money", "2027-05-05", amount=-5, category="bedding")]
    found = costs(entries, fold(entries, LAST), LAST, date(2027, 4, 1))
    book = Book(costs_sheet(found))
    assert book.sheets == ["Months", "Shares"]
    [egg] = [key for key, text in book.texts.items() if text.startswith("an egg")]
    assert book.value("Shares", f"B{egg[1][1:]}") == ""


@pytest.mark.parametrize("name", EVIL)
def test_names_are_never_formulas(name: str) -> None:
    """OWASP, CSV injection: cells that begin with = + - @ are taken for formulas."""
    found = costs_of(made("money", "2027-05-05", amount=-5, category=name))
    book = Book(costs_sheet(found))
    assert any(name in text for text in book.texts.values())
    assert not any(name.lstrip("=") in formula for formula in book.formulas.values())
    rows = list(csv.reader(io.StringIO(costs_csv(found.account))))
    for cell in rows[0]:
        assert cell[0] not in "=+-@"
    assert f"cost {name}" in rows[0]
    assert safe_cell(name) == f"'{name}"


def test_csv_has_a_row_each_month_and_adds_up() -> None:
    found = costs_of()
    rows = list(csv.DictReader(io.StringIO(costs_csv(found.account))))
    assert [row["month"] for row in rows] == ["2027-04", "2027-05"]
    for name, whole in (("cost", found.account.cost), ("result", found.account.earned)):
        assert sum(float(row[name]) for row in rows) == pytest.approx(whole, abs=0.001)
    assert rows[0]["keeping_per_dozen"] == ""
    assert rows[1]["eggs_eaten"] == "30"
    assert float(rows[1]["cost feed"]) == pytest.approx(29 * 0.3 * 0.96)

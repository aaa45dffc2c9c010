"""Tables as files, read back by other readers: openpyxl, the csv module, DuckDB."""

import csv
import io
import zipfile
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import duckdb
import openpyxl
import pytest
from tests.makers import made

from quailwright.exchange.tables_in import previewed
from quailwright.exchange.tables_in_grid import read_book
from quailwright.exchange.tables_in_match import Match
from quailwright.exchange.tables_out import TABLES, Asked, table_named, tables_asked
from quailwright.exchange.tables_out_files import csv_text, workbook, written
from quailwright.flock.fold import fold
from quailwright.journal.entries import Entry
from quailwright.journal.findings import BadInput
from quailwright.journal.readings import to_ms
from quailwright.journal.store import open_store
from quailwright.language import speaking

NOW = datetime(2027, 5, 3, 7, tzinfo=UTC)
FORMULA = '=HYPERLINK("http://x")'
EGGS = made("eggs_collected", "2027-05-01", group=FORMULA, eggs=9, cracked=1, total_g=107.12345)
JOURNAL: tuple[Entry, ...] = (
    made("holding", "2027-01-01", name="Home", timezone="Europe/Lisbon", currency="EUR"),
    made("place", "2027-01-01", place="box", role="incubator", capacity_eggs=60),
    made("place", "2027-01-01", place="'+pen", role="pen", floor_m2=0.1 + 0.2),
    made("source", "2027-01-01", source="friend", route="collected", price_per_egg=0.4),
    made("group", "2027-01-01", group=FORMULA, place="'+pen", hens=10, cocks=2, cost=20),
    made("feed_bought", "2027-04-01", feed="pellets, fine", kg=20, cost=18.5),
    made("feed_given", "2027-04-02", feed="pellets, fine", kg=0.5, place="'+pen"),
    made("feed_given", "2027-04-02", feed="pellets, fine", kg=0.25),
    EGGS,
    made("eggs_out", "2027-05-02", use="sold", eggs=4, income=2, to="@market"),
    made("birds_died", "2027-04-20", group=FORMULA, hens=1, found="predator"),
    made("birds_weighed", "2027-04-21", group=FORMULA, weights_g=[210.5, 1 / 3 * 600]),
    made("bird", "2027-04-21", bird="007", sex="hen", group=FORMULA, sire="+49", dam="D,1"),
    made("bird", "2027-04-21", bird="+49", sex="cock", group=FORMULA),
    made("bird", "2027-04-21", bird="a, b", sex="cock", group=FORMULA),
    made("pairing", "2027-04-22", pen="'+pen", cocks=["+49", "a, b"], hens=["007"]),
    made("eggs_set", "2027-03-01T20:00+00:00", hatch="m", eggs=24, place="box", source="friend"),
    made("eggs_weighed", "2027-03-01T20:00+00:00", hatch="m", eggs=24, total_g=264),
    made("chicks_hatched", "2027-03-18", hatch="m", chicks=18),
    made("hatch_closed", "2027-03-19", hatch="m"),
    made("care", "2027-05-01", task="wash", minutes=7.125, note=" two\r\nlines;\ta \"quote\" '=x "),
    made("treated", "2027-05-02", group=FORMULA, product="-", eggs_withheld_until="2027-05-09"),
    made("money", "2027-05-02", amount=-12.5, category="nets", lasts_years=5),
    made("retract", "2027-05-02T10:00Z", entry=EGGS.id, why="-miscounted", instead={
        "kind": "eggs_collected", "id": "01910000-0000-4000-8000-000000000001",
        "at": "2027-05-01", "group": FORMULA, "eggs": 8}),
    made("goal", "2027-06-01", eggs_per_week=40),
)  # fmt: skip


@pytest.fixture(scope="module")
def asked(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Asked]:
    """What tables are made of, with readings over the night of a clock change (Lisbon)."""
    where = tmp_path_factory.mktemp("tables") / "flock.sqlite"
    with open_store(str(where), create=True) as store:
        start = datetime(2027, 3, 27, 22, tzinfo=UTC)
        at = [to_ms(start + timedelta(minutes=30 * n)) for n in range(12)]
        with store.writing() as writer:
            writer.append(JOURNAL, NOW)
            writer.append_readings(
                "box", "probe", at, [37.0 + n / 10 for n in range(12)], [50.0] * 11 + [None]
            )
        yield tables_asked(store.entries(), store, None, NOW)


def _rows(asked: Asked, name: str) -> list[dict[str, Any]]:
    table = table_named(name)
    columns = [column.name for column in table.columns]
    return [dict(zip(columns, row, strict=True)) for row in table.rows(asked)]


def test_every_table_has_rows_of_its_columns_and_says_what_stands(asked: Asked) -> None:
    empty = set()
    for table in TABLES:
        rows = list(table.rows(asked))
        assert all(len(row) == len(table.columns) for row in rows)
        assert len({column.name for column in table.columns}) == len(table.columns)
        if not rows:
            empty.add(table.name)
    assert empty == {
        "egg_weights", "hens_laid", "water", "quarantines", "outages", "temperatures",
        "instruments", "plan", "goals",
    } - {"egg_weights"}  # fmt: skip
    (eggs,) = _rows(asked, "eggs")
    assert (eggs["laid"], eggs["eggs"], eggs["cracked"]) == (date(2027, 5, 1), 8, 0)
    (stock,) = _rows(asked, "egg_store")
    assert (stock["eggs"], stock["withheld"]) == (4, False)
    (hatch,) = _rows(asked, "hatches")
    assert (hatch["eggs_set"], hatch["hatched"], hatch["hatch_of_set_pct"]) == (24, 18, 75.0)
    given = {(row["place"], row["kg"]) for row in _rows(asked, "feed_given")}
    assert given == {("'+pen", 0.5), (None, 0.25)}
    bird = _rows(asked, "ringed_birds")[0]
    assert (bird["bird"], bird["sire"], bird["dam"]) == ("007", "+49", "D,1")
    costs = _rows(asked, "months")
    assert sum(row["eggs_laid"] for row in costs) == 8
    assert sum(row["cash"] for row in costs) == pytest.approx(-20 - 18.5 + 2 - 12.5)
    by_month = sum(row["amount"] for row in _rows(asked, "costs"))
    assert by_month == pytest.approx(sum(row["result"] for row in costs))


def test_readings_are_summed_by_hour_and_by_the_days_of_the_holding(asked: Asked) -> None:
    """Clocks of Lisbon went from 00:00 UTC on 28 March 2027 one hour on (EU Directive 2000/84/EC:
    the last Sunday of March, 01:00 UTC)."""
    days = _rows(asked, "readings_by_day")
    assert [(row["day"], row["readings"]) for row in days] == [
        (date(2027, 3, 27), 4), (date(2027, 3, 28), 8)
    ]  # fmt: skip
    assert days[1]["temperature_high_c"] == pytest.approx(38.1)
    hours = _rows(asked, "readings_by_hour")
    assert [row["hour"].isoformat() for row in hours][1:4] == [
        "2027-03-27T23:00:00+00:00", "2027-03-28T00:00:00+00:00", "2027-03-28T02:00:00+01:00"
    ]  # fmt: skip
    assert sum(row["readings"] for row in hours) == 12


def test_csv_is_read_by_others_and_holds_no_formula(asked: Asked, tmp_path: Path) -> None:
    files = written(tmp_path / "out", asked, [], False)
    assert [file.stem for file in files] == [table.name for table in TABLES]
    for file in files:
        raw = file.read_bytes()
        assert raw.startswith(b"\xef\xbb\xbf")
        assert raw.count(b"\n") >= raw.count(b"\r\n") >= 1
        with file.open(encoding="utf-8-sig", newline="") as stream:
            rows = list(csv.reader(stream, strict=True))
        assert len({len(row) for row in rows}) == 1
        for row in rows[1:]:
            assert not [cell for cell in row if cell[:1] in ("=", "+", "@", "\t", "\r")]
    with duckdb.connect() as base:
        eggs, money = (str(tmp_path / "out" / f"{name}.csv") for name in ("eggs", "money"))
        base.execute('SELECT laid, "group", eggs, mean_g FROM read_csv(?)', [eggs])
        assert base.fetchall() == [(date(2027, 5, 1), f"'{FORMULA}", 8, None)]
        base.execute("SELECT sum(amount) FROM read_csv(?)", [money])
        assert base.fetchall()[0][0] == pytest.approx(-20 - 18.5 + 2 - 12.5)


def test_the_workbook_has_real_dates_and_numbers_frozen_heads_and_no_formula(
    asked: Asked, tmp_path: Path
) -> None:
    (path,) = written(tmp_path / "flock.xlsx", asked, [], False)
    book = openpyxl.load_workbook(path)
    assert book.sheetnames[0] == "About"
    about = [str(row[0]) for row in book["About"].iter_rows(values_only=True)]
    assert "As of Monday 3 May 2027." in about
    assert "Everything here is invented." not in about
    assert len(book.sheetnames) == len(TABLES) + 1
    sheet = book["Eggs by day"]
    assert sheet.freeze_panes == "B2"
    assert sheet.auto_filter.ref == "A1:F2"
    laid, group, *_ = sheet[2]
    assert laid.value == datetime(2027, 5, 1)  # noqa: DTZ001  a sheet knows no zone
    assert laid.is_date
    assert group.value == FORMULA
    assert group.data_type == "s"
    kinds = {cell.data_type for sheet in book for row in sheet.iter_rows() for cell in row}
    assert "f" not in kinds
    hatch = book["Hatches"]
    heads = [cell.value for cell in hatch[1]]
    assert hatch.cell(2, heads.index("hatch of set, %") + 1).value == 75
    marked = openpyxl.load_workbook(io.BytesIO(workbook([table_named("eggs")], asked, True)))
    assert "Everything here is invented." in [cell.value for cell in marked["About"]["A"]]


@pytest.mark.parametrize("name", ["journal.csv", "journal.xlsx"])
@pytest.mark.parametrize("language", ["en", "pt"])
def test_the_journal_taken_in_again_is_the_same(
    name: str, language: str, asked: Asked, tmp_path: Path
) -> None:
    with speaking(language):
        (path,) = written(tmp_path / name, asked, ["journal"], False)
        book = read_book(path)
        (sheet,) = [grid.name for grid in book.sheets if grid.rows[0][0] == "date"]
        match = Match(sheet, (1, 1), "journal")
        seen = previewed(book, match, fold([], NOW), [], NOW)
    assert [problem.sentence for problem in seen.problems] == []
    assert seen.new == list(JOURNAL)
    again = previewed(book, match, fold(JOURNAL, NOW), list(JOURNAL), NOW)
    assert (again.already, again.new) == (len(JOURNAL), [])


def test_as_of_a_day_holds_what_was_known_then(asked: Asked) -> None:
    then = tables_asked(asked.entries, asked.store, date(2027, 3, 1), NOW)
    assert _rows(then, "eggs") == []
    assert [row["kind"] for row in _rows(then, "journal")] == [
        "holding", "place", "place", "source", "group", "eggs_set", "eggs_weighed"
    ]  # fmt: skip
    assert len(_rows(asked, "journal")) == len(JOURNAL)


def test_what_cannot_be_written_is_said(asked: Asked, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    for target, names, said in (
        (tmp_path / "a.csv", [], "One CSV file holds one table"),
        (tmp_path / "a.csv", ["sheep"], "There is no table 'sheep'"),
        (tmp_path / "file" / "x", [], "cannot be written"),
        (tmp_path / "none" / "a.xlsx", [], "cannot be written"),
    ):
        with pytest.raises(BadInput, match=said):
            written(target, asked, names, False)
    (path,) = written(tmp_path / "a.zip", asked, ["eggs"], False)
    with zipfile.ZipFile(path) as packed:
        assert packed.namelist() == ["eggs.csv"]
        assert packed.read("eggs.csv").decode("utf-8-sig") == csv_text(table_named("eggs"), asked)

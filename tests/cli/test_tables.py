"""`tables`: a messy sheet from the first look to the journal and back, and what is exported."""

import csv
from pathlib import Path

import openpyxl
from tests.cli.conftest import Quail
from tests.sheets import Rows, messy, plain

FIRST = """
[[first]]
kind = "group"
at = "2026-03-01"
group = "{name}"
place = "shed"
hens = 12
"""


def test_a_messy_sheet_goes_in_by_a_match_once_and_comes_out_again(
    quail: Quail, tmp_path: Path
) -> None:
    messy(tmp_path / "eggs.xlsx")
    quail("log", "holding", "name=Home", "timezone=Europe/Lisbon")
    look = quail("tables", "import", "eggs.xlsx", "--write-match", "eggs.toml")
    assert look.code == 0
    assert "The head stands in rows 3 to 4." in look.out
    assert "B: eggs of pen A" in look.out
    assert "names.pen A: The journal has no group 'pen A'." in look.out
    assert "Nothing was written. Tell in eggs.toml what is asked above." in look.out
    match = tmp_path / "eggs.toml"
    assert '# [names]\n# "pen A" = "the name in the journal"' in match.read_text()
    refused = quail("tables", "import", "eggs.xlsx", "--match", "eggs.toml")
    assert refused.code == 2
    assert "names.pen B: The journal has no group 'pen B'." in refused.err
    match.write_text(match.read_text() + FIRST.format(name="pen A") + FIRST.format(name="pen B"))
    dry = quail("tables", "import", "eggs.xlsx", "--match", "eggs.toml", "--dry-run")
    assert dry.code == 0
    assert "12 entries would be written; all of it fits the journal." in dry.out
    assert "Row 13: a total, by its name: B13 sums up rows 5 to 12" in dry.out
    assert len(quail("journal", "export").out.splitlines()) == 1
    done = quail("tables", "import", "eggs.xlsx", "--match", "eggs.toml")
    assert "12 entries were written." in done.out
    assert len(quail("journal", "export").out.splitlines()) == 13
    again = quail("tables", "import", "eggs.xlsx", "--match", "eggs.toml", "--json").json
    assert (again["already"], again["new"], again["written"]) == (12, {}, 0)
    (one,) = quail("tables", "imports", "--json").json
    assert (one["entries"], one["standing"]) == (12, 12)
    quail("tables", "export", "out.csv", "--table", "eggs")
    with (tmp_path / "out.csv").open(encoding="utf-8-sig", newline="") as stream:
        assert sum(int(row["eggs"]) for row in csv.DictReader(stream)) == 42
    undone = quail("tables", "undo", one["id"])
    assert "12 entries were taken back." in undone.out
    assert quail("flock", "--json").json["places"] == []
    assert quail("tables", "undo", one["id"]).code == 2
    back = quail("tables", "import", "eggs.xlsx", "--match", "eggs.toml")
    assert "12 entries were written." in back.out
    assert "nothing in it contradicts itself" in quail("journal", "check").out


def test_a_wrong_cell_is_named_and_nothing_is_written(quail: Quail, tmp_path: Path) -> None:
    rows: Rows = [
        ["Date", "amount", "what for"],
        ["2026-04-01", -3.5, "nets"],
        ["1 Mai", "a lot", "x"],
    ]
    plain(tmp_path / "money.xlsx", rows)
    quail("log", "holding", "name=Home")
    quail("tables", "import", "money.xlsx", "--write-match", "m.toml")
    match = tmp_path / "m.toml"
    match.write_text("year = 2026\n" + match.read_text().replace("year = 2026\n", ""))
    refused = quail("tables", "import", "money.xlsx", "--match", "m.toml")
    assert refused.code == 2
    assert "Sheet1, B3: 'a lot' is no single figure. Write a number" in refused.err
    assert len(quail("journal", "export").out.splitlines()) == 1


def test_tables_are_listed_and_written_as_one_workbook(quail: Quail, tmp_path: Path) -> None:
    quail("log", "holding", "name=Home")
    assert "eggs gathered, by lay date and group" in quail("tables", "list").out
    names = [table["table"] for table in quail("tables", "list", "--json").json]
    assert quail("tables", "export", "flock.xlsx").out == "Written: flock.xlsx\n"
    assert len(openpyxl.load_workbook(tmp_path / "flock.xlsx").sheetnames) == len(names) + 1
    quail("tables", "export", "folder", "--table", "money", "--table", "eggs")
    assert sorted(file.name for file in (tmp_path / "folder").iterdir()) == [
        "eggs.csv",
        "money.csv",
    ]


def test_nonsense_ends_in_a_sentence(quail: Quail, tmp_path: Path) -> None:
    quail("log", "holding", "name=Home")
    plain(tmp_path / "a.xlsx", [["a", "b"], [1, 2]])
    for line, said in (
        (("import", "none.xlsx"), "cannot be read"),
        (("import", "a.xlsx", "--sheet", "x"), "has no sheet 'x'"),
        (("import", "a.xlsx", "--kind", "sheep"), "nothing that a row may tell"),
        (("import", "a.xlsx", "--match", "none.toml"), "none.toml"),
        (("export", "flock.xlsx", "--table", "x"), "There is no table 'x'"),
        (("undo", "x"), "There is no import 'x'"),
    ):
        refused = quail("tables", *line)
        assert refused.code == 2, line
        assert said in refused.err
    quail("tables", "import", "a.xlsx")
    assert quail("tables", "imports").out == "Nothing was taken in from a sheet.\n"

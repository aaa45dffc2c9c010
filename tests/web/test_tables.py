"""The pages of tables: downloads, and a messy sheet through the guide to the end."""

import csv
import io
import zipfile
from pathlib import Path

import openpyxl
from fastapi import FastAPI
from starlette.testclient import TestClient
from tests.sheets import Rows, messy, plain
from tests.web.conftest import Enter, journal_of, token_of

from quailwright.journal.entries import kind_of

GUIDE = "/tables/import/match"


def bring(client: TestClient, path: Path) -> None:
    """Chooses a file on the page and looks at it."""
    form = {"token": token_of(client)}
    answer = client.post(
        "/tables/import", data=form, files={"sheet": (path.name, path.read_bytes())}
    )
    assert answer.status_code == 303, answer.text
    assert answer.headers["location"] == GUIDE


def test_a_messy_sheet_is_walked_through_the_guide_and_taken_back(
    app: FastAPI, keeper: TestClient, tmp_path: Path
) -> None:
    before = len(journal_of(app))
    bring(keeper, messy(tmp_path / "eggs.xlsx"))
    text = keeper.get(GUIDE).text
    assert "2 things are to be told before rows can be read." in text
    assert "The journal has no group &#39;pen A&#39;" in text
    assert "Write " not in text
    told = {"token": token_of(keeper), "group-0": "pen A", "group-0-is": "hens"}
    told |= {"group-1": "pen B", "group-1-since": "2026-03-01", "group-1-place": "shed"}
    keeper.post(GUIDE, data={**told, "group-1-hens": "6"})
    text = keeper.get(GUIDE).text
    # The group `hens` of this flock began in 2027: the rows of 2026 are refused with their cells.
    assert "Spring, B5: there is no group &#39;hens&#39; at that time." in text
    assert "Write " not in text
    told |= {"group-0-is": "", "group-0-since": "2026-03-01", "group-0-place": "pen"}
    keeper.post(GUIDE, data={**told, "group-0-hens": "8", "group-1-hens": "6"})
    text = keeper.get(GUIDE).text
    assert "12 entries are ready to be written." in text
    assert "a total, by its name: B13 sums up rows" in text
    assert len(journal_of(app)) == before
    assert 'kind = "eggs_collected"' in keeper.get("/tables/import/match.toml").text
    found = text.partition('name="import" value="')[2].partition('"')[0]
    answer = keeper.post("/tables/import/write", data={"token": token_of(keeper), "import": found})
    assert "12 entries were written." in answer.text
    new = journal_of(app)[before:]
    assert [kind_of(entry) for entry in new].count("eggs_collected") == 10
    assert new[2].note == f"from eggs.xlsx, Spring, row 5 [import {found}]"
    # Nothing is left of the sheet, and what was taken in can be taken back.
    gone = keeper.get(GUIDE, follow_redirects=True)
    assert "That sheet is no longer kept here" in gone.text
    assert f"Take import {found} back" in keeper.get("/tables").text
    undone = keeper.post("/tables/undo", data={"token": token_of(keeper), "import": found})
    assert undone.headers["location"] == f"/tables?undone={found}"
    assert app.state.home.flock().groups.keys() == {"hens"}


def test_another_kind_or_head_is_looked_at_anew(keeper: TestClient, tmp_path: Path) -> None:
    rows: Rows = [
        ["day", "what", "amount"],
        ["2026-04-01", "feed", -12.5],
        ["2026-04-02", "eggs", 4],
    ]
    bring(keeper, plain(tmp_path / "book.xlsx", rows))
    text = keeper.get(GUIDE).text
    assert '<option value="money" selected>' in text
    assert "2 entries are ready to be written." in text
    token = token_of(keeper)
    keeper.post(GUIDE, data={"token": token, "kind": "eggs_out"})
    assert '<option value="eggs_out" selected>' in keeper.get(GUIDE).text
    refused = keeper.post(GUIDE, data={"token": token, "head-first": "99"})
    assert refused.status_code == 422
    assert "99&#39; is no row of the sheet" in refused.text
    keeper.post("/tables/import/forget", data={"token": token})
    assert keeper.get(GUIDE).headers["location"] == "/tables/import?gone=yes"


def test_nonsense_ends_in_a_sentence(keeper: TestClient, tmp_path: Path) -> None:
    token = token_of(keeper)
    for name, body, said in (
        ("a.pdf", b"%PDF", "this ending is not known"),
        ("a.xlsx", b"PK\x03\x04 no zip", "cannot be read as a spreadsheet"),
        ("a.xls", b"\x00\x01nothing", "cannot be read as a spreadsheet"),
        ("a.csv", b"\x00\x01", "zero byte"),
        ("a.csv", b"", "is empty"),
    ):
        answer = keeper.post("/tables/import", data={"token": token}, files={"sheet": (name, body)})
        assert answer.status_code == 422
        assert said in answer.text
    assert "No file was chosen" in keeper.post("/tables/import", data={"token": token}).text
    assert keeper.post("/tables/undo", data={"token": token, "import": "x"}).status_code == 422
    assert keeper.post("/tables/import", data={"token": "old"}).status_code == 403


def test_who_may_read_takes_along_and_only_a_keeper_takes_in(enter: Enter) -> None:
    viewer = enter("viewer")
    text = viewer.get("/tables").text
    assert "/tables/flock.xlsx" in text
    assert "/tables/import" not in text
    assert viewer.get("/tables/import").status_code == 403
    book = openpyxl.load_workbook(io.BytesIO(viewer.get("/tables/flock.xlsx").content))
    assert book.sheetnames[:2] == ["About", "Eggs by day"]
    packed = zipfile.ZipFile(io.BytesIO(viewer.get("/tables/flock.zip").content))
    assert "journal.csv" in packed.namelist()
    assert viewer.get("/tables/table/eggs.csv").content.startswith(b"\xef\xbb\xbf")
    answer = viewer.get("/api/tables/eggs.csv")
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    assert rows == [
        {"laid": "2027-05-01", "group": "hens", "place": "pen", "eggs": "8", "cracked": "0",
         "mean_g": ""}
    ]  # fmt: skip
    assert "eggs" in viewer.get("/api/tables").json()
    assert len(viewer.get("/api/tables/eggs.csv?on=2027-04-30").text.splitlines()) == 1
    assert viewer.get("/api/tables/nothing.csv").status_code == 422
    assert enter("").get("/api/tables/eggs.csv").status_code == 401


def test_a_tab_of_a_month_is_asked_for_its_year(keeper: TestClient, tmp_path: Path) -> None:
    rows: Rows = [["Dia", "Ovos"], [1, 8], [2, 9], ["Total", 17]]
    bring(keeper, plain(tmp_path / "ovos.xlsx", rows, "Abril"))
    text = keeper.get(GUIDE).text
    assert 'id="month" name="month" value="4"' in text
    assert "Of which year are the days that name none?" in text
    told = {"token": token_of(keeper), "always-group": "hens", "month": "13", "year": "2027"}
    assert "give 1 to 12" in keeper.post(GUIDE, data=told, follow_redirects=True).text
    keeper.post(GUIDE, data={**told, "month": "4"})
    assert "2 entries are ready to be written." in keeper.get(GUIDE).text

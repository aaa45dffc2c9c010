"""The page of backups: what stands, choosing a folder, one now, one to take along."""

from pathlib import Path

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient
from tests.makers import made
from tests.web.conftest import NOW, Enter, token_of

from quailwright.exchange import backup_schedule
from quailwright.journal.findings import BadInput

PAGE = "/settings/backup"


def chosen(keeper: TestClient, folder: Path, do: str = "choose", **fields: str) -> int:
    form = {"folder": str(folder), "every": "day", "weekday": "6", "at": "03:30", **fields}
    return keeper.post(PAGE, data={"token": token_of(keeper, PAGE), "do": do, **form}).status_code


def test_from_no_backup_to_one_that_is_found_equal(
    app: FastAPI, keeper: TestClient, tmp_path: Path
) -> None:
    desk, folder = app.state.home.desk, tmp_path / "stick"
    assert "There is no backup of this record yet." in keeper.get(PAGE).text
    assert chosen(keeper, folder) == 303
    assert str(folder) in keeper.get(PAGE).text
    assert chosen(keeper, folder, "now") == 303
    asked = keeper.get(PAGE).text
    assert "A backup was asked for. It begins in a moment." in asked
    assert 'hx-select-oob="#stands"' in asked
    assert 'hx-trigger="every 2s"' in asked
    backup_schedule.look(desk, NOW)
    shown = keeper.get(PAGE).text
    assert "Last backup Mon 3 May 08:30, read back and found equal." in shown
    assert "10 entries" in shown
    assert "Tue 4 May 03:30" in shown
    assert "every 2s" not in shown
    (path,) = folder.glob("*.zip")
    taken = keeper.get(f"{PAGE}/file", params={"name": path.name})
    assert taken.content == path.read_bytes()
    assert taken.headers["content-disposition"] == f'attachment; filename="{path.name}"'
    assert taken.headers["cache-control"] == "no-store"
    assert chosen(keeper, folder, "stop") == 303
    assert backup_schedule.chosen(desk.store) is None
    assert path.exists()


def test_what_failed_is_told_with_its_reason(
    app: FastAPI, keeper: TestClient, tmp_path: Path
) -> None:
    folder = tmp_path / "stick"
    chosen(keeper, folder)
    (folder / backup_schedule.MARKER).unlink()
    assert "is not there now. Is the drive plugged in?" in keeper.get(PAGE).text
    with pytest.raises(BadInput):
        backup_schedule.look(app.state.home.desk, NOW)
    shown = keeper.get(PAGE).text
    assert "No backup was made Mon 3 May 08:30." in shown
    assert "is not the folder that was chosen" in shown


def test_nonsense_is_said_and_kept_in_the_form(keeper: TestClient, tmp_path: Path) -> None:
    form = {"token": token_of(keeper, PAGE), "do": "choose", "folder": "a<b", "every": "day",
            "weekday": "x", "at": "03:30"}  # fmt: skip
    answer = keeper.post(PAGE, data=form)
    assert answer.status_code == 422
    assert "Write the whole path of a folder" in answer.text
    assert 'value="a&lt;b"' in answer.text
    for do in ("", "now"):
        answer = keeper.post(PAGE, data={**form, "do": do})
        assert answer.status_code == 422
    for name in ("x.zip", "../../etc/passwd", "flock.sqlite"):
        assert keeper.get(f"{PAGE}/file", params={"name": name}).status_code == 422


def test_only_keepers_choose_and_take_along(enter: Enter, tmp_path: Path) -> None:
    chosen(enter("keeper"), tmp_path / "stick")
    for role in ("viewer", "helper"):
        browser = enter(role)
        shown = browser.get(PAGE)
        assert shown.status_code == 200
        assert 'name="folder"' not in shown.text
        assert "file?name=" not in shown.text
        data = {"token": token_of(browser, "/more"), "do": "now"}
        assert browser.post(PAGE, data=data).status_code == 403
        assert browser.get(f"{PAGE}/file", params={"name": "x"}).status_code == 403
    assert enter("keeper").post(PAGE, data={"do": "now"}).status_code == 403


def test_the_round_reminds_keepers_alone(app: FastAPI, enter: Enter) -> None:
    home = app.state.home
    line = "There is no backup of this record yet."
    assert line not in enter("keeper").get("/").text
    home.record(*(made("care", "2027-04-01", task="water", note=str(n)) for n in range(30)))
    assert line in enter("keeper").get("/").text
    assert line not in enter("helper").get("/").text

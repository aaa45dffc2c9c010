"""What looks wrong: the page, the round, the command and the API say the same."""

import json
from datetime import timedelta
from pathlib import Path

from fastapi import FastAPI
from starlette.testclient import TestClient
from tests.makers import made
from tests.web.conftest import NOW, PHRASES, Enter, journal_of, token_of
from typer.testing import CliRunner

from quailwright.cli.main import app as terminal
from quailwright.exchange.shapes import signs_shape
from quailwright.flock.fold import fold
from quailwright.guide.signs.report import signs_report
from quailwright.journal.entries import Entry
from quailwright.journal.jsonl import write_lines


def pens() -> list[Entry]:
    """Two pens for five weeks up to now, of which one lays less and less in the last days."""
    journal = [made("holding", "2027-01-01", light_target_h=15)]
    for name in "ab":
        journal += [
            made("place", "2027-01-01", place=f"run {name}", role="pen"),
            made("group", "2027-01-02", group=f"layers {name}", place=f"run {name}", hens=15,
                 hatched_on="2026-09-20"),
        ]  # fmt: skip
        for ago in range(35, 0, -1):
            on = NOW.date() - timedelta(days=ago)
            eggs = 12 + ago % 2 if name == "b" or ago > 5 else 5
            journal.append(made("eggs_collected", on, group=f"layers {name}", eggs=eggs))
    return journal


def test_page_round_and_api_say_the_same(app: FastAPI, keeper: TestClient) -> None:
    app.state.home.record(*pens())
    told = signs_report(fold(journal_of(app), NOW), NOW.date())
    [sign] = [one for one in told.signs if one.sign == "lay falls"]
    assert sign.where == "run a"
    page, round_page = keeper.get("/signs").text, keeper.get("/").text
    for text in (page, round_page):
        for part in (sign.evidence, sign.check, *sign.shared, *sign.unshared, *sign.then):
            assert part in text
        assert sign.ring in text
    assert "What is watched?" in page
    assert keeper.get("/api/signs").json() == json.loads(json.dumps(signs_shape(told)))
    earlier = keeper.get("/api/signs?on=2027-04-20").json()
    assert [one["sign"] for one in earlier["signs"] if one["sign"] == "lay falls"] == []


def test_what_is_still_to_come_is_not_said_to_be_since_then(
    app: FastAPI, keeper: TestClient
) -> None:
    later = made("eggs_set", "2027-05-03T06:00Z", hatch="june", eggs=20, place="box", source="x")
    app.state.home.record(later)
    [sign] = [one for one in signs_report(fold(journal_of(app), NOW), NOW.date()).signs
              if one.sign == "two hatches clash"]  # fmt: skip
    assert sign.since > NOW.date()
    text = keeper.get("/signs").text.split("two hatches clash")[1]
    assert text.split('class="bits">')[1].startswith("from ")


def test_a_child_sees_no_signs(app: FastAPI, enter: Enter) -> None:
    app.state.home.record(*pens())
    app.state.home.household.add("Ida", "child", PHRASES["helper"], NOW)
    child = TestClient(app, base_url="http://localhost", follow_redirects=False)
    form = {"name": "Ida", "passphrase": PHRASES["helper"], "token": token_of(child, "/sign-in")}
    assert child.post("/sign-in", data=form).status_code == 303
    assert child.get("/signs").status_code == 403
    assert "lay falls" not in child.get("/").text
    assert "lay falls" in enter("viewer").get("/signs").text


def test_the_command_says_it_in_full(tmp_path: Path) -> None:
    flock = str(tmp_path / "flock.sqlite")
    lines = tmp_path / "journal.jsonl"
    lines.write_bytes(b"".join(write_lines(pens())))
    run = CliRunner().invoke
    assert run(terminal, ["journal", "import", str(lines), "--flock", flock]).exit_code == 0
    on = (NOW.date() - timedelta(days=1)).isoformat()
    said = run(terminal, ["signs", "--flock", flock, "--on", on]).output
    assert "run a: lay falls" in said
    assert "First: Water at run a today" in said
    assert "Less likely, as another pen holds: Light: run b" in said
    shape = json.loads(run(terminal, ["signs", "--flock", flock, "--on", on, "--json"]).output)
    today = json.loads(run(terminal, ["today", "--flock", flock, "--on", on, "--json"]).output)
    assert shape["signs"] == today["signs"]
    assert {one["what"] for one in shape["watched"]} == {"eggs"}
    assert shape["false_signs_a_year"] == 1

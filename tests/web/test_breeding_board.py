"""The mating board: cards of pens, pairings written by one button, cards to print, rotation."""

import re
from datetime import timedelta

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient
from tests.makers import made
from tests.web.conftest import NOW, Enter, token_of

from quailwright.web.home import Home


def stock(app: FastAPI) -> None:
    """Two families in one pen, and an empty pen."""
    app.state.home.record(
        made("place", "2027-01-02", place="far pen", role="pen", floor_m2=0.8),
        made("bird", "2027-01-03", bird="Old", sex="cock", hatched_on="2026-06-01"),
        made("bird", "2027-01-03", bird="Oma", sex="hen", hatched_on="2026-06-01"),
        *(
            made("bird", "2027-01-04", bird=name, sex=sex, group="hens", hatched_on="2026-10-01",
                 sire=sire, dam="Oma" if sire else None)
            for name, sex, sire in (
                ("Rex", "cock", "Old"), ("Max", "cock", None), ("Ada", "hen", "Old"),
                ("Bea", "hen", "Old"), ("Cleo", "hen", None), ("Dot <b>", "hen", None),
            )
        ),
        made("bird_left", "2027-02-01", bird="Old", use="died"),
        made("bird_left", "2027-02-01", bird="Oma", use="died"),
    )  # fmt: skip


def test_the_board_says_who_goes_where(app: FastAPI, keeper: TestClient) -> None:
    stock(app)
    text = keeper.get("/breeding/board").text
    assert re.search(r"<b>(Put )?Max (stays )?with ", text)
    assert "no inbreeding known of" in text.casefold()
    assert "Dot &lt;b&gt;" in text
    assert "Dot <b>" not in text
    told = keeper.get("/api/breeding/matings").json()
    ones = {pen["cock"]: {hen["bird"] for hen in pen["hens"]} for pen in told["pens"]}
    assert {"Ada", "Bea"} <= ones["Max"]
    assert keeper.get("/api/breeding/matings?together=Rex=Ada").status_code == 422


def test_pairings_are_shown_then_written_once(
    app: FastAPI, keeper: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    stock(app)
    text = keeper.get("/breeding/board").text
    fields = dict[str, list[str]]()
    form = text[text.index('<form method="post" action="/breeding/board') :]
    for name, value in re.findall(r'name="([^"]+)" value="([^"]*)"', form[: form.index("</form>")]):
        fields.setdefault(name, []).append(value.replace("&lt;", "<").replace("&gt;", ">"))
    sent = {**fields, "token": token_of(keeper)}
    for seconds in (0, 40):  # a second tap, or one sent again later, changes nothing
        monkeypatch.setattr(Home, "now", lambda _, s=seconds: NOW + timedelta(seconds=s))
        answer = keeper.post("/breeding/board", data=sent, follow_redirects=False)
        assert answer.status_code == 303
    assert "pairings are written down" in keeper.get(answer.headers["location"]).text
    paired = app.state.home.flock().paired
    assert len(paired) == 2
    hens = {hen for _, entry in paired for hen in entry.hens}
    assert hens == {"Ada", "Bea", "Cleo", "Dot <b>"}
    assert {tuple(entry.cocks) for _, entry in paired} == {("Rex",), ("Max",)}


def test_nonsense_is_refused_in_words(app: FastAPI, keeper: TestClient, enter: Enter) -> None:
    stock(app)
    answer = keeper.get("/breeding/board?pens=many&together=x")
    assert answer.status_code == 422
    assert "The number of pens is a whole number, not" in answer.text
    answer = keeper.get("/breeding/board?by=weight&gain=nan")
    assert answer.status_code == 422
    assert "The gain is a number, not" in answer.text
    token = token_of(keeper)
    wrong = {"token": token, "pen-0": "pen", "id-0": "x", "cocks-0": "Rex", "hens-0": "Ada"}
    assert keeper.post("/breeding/board", data=wrong).status_code == 422
    assert app.state.home.flock().paired == []
    viewer = enter("viewer")
    assert "Log these pairings" not in viewer.get("/breeding/board").text
    assert viewer.post("/breeding/board", data={"pen-0": "pen"}).status_code in (401, 403)


def test_cards_to_print_carry_a_code(app: FastAPI, keeper: TestClient) -> None:
    stock(app)
    text = keeper.get("/breeding/board/cards").text
    assert text.count("<article") == 2
    assert text.count('class="code"') == 2
    assert "Eggs count as his from" in text


def test_rotation_tells_pens_and_days(app: FastAPI, keeper: TestClient) -> None:
    stock(app)
    text = keeper.get("/breeding/rotation").text
    assert "2 cocks live together in pen" in text
    assert "Each son moves one pen right" in text
    told = keeper.get("/api/breeding/rotation?scheme=cyclic&generations=4").json()
    assert len(told["generations"]) == 4
    assert keeper.get("/breeding/rotation?scheme=round").status_code == 422


def test_a_flock_without_rings_is_told_so(keeper: TestClient) -> None:
    answer = keeper.get("/breeding/board")
    assert answer.status_code in (200, 422)
    assert "Traceback" not in answer.text


def test_an_empty_flock_is_shown_the_way(app: FastAPI, keeper: TestClient) -> None:
    """Nothing is wrong with a flock in which nobody may breed yet: it is told what to log."""
    app.state.home.record(
        made("birds_out", "2027-05-02", group="hens", use="sold", hens=10, cocks=2)
    )
    for path in ("/breeding/board", "/breeding/rotation"):
        answer = keeper.get(path)
        assert answer.status_code == 200
        assert "No cock here may breed yet." in answer.text
        assert 'role="alert"' not in answer.text
        assert 'href="/log/group"' in answer.text
        assert "quailwright log" not in answer.text
    assert keeper.get("/breeding/board?pens=2").status_code == 422


def test_a_stale_board_is_refused_in_words(app: FastAPI, keeper: TestClient, enter: Enter) -> None:
    """A bird that died since the page was made: nothing is written; a helper may pair."""
    stock(app)
    app.state.home.record(made("bird_left", "2027-05-02", bird="Ada", use="died"))
    sent = {
        "pen-0": "pen", "id-0": "0198f2a0-5f5e-7c3a-9d52-3f0c5a1b2c3d", "cocks-0": "Rex",
        "hens-0": "Ada",
    }  # fmt: skip
    answer = keeper.post("/breeding/board", data={**sent, "token": token_of(keeper)})
    assert answer.status_code == 422
    assert "Ada" in answer.text
    helper = enter("helper")
    sent = {**sent, "hens-0": "Bea", "token": token_of(helper)}
    assert helper.post("/breeding/board", data=sent).status_code == 303
    (paired,) = app.state.home.flock().paired
    assert paired[1].by == "helper"

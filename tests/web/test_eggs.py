"""The page of eggs: told in words, drawn, and in a table; the form beside it writes."""

from fastapi import FastAPI
from starlette.testclient import TestClient
from tests.web.conftest import Enter, journal_of, token_of


def test_eggs_are_told_in_words_first_and_lead_to_their_source(keeper: TestClient) -> None:
    text = keeper.get("/eggs").text
    assert text.index("How many eggs a week?") < text.index("<svg viewBox")
    assert "8 <small>from Mon 26 Apr to Sun 2 May</small>" in text
    assert "Wanted: 40 a week." in text
    assert "Eggs were counted on 1 day of the seven." in text
    assert "Rate of lay: 0.40 to 0.80 eggs a hen a day." in text
    assert 'href="/help?text=storage%20best%20days#incubation.storage_best_days"' in text
    assert (
        'id="incubation.storage_best_days"' in keeper.get("/help?text=storage%20best%20days").text
    )


def test_eggs_are_logged_from_their_page(app: FastAPI, keeper: TestClient) -> None:
    text = keeper.get("/eggs").text
    assert 'action="/log/eggs_collected"' in text
    fields = {"token": token_of(keeper, "/eggs"), "group": "hens", "eggs": "9", "back": "/eggs"}
    answer = keeper.post("/log/eggs_collected", data=fields)
    assert answer.headers["location"].startswith("/eggs?kept=")
    assert getattr(journal_of(app)[-1], "eggs", None) == 9
    assert "17 <small>from Tue 27 Apr to Mon 3 May</small>" in keeper.get("/eggs").text


def test_withheld_eggs_are_said_so(app: FastAPI, keeper: TestClient) -> None:
    fields = {"group": "hens", "product": "as directed", "eggs_withheld_until": "2027-05-20"}
    fields |= {"token": token_of(keeper), "day": "2027-05-01"}
    assert keeper.post("/log/treated", data=fields).status_code == 303
    assert "8 eggs in the store are withheld." in keeper.get("/eggs").text


def test_a_viewer_reads_and_writes_nothing(enter: Enter) -> None:
    text = enter("viewer").get("/eggs").text
    assert "How many eggs a week?" in text
    assert "/log/" not in text
    assert "/paper/back" not in enter("viewer").get("/paper").text


def test_asking_for_what_is_not_there_shows_all(keeper: TestClient) -> None:
    text = keeper.get("/eggs?of=nobody&by=moon&weeks=-3").text
    assert "8 <small>" in text

"""Writing from forms without any script: kept, refused with what was typed, undone, corrected."""

import re

from fastapi import FastAPI
from starlette.testclient import TestClient
from tests.web.conftest import Enter, journal_of, token_of

from quailwright.journal.entries import Care, EggsCollected, Entry, Retract


def post(client: TestClient, path: str, **fields: str) -> tuple[int, str, str]:
    """Posts a form with its token; gives the status, where it leads and its text."""
    answer = client.post(path, data={"token": token_of(client), **fields})
    return answer.status_code, answer.headers.get("location", ""), answer.text


def newest(app: FastAPI) -> Entry:
    """The entry written last."""
    return journal_of(app)[-1]


def test_a_tap_on_a_task_writes_care_and_the_page_offers_to_undo(
    app: FastAPI, keeper: TestClient
) -> None:
    fields = {"task": "feed_water", "place": "pen", "back": "/"}
    status, where, _ = post(keeper, "/log/care", **fields)
    entry = newest(app)
    assert (status, where) == (303, f"/?kept={entry.id}")
    assert isinstance(entry, Care)
    assert (entry.task, entry.place, entry.by) == ("feed_water", "pen", "keeper")
    assert entry.at == "2027-05-03T08:30:00+01:00"  # by the clock of the holding, in Lisbon
    page = keeper.get(where).text
    assert f'action="/journal/{entry.id}/retract"' in page
    assert 'data-task="feed_water" data-place="pen"' not in page
    post(keeper, f"/journal/{entry.id}/retract", why="undone", back="/")
    assert 'data-task="feed_water" data-place="pen"' in keeper.get("/").text


def test_what_was_typed_wrong_is_still_there(app: FastAPI, keeper: TestClient) -> None:
    before = journal_of(app)
    status, _, text = post(
        keeper, "/log/eggs_collected", group="hens", eggs="twelve", note="two soft ones"
    )
    assert status == 422
    assert 'value="twelve"' in text
    assert "two soft ones" in text
    assert "a whole number" in text
    assert journal_of(app) == before


def test_against_the_record_only_when_insisted(app: FastAPI, keeper: TestClient) -> None:
    typed = {"group": "hens", "hens": "11"}
    status, _, text = post(keeper, "/log/birds_died", **typed)
    assert status == 422
    assert 'name="force"' in text
    status, _, _ = post(keeper, "/log/birds_died", **typed, force="true")
    assert status == 303
    assert newest(app).force


def test_a_day_and_a_time_are_at_the_holding(app: FastAPI, keeper: TestClient) -> None:
    fields = {"group": "hens", "eggs": "7", "day": "2027-05-02"}
    post(keeper, "/log/eggs_collected", **fields)
    assert newest(app).at == "2027-05-02"
    post(keeper, "/log/eggs_collected", **fields, clock="19:05")
    assert newest(app).at == "2027-05-02T19:05+01:00"


def test_a_correction_keeps_both(app: FastAPI, keeper: TestClient) -> None:
    wrong = next(e for e in journal_of(app) if isinstance(e, EggsCollected))
    page = keeper.get(f"/journal/{wrong.id}/correct").text
    assert 'value="8"' in page
    fields = {"group": "hens", "eggs": "9", "at": wrong.at, "why": "miscounted"}
    status, _, _ = post(keeper, f"/journal/{wrong.id}/correct", **fields)
    assert status == 303
    retract = newest(app)
    assert isinstance(retract, Retract)
    assert isinstance(retract.instead, EggsCollected)
    assert (retract.entry, retract.instead.eggs, retract.instead.by) == (wrong.id, 9, "Mira")
    text = keeper.get(f"/journal/{wrong.id}").text
    assert "Taken back" in text
    assert "miscounted" in text
    assert keeper.get(f"/journal/{retract.instead.id}").status_code == 200


def test_the_journal_finds_by_text_and_kind(keeper: TestClient) -> None:
    assert "1 entry" in keeper.get("/journal?text=pellets").text
    assert "2 entries" in keeper.get("/journal?kind=eggs_weighed").text
    assert "0 entries" in keeper.get("/journal?text=nothing%20such").text


def test_people_are_added_changed_and_taken_off(app: FastAPI, keeper: TestClient) -> None:
    assert (
        post(keeper, "/people", do="add", name="Tom", role="viewer", passphrase="short")[0] == 422
    )
    fields = {"name": "Tom", "role": "viewer", "passphrase": "tom's own words"}
    assert post(keeper, "/people", do="add", **fields)[0] == 303
    household = app.state.home.household
    tom = household.everyone()[-1]
    post(keeper, "/people", do="change", person=str(tom.id), role="helper")
    assert household.everyone()[-1].role == "helper"
    post(keeper, "/people", do="remove", person=str(tom.id))
    assert all(one.name != "Tom" for one in household.everyone())
    status, _, text = post(keeper, "/people", do="remove", person="1")
    assert status == 422
    assert "There must be a keeper" in text


def test_what_is_corrected_untouched_stays_to_the_cent(app: FastAPI, keeper: TestClient) -> None:
    post(keeper, "/log/money", amount="-12345.67", category="a shed", back="/")
    assert 'value="-12345.67"' in keeper.get(f"/journal/{newest(app).id}/correct").text


def test_nobody_signs_a_form_as_somebody_else(app: FastAPI, enter: Enter) -> None:
    post(enter("helper"), "/log/care", task="feed_water", place="pen", by="keeper", back="/")
    assert newest(app).by == "helper"


def test_only_what_the_asker_wrote_is_offered_to_undo(app: FastAPI, enter: Enter) -> None:
    keeper, helper = enter("keeper"), enter("helper")
    post(keeper, "/log/care", task="feed_water", place="pen", back="/")
    address = f"/?kept={newest(app).id}"
    assert "retract" in keeper.get(address).text
    for page in (helper.get(address).text, keeper.get("/?kept=%7Bx%7D").text):
        assert "/retract" not in page


def test_a_page_is_come_back_to_by_its_address_as_it_was_written(
    app: FastAPI, keeper: TestClient
) -> None:
    """A name with a per cent sign is another when its address is read more often than written."""
    post(keeper, "/log/place", place="x y", role="pen", back="/")
    hens = {"group": "new", "place": "x y", "hens": "3", "hatched_on": "2027-01-01"}
    post(keeper, "/log/group", **hens, back="/")
    page = keeper.get("/places/x%20y")
    back = re.findall(r'name="back" value="([^"]+)"', page.text)
    assert set(back) == {"/places/x%20y"}
    _, where, _ = post(keeper, "/log/care", task="feed_water", place="x y", back=back[0])
    assert where.startswith("/places/x%20y?kept=")
    assert keeper.get(where).status_code == 200

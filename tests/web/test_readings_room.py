"""The page of the room that readings take: what it says, and who may change it."""

import numpy as np
from fastapi import FastAPI
from starlette.testclient import TestClient
from tests.web.conftest import NOW, Enter, token_of

from quailwright.journal.readings import to_ms

PAGE = "/settings/readings"


def test_the_page_says_what_is_kept_and_why(app: FastAPI, keeper: TestClient) -> None:
    assert "No readings yet" in keeper.get(PAGE).text
    home = app.state.home
    at = to_ms(NOW) - np.arange(20 * 1440)[::-1] * 60_000
    with home.desk.store.writing() as writer:
        writer.append_readings("box", "dial", at.tolist(), [37.5] * len(at), [45.0] * len(at))
    home.caretaker.do_due(NOW)
    text = keeper.get(PAGE).text
    assert "28,800 readings, of which" in text
    assert "every reading of the last 14 days" in text
    # The hatch of May was set five days ago: all of its readings are younger than that.
    assert "of the hatch may" not in text
    assert "readings were left out" in text
    assert "box, dial" in text
    assert f'href="{PAGE}"' in keeper.get("/settings").text


def test_a_keeper_says_for_how_long_and_nonsense_is_refused(enter: Enter) -> None:
    keeper = enter("keeper")
    form = {"days": "30", "after_hatch_days": "60", "token": token_of(keeper)}
    assert keeper.post(PAGE, data=form).status_code == 303
    text = keeper.get(PAGE).text
    assert 'value="30"' in text
    assert 'value="60"' in text
    for days in ("3", "", "a fortnight", "-30", "<b>"):
        answer = keeper.post(PAGE, data=form | {"days": days})
        assert answer.status_code == 422
        assert "type a whole number from 7 to 3650" in answer.text
        assert "<b>'" not in answer.text
    assert 'value="30"' in keeper.get(PAGE).text


def test_others_read_it_and_may_not_change_it(enter: Enter) -> None:
    for role in ("helper", "viewer"):
        person = enter(role)
        assert 'name="days"' not in person.get(PAGE).text
        form = {"days": "30", "after_hatch_days": "60", "token": token_of(person, "/more")}
        assert person.post(PAGE, data=form).status_code == 403

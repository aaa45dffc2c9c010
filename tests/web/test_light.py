"""The page of light: the answer first, the timer by date, the choice to rest; as the command."""

from datetime import date
from typing import Any

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient
from tests.cli.conftest import Quail, quail  # noqa: F401
from tests.makers import made
from tests.web.conftest import Enter, token_of

from quailwright.flock.fold import fold

PLACE = {"latitude": 52.2, "longitude": 0.1, "timezone": "Europe/London", "currency": "EUR"}
LAMP = {"lamp_on": "05:30", "lamp_off": "08:00", "light_target_h": 14}


def tell(app: FastAPI, **holding: Any) -> None:
    """A holding in the north whose hens are grown by the winter."""
    told = {**PLACE, **holding}
    app.state.home.record(made("holding", "2027-01-02", **told))


def test_the_summary_gives_the_sun_and_the_lamp_first(app: FastAPI, keeper: TestClient) -> None:
    tell(app, **LAMP)
    text = keeper.get("/light").text
    # 3 May 2027 at 52.2 N, 0.1 E, by NOAA's equations (astral): 05:26:24 to 20:27:44 summer time.
    assert '<p class="summary">Sun 05:26 to 20:28, 15.0 h. Lamp 05:30 to 08:00' in text
    assert text.index('class="summary"') < text.index("The timer by date") < text.index("<svg")
    assert "Clocks go back 60 min that day: set the timer" in text
    assert "residual-current device" in text


def test_where_nobody_told_the_place_the_page_asks_for_it(app: FastAPI, keeper: TestClient) -> None:
    app.state.home.record(made("holding", "2027-01-02", timezone="UTC"))
    answer = keeper.get("/light")
    assert answer.status_code == 200
    assert "Where the flock lives is not known yet" in answer.text
    refused = keeper.get("/api/light")
    assert refused.status_code == 422
    assert "latitude, longitude and timezone" in refused.text


def test_a_flock_rests_by_a_button_and_is_left_in_peace(app: FastAPI, keeper: TestClient) -> None:
    tell(app, **LAMP)
    text = keeper.get("/light").text
    assert "They rest in winter" in text
    said = {"token": token_of(keeper), "back": "/light", "rests_in_winter": "true"}
    said["day"] = "2027-05-02"  # the clock of these tests stands still: the next comes after it
    assert keeper.post("/log/holding", data=said, follow_redirects=False).status_code == 303
    text = keeper.get("/light").text
    assert "The hens rest in the dark months, by your choice" in text
    assert "The timer by date" not in text
    assert "Until " in text
    assert "They rest no longer" in text
    said = {"token": token_of(keeper), "back": "/light", "rests_in_winter": "false"}
    assert keeper.post("/log/holding", data=said, follow_redirects=False).status_code == 303
    assert "The timer by date" in keeper.get("/light").text


def test_the_lamp_is_written_down_on_the_page(app: FastAPI, keeper: TestClient) -> None:
    tell(app)
    text = keeper.get("/light").text
    assert "The lamp&#39;s times, and what you aim for" in text
    said = {"token": token_of(keeper), "back": "/light", "lamp_on": "03:00", "lamp_off": "07:00"}
    assert keeper.post("/log/holding", data=said, follow_redirects=False).status_code == 303
    assert "Lamp 03:00 to 07:00" in keeper.get("/light").text


def test_a_viewer_reads_and_writes_nothing(app: FastAPI, enter: Enter) -> None:
    tell(app)
    text = enter("viewer").get("/light").text
    assert "The timer by date" in text
    assert "They rest in winter" not in text
    assert 'action="/log/holding"' not in text


@pytest.mark.parametrize(
    ("query", "sentence"),
    [
        ("hours=many", "The hours of light are a number, such as 14, not &#39;many&#39;"),
        ("hours=20", "ask for more than 0 and at most 16"),
        ("until=soon", "&#39;soon&#39; is not a day"),
        ("until=2020-01-01", "choose one after 2027-05-03"),
        ("end=noon", "in the morning, in the evening or both"),
        ("watts=-1", "watts cannot be"),
        ("price=nan", "price of nan cannot be"),
    ],
)
def test_bad_input_is_answered_with_a_sentence(
    app: FastAPI, keeper: TestClient, query: str, sentence: str
) -> None:
    tell(app)
    page, api = keeper.get(f"/light?{query}"), keeper.get(f"/api/light?{query}")
    assert page.status_code == api.status_code == 422
    name, _, typed = query.partition("=")
    assert name == "end" or f'name="{name}" value="{typed}"' in page.text  # nothing typed is lost
    assert sentence in page.text
    assert sentence.replace("&#39;", "'") in api.json()["sentence"]


def test_page_command_and_api_agree(
    app: FastAPI,
    keeper: TestClient,
    quail: Quail,  # noqa: F811
) -> None:
    tell(app, **LAMP)
    flock = app.state.home.settings.flock
    asked = {"hours": "15", "end": "both", "watts": "8", "price": "0.3", "until": "2028-02-01"}
    options = [word for name, value in asked.items() for word in (f"--{name}", value)]
    command = quail("light", "--flock", flock, "--on", "2027-05-03", *options, "--json")
    assert command.code == 0, command.err
    api = keeper.get("/api/light", params=asked).json()
    assert api == command.json
    assert api["steps"]
    page = keeper.get("/light", params=asked).text
    for step in api["steps"]:
        for on, off in step["lamp"]:
            assert f"{on} to {off}" in page
    words = quail("light", "--flock", flock, "--on", "2027-05-03", *options)
    assert api["said"][0] in page
    assert api["said"][0] in words.out
    assert f"{api['kwh']:.1f} kWh" in page
    assert f"{api['kwh']:.1f} kWh" in words.out


def test_the_command_refuses_with_a_sentence(app: FastAPI, quail: Quail) -> None:  # noqa: F811
    tell(app)
    flock = app.state.home.settings.flock
    answer = quail("light", "--flock", flock, "--on", "2027-05-03", "--hours", "17")
    assert answer.code != 0
    assert "at most 16" in answer.err
    assert "Traceback" not in answer.err


def test_the_record_folds_with_its_lamp(app: FastAPI) -> None:
    tell(app, **LAMP)
    holding = fold(app.state.home.desk.entries(), date(2027, 5, 3)).holding
    assert holding is not None
    assert holding.lamp_on == "05:30"


def test_at_the_equator_no_half_of_the_lay_goes_on_a_day(app: FastAPI, keeper: TestClient) -> None:
    """Days of 12.1 h all year: flocks differ, and none changes."""
    tell(app, latitude=0.0, longitude=0.0, timezone="UTC", light_target_h=15)
    text = keeper.get("/light").text
    assert "flocks differ by how they take days as short as these" in text
    assert "half of the lay is gone" not in text

"""The page of a brooder tells what command and API tell; it writes nothing."""

import html
import json
import re
from datetime import UTC, datetime, timedelta

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient
from tests.makers import made
from tests.web.conftest import NOW, Enter, journal_of

from quailwright.exchange.brooding_shape import brooding_shape
from quailwright.exchange.brooding_told import brooding_of, said
from quailwright.guide.round import day_at
from quailwright.journal.readings import to_ms
from quailwright.web.home import Home

CHICKS = (
    made("place", "2027-04-01", place="nursery", role="brooder", heater_w=90.0),
    made("group", "2027-04-29", group="chicks", place="nursery", chicks=30,
         hatched_on="2027-04-29"),
    made("temperature_seen", "2027-05-02T07:00+01:00", place="nursery", spot="room",
         lowest_c=16, highest_c=21),
    made("temperature_seen", "2027-05-02T07:00+01:00", place="nursery", spot="away",
         lowest_c=12, highest_c=26),
)  # fmt: skip
TYPED = {"box": "80x60x45", "wall": "cardboard", "thickness": "5", "price": "0.25"}


@pytest.fixture
def warm(app: FastAPI, keeper: TestClient) -> TestClient:
    """The small flock with chicks in a brooder."""
    home: Home = app.state.home
    home.record(*CHICKS)
    return keeper


def test_page_command_and_api_tell_the_same(app: FastAPI, warm: TestClient) -> None:
    home: Home = app.state.home
    flock = home.flock()
    on = day_at(flock, NOW)
    typed = TYPED | {"night 2027-05": "8", "room 2027-06": "12"}
    found = brooding_of(home.desk.store, flock, on, typed)
    page = html.unescape(warm.get("/brooding", params=typed).text)
    for sentence in said(found):
        assert sentence in page, sentence
    for sentence in found.cautions:
        assert sentence in page
    answer = warm.get(
        "/api/brooding", params=TYPED | {"night": "2027-05=8", "room_in": "2027-06=12"}
    )
    assert answer.status_code == 200
    assert answer.json() == json.loads(json.dumps(brooding_shape(found)))
    assert answer.json()["watts"] == 90.0


def test_the_answer_comes_first_then_cautions_then_the_form(warm: TestClient) -> None:
    text = warm.get("/brooding", params=TYPED).text
    places = [text.index(word) for word in ('class="figure"', "two supports", '<form method="get"')]
    assert places == sorted(places)
    assert 'href="/help?subject=brooder_box"' in text
    for key in ("brooding.heat_start", "brooding.danger_day_10_c", "brooding.night_out_c"):
        link = text[: text.index(f"#{key}")].rsplit('href="', 1)[1]
        assert f'id="{key}"' in warm.get(html.unescape(link)).text


def test_what_is_wrong_stands_beside_its_field_and_nothing_typed_is_lost(warm: TestClient) -> None:
    answer = warm.get("/brooding", params={"box": "80x60", "room": "99", "watts": "0"})
    assert answer.status_code == 422
    for said_ in ("length, width and height", "-40 to 50", "Leave it empty to be told"):
        assert said_ in answer.text
    for value in ("80x60", "99", "0"):
        assert f'value="{value}"' in answer.text
    refused = warm.get("/api/brooding", params={"watts": "0"})
    assert refused.status_code == 422
    assert "Leave it empty" in json.dumps(refused.json())


def test_the_page_of_a_brooder_leads_to_it_and_that_of_a_pen_does_not(warm: TestClient) -> None:
    assert 'href="/brooding?place=nursery"' in warm.get("/places/nursery").text
    assert "/brooding" not in warm.get("/places/pen").text
    assert 'href="/brooding"' in warm.get("/more").text


def test_it_writes_nothing_and_a_viewer_is_offered_no_form_to_write(
    app: FastAPI, warm: TestClient, enter: Enter
) -> None:
    before = len(journal_of(app))
    assert warm.get("/brooding", params=TYPED).status_code == 200
    assert len(journal_of(app)) == before
    text = enter("viewer").get("/brooding", params=TYPED).text
    assert "/log/" not in text


def test_odd_words_in_the_address_are_refused_and_not_run(warm: TestClient) -> None:
    answer = warm.get("/brooding", params={"group": "<b>x</b>", "box": "1e9x1x1", "lid": "[]"})
    assert answer.status_code == 422
    assert "<b>x</b>" not in answer.text


def test_readings_of_the_brooder_are_held_against_what_is_wanted(
    app: FastAPI, warm: TestClient
) -> None:
    home: Home = app.state.home
    at = [int(datetime(2027, 5, 2, hour, tzinfo=UTC).timestamp() * 1000) for hour in range(6, 12)]
    with home.desk.store.writing() as writer:
        writer.append_readings(
            "nursery", "probe", at, [34.0, 34.5, 36.8, 34.2, 34.0, 34.1], [None] * 6
        )
    seen = warm.get("/api/brooding").json()["seen"]
    read = next(one for one in seen if one["by_readings"])
    assert (read["on"], read["lowest_c"], read["highest_c"]) == ("2027-05-02", 34.0, 36.8)
    assert read["verdict"] == "hot"
    assert "by readings" in warm.get("/brooding").text


def test_a_keeper_of_us_units_reads_fahrenheit_and_inches(app: FastAPI, warm: TestClient) -> None:
    home: Home = app.state.home
    home.record(made("holding", "2027-05-02", name="Home", timezone="Europe/Lisbon", units="us"))
    text = warm.get("/brooding", params={"box": "32x24x18in", "room": "64F"}).text
    for words in ("95 °F", "32 x 24 x 18 in", "0.47 in", "64 °F"):
        assert words in text, words
    assert "°C" not in html.unescape(re.sub(r"<form.*?</form>", "", text, flags=re.S))


def test_an_empty_field_is_an_answer(warm: TestClient) -> None:
    told = warm.get("/api/brooding", params={"group": "", "age": "", "watts": ""}).json()
    assert (told["group"], told["birds"], told["age_days"]) == ("", 0, 0)
    told = warm.get("/api/brooding", params={"watts": ""}).json()
    assert (told["group"], told["watts"]) == ("chicks", None)


def test_a_sensor_that_fell_below_the_heat_wanted_is_told_though_nobody_said_where_it_lies(
    app: FastAPI, keeper: TestClient
) -> None:
    home: Home = app.state.home
    home.record(*CHICKS[:2])
    with home.desk.store.writing() as writer:
        at_ms = [to_ms(NOW - timedelta(hours=hours)) for hours in (21, 20, 19, 18)]
        writer.append_readings("nursery", "probe", at_ms, [34.0, 23.0, 23.0, 34.0], [None] * 4)
    page = html.unescape(keeper.get("/brooding", params=TYPED).text)
    assert "it fell to 23 °C, colder than is wanted under the heat" in page
    assert "cooler than wanted under the heat; away from it that may be" in page
    assert "within what sources want." not in page

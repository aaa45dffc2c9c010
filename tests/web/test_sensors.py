"""Devices with a key, the live view, and the page on which they are set."""

import html
import json
import re
from datetime import timedelta
from pathlib import Path

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient
from tests.web.conftest import NOW, Enter, journal_of, token_of

from quailwright.exchange.sensor_payload import LONGEST_PAYLOAD, USUAL
from quailwright.exchange.sensor_settings import Sensors
from quailwright.journal.findings import FlockUnusable
from quailwright.journal.readings import to_ms
from quailwright.web.app import create_app
from quailwright.web.attempts import MOST_FROM_ONE
from quailwright.web.home import Settings

SENT, SETTINGS = "/api/readings/sent", "/settings/sensors"
KEY_FORM = {
    "do": "add_device", "name": "lid", "place": "box", "instrument": "lid",
    "temperature": "/temperature", "humidity": "/humidity", "time": "/time",
}  # fmt: skip


@pytest.fixture
def device(app: FastAPI) -> TestClient:
    """A device with a key: no cookie, no token."""
    key = Sensors(app.state.home.desk.store).add_device("lid", "box", "lid", USUAL, NOW, b"k" * 32)
    client = TestClient(app, base_url="http://localhost", follow_redirects=False)
    client.headers["Authorization"] = f"Bearer {key}"
    return client


def kept(app: FastAPI, place: str = "box") -> list[tuple[str, float]]:
    found = app.state.home.desk.store.readings(place)
    return [(each.instrument, value) for each in found for value in each.temperature_c.tolist()]


def test_a_reading_is_kept_and_a_repeat_is_harmless(app: FastAPI, device: TestClient) -> None:
    sent = {"temperature": 37.6, "humidity": 45, "time": "2027-05-03T07:29:00Z"}
    answers = [device.post(SENT, json=sent) for _ in range(2)]
    assert [each.status_code for each in answers] == [200, 200]
    assert [each.json()["kept"] for each in answers] == [1, 0]
    assert answers[1].json()["already"] == 1
    several = [{"temperature": 37.5}, {"temperature": 37.5}, {"temperature": 900}]
    told = device.post(SENT, json=several).json()
    assert told["kept"] == 2
    assert told["refused"] == [{"sentence": "900 °C is not possible: it must be -60 to 90 °C."}]
    senml = [{"bn": "urn:dev:mac:0024befffe804ff1/", "n": "t", "u": "Cel", "v": 37.4, "t": -90}]
    headers = {"Content-Type": "application/senml+json"}
    assert device.post(SENT, content=json.dumps(senml), headers=headers).json()["kept"] == 1
    assert [value for _, value in kept(app)] == [37.4, 37.6, 37.5, 37.5]


def test_what_is_wrong_is_refused_with_a_sentence(app: FastAPI, device: TestClient) -> None:
    answer = device.post(SENT, content=b"hello")
    assert answer.status_code == 422
    assert "not JSON" in answer.json()["refused"][0]["sentence"]
    assert device.post(SENT, content=b" " * (LONGEST_PAYLOAD + 1)).status_code == 413
    assert device.post(SENT, content=b" " * (20 * LONGEST_PAYLOAD)).status_code == 413
    assert kept(app) == []


def test_a_key_opens_nothing_else_and_nothing_else_opens_this(
    app: FastAPI, device: TestClient, keeper: TestClient
) -> None:
    for path in ("/", "/api/today", "/api/readings", "/api/readings/now", SETTINGS, "/api/journal"):
        assert device.get(path).status_code in (303, 401, 404), path
    before = journal_of(app)
    assert device.post("/api/entries", json={"kind": "care"}).status_code in (401, 403)
    token = token_of(keeper)
    answer = keeper.post(SENT, json={"temperature": 37}, headers={"X-Write-Token": token})
    assert answer.status_code == 401
    assert answer.headers["WWW-Authenticate"].startswith("Bearer")  # RFC 6750, section 3
    assert (journal_of(app), kept(app)) == (before, [])


def test_wrong_keys_must_wait_and_the_right_one_need_not(app: FastAPI, device: TestClient) -> None:
    wrong = {"Authorization": "Bearer wrong"}
    for _ in range(MOST_FROM_ONE):
        assert device.post(SENT, json={"temperature": 37}, headers=wrong).status_code == 401
    answer = device.post(SENT, json={"temperature": 37}, headers=wrong)
    assert answer.status_code == 429
    assert int(answer.headers["Retry-After"]) > 0
    assert device.post(SENT, json={"temperature": 37}).status_code == 200


def test_a_full_disk_is_told_so_that_the_device_sends_again(
    device: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object) -> None:
        raise FlockUnusable("The disk is full.")

    monkeypatch.setattr("quailwright.exchange.sensor_sent.keep", refuse)
    assert device.post(SENT, json={"temperature": 37}).status_code == 503


def test_a_key_is_made_shown_once_and_taken_off(app: FastAPI, keeper: TestClient) -> None:
    form = {"token": token_of(keeper, SETTINGS), **KEY_FORM}
    shown = keeper.post(SETTINGS, data=form)
    assert shown.headers["Cache-Control"] == "no-store"
    found = re.search(r'key-text" translate="no">([\w-]{43})<', shown.text)
    assert found is not None
    assert found[1] not in keeper.get(SETTINGS).text
    assert found[1].encode() not in Path(app.state.home.settings.flock).read_bytes()

    # The text on the page is sent as it stands, by a program that knows nothing but HTTP/1.1.
    text = re.search(r"<pre[^>]*>(.*?)</pre>", shown.text, re.DOTALL)
    assert text is not None
    head, _, body = html.unescape(text[1]).partition("\n\n")
    fields = dict(line.split(": ") for line in head.split("\n")[1:])
    assert int(fields["Content-Length"]) == len(body)
    assert fields["Authorization"] == f"Bearer {found[1]}"
    device = TestClient(app, base_url="http://localhost")
    del fields["Host"], fields["Content-Length"]
    assert device.post(SENT, content=body, headers=fields).json()["kept"] == 1
    assert "Sent 0 s ago: 37.6 °C, 45 %" in keeper.get(SETTINGS).text
    assert kept(app) == [("lid", 37.6)]

    keeper.post(SETTINGS, data={**form, "do": "remove_device", "id": "1"})
    assert device.post(SENT, content=body, headers=fields).status_code == 401


WILL_NOT_DO: list[tuple[dict[str, str], str]] = [
    ({"do": "nothing"}, "Nothing was asked for"),
    ({"place": "nowhere"}, "Choose the place"),
    ({"name": "x" * 100}, "needs a name"),
    ({"temperature": "t"}, "does not begin with /"),
    ({"temperature": "", "humidity": ""}, "Say where in the message"),
    ({"form": "telepathy"}, "Choose how the device writes"),
    ({"do": "broker", "address": "http://x"}, "is no address of a broker"),
    ({"do": "broker", "address": "home..lan"}, "is no address of a broker"),
    ({"do": "add_topic", "topic": "a/#/b"}, "stands for one whole part"),
    ({"do": "add_topic", "topic": "#"}, "too wide"),
    ({"do": "add_topic", "topic": "shed/#"}, "would both take the same messages"),
    ({"do": "add_topic", "topic": "x", "instrument_level": "-1"}, "is a number from 1 on"),
]


def test_settings_that_will_not_do(app: FastAPI, keeper: TestClient) -> None:
    sensors = Sensors(app.state.home.desk.store)
    sensors.add_topic("shed/box", "box", "", USUAL, None, NOW)
    token = token_of(keeper, SETTINGS)
    for change, said in WILL_NOT_DO:
        answer = keeper.post(SETTINGS, data={"token": token, **KEY_FORM, **change})
        assert answer.status_code == 422, change
        assert said in html.unescape(answer.text), change
    assert sensors.devices() == []
    assert len(sensors.listening().topics) == 1


def test_the_brokers_password_is_kept_and_never_shown(app: FastAPI, keeper: TestClient) -> None:
    form = {"token": token_of(keeper, SETTINGS), "do": "broker", "address": "mqtts://192.0.2.7"}
    keeper.post(SETTINGS, data={**form, "user": "mira", "password": "secret words"})
    for other in ({"address": "mqtt://192.0.2.7"}, {"address": "mqtts://192.0.2.8"}, {"user": "u"}):
        # Left empty, the password would be told to another broker, or in the open.
        answer = keeper.post(SETTINGS, data={**form, "user": "mira", "password": "", **other})
        assert answer.status_code == 422
        assert "Type the password again" in answer.text
    keeper.post(SETTINGS, data={**form, "user": "mira", "password": ""})
    broker = Sensors(app.state.home.desk.store).listening().broker
    assert broker is not None
    assert (broker.address, broker.password) == ("mqtts://192.0.2.7:8883", "secret words")
    assert "secret" not in keeper.get(SETTINGS).text


def test_a_device_that_fell_silent_is_not_said_to_work(app: FastAPI, keeper: TestClient) -> None:
    store = app.state.home.desk.store
    made = NOW - timedelta(minutes=90)
    for name, minutes in (("lid", 5), ("shelf", 60), ("floor", 120)):
        Sensors(store).add_device(name, "box", name, USUAL, made, name.encode() * 8)
        with store.writing() as writer:
            at = to_ms(NOW - timedelta(minutes=minutes))
            writer.append_readings("box", name, [at], [37.5], [None])
    text = keeper.get(SETTINGS).text
    assert "<p>Last reading 5 min ago.</p>" in text
    assert "<p><b>Last reading 1 h ago.</b></p>" in text
    assert "<p><b>Nothing yet. Send a value now: it is shown here within seconds.</b></p>" in text


def test_a_place_is_asked_for_first(tmp_path: Path) -> None:
    app = create_app(Settings(str(tmp_path / "new.sqlite"), lambda: NOW, invented=True))
    text = TestClient(app, base_url="http://localhost").get(SETTINGS).text
    assert 'First write down <a href="/settings/places/change">a place</a>' in text
    app.state.home.desk.store.close()


def test_a_sample_is_tried_and_nothing_kept(app: FastAPI, keeper: TestClient) -> None:
    form = {"token": token_of(keeper, SETTINGS), "do": "try", "sample": '{"temp": 99.5}'}
    assert "temperature in °F: 37.5 °C" in keeper.post(SETTINGS, data=form).text
    assert kept(app) == []


def test_what_sensors_show_now(app: FastAPI, keeper: TestClient) -> None:
    store = app.state.home.desk.store
    ats = [to_ms(NOW - timedelta(minutes=5 * n)) for n in range(200)]
    with store.writing() as writer:
        writer.append_readings("box", "lid", ats, [39.5] + [37.5] * 199, [45.0] * 200)
        writer.append_readings("pen", "", [ats[-1]], [12.0], [None])
        writer.append_readings("old", "", [to_ms(NOW - timedelta(days=90))], [12.0], [None])
    told = keeper.get("/api/readings/now").json()
    box, pen = told["places"]
    assert (box["place"], box["wanted_c"]) == ("box", [37.0, 38.0])
    lid = box["instruments"][0]
    assert (lid["temperature_c"], lid["age_s"], lid["stale"]) == (39.5, 0.0, False)
    assert lid["verdict"] == "far_high"
    assert (pen["instruments"][0]["stale"], pen["wanted_c"]) == (True, None)
    assert told["silent"][0]["place"] == "old"
    text = keeper.get("/readings").text
    assert "Not as wanted: box. Silent: pen." in text
    assert "Far too hot" in text
    assert "In 24 hours from 37.5 °C (about 15:45) to 39.5 °C" in text
    assert "old: not read since" in text


def test_a_clock_that_is_ahead_is_told(app: FastAPI, keeper: TestClient) -> None:
    with app.state.home.desk.store.writing() as writer:
        ahead = to_ms(NOW + timedelta(hours=1))
        writer.append_readings("box", "lid", [ahead], [37.5], [None])
    assert "60 min ahead: is the device's clock right?" in html.unescape(
        keeper.get("/readings").text
    )


def test_an_instruments_offset_is_taken_off(app: FastAPI, keeper: TestClient) -> None:
    form = {"token": token_of(keeper), "instrument": "lid", "place": "box"}
    keeper.post("/log/instrument", data={**form, "temperature_offset_c": "0.5"})
    with app.state.home.desk.store.writing() as writer:
        writer.append_readings("box", "lid", [to_ms(NOW)], [38.0], [None])
    lid = keeper.get("/api/readings/now").json()["places"][0]["instruments"][0]
    assert (lid["shown_temperature_c"], lid["temperature_c"], lid["verdict"]) == (
        38.0,
        37.5,
        "well",
    )
    assert "It shows 38 °C itself" in keeper.get("/readings").text


def test_a_viewer_reads_and_sets_nothing(enter: Enter) -> None:
    viewer = enter("viewer")
    text = viewer.get(SETTINGS).text
    assert "Devices with a key" in text
    assert "<form" not in text.partition("<main")[2].partition("</main>")[0]
    assert viewer.get("/readings").status_code == 200

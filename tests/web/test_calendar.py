"""A phone subscribes: private addresses, what they tell as things change, and who may make them."""

import logging
import re
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from ical.calendar_stream import IcsCalendarStream
from starlette.testclient import TestClient
from tests.calendar_client import CalendarApp
from tests.makers import made
from tests.web.conftest import NOW, SMALL_FLOCK, Enter, entered, token_of

from quailwright.exchange.calendar_revised import CALLED_OFF_FOR
from quailwright.exchange.subscriptions import addresses
from quailwright.journal.entries import as_dict, kind_of
from quailwright.web.app import create_app
from quailwright.web.home import Settings

ADDRESS = re.compile(r'value="http://[^"]+(/calendar/[0-9a-f]{64}\.ics)"')
KINDS = ("hatch", "plan", "orders", "chicks", "held", "light", "care")
SET_AT = datetime(2027, 4, 28, 19, tzinfo=UTC)  # 20:00 in Lisbon


@dataclass
class Clock:
    """A clock that is moved by hand."""

    now: datetime = NOW

    def __call__(self) -> datetime:
        return self.now


@pytest.fixture
def clock() -> Clock:
    """The clock of `app`."""
    return Clock()


@pytest.fixture
def app(flock_file: str, clock: Clock) -> Iterator[FastAPI]:
    """The application over the small flock, with a clock that can be moved."""
    made_app = create_app(Settings(flock_file, clock))
    yield made_app
    made_app.state.home.desk.store.close()


def subscribe(client: TestClient, name: str = "Mira's phone", **said: Any) -> str:
    """The path of a new private address."""
    form = {"token": token_of(client), "do": "make", "name": name, "kinds": list(KINDS)}
    form |= {"alarms": "yes", "language": "en", "round_at": "", **said}
    answer = client.post("/settings/calendar", data=form)
    assert answer.status_code == 200, answer.text
    found = ADDRESS.search(answer.text)
    assert found is not None, answer.text
    return found[1]


def read(app: FastAPI, path: str) -> str:
    """A calendar, asked for by an app that is signed in nowhere, and read by the letter."""
    answer = TestClient(app, base_url="http://localhost").get(path)
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    IcsCalendarStream.calendar_from_ics(answer.text)
    return answer.text


def corrected(entry: Any, **fields: Any) -> dict[str, Any]:
    """An entry as it should have been."""
    return {**as_dict(entry), "kind": kind_of(entry), **fields}


def the_set() -> Any:
    return next(entry for entry in SMALL_FLOCK if kind_of(entry) == "eggs_set")


def test_a_set_is_corrected_and_the_hatch_closed_and_the_phone_follows(
    app: FastAPI, keeper: TestClient, clock: Clock
) -> None:
    path, phone = subscribe(keeper), CalendarApp()
    phone.take(read(app, path))
    step = phone.uid_of("Stop turning: may")
    assert phone.shown[step].start == SET_AT + timedelta(days=14)
    assert phone.shown[step].rings
    window = phone.of("Chicks likely come: may")
    assert SET_AT + timedelta(days=14) < window.start < window.end < SET_AT + timedelta(days=21)
    titles = [one.summary for one in phone.shown.values()]
    assert titles.count("Done: Weigh the eggs: may") == 2  # when set, and a day early for day 5

    clock.now += timedelta(hours=1)
    right = corrected(
        the_set(), id="00000000-0000-4000-8000-00000000aaaa", at="2027-04-28T18:00+01:00"
    )
    app.state.home.record(
        made("retract", "2027-05-03", entry=the_set().id, why="it was six", instead=right)
    )
    phone.take(read(app, path))
    moved = phone.shown[step]
    assert moved.start == SET_AT + timedelta(days=14, hours=-2)
    assert (moved.sequence, moved.stamp) == (1, clock.now)
    assert [one.summary for one in phone.shown.values()].count("Stop turning: may") == 1

    clock.now += timedelta(hours=1)
    app.state.home.record(made("hatch_closed", "2027-05-03T10:30+01:00", hatch="may"))
    text = read(app, path)
    phone.take(text)
    assert step not in phone.shown
    assert phone.known[step].sequence == 2
    assert {one.summary for one in phone.shown.values() if "may" in one.summary} == {
        "Done: Weigh the eggs: may",
        "Clean the incubator: may",
    }
    assert "Called off: Stop turning: may" in text
    clock.now = SET_AT + timedelta(days=15) + CALLED_OFF_FOR
    assert "Stop turning" not in read(app, path)


def test_a_planned_set_moves_with_a_new_plan_and_goes_with_the_next(
    app: FastAPI, keeper: TestClient, clock: Clock
) -> None:
    def plan(day: int, hour: int, **planned: Any) -> None:
        clock.now = datetime(2027, 5, 3, hour, tzinfo=UTC)
        at = f"2027-05-03T{hour:02}:00+00:00"
        entries = [made("plan_accepted", at, brief="", certainty=0.8)]
        if day:
            entries.append(
                made("set_planned", at, on=f"2027-06-{day:02}", eggs=30, place="box", **planned)
            )
        app.state.home.record(*entries)

    path, phone = subscribe(keeper), CalendarApp()
    plan(1, 9, hatch="june", source="friend")
    phone.take(read(app, path))
    first = phone.uid_of("Set eggs: june")
    assert str(phone.shown[first].start) == "2027-06-01"
    order = phone.uid_of("Order hatching eggs: june")
    assert phone.shown[order].start < phone.shown[first].start
    plan(8, 10, hatch="june", source="friend")
    phone.take(read(app, path))
    assert (str(phone.shown[first].start), phone.shown[first].sequence) == ("2027-06-08", 1)
    plan(0, 11)
    phone.take(read(app, path))
    assert {first, order}.isdisjoint(phone.shown)
    assert phone.known[first].sequence == 2


def test_two_phones_in_two_languages_are_told_alike(
    app: FastAPI, keeper: TestClient, clock: Clock
) -> None:
    one, two = subscribe(keeper), subscribe(keeper, "Portuguese", language="pt")
    first, second = CalendarApp(), CalendarApp()
    first.take(read(app, one))
    clock.now += timedelta(minutes=5)
    text = read(app, two)
    second.take(text)
    assert "SUMMARY;LANGUAGE=pt:" in text
    of_time = {uid: (kept.sequence, kept.stamp, kept.start) for uid, kept in first.known.items()}
    assert of_time == {
        uid: (kept.sequence, kept.stamp, kept.start) for uid, kept in second.known.items()
    }


def test_kinds_and_the_round_are_chosen_for_each_phone(app: FastAPI, keeper: TestClient) -> None:
    phone = CalendarApp()
    phone.take(read(app, subscribe(keeper, kinds=["round"], round_at="06:15")))
    (daily,) = phone.shown.values()
    assert daily.start == datetime(2027, 1, 1, 6, 15, tzinfo=UTC)  # winter time in Lisbon
    assert "RRULE:FREQ=DAILY" in read(app, subscribe(keeper, kinds=["round"], round_at="06:15"))
    quiet = read(app, subscribe(keeper, kinds=["hatch"], alarms=[]))
    assert "VALARM" not in quiet
    assert "Round" not in quiet
    assert "http://localhost/hatches/may" in quiet.replace("\r\n ", "")


def test_an_address_can_be_changed_and_revoked(
    app: FastAPI, keeper: TestClient, clock: Clock
) -> None:
    path = subscribe(keeper)
    assert "no calendar has asked for it yet" in keeper.get("/settings/calendar").text
    read(app, path)
    assert "last asked for Mon 3 May 08:30" in keeper.get("/settings/calendar").text
    clock.now += timedelta(days=1)
    assert "It has not asked for more" not in keeper.get("/settings/calendar").text
    clock.now += timedelta(seconds=1)
    assert "It has not asked for more" in keeper.get("/settings/calendar").text
    form = {"token": token_of(keeper), "address": "1", "do": "change", "name": "tablet"}
    changed = keeper.post("/settings/calendar", data={**form, "kinds": ["held"], "language": "pt"})
    assert changed.status_code == 303
    assert "Stop turning" not in read(app, path)
    assert "tablet" in keeper.get("/settings/calendar").text
    assert keeper.post("/settings/calendar", data={**form, "do": "revoke"}).status_code == 303
    assert TestClient(app, base_url="http://localhost").get(path).status_code == 404
    assert keeper.post("/settings/calendar", data={**form, "do": "revoke"}).status_code == 422


@pytest.mark.parametrize(
    ("said", "sentence"),
    [
        ({"name": ""}, "Name the phone or the calendar"),
        ({"name": "x" * 41}, "Name the phone or the calendar"),
        ({"kinds": []}, "Choose at least one kind"),
        ({"kinds": ["weather"]}, "A calendar has no kind"),
        ({"round_at": "noon"}, "is not a clock time"),
        ({"do": "dance"}, "Nothing was asked for"),
    ],
)  # fmt: skip
def test_nonsense_is_refused_in_a_sentence(
    keeper: TestClient, said: dict[str, Any], sentence: str
) -> None:
    form = {"token": token_of(keeper), "do": "make", "name": "x", "kinds": ["hatch"], **said}
    answer = keeper.post("/settings/calendar", data=form)
    assert answer.status_code == 422
    assert sentence in answer.text
    assert "None yet." in answer.text


def test_unknown_addresses_tell_nothing(app: FastAPI, keeper: TestClient) -> None:
    path = subscribe(keeper)
    other = f"/calendar/{'0' * 64}.ics"
    near = f"{path[:-5]}{'1' if path[-5] == '0' else '0'}.ics"
    stranger = TestClient(app, base_url="http://localhost", follow_redirects=False)
    answers = [stranger.get(asked) for asked in (other, near, "/calendar/x.ics")]
    assert {answer.status_code for answer in answers} == {404}
    assert {answer.text for answer in answers} == {"There is no such page here."}
    assert stranger.post(path).status_code == 405
    assert stranger.head(path).status_code == 200


def test_who_tries_addresses_waits_for_no_writer_and_locks_out_none(
    keeper: TestClient, flock_file: str
) -> None:
    subscribe(keeper)
    with closing(sqlite3.connect(flock_file)) as other:
        other.execute("BEGIN IMMEDIATE")
        begun = time.monotonic()
        assert keeper.get(f"/calendar/{'0' * 64}.ics").status_code == 404
        assert time.monotonic() - begun < 5


def test_the_secret_is_kept_and_told_nowhere(
    app: FastAPI, keeper: TestClient, flock_file: str, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)
    secret = subscribe(keeper).removeprefix("/calendar/").removesuffix(".ics")
    caplog.clear()  # the test's own browser logs what it asks for
    assert secret not in keeper.get("/settings/calendar").text
    assert secret not in keeper.get("/api/calendar").text
    for part in Path(flock_file).parent.iterdir():
        assert secret.encode() not in part.read_bytes(), part
    assert secret not in "".join(str(one) for one in app.state.home.desk.entries())
    assert all(secret not in record.getMessage() for record in caplog.records)


def test_what_did_not_change_is_not_sent_again(
    app: FastAPI, keeper: TestClient, clock: Clock
) -> None:
    path = subscribe(keeper)
    phone = TestClient(app, base_url="http://localhost")
    first = phone.get(path)
    assert "private" in first.headers["cache-control"]
    clock.now += timedelta(minutes=30)
    again = phone.get(path, headers={"If-None-Match": first.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")
    app.state.home.record(
        made("eggs_candled", "2027-05-03T08:40+01:00", hatch="may", clear=2, dead=0)
    )
    clock.now += timedelta(minutes=30)
    other = phone.get(path, headers={"If-None-Match": first.headers["etag"]})
    assert other.status_code == 200
    assert "Done: Candle the eggs: may" in other.text


def test_an_address_dies_with_the_person_and_with_becoming_a_child(
    app: FastAPI, enter: Enter
) -> None:
    people = {one.name: one.id for one in app.state.home.household.everyone()}
    of_helper, of_viewer = subscribe(enter("helper")), subscribe(enter("viewer"))
    stranger = TestClient(app, base_url="http://localhost")
    app.state.home.household.remove(people["helper"])
    assert stranger.get(of_helper).status_code == 404
    left = addresses(app.state.home.desk.store, None, True, NOW)
    assert [one.whose for one in left] == ["viewer"]
    assert stranger.get(of_viewer).status_code == 200
    app.state.home.household.change(people["viewer"], "child")
    assert stranger.get(of_viewer).status_code == 404


def test_each_sees_and_revokes_their_own_and_a_keeper_all(app: FastAPI, enter: Enter) -> None:
    helper, viewer, keeper = enter("helper"), enter("viewer"), enter("keeper")
    path = subscribe(helper, "helper's phone")
    assert "helper&#39;s phone" not in viewer.get("/settings/calendar").text
    assert "Made by helper" in keeper.get("/settings/calendar").text
    form = {"token": token_of(viewer), "do": "revoke", "address": "1"}
    assert viewer.post("/settings/calendar", data=form).status_code == 422
    read(app, path)
    form["token"] = token_of(keeper)
    assert keeper.post("/settings/calendar", data=form).status_code == 303
    assert TestClient(app, base_url="http://localhost").get(path).status_code == 404


def test_a_child_makes_no_address(app: FastAPI, enter: Enter) -> None:
    people = {one.name: one.id for one in app.state.home.household.everyone()}
    app.state.home.household.change(people["viewer"], "child")
    child = enter("viewer")
    assert child.get("/settings/calendar").status_code == 403
    form = {"token": token_of(child, "/"), "do": "make", "name": "x", "kinds": ["hatch"]}
    assert child.post("/settings/calendar", data=form).status_code == 403
    assert child.get("/calendar.ics").status_code == 403
    assert child.get("/api/calendar").status_code == 403


def test_the_page_shows_a_code_where_a_phone_can_reach_the_address(
    flock_file: str, clock: Clock, app: FastAPI
) -> None:
    form = {"do": "make", "name": "x", "kinds": ["hatch"]}
    here = entered(app, "keeper")
    text = here.post("/settings/calendar", data={**form, "token": token_of(here)}).text
    assert "a phone cannot reach this address" in text
    assert "<svg viewBox" not in text
    at_home = create_app(Settings(flock_file, clock, hosts=("flock.home",)))
    phone = entered(at_home, "keeper", "https://flock.home")
    text = phone.post("/settings/calendar", data={**form, "token": token_of(phone)}).text
    assert 'href="webcals://flock.home/calendar/' in text
    assert 'value="https://flock.home/calendar/' in text
    assert "<svg viewBox" in text
    assert "Here at home the address works" not in text
    at_home.state.home.desk.store.close()


def test_the_file_and_the_api_tell_the_same(app: FastAPI, keeper: TestClient) -> None:
    answer = keeper.get("/calendar.ics")
    assert answer.headers["content-disposition"] == 'attachment; filename="quail.ics"'
    app_of_file = CalendarApp()
    app_of_file.take(answer.text)
    told = keeper.get("/api/calendar").json()
    assert {one["uid"] for one in told["events"]} == set(app_of_file.shown)
    assert told["timezone"] == "Europe/Lisbon"
    assert keeper.get("/api/calendar?kinds=weather").status_code == 422
    rounds = keeper.get("/api/calendar?kinds=hatch&round=07:15&on=2027-05-01").json()["events"]
    assert {one["kind"] for one in rounds} == {"hatch", "round"}
    signed_out = TestClient(app, base_url="http://localhost", follow_redirects=False)
    assert signed_out.get("/calendar.ics").status_code == 303

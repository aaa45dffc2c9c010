"""Settings and the first questions: every change is an entry, by a keeper, and stays to be read."""

import re
from collections.abc import Iterator
from datetime import timedelta
from itertools import count
from pathlib import Path

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient
from tests.makers import made
from tests.web.conftest import NOW, Enter, journal_of, token_of

from quailwright.exchange.record import record
from quailwright.exchange.who_may import SETTINGS
from quailwright.journal.entries import as_dict
from quailwright.journal.store import open_store
from quailwright.web.app import create_app
from quailwright.web.guard import SIGNED_IN
from quailwright.web.home import Settings


@pytest.fixture
def app(flock_file: str) -> Iterator[FastAPI]:
    """The application with a clock that goes on: of two changes the later one holds."""
    seconds = count()
    made_app = create_app(Settings(flock_file, lambda: NOW + timedelta(seconds=next(seconds))))
    yield made_app
    made_app.state.home.desk.store.close()


def post(client: TestClient, path: str, **fields: str) -> tuple[int, str]:
    """Posts a form with its token; gives the status and where it leads, or its text."""
    token = token_of(client, "/more" if client.cookies.get(SIGNED_IN) else "/first/where")
    answer = client.post(path, data={"token": token, **fields})
    return answer.status_code, answer.headers.get("location", answer.text)


def said(app: FastAPI, since: int) -> list[dict[str, object]]:
    """What was written since that many entries, without what every entry has."""
    common = ("id", "at")
    return [
        {name: value for name, value in as_dict(entry).items() if name not in common}
        for entry in journal_of(app)[since:]
    ]


def test_a_change_writes_only_what_differs_and_shows_who_said_it(
    app: FastAPI, keeper: TestClient
) -> None:
    before = len(journal_of(app))
    page = keeper.get("/settings/holding").text
    assert 'value="Europe/Lisbon"' in page
    typed = {"name": "Home", "timezone": "Europe/Lisbon", "currency": "GBP", "latitude": "38.7"}
    assert post(keeper, "/settings/holding/change", **typed)[0] == 303
    assert said(app, before) == [
        {"kind": "holding", "by": "keeper", "latitude": 38.7, "currency": "GBP"}
    ]
    page = keeper.get("/settings/holding").text
    assert "Monday 3 May 2027" in page
    assert "currency GBP" in page
    assert "currency EUR" in page  # what was said before is not rubbed out
    status, text = post(keeper, "/settings/holding/change", **typed)
    assert status == 422
    assert "Nothing differs" in text
    status, text = post(keeper, "/settings/holding/change", **{**typed, "currency": ""})
    assert status == 422
    assert "cannot be emptied" in text
    assert len(journal_of(app)) == before + 1


def test_what_is_ticked_is_unticked_again(app: FastAPI, keeper: TestClient) -> None:
    before = len(journal_of(app))
    typed = {"name": "Home", "timezone": "Europe/Lisbon", "currency": "EUR"}
    change = "/settings/holding/change"
    assert post(keeper, change, **typed, rests_in_winter="true")[0] == 303
    assert post(keeper, change, **typed)[0] == 303
    assert post(keeper, change, **typed, lamp_on="05:30", lamp_off="08:00")[0] == 303
    assert said(app, before) == [
        {"kind": "holding", "by": "keeper", "rests_in_winter": True},
        {"kind": "holding", "by": "keeper", "rests_in_winter": False},
        {"kind": "holding", "by": "keeper", "lamp_on": "05:30", "lamp_off": "08:00"},
    ]
    assert 'type="time" id="f-lamp_on"' in keeper.get("/settings/holding").text
    status, text = post(keeper, change, **{**typed, "lamp_on": "5:30"}, lamp_off="08:00")
    assert status == 422
    assert "Give a time of the clock such as 05:30." in text


def test_places_move_close_and_open(app: FastAPI, keeper: TestClient) -> None:
    before = len(journal_of(app))
    assert post(keeper, "/settings/places", place="pen", do="up")[0] == 303
    assert said(app, before) == [
        {"kind": "place", "by": "keeper", "place": "pen", "role": "pen", "walk_order": 1},
        {"kind": "place", "by": "keeper", "place": "box", "role": "incubator", "walk_order": 2},
    ]
    text = keeper.get("/").text
    assert text.index(">pen<") < text.index(">box<")
    assert post(keeper, "/settings/places", place="pen", do="up")[0] == 303  # the first already
    assert len(journal_of(app)) == before + 2
    post(keeper, "/settings/places", place="box", do="close")
    assert "closed" in keeper.get("/settings/places").text
    assert post(keeper, "/settings/places/change", named="box", role="incubator",
                capacity_eggs="80", walk_order="2")[0] == 303  # fmt: skip
    assert app.state.home.flock().places["box"].closed
    assert app.state.home.flock().places["box"].capacity_eggs == 80
    post(keeper, "/settings/places", place="box", do="open")
    assert not app.state.home.flock().places["box"].closed
    assert post(keeper, "/settings/places", place="nowhere", do="up")[0] == 422
    assert post(keeper, "/settings/places", place="pen")[0] == 422


def test_instruments_sources_and_feeds_are_added_and_changed(
    app: FastAPI, keeper: TestClient
) -> None:
    before = len(journal_of(app))
    added = {"instrument": "dial", "place": "box", "temperature_offset_c": "0.4"}
    assert post(keeper, "/settings/instruments/change", **added)[0] == 303
    changed = {"named": "dial", "place": "box", "temperature_offset_c": "0.2"}
    assert post(keeper, "/settings/instruments/change", **changed)[0] == 303
    source = {"source": "friend", "route": "collected", "price_per_egg": "0.5"}
    assert post(keeper, "/settings/sources/change", **source)[0] == 303
    feed = {"named": "pellets", "protein_pct": "20", "stage": "layer"}
    assert post(keeper, "/settings/feeds/change", **feed)[0] == 303
    assert [one["kind"] for one in said(app, before)] == [
        "instrument", "instrument", "source", "feed"
    ]  # fmt: skip
    flock = app.state.home.flock()
    assert flock.instruments["dial"].temperature_offset_c == 0.2
    assert flock.sources["friend"].price_per_egg == 0.5
    assert flock.feeds["pellets"].label.protein_pct == 20
    status, text = post(keeper, "/settings/feeds/change", feed="new", protein_pct="lots")
    assert status == 422
    assert 'value="lots"' in text
    assert keeper.get("/settings/feeds/change?name=none").status_code == 422
    assert keeper.get("/settings/nothing").status_code == 422


def test_a_rule_is_changed_silenced_brought_back_and_one_added(
    app: FastAPI, keeper: TestClient
) -> None:
    listed = keeper.get("/settings/care").text
    assert "Clean the drinker" in listed
    assert "common practice, no source" in listed
    rule = keeper.get("/settings/care/rule?name=drinker_clean").text
    assert "a fouled, frozen or blocked drinker shows in the eggs a day later" in rule
    before = len(journal_of(app))
    typed = {"rule": "drinker_clean", "do": "change", "every_days": "0.5", "minutes": "3"}
    assert post(keeper, "/settings/care/rule", **typed)[0] == 303
    assert said(app, before) == [
        {"kind": "care_rule", "by": "keeper", "rule": "drinker_clean", "minutes": 3.0,
         "every_days": 0.5}
    ]  # fmt: skip
    rule = keeper.get("/settings/care/rule?name=drinker_clean").text
    assert "every day, 2 times" in rule
    assert "printed" in rule
    post(keeper, "/settings/care/rule", rule="drinker_clean", do="silence")
    assert "Clean the drinker" not in keeper.get("/").text
    assert "silenced" in keeper.get("/settings/care").text
    post(keeper, "/settings/care/rule", rule="drinker_clean", do="back")
    assert "Clean the drinker" in keeper.get("/").text
    assert post(keeper, "/settings/care/rule", rule="drinker_clean", do="change")[0] == 422
    assert post(keeper, "/settings/care/rule", rule="none such", do="silence")[0] == 422
    own = {"task": "Oil the hinges", "stage": "pen", "every_days": "1"}
    assert post(keeper, "/settings/care/own", **own)[0] == 303
    assert "Oil the hinges" in keeper.get("/").text
    assert "your own" in keeper.get("/settings/care").text
    status, text = post(keeper, "/settings/care/own", **own)
    assert status == 422
    assert "already" in text
    status, text = post(keeper, "/settings/care/own", task="Sing to them")
    assert status == 422
    assert 'value="Sing to them"' in text


@pytest.mark.parametrize("role", ["helper", "viewer"])
def test_only_a_keeper_changes_settings(app: FastAPI, enter: Enter, role: str) -> None:
    client, before = enter(role), journal_of(app)
    shown = (
        "",
        "/holding",
        "/places",
        "/care",
        "/care/rule?name=wash",
        "/feeds/change?name=pellets",
    )
    for path in shown:
        page = client.get(f"/settings{path}")
        assert page.status_code == 200
        forms = re.findall(r'<form[^>]* action="([^"]+)"', page.text.split("<main")[1])
        assert set(forms) <= {"/language"}  # which is of the phone, not of the flock
    for path in ("/settings/care/own", "/first", "/first/where", "/log/holding", "/log/care_rule",
                 "/log/egg_rule", "/log/contact"):  # fmt: skip
        assert client.get(path).status_code == 403, path
    posts = {
        "/settings/holding/change": {"name": "Mine"},
        "/settings/places": {"place": "pen", "do": "close"},
        "/settings/care/rule": {"rule": "wash", "do": "silence"},
        "/settings/care/own": {"task": "x", "stage": "pen", "every_days": "1"},
        "/first/where": {"name": "Mine"},
        "/log/place": {"place": "x", "role": "pen"},
        f"/journal/{before[0].id}/retract": {"why": "no"},
        f"/journal/{before[0].id}/correct": {"name": "Mine"},
    }
    for path, fields in posts.items():
        assert post(client, path, **fields)[0] == 403, path
    assert journal_of(app) == before
    if role == "helper":
        headers = {"X-Write-Token": token_of(client)}
        for entry in (
            made("holding", name="Mine"),
            made("retract", entry=before[0].id, why="no"),
            made("retract", entry=before[7].id, why="no", instead=as_dict(made("goal"))),
        ):
            answer = client.post("/api/entries", json=as_dict(entry), headers=headers)
            # Not 403: the phone keeps it as refused, and sends what was typed after it.
            assert answer.status_code == 422, entry
            assert "keeper" in answer.json()["sentence"]
        assert post(client, "/log/care", task="feed_water", place="pen")[0] == 303
        assert len(journal_of(app)) == len(before) + 1


def test_every_setting_is_a_kind_and_a_keeper_may_take_each_back(
    app: FastAPI, keeper: TestClient
) -> None:
    before = journal_of(app)
    assert set(SETTINGS) >= {"holding", "place", "goal", "care_rule"}
    assert post(keeper, f"/journal/{before[4].id}/retract", why="wrong")[0] == 303
    assert app.state.home.flock().goal is None


def test_chicks_are_asked_as_chicks_and_go_to_the_brooder(tmp_path: Path) -> None:
    app = create_app(Settings(str(tmp_path / "new.sqlite"), lambda: NOW, invented=True))
    with TestClient(app, base_url="http://localhost", follow_redirects=False) as client:
        post(client, "/first/units", units="us")
        post(client, "/first/brooder", floor="10", place="warm box")
        post(client, "/first/pen", floor="40", place="pen")
        # 1 square foot is 0.09290304 m2 (exact by definition).
        assert app.state.home.flock().places["warm box"].floor_m2 == pytest.approx(0.929, abs=5e-4)
        status, where = post(client, "/first/birds", group="babies", weeks="2")
        assert (status, where) == (303, "/first/home?group=babies&weeks=2")
        page = client.get(where).text
        assert page.index("warm box") < page.index(">pen<")
        where = post(client, "/first/home", group="babies", weeks="2", place="warm box")[1]
        page = client.get(where).text
        assert 'name="chicks"' in page
        assert 'name="hens"' not in page
        status, where = post(
            client, "/first/counts", group="babies", weeks="2", place="warm box", chicks="14"
        )
        assert where.startswith("/first/source?kept=")
        group = app.state.home.flock().groups["babies"]
        assert (group.place, group.alive.chicks) == ("warm box", 14)
        assert group.oldest.isoformat() == "2027-04-19"
        status, text = post(client, "/first/birds", weeks="soon")
        assert status == 422
        assert "no age in weeks" in text
        assert client.get("/first/nothing").status_code == 422


HOSTILE = ("<script>alert(1)</script>", '"><img src=x onerror=alert(1)>', "{{ 7*7 }}", "a/b?c&d#e")


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_in_settings_are_shown_as_they_are(
    keeper: TestClient, flock_file: str, name: str
) -> None:
    from urllib.parse import quote

    entries = [
        made("place", place=name, role="pen"),
        made("instrument", instrument=name, place=name),
        made("source", source=name, route="own"),
        made("feed", feed=name),
        made("care_rule", rule=name, stage="pen", task=name, why=name, every_days=1.0),
    ]
    with open_store(flock_file) as store:
        record(store, entries, NOW)
    asked = quote(name, safe="")
    pages = [f"/settings/{what}" for what in ("places", "instruments", "sources", "feeds", "care")]
    pages += [f"{page}/change?name={asked}" for page in pages[:4]]
    pages += [f"/settings/care/rule?name={asked}", f"/help?text={asked}", f"/help?rule={asked}"]
    pages += [f"/first/home?group={asked}&place={asked}", "/first/pen", "/first/source"]
    for path in pages:
        answer = keeper.get(path)
        assert answer.status_code == 200, path
        assert "<script>alert" not in answer.text
        assert "<img" not in answer.text
        assert ">49<" not in answer.text
    assert post(keeper, "/settings/places", place=name, do="up")[0] == 303


def test_figures_are_found_with_their_source_and_certainty(keeper: TestClient) -> None:
    page = keeper.get("/help?subject=brooding").text
    # New South Wales DPI, Raising Japanese quail (Primefact 602): 35 degrees C at the start.
    assert "35 °C, at chick level" in page
    assert "Primefact 602" in page
    assert "Certainty: published" in page
    assert "Others say" in page
    assert "1 figure." in keeper.get("/help?text=heat+start").text
    assert "0 figures" in keeper.get("/help?text=no+such+thing").text
    assert "0 figures" in keeper.get("/help?subject=none").text
    assert 'href="/help?rule=feed_water"' in keeper.get("/").text
    assert "intake adult g d" in keeper.get("/help?rule=feed_water").text.casefold()


def test_settings_that_are_no_entries_stand_apart(keeper: TestClient) -> None:
    """Only what is an entry is said to be written into the journal."""
    flock, *others = keeper.get("/settings").text.split("<section")[1:]
    assert "Each change is written into the journal" in flock
    for path in ("notices", "calendar", "sensors", "readings", "backup"):
        assert f'href="/settings/{path}"' not in flock
        assert sum(f'href="/settings/{path}"' in each for each in others) == 1

"""The page of the egg store and its labels; page, command and API say the same; what it carries."""

import html
import json
import re

import msgspec
import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient
from tests.makers import made
from tests.web.conftest import NOW, Enter, journal_of, token_of

from quailwright.exchange.outlook_page import as_asked
from quailwright.exchange.store_told import order_chances, store_told
from quailwright.flock.fold import fold
from quailwright.journal.findings import QuailwrightError, Withheld

SOUTH = made("group", "2027-04-01", group="south", place="barn", hens=10, hatched_on="2026-10-01")
RULE = made("egg_rule", "2027-05-01", storage="cool", keeps_days=21, checked_on="2027-05-01",
            said_by="the county office")  # fmt: skip
OWN = made("holding", "2027-05-01", label_name="Invented Quail", label_contact="12 Made-up Lane",
           label_text="Registered 000", egg_storage="cool")  # fmt: skip
TREATED = made("treated", "2027-05-02T07:00Z", group="hens", product="powder",
               eggs_withheld_until="2027-05-09", meat_withheld_until="2027-05-12")  # fmt: skip


def record(app: FastAPI, *entries: object) -> None:
    for entry in entries:
        app.state.home.record(entry)


def mixed(app: FastAPI) -> None:
    """A box of both pens packed on the 2nd, and the treatment of that morning logged after it."""
    record(
        app, SOUTH, RULE, OWN,
        made("eggs_collected", "2027-05-02T17:00Z", group="hens", eggs=7),
        made("eggs_collected", "2027-05-02T17:00Z", group="south", eggs=6),
        made("eggs_out", "2027-05-02T17:30Z", use="sold", eggs=10, to="Ann"),
        made("eggs_boxed", "2027-05-02T18:00Z", box="carton", eggs=9),
        made("eggs_ordered", "2027-05-02", order="bo-1", eggs=4, on="2027-05-20", to="Bo"),
    )  # fmt: skip


def test_a_withheld_pen_in_a_shared_box_stands_on_the_page(
    app: FastAPI, keeper: TestClient
) -> None:
    mixed(app)
    record(app, TREATED)
    text = html.unescape(keeper.get("/eggs/store").text)
    assert "held, the whole box" in text
    assert "Held for 7 of hens laid 2027-05-02." in text
    assert "Eggs of hens laid from 2027-05-10 on may be sold again." in text
    assert "Maybe sold although withheld:" in text
    assert "may have been among them, as the treatment was written down later: 7 of hens" in text
    assert "Ask the vet or the food authority what to do, and tell those who received them." in text
    assert "chance to fill it" in text
    sale = made("eggs_out", "2027-05-03T07:00Z", use="sold", eggs=4, box="carton")
    with pytest.raises(Withheld) as refused:
        record(app, sale)
    assert "7 of hens laid 2027-05-02 in box carton" in refused.value.findings[0].sentence


def test_who_received_eggs_of_a_day_or_a_person(app: FastAPI, keeper: TestClient) -> None:
    mixed(app)
    assert "Ann" in keeper.get("/eggs/store?of=2027-05-02").text.split('id="who"')[1]
    assert "Nothing is written down." in keeper.get("/eggs/store?of=2027-04-30").text
    found = keeper.get("/api/eggs?of=ann").json()["received"]
    assert [(one["to"], one["eggs"]) for one in found] == [("Ann", 10)]


def test_the_latest_are_shown_first_and_all_when_asked_for(
    app: FastAPI, keeper: TestClient
) -> None:
    record(app, made("eggs_collected", "2027-05-02T17:00Z", group="hens", eggs=20), *(
        made("eggs_out", f"2027-05-02T18:{hour:02}Z", use="eaten", eggs=1, to=f"guest {hour}")
        for hour in range(12)
    ))  # fmt: skip
    page = keeper.get("/eggs/store").text
    assert page.index('id="write"') < page.index('id="who"')
    assert "and 4 earlier times" in page
    assert "guest 11" in page
    assert "guest 0<" not in page
    assert "guest 0<" in keeper.get("/eggs/store?of=&all=yes").text
    assert "guest 0<" in keeper.get("/eggs/store?of=guest+0").text


def test_page_command_and_api_agree(app: FastAPI, keeper: TestClient) -> None:
    mixed(app)
    record(app, TREATED)
    flock = fold(journal_of(app), NOW)
    ahead = as_asked(app.state.home.desk.store, flock, NOW)
    told = store_told(flock, NOW.date(), journal_of(app), order_chances(flock, NOW.date(), ahead))
    api = keeper.get("/api/eggs").json()
    assert api == msgspec.json.decode(msgspec.json.encode(told.shape))
    text = html.unescape(keeper.get("/eggs/store").text)
    assert told.answer in text
    assert f"chance to fill it {told.orders[0].chance:.0%}" in text


def test_labels_leave_out_what_is_withheld(app: FastAPI, keeper: TestClient) -> None:
    mixed(app)
    text = html.unescape(keeper.get("/eggs/labels").text)
    assert "carton" in text
    for line in ("Invented Quail", "12 Made-up Lane", "Registered 000", "Keep cool.",
                 "Keeps until Sunday 23 May 2027.", "Eggs are an allergen."):  # fmt: skip
        assert line in text
    record(app, TREATED)
    text = keeper.get("/eggs/labels").text
    assert text.count('<article class="card label"') == 1
    assert "lot 2027-05-02 south" in text
    assert '<span translate="no">carton</span>' not in text
    assert "9 eggs are held or past their time." in text


def test_no_rule_is_asked_for_and_an_old_one_asked_again(app: FastAPI, keeper: TestClient) -> None:
    text = keeper.get("/eggs/store").text
    assert "Nobody has told how long eggs may be kept." in text
    assert "sell by" not in text
    old = {"storage": "cool", "keeps_days": 21, "said_by": "the county office"}
    record(app, made("egg_rule", "2027-05-01", checked_on="2026-05-02", **old))
    assert "more than a year ago: ask again" in keeper.get("/eggs/store").text
    record(app, made("egg_rule", "2027-05-02", checked_on="2026-05-03", **old))
    assert "more than a year ago: ask again" not in keeper.get("/eggs/store").text
    with pytest.raises(QuailwrightError) as refused:
        record(app, made("egg_rule", "2027-05-02", checked_on="2028-05-03", **old))
    assert "still to come" in refused.value.findings[0].sentence


def test_every_page_carries_what_is_held_and_none_where_nothing_is(
    app: FastAPI, keeper: TestClient, enter: Enter
) -> None:
    mixed(app)
    assert "data-held" not in keeper.get("/log/eggs_out").text
    record(app, TREATED)
    found = re.search(r"data-held='([^']*)'", keeper.get("/log/eggs_out").text)
    assert found is not None
    held = json.loads(found[1])
    assert list(held["boxes"]) == ["carton"]
    assert [span[0] for span in held["spans"]] == ["hens"]
    assert "laid from 2027-05-10 on may be sold again" in held["spans"][0][1]
    assert "data-held" not in enter("viewer").get("/eggs/store").text


def test_the_form_says_no_without_a_script(app: FastAPI, keeper: TestClient) -> None:
    mixed(app)
    record(app, TREATED)
    fields = {"token": token_of(keeper), "use": "sold", "eggs": "4", "box": "carton"}
    answer = keeper.post("/log/eggs_out", data=fields)
    assert answer.status_code == 422
    assert "the whole box is withheld" in answer.text


def test_a_place_card_says_no_in_large_type(app: FastAPI, keeper: TestClient) -> None:
    record(app, TREATED)
    text = keeper.get("/paper/places").text
    assert 'class="held-large"' in text
    assert "No eggs of hens to eat, sell or give, up to and on Sun 9 May." in text
    record(app, made("treated", "2027-05-03T06:00Z", group="hens", product="drops"))
    assert "until the vet or the label has told a date" in keeper.get("/paper/places").text
    assert "until the vet or the label has told a date" in keeper.get("/paper/round").text
    assert "no date told: ask the vet or read the label, then log it" in keeper.get("/").text

"""The JSON API: entries once each, and the shapes that the terminal gives."""

import json
import re
from typing import Any

import msgspec
import pytest
from fastapi import FastAPI
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient
from tests.makers import made
from tests.web.conftest import NOW, Enter, journal_of

from quailwright.exchange import shapes
from quailwright.exchange.json_types import (
    CostsShape,
    FeedShape,
    HatchShape,
    JournalCheck,
    OffersShape,
    OutlookShape,
    ReadingsReport,
    ReadingsSeries,
    ReadingsTaken,
    Refusal,
    RuleShape,
    ScoreShape,
    SignsShape,
    TodayShape,
)
from quailwright.flock.fold import fold
from quailwright.flock.standing import Standing, standing
from quailwright.guide.round import todays_round
from quailwright.guide.rules import all_rules
from quailwright.journal.entries import KINDS, as_dict
from quailwright.web.openapi import PATTERNS


def send(client: TestClient, body: Any) -> Any:
    """Posts entries with the token of this visitor."""
    headers = {"X-Write-Token": client.get("/api/me").json()["token"]}
    content = body if isinstance(body, bytes) else json.dumps(body).encode()
    return client.post("/api/entries", content=content, headers=headers)


EGGS = as_dict(made("eggs_collected", "2027-05-03", group="hens", eggs=9))


def test_an_entry_sent_twice_is_kept_once(app: FastAPI, keeper: TestClient) -> None:
    before = len(journal_of(app))
    assert send(keeper, EGGS).json() == {"written": 1, "already": 0}
    assert send(keeper, [EGGS]).json() == {"written": 0, "already": 1}
    assert len(journal_of(app)) == before + 1


def test_a_list_is_kept_whole_or_not_at_all(app: FastAPI, keeper: TestClient) -> None:
    before = journal_of(app)
    wrong = as_dict(made("birds_died", "2027-05-03", group="hens", hens=99))
    answer = send(keeper, [EGGS, wrong])
    assert answer.status_code == 422
    refusal = msgspec.convert(answer.json(), Refusal)
    assert "10" in refusal["findings"][0]["sentence"]
    assert journal_of(app) == before


def test_what_is_withheld_is_a_no(keeper: TestClient) -> None:
    held = {"group": "hens", "product": "powder", "eggs_withheld_until": "2027-05-20"}
    assert send(keeper, as_dict(made("treated", "2027-05-01", **held))).status_code == 200
    out = as_dict(made("eggs_out", "2027-05-03", use="eaten", eggs=8, group="hens"))
    assert send(keeper, EGGS).status_code == 200
    assert send(keeper, out).status_code == 409


@pytest.mark.parametrize(
    "body",
    [b"", b"[", b"{}", b"null", b"[[]]", b"[1]", b"\xff\xfe", b'{"kind":"care"}', b"[" * 5000],
)
def test_what_is_no_entry_is_refused_with_a_sentence(keeper: TestClient, body: bytes) -> None:
    answer = send(keeper, body)
    assert answer.status_code == 422
    assert answer.json()["sentence"]


_scalars = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=20), st.dates().map(str)
)
_values = st.recursive(
    _scalars, lambda own: st.lists(own, max_size=3) | st.dictionaries(st.text(max_size=9), own)
)
_FIELDS = {field for cls in KINDS.values() for field in cls.__struct_encode_fields__} - {"id"}


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.one_of(
        _values,
        st.fixed_dictionaries(
            {"kind": st.sampled_from(sorted(KINDS)), "id": st.uuids().map(str)},
            optional=dict.fromkeys(sorted(_FIELDS), _values),
        ),
    )
)
def test_no_body_makes_a_fault(keeper: TestClient, body: Any) -> None:
    """Whatever is sent, it is kept or refused with a sentence: never a fault of our own."""
    answer = send(keeper, json.dumps(body).encode())
    assert answer.status_code in (200, 422, 409)
    assert answer.json().get("sentence") or answer.status_code == 200


def test_no_entries_are_no_fault(keeper: TestClient) -> None:
    assert send(keeper, []).json() == {"written": 0, "already": 0}


def test_readings_are_those_of_the_terminal(app: FastAPI, keeper: TestClient) -> None:
    flock = fold(journal_of(app), NOW)
    on = NOW.date()
    for path, shape in (
        ("/api/today", shapes.round_shape(todays_round(flock, on))),
        ("/api/flock", shapes.standing_shape(standing(flock, on))),
    ):
        assert keeper.get(path).json() == json.loads(json.dumps(shape))
    assert keeper.get("/api/hatches").json() == ["may"]


@pytest.mark.parametrize(
    ("path", "shape"),
    [
        ("/api/today", TodayShape),
        ("/api/today?on=2027-05-01", TodayShape),
        ("/api/signs", SignsShape),
        ("/api/signs?on=2027-05-01", SignsShape),
        ("/api/hatches/may", HatchShape),
        ("/api/flock", Standing),
        ("/api/outlook?weeks=3&draws=50", OutlookShape),
        ("/api/costs", CostsShape),
        ("/api/costs?from=2027-04-01&until=2027-04-30&minute=0.2", CostsShape),
        ("/api/costs?on=2027-05-01", CostsShape),
        ("/api/feed?weeks=3&draws=50", FeedShape),
        ("/api/hatches/none", Refusal),
        ("/api/costs?from=2027-05-02&until=2027-05-01", Refusal),
        ("/api/costs?minute=nan", Refusal),
        ("/api/feed?weeks=0", Refusal),
        ("/api/today?on=soon", Refusal),
        ("/api/outlook?weeks=0", Refusal),
        ("/api/nothing", Refusal),
    ],
)
def test_answers_have_the_shapes_that_the_document_tells(
    keeper: TestClient, path: str, shape: Any
) -> None:
    answer = keeper.get(path).json()
    told = msgspec.to_builtins(msgspec.convert(answer, shape))
    assert told == answer


def test_entries_are_read_newest_first(keeper: TestClient) -> None:
    kinds = [entry["kind"] for entry in keeper.get("/api/entries?limit=2").json()]
    assert kinds == ["eggs_weighed", "eggs_collected"]
    assert len(keeper.get("/api/entries?kind=place").json()) == 2
    assert keeper.get("/api/entries?since=2027-05-02").json()[0]["kind"] == "eggs_weighed"


def test_the_document_names_every_kind_and_every_reference_is_there(keeper: TestClient) -> None:
    text = keeper.get("/api/openapi.json").text
    document = json.loads(text)
    schemas = document["components"]["schemas"]
    kinds = {
        schema["properties"]["kind"]["enum"][0]
        for schema in schemas.values()
        if "kind" in schema.get("properties", {}) and "enum" in schema["properties"]["kind"]
    }
    assert set(KINDS) <= kinds
    for reference in msgspec.json.decode(text.encode())["paths"].values():
        assert reference
    names = {part.split('"')[0] for part in text.split("#/components/schemas/")[1:]}
    assert names <= set(schemas)
    assert {
        "/api/entries",
        "/api/today",
        "/api/flock",
        "/api/outlook",
        "/api/costs",
        "/api/signs",
        "/api/feed",
    } <= set(document["paths"])


def test_a_viewer_may_read_and_not_write(enter: Enter) -> None:
    viewer = enter("viewer")
    assert viewer.get("/api/today").status_code == 200
    assert send(viewer, EGGS).status_code == 403
    assert enter("").get("/api/today").status_code == 401


def test_the_outlook_counts_what_is_planned_unless_told_otherwise(keeper: TestClient) -> None:
    fields = {"hatch": "june", "on": "2027-05-20", "eggs": 30, "place": "box", "source": "friend"}
    assert send(keeper, as_dict(made("set_planned", "2027-05-03", **fields))).status_code == 200
    asked = "/api/outlook?weeks=26&draws=100"
    with_it, without = keeper.get(asked).json(), keeper.get(f"{asked}&planned=false").json()
    assert [one["hatch"] for one in with_it["planned"]["sets"]] == ["june"]
    assert without["planned"]["sets"] == []
    assert with_it["weeks"][-1]["hens"]["mean"] > without["weeks"][-1]["hens"]["mean"] + 3


CSV = b"time,temperature_c,humidity\n2027-05-02 08:00,37.6,45\n2027-05-02 08:10,37.8,46\n"


def post(client: TestClient, path: str, body: bytes | Any) -> Any:
    """Posts a body with the token of this visitor."""
    headers = {"X-Write-Token": client.get("/api/me").json()["token"]}
    content = body if isinstance(body, bytes) else json.dumps(body).encode()
    return client.post(path, content=content, headers=headers)


def test_readings_sent_come_back_as_a_series(keeper: TestClient) -> None:
    sent = post(keeper, "/api/readings?place=box&instrument=logger", CSV)
    taken = msgspec.convert(sent.json(), ReadingsTaken)
    assert (taken["written"], taken["already"]) == (2, 0)
    assert post(keeper, "/api/readings?place=box&instrument=logger", CSV).json()["already"] == 2
    shape = keeper.get("/api/readings/series?place=box").json()
    assert msgspec.convert(shape, ReadingsSeries) == shape
    # The holding is in Lisbon, an hour ahead of UTC in summer (IANA time zones).
    assert shape["instruments"] == [
        {
            "instrument": "logger",
            "at": ["2027-05-02T07:00:00+00:00", "2027-05-02T07:10:00+00:00"],
            "temperature_c": [37.6, 37.8],
            "humidity_pct": [45.0, 46.0],
        }
    ]
    hourly = keeper.get("/api/readings/series?place=box&step_minutes=60").json()
    assert hourly["instruments"][0]["temperature_c"] == [pytest.approx(37.7)]
    later = keeper.get("/api/readings/series?place=box&from=2027-05-02T08:05&until=2027-05-02")
    assert later.json()["instruments"][0]["humidity_pct"] == [46.0]
    assert keeper.get("/api/readings/series?place=box&instrument=other").json()["instruments"] == []
    assert keeper.get("/api/readings").json()[0]["readings"] == 2
    report = keeper.get("/api/readings/summary?place=box").json()
    assert msgspec.to_builtins(msgspec.convert(report, ReadingsReport)) == report
    assert report["instruments"][0]["temperature"]["mean"] == pytest.approx(37.7)


def test_readings_are_kept_whole_or_not_at_all(keeper: TestClient) -> None:
    assert post(keeper, "/api/readings?place=shed", CSV).status_code == 422
    assert "new_place" in post(keeper, "/api/readings?place=shed", CSV).json()["sentence"]
    wrong = post(keeper, "/api/readings?place=box", CSV + b"2027-05-02 08:20,warm,45\n")
    assert wrong.status_code == 422
    assert wrong.json()["findings"][0]["line"] == 4
    assert post(keeper, "/api/readings?place=box&dry_run=true", CSV).json()["written"] == 2
    assert keeper.get("/api/readings").json() == []
    assert post(keeper, "/api/readings?place=shed&new_place=true", CSV).json()["written"] == 2


def test_a_child_and_a_viewer_send_no_readings(enter: Enter) -> None:
    assert post(enter("viewer"), "/api/readings?place=box", CSV).status_code == 403
    assert post(enter("helper"), "/api/readings?place=box", CSV).status_code == 200


def test_rules_of_care_are_those_of_the_terminal(app: FastAPI, keeper: TestClient) -> None:
    flock = fold(journal_of(app), NOW)
    shown = keeper.get("/api/rules").json()
    known = [shapes.rule_shape(one) for one in all_rules(flock.care_rules)]
    assert shown == msgspec.json.decode(msgspec.json.encode(known))
    assert msgspec.to_builtins(msgspec.convert(shown, list[RuleShape])) == shown
    (wash,) = keeper.get("/api/rules/wash").json()
    assert wash["rule"] == "wash"
    assert wash["basis"]
    assert keeper.get("/api/rules/no-such").status_code == 422


def test_the_journal_comes_out_as_it_is_exported(app: FastAPI, keeper: TestClient) -> None:
    answer = keeper.get("/api/journal")
    assert answer.headers["Content-Type"].startswith("application/jsonl")
    lines = [json.loads(line) for line in answer.text.splitlines()]
    assert lines == [as_dict(entry) for entry in journal_of(app)]
    checked = keeper.get("/api/journal/check").json()
    assert msgspec.to_builtins(msgspec.convert(checked, JournalCheck)) == checked
    assert checked["ok"]


OFFERS = """
[[offer]]
source = "creek-farm"
route = "collected"
price_per_egg = 0.5
"""


def test_offers_are_compared_and_nothing_is_written(app: FastAPI, keeper: TestClient) -> None:
    before = journal_of(app)
    answer = post(keeper, "/api/offers", {"offers": OFFERS, "hens": 12})
    told = answer.json()
    assert msgspec.to_builtins(msgspec.convert(told, OffersShape)) == told
    assert (told["hens"], told["offers"][0]["source"]) == (12, "creek-farm")
    wrong = post(keeper, "/api/offers", {"offers": "[[offer]]\nroute = 'own'", "hens": 12})
    assert wrong.status_code == 422
    assert wrong.json()["findings"]
    assert post(keeper, "/api/offers", {"hens": 12}).status_code == 422
    assert journal_of(app) == before


def test_questions_to_the_outlook(keeper: TestClient) -> None:
    asked = "/api/outlook?weeks=3&draws=100"
    as_it_stands, fewer = keeper.get(asked).json(), keeper.get(f"{asked}&fewer_hens=5").json()
    assert fewer["question"]
    assert fewer["weeks"][0]["hens"]["mean"] < as_it_stands["weeks"][0]["hens"]["mean"] - 3
    long = "/api/outlook?weeks=16&draws=100"
    plain = keeper.get(long).json()
    further = keeper.get(f"{long}&set=2027-05-10 40 creek-farm").json()
    assert further["weeks"][-1]["eggs"]["mean"] > plain["weeks"][-1]["eggs"]["mean"] + 5
    for wrong in ("40 creek-farm", "2027-05-01 40 creek-farm", "2029-05-10 40 creek-farm"):
        refused = keeper.get("/api/outlook", params={"set": wrong})
        assert refused.status_code == 422
        assert refused.json()["sentence"].startswith("set ")
    past = keeper.get("/api/outlook/past").json()
    assert msgspec.to_builtins(msgspec.convert(past, list[ScoreShape])) == past


def test_the_documents_patterns_are_those_of_json_schema(keeper: TestClient) -> None:
    """JSON Schema (2020-12, core, section 6.4) wants ECMA-262, which has no \\A and no \\Z."""
    text = keeper.get("/api/openapi.json").text
    assert "\\\\A" not in text
    assert "\\\\Z" not in text


_characters = st.characters() | st.sampled_from(" \t\n\r\x00\x1f\x7f\x9f\xa0\u2003")


@given(st.text(_characters, max_size=6))
def test_the_documents_patterns_mean_what_the_journal_takes(text: str) -> None:
    for ours, told in PATTERNS.items():
        # `$` of Python, unlike that of ECMA-262, also stands before a newline at the end.
        exact = re.compile(told.removesuffix("$") + r"\Z")
        assert (re.match(ours, text) is None) == (exact.match(text) is None), ours

"""The JSON API: entries once each, and the shapes that the terminal gives."""

import json
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
from quailwright.exchange.json_types import HatchShape, OutlookShape, Refusal, TodayShape
from quailwright.flock.fold import fold
from quailwright.flock.standing import Standing, standing
from quailwright.guide.round import todays_round
from quailwright.journal.entries import KINDS, as_dict


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
        ("/api/hatches/may", HatchShape),
        ("/api/flock", Standing),
        ("/api/outlook?weeks=3&draws=50", OutlookShape),
        ("/api/hatches/none", Refusal),
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
    assert {"/api/entries", "/api/today", "/api/flock", "/api/outlook"} <= set(document["paths"])


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

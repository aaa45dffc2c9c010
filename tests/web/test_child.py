"""A child's view: collecting, counting and looking after birds; no slaughter, culling or money."""

import re

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient
from tests.makers import made
from tests.web.conftest import NOW, PHRASES, SMALL_FLOCK, journal_of, routes_of, token_of

from quailwright.exchange.record import record
from quailwright.guide.child import CHILDS_KINDS
from quailwright.guide.rules import printed_rules
from quailwright.journal.entries import EggsCollected, Retract, as_dict

NOT_FOR_A_CHILD = (
    r"kill\w*", r"slaughter\w*", r"cull\w*", "let go", r"process\w*", "for the table", r"deaths?",
    r"died?", "dead", r"costs?", r"prices?", "EUR", "sold", "treated", "drops", "wire",
)  # fmt: skip


@pytest.fixture
def child(app: FastAPI) -> TestClient:
    """A browser signed in as a child, in a flock with much that is not for one."""
    app.state.home.household.add("Ida", "child", PHRASES["helper"], NOW)
    record(
        app.state.home.desk.store,
        [
            made("birds_processed", "2027-05-01", group="hens", cocks=1),
            made("birds_died", "2027-05-03", group="hens", hens=4, found="predator"),
            made("money", "2027-05-03", amount=-30, category="wire"),
            made("treated", "2027-05-02", group="hens", product="drops",
                 eggs_withheld_until="2027-05-09", meat_withheld_until="2027-05-09"),
            made("place", "2027-01-01", place="boys", role="pen"),
            made("group", "2027-03-10", group="cocks", place="boys", cocks=9,
                 hatched_on="2027-03-08"),
            made("care_rule", "2027-01-01", rule="mine", stage="pen", task="Cull the weak",
                 every_days=1.0),
            made("care_rule", "2027-01-01", rule="mesh_check", why="or the fox kills them"),
        ],
        NOW,
    )  # fmt: skip
    client = TestClient(app, base_url="http://localhost", follow_redirects=False)
    form = {"name": "Ida", "passphrase": PHRASES["helper"], "token": token_of(client, "/sign-in")}
    assert client.post("/sign-in", data=form).status_code == 303
    return client


def seen(client: TestClient, path: str) -> str:
    """What a page says, without the addresses of its forms."""
    answer = client.get(path)
    assert answer.status_code == 200, path
    return answer.text.split("<body")[1]


def test_the_round_of_a_child(child: TestClient, keeper: TestClient) -> None:
    assert "Cull the weak" in keeper.get("/").text
    text = seen(child, "/")
    for task in ("Feed and fresh water", "Collect and count the eggs", "Look, listen, count"):
        assert task in text
    assert "Wash your hands" in text
    assert "fetch a grown-up" in text
    assert "eggs of hens" in text  # withheld: they may not be eaten, whoever collects them
    assert 'action="/log/eggs_collected"' in text
    assert 'action="/log/birds_died"' not in text


@pytest.mark.parametrize("path", ["/", "/birds", "/places/pen", "/places/boys", "/more"])
def test_no_page_of_a_child_tells_of_slaughter_or_money(child: TestClient, path: str) -> None:
    shown = re.sub(r"<[^>]+>", " ", seen(child, path)).split("quailwright tells you no law")[0]
    assert re.findall(rf"\b(?:{'|'.join(NOT_FOR_A_CHILD)})\b", shown, re.IGNORECASE) == []


def test_what_a_child_may_open_is_listed_and_the_rest_is_shut(
    app: FastAPI, child: TestClient
) -> None:
    opened = {path for path, _ in routes_of(app) if child.get(path).status_code == 200}
    assert opened == {
        "/", "/birds", "/places/pen", "/log/care", "/more", "/kept", "/no-signal", "/worker.js",
        "/manifest.webmanifest", "/sign-in", "/api/me", "/api/openapi.json",
    }  # fmt: skip
    for path in ("/costs", "/costs/months.csv", "/costs/costs.xlsx", "/feed", "/api/costs"):
        assert child.get(path).status_code == 403
    for kind in ("birds_died", "birds_processed", "money", "holding"):
        assert child.get(f"/log/{kind}").status_code == 403
    for kind in CHILDS_KINDS:
        assert child.get(f"/log/{kind}").status_code == 200


def test_a_child_writes_counts_and_takes_back_their_own(app: FastAPI, child: TestClient) -> None:
    token = token_of(child)
    form = {"token": token, "group": "hens", "eggs": "5"}
    assert child.post("/log/eggs_collected", data=form).status_code == 303
    own = journal_of(app)[-1]
    assert isinstance(own, EggsCollected)
    assert own.by == "Ida"
    assert "See the entry" not in child.get(f"/?kept={own.id}").text
    before = journal_of(app)
    headers = {"X-Write-Token": token}
    for entry in (
        made("birds_processed", group="hens", hens=1),
        made("money", amount=3, category="x"),
        made("retract", entry=SMALL_FLOCK[6].id, why="not mine"),
        made("retract", entry=own.id, why="x", instead=as_dict(made("money", amount=1,
             category="x"))),
    ):  # fmt: skip
        answer = child.post("/api/entries", json=as_dict(entry), headers=headers)
        assert answer.status_code == 422, entry
    assert child.post(f"/journal/{before[0].id}/retract", data={"token": token}).status_code == 403
    assert journal_of(app) == before
    undone = {"token": token, "why": "undone"}
    assert child.post(f"/journal/{own.id}/retract", data=undone).status_code == 303
    assert isinstance(journal_of(app)[-1], Retract)


def test_rules_fit_for_a_child_are_of_a_pen_and_without_heat_or_blade() -> None:
    fit = {name: rule for name, rule in printed_rules().items() if rule.child}
    assert set(fit) == {"feed_water", "drinker_clean", "look_count", "collect_eggs", "mesh_check"}
    assert {rule.stage for rule in fit.values()} == {"pen"}


def test_a_child_writes_in_its_own_name_only(child: TestClient) -> None:
    token = token_of(child, "/")
    entry = {
        "id": "0191d5a0-5f5e-7c3a-9d52-3f0c5a1b2c3d", "kind": "eggs_collected", "at": "2027-05-03",
        "group": "hens", "eggs": 3, "by": "keeper",
    }  # fmt: skip
    answer = child.post("/api/entries", json=entry, headers={"X-Write-Token": token})
    assert answer.status_code == 422
    assert "your own name" in answer.json()["sentence"]

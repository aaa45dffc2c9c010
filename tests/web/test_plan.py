"""Plans on the pages and in the API: asked, made one at a time, stopped, taken on once."""

import html
import json
import re
import threading
import time
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import msgspec
import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient
from tests.searching import endless_searches
from tests.web.conftest import NOW, Enter, journal_of, token_of

from quailwright.exchange import plan_page
from quailwright.exchange.json_types import PlanShape, Refusal
from quailwright.journal.entries import KINDS, LONGEST_BRIEF, kind_of
from quailwright.web.planner import MOST_KEPT, Busy, Job, Planner

SMALL = {
    "goal.eggs_per_week": "110",
    "goal.from": "2027-08-02",
    "goal.until": "2027-08-29",
    "goal.certainty": "0.6",
    "limits.max_birds": "60",
    "do": "ask",
}
"""A goal of four weeks that the ten hens there and the hatch under way do not meet."""
_PATIENCE_S = 120


def post(client: TestClient, path: str, **fields: str) -> Any:
    return client.post(path, data={"token": token_of(client), **fields})


def begun(client: TestClient, **fields: str) -> str:
    """Asks for a plan, and gives the address of its page."""
    answer = post(client, "/plan", **{**SMALL, **fields})
    assert answer.status_code == 303, answer.text
    return str(answer.headers["location"])


def made(app: FastAPI, client: TestClient, **fields: str) -> str:
    """The same, when the plan is made."""
    path = begun(client, **fields)
    app.state.home.planner.job(path.rpartition("/")[2]).wait()
    return path


def planned(client: TestClient, **body: object) -> Any:
    headers = {"X-Write-Token": client.get("/api/me").json()["token"]}
    return client.post("/api/plan", content=json.dumps(body).encode(), headers=headers)


BRIEF = """
[goal]
eggs_per_week = 60
from = 2027-08-02
until = 2027-08-29
certainty = 0.6
[limits]
max_birds = 60
"""


def test_the_questions_stand_with_the_answers_of_the_journal(keeper: TestClient) -> None:
    text = keeper.get("/plan").text
    assert "What would you like?" in text
    assert 'name="goal.eggs_per_week" value="40"' in text
    assert '<option value="0.8" selected>four weeks in five' in text


def test_from_plain_questions_to_an_accepted_plan(app: FastAPI, keeper: TestClient) -> None:
    path = made(app, keeper)
    text = keeper.get(path).text
    assert "Does it meet the goal?" in text
    job = app.state.home.planner.job(path.rpartition("/")[2])
    sets = job.made.pages["as asked"].sets
    assert sets
    for one in sets:
        assert f"<b>{one.eggs}</b> eggs from {one.source}" in text
    before = len(journal_of(app))
    answer = post(keeper, path, do="accept", choice="as asked")
    assert (answer.status_code, answer.headers["location"]) == (303, "/plan")
    written = journal_of(app)[before:]
    kinds = [kind_of(entry) for entry in written]
    assert kinds.count("plan_accepted") == 1
    assert kinds.count("set_planned") == len(sets)
    assert {entry.by for entry in written} == {"keeper"}
    again = post(keeper, path, do="accept", choice="as asked")
    assert again.status_code == 303
    assert len(journal_of(app)) == before + len(written)
    page = keeper.get("/plan").text
    assert "Accepted on Mon 3 May 2027" in page
    assert "Ahead" in page
    # Made again with nothing changed, it keeps every set.
    once_more = post(keeper, "/plan", do="again").headers["location"]
    app.state.home.planner.job(once_more.rpartition("/")[2]).wait()
    assert "No set changes." in keeper.get(once_more).text
    # The outlook counts it, on the page as in the API, and shows what it is without.
    assert "Without the plan" in keeper.get("/outlook").text
    assert "What would the plan left out change?" in keeper.get("/outlook?ask=no_planned").text


def test_what_if_is_a_plan_of_its_own_beside_the_first(app: FastAPI, keeper: TestClient) -> None:
    path = made(app, keeper)
    fields = {"goal.eggs_per_week": "30", "limits.max_birds": "", "goal.certainty": "0.6"}
    answer = post(keeper, path, do="what-if", choice="as asked", **fields)
    other = answer.headers["location"]
    job = app.state.home.planner.job(other.rpartition("/")[2])
    job.wait()
    text = keeper.get(other).text
    assert "What does it change?" in text
    assert "eggs_per_week = 30" in text
    assert "max_birds" not in html.unescape(text).split('class="brief"')[1]
    wrong = post(keeper, path, do="what-if", **{**fields, "limits.max_birds": "few"})
    assert wrong.status_code == 422
    assert "few" in wrong.text


def test_sets_are_told_as_bars_with_their_days(app: FastAPI, keeper: TestClient) -> None:
    text = keeper.get(made(app, keeper)).text
    assert "When does each set hatch, lay and go?" in text
    assert 'class="bar-eggs"' in text
    assert "The first chicks are due" in text
    assert "style=" not in text


SCRIPT = {"HX-Request": "true"}


def slide(client: TestClient, path: str, headers: dict[str, str], **fields: str) -> Any:
    data = {"token": token_of(client), "do": "slide", "choice": "as asked", **fields}
    return client.post(path, data=data, headers=headers)


def test_sliders_plan_again_beside_the_plan(app: FastAPI, keeper: TestClient) -> None:
    path = made(app, keeper)
    text = keeper.get(path).text
    assert 'type="range" id="s-goal-eggs_per_week" name="goal.eggs_per_week" min="2"' in text
    assert "110 eggs a week" in text
    answer = slide(keeper, path, SCRIPT, **{"goal.eggs_per_week": "60"})
    assert answer.status_code == 200
    tried = re.findall(r'hx-get="(/plan/made/[^"]+)/beside"', answer.text)[0]
    job = app.state.home.planner.job(tried.rpartition("/")[2])
    job.wait()
    part = keeper.get(f"{tried}/beside", headers=SCRIPT).text
    assert "<!doctype" not in part
    assert "as slid" in part
    assert f'href="{tried}"' in part
    assert "hx-get" not in part
    assert "eggs_per_week = 60" in job.about.brief.decode()
    # Neither is lost: the first is still there, and the second leads back to it.
    assert keeper.get(path).status_code == 200
    assert f'href="{path}?choice=as' in keeper.get(tried).text


def test_a_slider_without_scripts_leads_to_the_plan(app: FastAPI, keeper: TestClient) -> None:
    path = made(app, keeper)
    answer = slide(keeper, path, {}, **{"goal.certainty": "70"})
    assert answer.status_code == 303
    app.state.home.planner.job(answer.headers["location"].rpartition("/")[2]).wait()
    assert "What does it change?" in keeper.get(answer.headers["location"]).text
    assert slide(keeper, path, {}, **{"goal.certainty": "7"}).status_code == 422
    part = slide(keeper, path, SCRIPT, **{"goal.certainty": "7"})
    assert "how sure: from 50 to 99" in part.text


def test_sliding_often_never_loses_the_plan_beneath(
    app: FastAPI, keeper: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = made(app, keeper)
    page_of = app.state.home.planner.job(path.rpartition("/")[2]).made
    monkeypatch.setattr(plan_page, "made", lambda asked, stands, tell: page_of)
    for eggs in range(20, 20 + 2 * MOST_KEPT):
        slide(keeper, path, SCRIPT, **{"goal.eggs_per_week": str(eggs)})
        app.state.home.planner.running() and app.state.home.planner.running().wait()
    assert "Does it meet the goal?" in keeper.get(path).text


def test_a_slider_moved_again_stops_the_try_before(
    app: FastAPI, enter: Enter, monkeypatch: pytest.MonkeyPatch
) -> None:
    keeper, helper = enter("keeper"), enter("helper")
    path = made(app, keeper)
    held = _Held()
    monkeypatch.setattr(plan_page, "made", held)
    first = slide(keeper, path, SCRIPT, **{"goal.eggs_per_week": "60"})
    assert held.begun.wait(60)
    tried = re.findall(r'hx-get="/plan/made/([^"]+)/beside"', first.text)[0]
    assert "best so far: &lt;b&gt;2" in keeper.get(f"/plan/made/{tried}/beside").text.lower()
    # Somebody else's is not stopped, and is said to be in the way.
    other = slide(helper, path, SCRIPT, **{"goal.eggs_per_week": "70"})
    assert "One plan at a time" in other.text
    again = slide(keeper, path, SCRIPT, **{"goal.eggs_per_week": "70"})
    assert "/beside" in again.text
    job = app.state.home.planner.job(tried)
    assert job.stopping
    assert not job.runs
    held.free.set()


def test_other_plans_are_there_to_pick(app: FastAPI, keeper: TestClient) -> None:
    path = made(app, keeper)
    others = post(keeper, path, do="others").headers["location"]
    job = app.state.home.planner.job(others.rpartition("/")[2])
    job.wait()
    text = keeper.get(others).text
    assert "Which plan suits you?" in text
    names = [name for name in job.made.pages if name != "as asked"]
    for name in names:
        shown = keeper.get(f"{others}?choice={name}").text
        assert f"A plan: {name}" in shown
        assert f'name="choice" value="{name}"' in shown


@pytest.mark.parametrize(
    ("name", "text"),
    [("goal.eggs_per_week", "many"), ("limits.max_birds", "0"), ("goal.from", "3")],
)
def test_an_answer_that_will_not_do_is_said_beside_it(
    keeper: TestClient, name: str, text: str
) -> None:
    answer = post(keeper, "/plan", **{**SMALL, name: text})
    assert answer.status_code == 422
    place = answer.text.index(f'name="{name}"')
    assert "fault" in answer.text[place : place + 500]
    assert f'value="{text}"' in answer.text


HOSTILE = '"]\n[goal]<script>alert(1)</script>{{7*7}}'


def test_hostile_answers_stay_text(app: FastAPI, keeper: TestClient) -> None:
    before = journal_of(app)
    answer = post(keeper, "/plan", **{**SMALL, "goal.eggs_per_week": HOSTILE, "goal.x": "1"})
    assert answer.status_code == 422
    assert "<script>alert" not in answer.text
    assert "49" not in re.findall(r'value="([^"]*)"', answer.text)
    for path in ("/plan/made/%3Cscript%3E", "/plan/made/..", "/outlook?ask=%3Cscript%3E"):
        assert "<script>" not in keeper.get(path).text.replace("<script src", "")
    assert journal_of(app) == before


def test_a_hostile_source_is_shown_as_its_name(app: FastAPI, keeper: TestClient) -> None:
    name = '<b>creek</b> & "x" \''
    entry = post(keeper, "/log/source", source=name, route="collected", price_per_egg="0.01")
    assert entry.status_code == 303
    path = made(app, keeper, **{"goal.eggs_per_week": "90"})
    text = keeper.get(path).text
    assert "<b>creek" not in text
    job = app.state.home.planner.job(path.rpartition("/")[2])
    assert job.refused is None
    assert any(one.source == name for one in job.made.pages["as asked"].sets)
    assert f"eggs from {name}" in html.unescape(text)


def test_roles_hold(app: FastAPI, enter: Enter) -> None:
    helper, viewer = enter("helper"), enter("viewer")
    path = made(app, helper)
    before = journal_of(app)
    assert "Accept this plan" not in helper.get(path).text
    assert "A keeper of this flock may accept it" in helper.get(path).text
    assert post(helper, path, do="accept", choice="as asked").status_code == 403
    assert viewer.get(path).status_code == 200
    for fields in ({"do": "stop"}, {"do": "accept"}, {"do": "others"}):
        assert post(viewer, path, **fields).status_code == 403
    assert post(viewer, "/plan", **SMALL).status_code == 403
    assert journal_of(app) == before


class _Held:
    """Planning that waits until it is let go, telling how far it is."""

    def __init__(self) -> None:
        self.begun, self.free = threading.Event(), threading.Event()

    def __call__(self, asked: Any, stands: Any, tell: Callable[[str, float], None]) -> None:
        while not self.free.wait(0.01):
            tell("best so far: <b>2</b> sets", 0.4)
            self.begun.set()


@pytest.fixture
def held(monkeypatch: pytest.MonkeyPatch) -> Any:
    one = _Held()
    monkeypatch.setattr(plan_page, "made", one)
    yield one
    one.free.set()


def test_a_second_plan_is_refused_kindly(app: FastAPI, enter: Enter, held: _Held) -> None:
    keeper, helper = enter("keeper"), enter("helper")
    first = begun(helper)
    assert held.begun.wait(60)
    answer = post(keeper, "/plan", **SMALL)
    assert answer.headers["location"] == f"{first}?busy=yes"
    text = keeper.get(f"{first}?busy=yes").text
    assert "One plan at a time" in text
    assert "for helper" in text
    assert "<b>2</b>" not in text
    assert "A plan is being made for helper" in keeper.get("/plan").text
    api = planned(keeper, brief=BRIEF)
    assert api.status_code == 409
    assert "sentence" in api.json()
    # The page goes on by itself without scripts; a script's request is told to load the plan.
    assert '<noscript><meta http-equiv="refresh"' in text
    assert "HX-Refresh" not in keeper.get(first, headers={"HX-Request": "true"}).headers
    held.free.set()
    app.state.home.planner.job(first.rpartition("/")[2]).wait()
    assert keeper.get(first, headers={"HX-Request": "true"}).headers["HX-Refresh"] == "true"


def test_stop_ends_the_search(
    app: FastAPI, keeper: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    endless_searches(monkeypatch)
    path = begun(keeper, **{"goal.until": "2028-04-30", "goal.eggs_per_week": "200"})
    job = app.state.home.planner.job(path.rpartition("/")[2])
    while "best so far" not in job.words and job.runs:
        time.sleep(0.02)
    began = time.monotonic()
    assert keeper.get("/").status_code == 200
    assert job.runs, "the round waited for the plan"
    assert post(keeper, path, do="stop").status_code == 303
    job.wait()
    assert time.monotonic() - began < _PATIENCE_S
    assert "The search was stopped" in keeper.get(path).text
    assert job.made.shape["stopped"]


def test_stopped_before_there_is_any_plan(app: FastAPI, keeper: TestClient, held: _Held) -> None:
    path = begun(keeper)
    assert held.begun.wait(60)
    post(keeper, path, do="stop")
    job = app.state.home.planner.job(path.rpartition("/")[2])
    job.wait()
    text = keeper.get(path).text
    assert "Stopped before any plan was made" in text
    assert 'href="/plan/ask"' in text


def test_a_plan_of_another_day_is_not_taken_on(app: FastAPI, keeper: TestClient) -> None:
    path = made(app, keeper)
    home = app.state.home
    later = type(home.settings)(
        home.settings.flock, lambda: NOW + timedelta(days=1), home.settings.noise
    )
    object.__setattr__(home, "settings", later)
    before = journal_of(app)
    answer = post(keeper, path, do="accept", choice="as asked")
    assert answer.status_code == 422
    assert "another day" in answer.text
    assert journal_of(app) == before


def test_only_the_last_few_are_kept() -> None:
    planner = Planner()
    for number in range(MOST_KEPT + 2):
        planner.begin(Job(str(number), "", None), lambda tell: 1).wait()
    assert planner.job("0") is None
    assert planner.job(str(MOST_KEPT + 1)) is not None


def test_one_runs_at_a_time() -> None:
    planner, free = Planner(), threading.Event()
    job = planner.begin(Job("a", "", None), lambda tell: free.wait(60))
    with pytest.raises(Busy) as caught:
        planner.begin(Job("b", "", None), lambda tell: 1)
    assert caught.value.job is job
    free.set()
    job.wait()
    assert planner.begin(Job("b", "", None), lambda tell: 1).id == "b"


# The JSON API.


def test_the_api_plans_and_takes_on(app: FastAPI, keeper: TestClient) -> None:
    answer = planned(keeper, brief=BRIEF, seed=3, what_if=["limits.max_birds=80"])
    assert answer.status_code == 200, answer.text
    plan = answer.json()
    assert msgspec.to_builtins(msgspec.convert(plan, PlanShape)) == plan
    assert plan["seed"] == 3
    assert plan["what_if"]["told"] == ["limits.max_birds=80"]
    headers = {"X-Write-Token": keeper.get("/api/me").json()["token"]}
    body = json.dumps({"plan": plan["plan"]}).encode()
    before = len(journal_of(app))
    taken = keeper.post("/api/plan/accept", content=body, headers=headers).json()
    assert len(journal_of(app)) == before + taken["written"]
    assert taken["written"] > len(plan["sets"])
    repeated = keeper.post("/api/plan/accept", content=body, headers=headers).json()
    assert repeated == {"written": 0, "already": 1}
    accepted = [entry for entry in journal_of(app) if isinstance(entry, KINDS["plan_accepted"])]
    assert accepted[0].brief == BRIEF  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    "body",
    [
        {},
        {"brief": 3},
        {"brief": None},
        {"brief": "goal"},
        {"brief": "[goal]\neggs_per_week = nan"},
        {"brief": "#" * (LONGEST_BRIEF + 1)},
        {"brief": BRIEF, "choice": "best"},
        {"brief": BRIEF, "what_if": ["limits.nothing=1"]},
        {"brief": BRIEF, "seed": -1},
        {"brief": BRIEF, "more": 1},
    ],
)
def test_what_cannot_be_planned_for_is_refused_with_a_sentence(
    keeper: TestClient, body: dict[str, object]
) -> None:
    answer = planned(keeper, **body)
    assert answer.status_code == 422
    assert msgspec.convert(answer.json(), Refusal)["sentence"]


def test_a_helper_may_plan_and_not_accept_by_the_api(app: FastAPI, enter: Enter) -> None:
    helper = enter("helper")
    plan = planned(helper, brief=BRIEF, ways_out=False).json()["plan"]
    headers = {"X-Write-Token": helper.get("/api/me").json()["token"]}
    body = json.dumps({"plan": plan}).encode()
    assert helper.post("/api/plan/accept", content=body, headers=headers).status_code == 403
    assert planned(enter("viewer"), brief=BRIEF).status_code == 403

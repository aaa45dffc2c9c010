"""The page of the sitter's sheet agrees with the command and the API, and leads on."""

import html
import json
from collections.abc import Iterator
from typing import Any

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient
from tests.cli.conftest import Quail, quail
from tests.makers import made
from tests.web.conftest import Enter, journal_of, token_of

__all__ = ["quail"]

DAYS = "from=2027-05-10&until=2027-05-23"


def strings(told: Any) -> Iterator[str]:
    """Every text of a JSON document."""
    if isinstance(told, str):
        yield told
    elif isinstance(told, dict):
        for each in told.values():
            yield from strings(each)
    elif isinstance(told, list):
        for each in told:
            yield from strings(each)


def test_page_command_and_api_agree(keeper: TestClient, quail: Quail, flock_file: str) -> None:
    told = keeper.get(f"/api/away?{DAYS}&scoop=90").json()
    command = quail(
        "away", "2027-05-10", "2027-05-23", "--scoop", "90", "--on", "2027-05-03T07:30Z",
        "--flock", flock_file, "--json",
    )  # fmt: skip
    assert command.code == 0
    assert json.loads(command.out) == told
    page = html.unescape(keeper.get(f"/paper/away?{DAYS}&scoop=90").text)
    for name in ("before", "after", "never", "ring_if", "failing", "hands", "held"):
        for text in told[name]:
            assert text in page, text
    for week in told["weeks"]:
        for visit in week["visits"]:
            assert visit["at"] in page
            for stop in visit["stops"]:
                for line in stop["lines"]:
                    assert line["short"] in page
    plain = quail(
        "away", "2027-05-10", "2027-05-23", "--scoop", "90", "--on", "2027-05-03T07:30Z",
        "--flock", flock_file,
    ).out  # fmt: skip
    joined = " ".join(plain.split())
    for name in ("never", "ring_if", "failing", "hands"):
        for text in told[name]:
            assert text in joined, text
    for visit in told["weeks"][0]["visits"]:
        for stop in visit["stops"]:
            for line in stop["lines"]:
                assert line["text"] in joined


def test_the_hatch_of_the_record_is_told_first(keeper: TestClient) -> None:
    text = keeper.get(f"/paper/away?{DAYS}").text
    assert "A hatch needs hands in these days. Leave on or after Thursday 20 May 2027" in text
    assert 'aria-label="feeder"' in text
    assert 'aria-label="drinker"' in text


def test_days_that_cannot_be_are_said_on_the_page(keeper: TestClient) -> None:
    answer = keeper.get("/paper/away?from=2027-05-10&until=2027-05-09")
    assert answer.status_code == 422
    assert "lies before" in answer.text
    assert 'value="2027-05-10"' in answer.text


def test_a_planned_set_leads_to_planning_with_the_days_away(
    app: FastAPI, keeper: TestClient
) -> None:
    planned = {"hatch": "next", "on": "2027-05-10", "eggs": 24, "place": "box", "source": "friend"}
    app.state.home.record(made("set_planned", "2027-05-03", **planned))
    text = keeper.get("/paper/away?from=2027-05-24&until=2027-05-30").text
    link = "/plan/ask?away_from=2027-05-24&amp;away_until=2027-05-30"
    assert link in text
    asked = keeper.get(html.unescape(link)).text
    assert 'value="2027-05-24"' in asked
    assert 'value="2027-05-30"' in asked


def test_whom_to_add_leads_to_the_form(app: FastAPI, keeper: TestClient) -> None:
    text = keeper.get("/paper/away").text
    assert 'href="/log/contact?role=vet&amp;back=/paper/away"' in text
    app.state.home.record(
        made("contact", "2027-05-03", contact="Dr. Moss", role="vet", phone="555 0100")
    )
    text = keeper.get("/paper/away").text
    assert "555 0100" in text
    assert "/log/contact?role=vet" not in text
    assert "/log/contact?role=animal_health" in text


def test_a_viewer_is_led_to_no_form(enter: Enter) -> None:
    assert "/log/" not in enter("viewer").get(f"/paper/away?{DAYS}").text


def test_water_is_typed_back_in_litres(app: FastAPI, keeper: TestClient) -> None:
    page = "/paper/back?week=2027-04-26"
    text = keeper.get(page).text
    assert "Water filled in, litres" in text
    form = text.split('name="form" value="')[1].split('"')[0]
    fields = {"token": token_of(keeper, page), "form": form, "water|2027-05-01|pen": "1,5"}
    assert keeper.post(page, data=fields).status_code == 303
    last = journal_of(app)[-1]
    assert (getattr(last, "place", ""), getattr(last, "litres", 0)) == ("pen", 1.5)
    assert "1.5" in keeper.get(page).text.split("Water filled in, litres")[1]


@pytest.mark.parametrize("path", ["/paper", "/more", "/help"])
def test_pages_lead_there(keeper: TestClient, path: str) -> None:
    lead = {"/paper": "/paper/away", "/more": "/cautions", "/help": "/cautions"}[path]
    assert f'href="{lead}"' in keeper.get(path).text

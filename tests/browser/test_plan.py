"""Plans on a phone: from plain questions to an accepted plan, without scripts too, and stopped."""

import threading
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect
from tests.browser.conftest import DESKTOP, PHONE, Phone, Server, now, serving
from tests.browser.test_access import SMALL, WIDE, in_both_schemes, unfold
from tests.searching import endless_searches

from quailwright.journal.entries import kind_of

_PLANNED_MS = 120_000


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[Server]:
    """A flock of which nothing is written yet, served."""
    with serving(str(tmp_path / "new.sqlite")) as server:
        yield server


def ask(page: Page, server: Server, eggs: str = "20", weeks: int = 4) -> None:
    """Answers the questions of an empty flock, and asks for the plan."""
    today = now().astimezone().date().isoformat()
    page.goto(f"{server.address}/plan")
    page.get_by_label("eggs a week").fill(eggs)
    page.get_by_label("how sure").select_option("0.6")
    page.get_by_label("eggs that your incubator holds").fill("60")
    page.get_by_label("hatching eggs from").fill("friend")
    begins = page.get_by_label("from when").input_value()
    assert begins > today
    page.get_by_text("More", exact=True).first.click()
    last = date.fromisoformat(begins) + timedelta(weeks=weeks)
    page.locator("input[name='goal.until']").fill(last.isoformat())
    page.get_by_role("button", name="Plan it").click()


def made(page: Page) -> None:
    """Waits until the plan is made, and its page has its scripts."""
    expect(page.get_by_text("Does it meet the goal?")).to_be_visible(timeout=_PLANNED_MS)
    page.wait_for_load_state()


def test_from_plain_questions_to_an_accepted_plan(empty: Server, phone: Phone) -> None:
    page = phone(empty.address)
    page.locator(".bar").get_by_text("Plan").tap()
    expect(page.get_by_role("heading", name="What would you like?")).to_be_visible()
    ask(page, empty)
    made(page)
    card = page.locator(".set-cards > li").first
    expect(card).to_contain_text("eggs from friend")
    page.get_by_role("button", name="Accept this plan").tap()
    expect(page.get_by_text("Accepted on")).to_be_visible()
    expect(page.get_by_role("heading", name="Ahead")).to_be_visible()
    kinds = [kind_of(entry) for entry in empty.entries()]
    assert kinds.count("plan_accepted") == 1
    assert "set_planned" in kinds
    assert {"place", "source"} <= set(kinds)
    page.get_by_role("button", name="Plan again").tap()
    made(page)
    expect(page.get_by_text("No set changes.")).to_be_visible()


def test_the_same_without_scripts(empty: Server, phone: Phone) -> None:
    page = phone(empty.address, java_script_enabled=False)
    ask(page, empty)
    made(page)
    page.get_by_role("button", name="Accept this plan").click()
    expect(page.get_by_text("Accepted on")).to_be_visible()
    page.get_by_role("link", name="The outlook").click()
    page.get_by_role("button", name="Without the plan").click()
    expect(page.get_by_text("the plan left out change?")).to_be_visible()


@pytest.fixture
def may_end(monkeypatch: pytest.MonkeyPatch) -> threading.Event:
    """A search goes on until it is stopped, unless this is set."""
    return endless_searches(monkeypatch)


@pytest.mark.usefixtures("may_end")
def test_the_stop_button_takes_the_best_so_far(empty: Server, phone: Phone) -> None:
    page = phone(empty.address)
    ask(page, empty)
    # The button says "best so far" too: wait for the words that tell of a plan.
    expect(page.locator("#so-far")).to_contain_text("Best so far:", timeout=_PLANNED_MS)
    page.get_by_role("button", name="Stop").tap()
    made(page)
    page.get_by_text("What it takes for granted").click()
    expect(page.get_by_text("The search was stopped")).to_be_visible()


def test_questions_fit_one_screen_of_a_phone(shown: Server, phone: Phone) -> None:
    page = phone(f"{shown.address}/plan")
    button = page.get_by_role("button", name="Plan it").bounding_box()
    bar = page.locator(".foot").bounding_box()
    assert button is not None
    assert bar is not None
    assert button["y"] + button["height"] <= bar["y"]


@pytest.mark.parametrize("size", ["phone", "desktop"])
def test_no_page_of_a_plan_shuts_anyone_out(
    empty: Server, phone: Phone, may_end: threading.Event, size: str
) -> None:
    settings: dict[str, Any] = {"reduced_motion": "reduce"}
    if size == "desktop":
        settings |= {"viewport": DESKTOP, "is_mobile": False, "has_touch": False}
    page = phone(empty.address, **settings)
    found: dict[str, Any] = {}

    def look(name: str) -> None:
        unfold(page)
        wrong = in_both_schemes(page)
        if wrong:
            found[f"{name}, axe"] = wrong
        if size == "phone":
            assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"], name
            cut = page.evaluate(SMALL) + page.evaluate(WIDE)
            page.evaluate("document.documentElement.style.fontSize = '200%'")
            cut += page.evaluate(WIDE)
            page.evaluate("document.documentElement.style.fontSize = ''")
            if cut:
                found[name] = cut

    ask(page, empty, "abc")
    look("wrong answers")
    ask(page, empty)
    expect(page.locator("#so-far")).to_contain_text("Best so far:", timeout=_PLANNED_MS)
    look("making")
    page.get_by_role("button", name="Stop").click()
    made(page)
    may_end.set()
    ask(page, empty)
    made(page)
    look("made")
    unfold(page)
    page.get_by_role("button", name="Other plans").click()
    expect(page.get_by_text("Which plan suits you?")).to_be_visible(timeout=_PLANNED_MS)
    look("others")
    page.get_by_role("button", name="Accept this plan").click()
    expect(page.get_by_text("Accepted on")).to_be_visible()
    look("accepted")
    assert found == {}

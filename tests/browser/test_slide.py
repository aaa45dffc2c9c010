"""What-if on a phone: sliders by keyboard and by touch, sets as bars, offers, further questions."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect
from tests.browser.conftest import PHONE, Phone, Server, serving
from tests.browser.test_access import SMALL, WIDE, in_both_schemes, unfold
from tests.browser.test_plan import ask, made

_PLANNED_MS = 120_000


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[Server]:
    """A flock of which nothing is written yet, served."""
    with serving(str(tmp_path / "new.sqlite")) as server:
        yield server


def look(page: Page, found: dict[str, Any], name: str) -> None:
    """Holds a page to axe in both schemes, to 48 px, to 390 px and to text at 200 %."""
    unfold(page)
    wrong = in_both_schemes(page)
    if wrong:
        found[f"{name}, axe"] = wrong
    cut = page.evaluate(SMALL) + page.evaluate(WIDE)
    page.evaluate("document.documentElement.style.fontSize = '200%'")
    cut += page.evaluate(WIDE)
    page.evaluate("document.documentElement.style.fontSize = ''")
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"], name
    if cut:
        found[name] = cut


def test_sliders_plan_again_by_keyboard_alone(empty: Server, phone: Phone) -> None:
    found: dict[str, Any] = {}
    page = phone(empty.address)
    ask(page, empty, "20", weeks=14)
    made(page)
    expect(
        page.get_by_role("heading", name="When does each set hatch, lay and go?")
    ).to_be_visible()
    expect(page.locator("svg .bar-eggs").first).to_be_visible()
    first = page.url
    eggs = page.get_by_role("slider", name="eggs a week")
    told = page.locator("#s-goal-eggs_per_week-told")
    expect(told).to_have_text("20 eggs a week")
    eggs.focus()
    for _ in range(3):
        page.keyboard.press("ArrowDown")
    expect(told).to_have_text("17 eggs a week")
    assert eggs.get_attribute("aria-valuetext") == "17 eggs a week"
    look_at = page.get_by_role("link", name="Look at the plan as slid")
    expect(look_at).to_be_visible(timeout=_PLANNED_MS)
    assert page.url == first
    table = page.get_by_role("region", name="This plan, and as slid")
    expect(table.get_by_role("row")).to_have_count(3)
    look(page, found, "slid")
    look_at.focus()
    page.keyboard.press("Enter")
    expect(page.get_by_text("What does it change?")).to_be_visible(timeout=_PLANNED_MS)
    page.get_by_role("link", name="Back to the plan before").click()
    expect(page).to_have_url(re.compile(re.escape(first)))
    # At the end: once it rests, it asks for a plan again, and the link to the plan before goes.
    page.get_by_role("slider", name="most birds").press("Home")
    expect(page.locator("#s-limits-max_birds-told")).to_have_text("at most 2 birds")
    assert found == {}


def test_sliders_work_without_scripts(empty: Server, phone: Phone) -> None:
    page = phone(empty.address, java_script_enabled=False)
    ask(page, empty, "20", weeks=6)
    made(page)
    page.get_by_role("slider", name="how sure").press("ArrowRight")
    page.get_by_role("button", name="Plan as slid").click()
    expect(page.get_by_text("What does it change?")).to_be_visible(timeout=_PLANNED_MS)


def test_questions_to_the_outlook_and_offers_shut_nobody_out(shown: Server, phone: Phone) -> None:
    found: dict[str, Any] = {}
    page = phone(f"{shown.address}/outlook")
    page.get_by_label("hens that go").fill("2")
    page.get_by_role("button", name="With fewer hens").press("Enter")
    expect(page.get_by_text("What would 2 hens fewer change?")).to_be_visible()
    look(page, found, "fewer hens")
    page.get_by_role("button", name="With that set").click()
    expect(page.locator("svg .fan-other")).to_be_visible()
    page.goto(f"{shown.address}/plan/offers")
    look(page, found, "offers, empty")
    page.goto(f"{shown.address}/plan/offers")
    page.get_by_label("hens you want at lay").fill("10")
    page.get_by_label("from whom").first.fill("creek")
    page.get_by_label("price of an egg").first.fill("0,5")
    page.get_by_role("button", name="Compare them").click()
    expect(page.get_by_text("What should I order?")).to_be_visible()
    look(page, found, "offers")
    assert found == {}

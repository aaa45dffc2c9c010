"""From an empty flock to a round and a goal, one question at a time, with one thumb."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect
from tests.browser.conftest import Phone, Server, serving
from tests.browser.test_access import SMALL, WIDE, in_both_schemes, unfold, violations

from quailwright.journal.entries import as_dict

MOST_FIELDS_ON_A_PAGE = 2
MOST_PAGES = 14

ANSWERS: dict[str, dict[str, str]] = {
    "Where does the flock live?": {"name": "Back garden", "timezone": "Europe/Lisbon"},
    "How far north or south?": {},
    "How do you measure?": {"currency": "EUR"},
    "Have you an incubator?": {"capacity_eggs": "60"},
    "A hatcher of its own?": {},
    "Where will chicks be kept warm?": {"floor": "1"},
    "Where do grown birds live?": {"floor": "4.5"},
    "Have you birds now?": {"group": "first hens", "weeks": "12"},
    "How many are they?": {"hens": "8", "cocks": "2"},
    "Where do hatching eggs come from?": {"source": "a neighbour"},
    "What do you want of them?": {"eggs_per_week": "40", "table_birds_per_month": "2"},
    "How sure must it be?": {},
}
WRITTEN = [
    {"kind": "holding", "name": "Back garden", "timezone": "Europe/Lisbon"},
    {"kind": "holding", "latitude": 40.0},
    {"kind": "holding", "units": "metric", "currency": "EUR"},
    {"kind": "place", "place": "incubator", "role": "incubator", "capacity_eggs": 60},
    {"kind": "place", "place": "brooder", "role": "brooder", "floor_m2": 1.0},
    {"kind": "place", "place": "pen", "role": "pen", "floor_m2": 4.5},
    {"kind": "group", "group": "first hens", "place": "pen", "hens": 8, "cocks": 2},
    {"kind": "source", "source": "a neighbour", "route": "shipped"},
    {"kind": "goal", "eggs_per_week": 40.0, "table_birds_per_month": 2.0},
    {"kind": "goal", "eggs_per_week": 40.0, "table_birds_per_month": 2.0, "certainty": 0.8},
]


@pytest.fixture
def new(tmp_path: Path) -> Iterator[Server]:
    """An empty flock, served."""
    with serving(str(tmp_path / "new.sqlite")) as server:
        yield server


def walk(page: Page) -> list[tuple[str, int]]:
    """Answers every question; gives each page's title and how many fields it showed."""
    pages: list[tuple[str, int]] = []
    page.get_by_role("link", name="one question at a time").tap()
    page.wait_for_url("**/first/where")
    while page.locator("form[action^='/first/']").count():
        title = page.locator("h1").inner_text()
        assert len(pages) < MOST_PAGES, f"{title} came again"
        pages.append((title, page.locator("form .field").count()))
        for name, text in ANSWERS[title].items():
            page.locator(f"[name={name}]").fill(text)
        page.get_by_role("button", name="Go on").tap()
        expect(page.locator("h1")).not_to_have_text(title)
        page.wait_for_load_state()
    return pages


@pytest.mark.parametrize("scripts", [True, False])
def test_the_guide_from_nothing_to_the_round_and_the_plan(
    new: Server, phone: Phone, scripts: bool
) -> None:
    page = phone(new.address, java_script_enabled=scripts, timezone_id="Europe/Lisbon")
    pages = walk(page)
    assert [title for title, _ in pages] == list(ANSWERS)
    assert max(fields for _, fields in pages) <= MOST_FIELDS_ON_A_PAGE
    expect(page.locator("h1")).to_have_text("That is enough to begin")
    expect(page.locator("main")).to_contain_text("Feed and fresh water")
    said = [as_dict(entry) for entry in new.entries()]
    kept = ("id", "at", "by", "walk_order", "hatched_on")
    assert [{k: v for k, v in one.items() if k not in kept} for one in said] == WRITTEN
    page.get_by_role("link", name="To the plan").tap()
    expect(page.locator("[name='goal.eggs_per_week']")).to_have_value("40")
    page.locator(".bar").get_by_text("Round").tap()
    expect(page.locator("button.tick").first).to_be_visible()


def test_the_phone_tells_its_time_zone(new: Server, phone: Phone) -> None:
    page = phone(f"{new.address}/first/where", timezone_id="America/Chicago")
    expect(page.locator("[name=timezone]")).to_have_value("America/Chicago")
    page.get_by_role("button", name="Go on").tap()
    expect(page.locator("[name=about]")).to_have_value("40")  # Chicago, 41.9 degrees north


def test_every_question_may_be_skipped_and_gone_back_from(new: Server, phone: Phone) -> None:
    page = phone(f"{new.address}/first")
    titles = []
    while page.locator("form[action^='/first/']").count():
        title = page.locator("h1").inner_text()
        titles.append(title)
        page.locator("form .row a").nth(1).tap()
        expect(page.locator("h1")).not_to_have_text(title)
        page.wait_for_load_state()
    not_asked = ("How many are they?", "How sure must it be?")  # of no birds, of no goal
    assert titles == [title for title in ANSWERS if title not in not_asked]
    assert new.entries() == []
    page.goto(f"{new.address}/first/sure")
    for title in reversed(list(ANSWERS)):
        expect(page.locator("h1")).to_have_text(title)
        page.get_by_role("link", name="Back").tap()
    expect(page.locator("h1")).not_to_have_text(title)


def test_what_is_typed_wrong_stays_with_its_sentence(new: Server, phone: Phone) -> None:
    page = phone(f"{new.address}/first/pen")
    page.locator("[name=floor]").fill("two by two")
    page.get_by_role("button", name="Go on").tap()
    expect(page.locator("#refused")).to_contain_text("nothing was written")
    expect(page.locator("[name=floor]")).to_have_value("two by two")
    assert violations(page) == []
    page.locator("[name=floor]").fill("4,5")
    page.get_by_role("button", name="Keep it, then another pen").tap()
    expect(page.locator("main")).to_contain_text("pen, 4.50 m²")
    expect(page.locator("[name=place]")).to_have_value("pen 2")
    assert as_dict(new.entries()[-1])["floor_m2"] == 4.5


def test_the_questions_shut_nobody_out(new: Server, phone: Phone) -> None:
    page = phone(new.address, timezone_id="Europe/Lisbon")
    names = "where latitude units incubator hatcher brooder pen birds counts source goal sure done"
    for name in ["", *(f"first/{each}" for each in names.split())]:
        page.goto(f"{new.address}/{name}")
        assert in_both_schemes(page) == [], name
        assert page.evaluate(SMALL) + page.evaluate(WIDE) == [], name
        page.evaluate("document.documentElement.style.fontSize = '200%'")
        assert page.evaluate(WIDE) == [], name


SETTINGS = (
    "/settings", "/settings/holding", "/settings/places", "/settings/places/change?name=brooder",
    "/settings/instruments", "/settings/sources", "/settings/sources/change", "/settings/feeds",
    "/settings/care", "/settings/care/rule?name=wash", "/settings/care/own", "/help",
    "/help?subject=incubation", "/help?text=humidity",
)  # fmt: skip


def test_settings_and_help_shut_nobody_out(shown: Server, phone: Phone) -> None:
    page = phone(shown.address)
    for path in SETTINGS:
        page.goto(shown.address + path)
        unfold(page)
        assert in_both_schemes(page) == [], path
        assert page.evaluate(SMALL) + page.evaluate(WIDE) == [], path
        page.evaluate("document.documentElement.style.fontSize = '200%'")
        assert page.evaluate(WIDE) == [], path


def test_a_place_moves_in_the_walk_by_buttons(demo: Server, phone: Phone) -> None:
    page = phone(f"{demo.address}/settings/places", java_script_enabled=False)
    names = page.locator(".setting .name").all_inner_texts()
    page.get_by_role("button", name=f"Later in the walk: {names[0]}").tap()
    expect(page.locator(".setting .name")).to_have_text([names[1], names[0], *names[2:]])
    page.get_by_role("button", name=f"Earlier in the walk: {names[0]}").tap()
    expect(page.locator(".setting .name")).to_have_text(names)
    page.goto(demo.address)
    sections = page.locator("section.place h2").all_inner_texts()
    assert [name for name in names if name in sections] == [n for n in sections if n in names]

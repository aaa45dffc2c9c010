"""Paper on a real browser: what prints, what shuts nobody out, how long a week takes to type."""

from pathlib import Path
from typing import Any

from playwright.sync_api import Page, expect
from scripts.screenshots import DAY, MORNING, pages_of
from tests.browser.conftest import PHONE, Phone, Server, until
from tests.browser.test_access import AXE, RUN, SMALL, WIDE, in_both_schemes, unfold

from quailwright.exchange.demo_file import build_demo

PAGES = (
    "/eggs", "/eggs?by=place&weeks=13", "/paper", "/paper/round", "/paper/round?days=7",
    "/paper/places", "/paper/back", "/paper/away?scoop=90", "/cautions", "/log/birds_processed",
)  # fmt: skip
PRINTED = ("/", "/eggs", "/birds", "/plan", "/outlook", "/paper/round", "/paper/round?days=7",
           "/paper/places", "/paper/away?scoop=90", "/cautions")  # fmt: skip
A4 = {"width": 718, "height": 1040}
"""210 by 297 mm less margins of 10 mm, at 96 px an inch (ISO 216, CSS Values 3)."""
SHOWN_IN_PRINT = """() => [...document.querySelectorAll(
    ".foot, form:not([data-tick]), input, select, textarea, .enter, .skip")]
    .filter((e) => e.checkVisibility() && e.type !== "hidden")
    .map((e) => e.outerHTML.slice(0, 90))"""
CUT_IN_PRINT = """() => [...document.querySelectorAll("main *, .top *")].filter((e) => {
    const box = e.getBoundingClientRect();
    return e.checkVisibility() && (box.right > document.documentElement.clientWidth + 1
        || box.left < -1 || (e.scrollWidth > e.clientWidth + 1 && e.matches(".wide")));
}).map((e) => e.outerHTML.slice(0, 90))"""


def test_no_page_of_these_shuts_anyone_out(shown: Server, phone: Phone) -> None:
    page = phone(shown.address)
    found: dict[str, Any] = {}
    for path in PAGES:
        page.goto(shown.address + path)
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"], path
        unfold(page)
        wrong = in_both_schemes(page) + page.evaluate(SMALL) + page.evaluate(WIDE)
        page.evaluate("document.documentElement.style.fontSize = '200%'")
        wrong += page.evaluate(WIDE)
        if wrong:
            found[path] = wrong
    assert found == {}


def test_the_bar_makes_nothing_too_small_to_tap(shown: Server, phone: Phone) -> None:
    # WCAG 2.2, 2.5.8, as axe-core takes it, with the page scrolled as it may be.
    page = phone(shown.address, viewport={"width": 412, "height": 823})
    page.evaluate(AXE)
    for y in range(0, 1200, 97):
        page.evaluate(f"scrollTo(0, {y})")
        assert page.evaluate(RUN) == [], y


def test_what_the_keyboard_reaches_is_not_under_the_bar(shown: Server, phone: Phone) -> None:
    # WCAG 2.2, 2.4.11.
    page = phone(shown.address)
    bar = page.locator(".foot").bounding_box()
    assert bar is not None
    for _ in range(40):
        page.keyboard.press("Tab")
        hidden = page.evaluate(
            """(top) => { const e = document.activeElement; const box = e.getBoundingClientRect();
            return !e.closest(".foot") && box.top >= top && e.outerHTML.slice(0, 90); }""",
            bar["y"],
        )
        assert not hidden


def test_the_end_of_each_page_comes_out_from_under_the_bar(shown: Server, phone: Phone) -> None:
    page = phone(shown.address)
    for path in ("/", "/eggs", "/paper/back", "/birds", "/more"):
        page.goto(shown.address + path)
        page.evaluate("scrollTo(0, document.documentElement.scrollHeight)")
        last, bar = (
            page.locator("main > *").last.bounding_box(),
            page.locator(".foot").bounding_box(),
        )
        assert last is not None
        assert bar is not None
        assert last["y"] + last["height"] <= bar["y"], path


def test_sheets_print_without_bar_and_forms_black_on_white(shown: Server, phone: Phone) -> None:
    page = phone(shown.address, viewport=A4, is_mobile=False, has_touch=False, color_scheme="dark")
    page.emulate_media(media="print")
    names = page.evaluate("fetch('/api/hatches').then((a) => a.json())")
    for path in (*PRINTED, f"/hatches/{names[0]}"):
        page.goto(shown.address + path)
        assert page.evaluate(SHOWN_IN_PRINT) == [], path
        assert page.evaluate(CUT_IN_PRINT) == [], path
        colours = page.evaluate(
            """() => { const is = getComputedStyle(document.body);
            return [is.color, is.backgroundColor]; }"""
        )
        assert colours == ["rgb(0, 0, 0)", "rgb(255, 255, 255)"], path


def test_a_days_round_is_one_sheet(tmp_path: Path, phone: Phone) -> None:
    """Of the invented flock's eight places, on a usual day."""
    flock = str(tmp_path / "demo.sqlite")
    build_demo(flock, DAY, 1, MORNING)
    with pages_of(flock) as port:
        assert sheets(phone(f"http://localhost:{port}/paper/round")) == 1


def test_a_week_of_the_sitters_sheet_is_one_page_and_one_to_hang(
    tmp_path: Path, phone: Phone
) -> None:
    """Of the invented flock's five places with birds, in a week in which no hatch needs hands."""
    flock = str(tmp_path / "demo.sqlite")
    build_demo(flock, DAY, 1, MORNING)
    with pages_of(flock) as port:
        days = "from=2027-05-24&until=2027-05-30&scoop=90"
        assert sheets(phone(f"http://localhost:{port}/paper/away?{days}")) == 2


def sheets(page: Page) -> int:
    """How many sheets of A4 a page prints on."""
    edge = "10mm"
    margins: Any = {"top": edge, "bottom": edge, "left": edge, "right": edge}
    return page.pdf(format="A4", margin=margins).count(b"/Type /Page\n")


KEYSTROKE_S, MENTAL_S = 0.28, 1.35
"""Card, Moran and Newell 1980, The keystroke-level model: a key of an average typist, and the pause
before a figure is taken up (from memory)."""


def test_a_week_takes_two_minutes_card_moran_newell_1980(demo: Server, phone: Phone) -> None:
    page = phone(f"{demo.address}/paper/back", is_mobile=False, has_touch=False)
    page.get_by_role("link", name="The week before").click()
    page.get_by_role("link", name="The week before").click()
    before, keys, cells = len(demo.entries()), 0, 0
    # The demo has its eggs logged: a fresh group has a whole week of empty cells.
    page.goto(f"{demo.address}/log/group?group=paper%20hens&hens=9&hatched_on=2025-01-01")
    page.get_by_label("place", exact=True).fill("long pen")
    page.get_by_label("day", exact=True).fill("2026-01-01")
    page.get_by_role("button", name="Keep it").click()
    # It is kept on the phone first: a page asked for before it went up does not have it.
    until(lambda: len(demo.entries()) == before + 1)
    page.goto(f"{demo.address}/paper/back")
    page.get_by_role("link", name="The week before").click()
    page.wait_for_url("**/paper/back?week=**")  # the page of this week has such cells too
    first = page.get_by_label("eggs of paper hens").first
    first.focus()
    for _ in range(7):
        while "paper hens" not in page.evaluate(
            "document.activeElement.getAttribute('aria-label') ?? ''"
        ):
            page.keyboard.press("Tab")
            keys += 1
        page.keyboard.type("12")
        page.keyboard.press("Tab")
        keys, cells = keys + 3, cells + 1
    page.locator("form[action^='/paper/back']").get_by_role("button").click()
    expect(page.get_by_role("status").first).to_contain_text("Kept: 7 entries.")
    assert len(demo.entries()) == before + 8
    # Four groups by seven days would take four times as long.
    assert 4 * (keys * KEYSTROKE_S + cells * MENTAL_S) < 120

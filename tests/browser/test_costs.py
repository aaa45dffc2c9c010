"""Costs and feed ahead on a phone: charts, files, forms, by keyboard, large text, for everyone."""

import zipfile
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect
from tests.browser.conftest import PHONE, Phone, Server
from tests.browser.test_access import SMALL, WIDE, in_both_schemes, unfold

PAGES = ("/costs", "/costs?span=month", "/feed")


@pytest.fixture
def page(shown: Server, phone: Phone) -> Page:
    """A phone on the round of the demo."""
    return phone(shown.address)


def test_they_shut_nobody_out_nothing_is_cut_and_targets_are_large(
    shown: Server, page: Page
) -> None:
    for path in PAGES:
        page.goto(shown.address + path)
        unfold(page)
        assert in_both_schemes(page) == [], path
        for text in ("100%", "200%"):
            page.evaluate(f"document.documentElement.style.fontSize = '{text}'")
            assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"], path
            assert page.evaluate(WIDE) == [], path
            assert page.evaluate(SMALL) == [], path


def test_every_chart_has_its_answer_and_its_table(shown: Server, page: Page) -> None:
    for path in ("/costs", "/feed"):
        page.goto(shown.address + path)
        sections = page.locator("section:has(figure.chart)")
        assert sections.count() == (2 if path == "/costs" else 1)
        for section in sections.all():
            figure = section.locator("figure.chart")
            assert section.locator("h2").inner_text().endswith("?")
            answer, drawn = section.locator("p").first.bounding_box(), figure.bounding_box()
            assert answer is not None
            assert drawn is not None
            assert answer["y"] < drawn["y"]
            figure.locator("summary").tap()
            expect(figure.locator("table")).to_be_visible()
            marks = figure.locator("svg rect, svg polyline").all()
            frame = figure.locator("svg").bounding_box()
            assert frame is not None
            for mark in marks:
                box = mark.bounding_box()
                assert box is not None
                assert frame["x"] - 1 <= box["x"]
                assert box["x"] + box["width"] <= frame["x"] + frame["width"] + 1
                assert frame["y"] - 1 <= box["y"]
                assert box["y"] + box["height"] <= frame["y"] + frame["height"] + 1


def test_the_spreadsheet_is_taken_along(shown: Server, page: Page, tmp_path: Path) -> None:
    page.goto(f"{shown.address}/costs")
    with page.expect_download() as taken:
        page.get_by_role("link", name="Spreadsheet").tap()
    file = tmp_path / taken.value.suggested_filename
    taken.value.save_as(file)
    assert file.suffix == ".xlsx"
    with zipfile.ZipFile(file) as book:
        assert "xl/workbook.xml" in book.namelist()


def test_by_keyboard_another_span_is_asked_for(shown: Server, page: Page) -> None:
    page.goto(f"{shown.address}/costs")
    for _ in range(40):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.textContent") == "This month":
            break
    page.keyboard.press("Enter")
    page.wait_for_url("**/costs?span=month")
    expect(page.locator("a[aria-current='true']")).to_have_text("This month")


def test_feed_weighed_on_the_page_moves_the_day_it_runs_out(demo: Server, phone: Phone) -> None:
    page = phone(f"{demo.address}/feed")
    before = page.locator(".set-cards").inner_text()
    page.get_by_text("Feed weighed in the store").tap()
    form = page.locator("details[open] form")
    form.get_by_label("feed").select_option("layer pellets")
    form.get_by_label("kg").fill("1.5")
    form.get_by_role("button", name="Keep it").tap()
    expect(page.locator(".set-cards")).to_contain_text("1.5 kg")
    assert page.locator(".set-cards").inner_text() != before

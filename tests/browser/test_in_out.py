"""Addresses made, files fetched and what sensors show, on a phone in a hurry and without signal."""

import asyncio
from typing import Any

from playwright.sync_api import expect
from tests.browser.conftest import Phone, Server, now

from quailwright.journal.readings import to_ms
from quailwright.journal.store import open_store

_SLOW_S = 6
"""Longer than the worker waits for a page."""


def _slow(app: Any) -> Any:
    """A small computer at work: a pressed button takes a second, a file as long as it likes."""

    async def slowed(scope: Any, receive: Any, send: Any) -> None:
        if scope["type"] == "http":
            is_file = scope["path"] == "/calendar.ics"
            await asyncio.sleep(_SLOW_S if is_file else scope["method"] == "POST")
        await app(scope, receive, send)

    return slowed


def test_a_slow_computer_makes_one_address_and_gives_the_whole_file(
    demo: Server, phone: Phone
) -> None:
    demo.stop()
    demo.around = _slow
    demo.start()
    page = phone(demo.address)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.reload()
    page.goto(f"{demo.address}/settings/calendar")
    page.locator("#new-name").fill("Mira's phone")
    page.evaluate(
        """() => { const button = document.querySelector("button[value=make]");
        button.click(); setTimeout(() => button.click(), 400); }"""
    )
    expect(page.locator("#address")).to_be_visible()
    expect(page.locator("ul.cards > li")).to_have_count(1)
    # Typed in, it is asked for as a page is, and so through the worker.
    with page.expect_download() as came:
        page.evaluate("location.href = '/calendar.ics'")
    assert came.value.path().read_bytes().startswith(b"BEGIN:VCALENDAR")


def test_a_button_without_signal_says_so_and_leads_back(demo: Server, phone: Phone) -> None:
    page = phone(demo.address)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.reload()
    page.goto(f"{demo.address}/settings/notices")
    demo.stop()
    page.get_by_role("button", name="Switch notices on").tap()
    expect(page.locator("h1")).to_have_text("No signal")
    expect(page.locator("main")).to_contain_text("was not done, as far as this phone knows")
    page.locator("main").get_by_role("link", name="The round").tap()
    expect(page.locator("#age")).to_be_visible()


def test_what_sensors_showed_is_not_shown_as_now(demo: Server, phone: Phone) -> None:
    with open_store(demo.flock) as store, store.writing() as writer:
        writer.append_readings("kitchen incubator", "lid", [to_ms(now())], [37.5], [None])
    page = phone(demo.address)
    page.clock.install()
    page.goto(f"{demo.address}/readings")
    expect(page.locator("#now")).to_contain_text("s ago")
    demo.stop()
    page.clock.run_for(70_000)
    expect(page.locator("#as-it-was")).to_contain_text("This is as it was at")
    expect(page.locator("#as-it-was")).to_have_count(1)
    demo.start()
    page.clock.run_for(11_000)
    expect(page.locator("#as-it-was")).to_have_count(0)

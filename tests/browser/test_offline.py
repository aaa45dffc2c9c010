"""No entry typed is ever lost: no signal, a killed browser, two phones."""

import asyncio
import json
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect
from starlette.responses import Response
from tests.browser.conftest import (
    PLAIN_HOST,
    KillableChromium,
    Phone,
    Server,
    all_sent,
    serving,
    until,
)

from quailwright.journal.entries import EggsCollected, as_dict, kind_of

TEN = range(1, 11)
WORDS = "four words of ours"
_SEEN = """() => caches.open("seen").then((seen) => seen.keys())
    .then((keys) => keys.map((key) => new URL(key.url).pathname))"""


def type_eggs(page: Page, eggs: int) -> None:
    """Types one count of eggs on the open round."""
    pen = page.locator("section.place", has_text="long pen")
    pen.get_by_text("Eggs", exact=True).click()
    pen.locator("details[open] input[name=eggs]").fill(str(eggs))
    pen.locator("details[open] button.main").click()
    expect(page.locator("#said")).to_contain_text(f"{eggs} eggs")


def typed_on(server: Server, before: int) -> list[int]:
    """The counts written since, in the order in which they arrived."""
    return [each.eggs for each in server.entries()[before:] if isinstance(each, EggsCollected)]


@pytest.mark.parametrize("host", ["localhost", PLAIN_HOST])
def test_ten_entries_survive_no_signal_and_a_killed_browser(
    demo: Server, killable: KillableChromium, host: str
) -> None:
    address = f"http://{host}:{demo.port}/"
    page = killable.page(address)
    works_offline = page.evaluate("isSecureContext && 'serviceWorker' in navigator")
    assert works_offline == (host == "localhost")
    if works_offline:
        page.evaluate("navigator.serviceWorker.ready.then(() => true)")
        page.reload()
    before = len(demo.entries())
    demo.stop()
    for eggs in TEN:
        type_eggs(page, eggs)
    expect(page.locator("#waiting")).to_have_text("kept on this phone: 10")
    killable.kill()
    killable.start()
    if works_offline:
        page = killable.page(address)
        expect(page.locator("#age")).to_contain_text("No signal")
        expect(page.locator("#waiting")).to_have_text("kept on this phone: 10")
    demo.start()
    page = killable.page(address)
    until(lambda: len(typed_on(demo, before)) >= len(TEN))
    all_sent(page)
    expect(page.locator("#waiting")).to_be_hidden()
    assert typed_on(demo, before) == list(TEN)
    page.reload()
    all_sent(page)
    assert len(demo.entries()) == before + len(TEN)


def test_an_answer_lost_on_the_way_does_not_double(demo: Server, phone: Phone) -> None:
    page = phone(demo.address, service_workers="block")
    before = len(demo.entries())
    lost: list[Any] = []

    def lose_the_first(route: Any) -> None:
        if not lost:
            lost.append(route.fetch())  # it is written there, and the phone never hears of it
            route.abort()
        else:
            route.continue_()

    page.route("**/api/entries", lose_the_first)
    with page.expect_event("requestfailed"):
        type_eggs(page, 7)
    expect(page.locator("#waiting")).to_have_text("kept on this phone: 1")
    page.reload()
    all_sent(page)
    expect(page.locator("#waiting")).to_be_hidden()
    assert json.loads(lost[0].body())["written"] == 1
    assert typed_on(demo, before) == [7]


def test_a_mark_made_with_no_signal_still_shows_on_the_page_seen_before(
    demo: Server, phone: Phone
) -> None:
    page = phone(demo.address)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.reload()
    demo.stop()
    task = page.locator(".task", has_text="Clean the drinker").first
    task.locator("button.tick").tap()
    expect(task).to_have_class("task done")
    page.reload()
    expect(page.locator("#age")).to_contain_text("No signal")
    expect(page.locator(".task.done")).to_have_count(1)
    page.goto(f"{demo.address}/plan")  # never seen
    expect(page.locator("h1")).to_have_text("No signal")
    page.goto(f"{demo.address}/kept")
    expect(page.locator(".kept-one")).to_have_count(1)
    before = len(demo.entries())
    demo.start()
    page.get_by_role("button", name="Send now").tap()
    expect(page.locator(".kept-one")).to_have_count(0)
    assert len(demo.entries()) == before + 1


def begun(server: Server, phone: Phone) -> Page:
    """A phone on which Mira has set a passphrase, with its worker."""
    page = phone(f"{server.address}/begin")
    page.get_by_label("your name").fill("Mira")
    page.get_by_label("passphrase").fill(WORDS)
    page.get_by_label("the same again").fill(WORDS)
    page.get_by_role("button", name="Set it").tap()
    expect(page.locator(".bar")).to_be_visible()
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    return page


def around(server: Server, wrap: Callable[[Any], Any]) -> None:
    """Has the server go on inside something."""
    server.stop()
    server.around = wrap
    server.start()


def _takes_no_entry(app: Any) -> Any:
    """Pages come, entries do not go up.

    Not a route of the browser's driver: a page that is open may get a request past that.
    """

    async def answered(scope: Any, receive: Any, send: Any) -> None:
        shut = scope["type"] == "http" and scope["path"].startswith("/api/")
        await (Response(status_code=503) if shut else app)(scope, receive, send)

    return answered


def test_signing_out_forgets_the_pages_seen_but_no_entry(tmp_path: Path, phone: Phone) -> None:
    with serving(str(tmp_path / "own.sqlite"), invented=False) as server:
        around(server, _takes_no_entry)
        page = begun(server, phone)
        page.goto(f"{server.address}/birds")
        page.goto(f"{server.address}/log/care")
        page.locator("input[name=task]").fill("wash")
        page.get_by_role("button", name="Keep it").tap()
        expect(page.locator("#waiting")).to_have_text("kept on this phone: 1")
        page.goto(f"{server.address}/more")
        page.get_by_role("button", name="Sign out here").tap()
        expect(page.locator("h1")).to_have_text("Sign in")
        page.goto(f"{server.address}/birds")
        expect(page.locator("h1")).to_have_text("Sign in")
        expect(page.locator("#waiting")).to_contain_text("kept on this phone: 1")
        server.stop()
        page.goto(f"{server.address}/birds")
        expect(page.locator("h1")).to_have_text("No signal")
        server.around = lambda app: app
        server.start()
        page.goto(f"{server.address}/sign-in")
        page.get_by_label("your name").fill("Mira")
        page.get_by_label("passphrase").fill(WORDS)
        page.get_by_role("button", name="Sign in").tap()
        until(lambda: [(kind_of(one), one.by) for one in server.entries()] == [("care", "Mira")])


def test_a_page_that_arrives_after_signing_out_is_not_put_by(tmp_path: Path, phone: Phone) -> None:
    """It was asked for, in another tab, by the person who was signed in."""
    asked, free = threading.Event(), threading.Event()

    def holding_birds(app: Any) -> Any:
        async def held(scope: Any, receive: Any, send: Any) -> None:
            async def late(message: Any) -> None:
                asked.set()
                while not free.is_set():
                    await asyncio.sleep(0.02)
                await send(message)

            birds = scope["type"] == "http" and scope["path"] == "/birds"
            await app(scope, receive, late if birds else send)

        return held

    with serving(str(tmp_path / "own.sqlite"), invented=False) as server:
        page = begun(server, phone)
        page.goto(f"{server.address}/more")
        until(lambda: page.evaluate(_SEEN).count("/more"))
        other = page.context.new_page()
        around(server, holding_birds)
        other.evaluate(f"setTimeout(() => {{ location.href = '{server.address}/birds' }})")
        until(asked.is_set)
        page.get_by_role("button", name="Sign out here").tap()
        expect(page.locator("h1")).to_have_text("Sign in")
        free.set()
        expect(other.locator("h1")).to_have_text("Birds")  # it was theirs when it was asked for
        until(lambda: "/sign-in" in page.evaluate(_SEEN))
        assert set(page.evaluate(_SEEN)) == {"/sign-in"}


def test_two_phones_against_each_other(demo: Server, phone: Phone) -> None:
    """Each says that all cocks of a pen died: the second is refused, and the keeper decides."""
    first, second = phone(demo.address), phone(demo.address)
    everyone = first.evaluate("fetch('/api/flock').then((a) => a.json())")
    pen = next(place for place in everyone["places"] if place["place"] == "bachelor pen")
    all_of_them = str(pen["groups"][0]["cocks"])
    for page in (first, second):
        cocks = page.locator("section.place", has_text="bachelor pen")
        cocks.get_by_text("A death", exact=True).tap()
        cocks.locator("details[open] input[name=cocks]").fill(all_of_them)
        cocks.locator("details[open] button.main").tap()
        expect(page.locator("#said")).not_to_be_empty()
        all_sent(page)  # the first before the second
    expect(second.locator("#said")).to_contain_text("Refused:")
    expect(second.locator("#waiting")).to_have_text("refused: 1")
    second.locator("#waiting").tap()
    expect(second.locator(".kept-one .fault")).to_contain_text("Refused:")
    second.get_by_role("link", name="Mend").tap()
    expect(second.locator("input[name=cocks]")).to_have_value(all_of_them)
    second.go_back()
    before = len(demo.entries())
    second.get_by_role("button", name="Keep it all the same").tap()
    expect(second.locator(".kept-one")).to_have_count(0)
    newest = as_dict(demo.entries()[-1])
    assert (len(demo.entries()), newest["kind"], newest["force"]) == (
        before + 1,
        "birds_died",
        True,
    )


def test_one_that_is_refused_holds_up_no_other(demo: Server, phone: Phone) -> None:
    page = phone(demo.address, service_workers="block")
    before = len(demo.entries())
    demo.stop()
    type_eggs(page, 5)
    pen = page.locator("section.place", has_text="long pen")
    pen.get_by_text("A death", exact=True).tap()
    pen.locator("details[open] input[name=hens]").fill("9999")
    pen.locator("details[open] button.main").tap()
    expect(page.locator("#said")).to_contain_text("9999 hens")
    type_eggs(page, 6)
    demo.start()
    page.reload()
    until(lambda: len(demo.entries()) == before + 2)
    assert typed_on(demo, before) == [5, 6]
    expect(page.locator("#waiting")).to_have_text("refused: 1")


def test_mending_what_was_refused_puts_it_right(demo: Server, phone: Phone) -> None:
    page = phone(f"{demo.address}/log/birds_died?group=bachelors&back=/kept")
    page.locator("input[name=cocks]").fill("999")
    page.get_by_role("button", name="Keep it").tap()
    expect(page.locator("#waiting")).to_have_text("refused: 1")
    expect(page.locator("input[name=cocks]")).to_have_value("999")  # nothing to type again
    page.goto(f"{demo.address}/kept")
    page.get_by_role("link", name="Mend").tap()
    page.wait_for_url("**/log/birds_died?**")  # with its scripts
    page.locator("input[name=cocks]").fill("1")
    page.get_by_role("button", name="Keep it").tap()
    until(lambda: as_dict(demo.entries()[-1]).get("cocks") == 1)
    all_sent(page)
    expect(page.locator("#waiting")).to_be_hidden()


def test_what_was_typed_for_one_flock_never_goes_to_another(
    demo: Server, phone: Phone, tmp_path: Path
) -> None:
    """The same address serves another flock tomorrow; what waits on the phone is not its own."""
    page = phone(demo.address, service_workers="block")
    first = demo.flock
    demo.stop()
    type_eggs(page, 9)
    expect(page.locator("#waiting")).to_have_text("kept on this phone: 1")
    demo.flock = str(tmp_path / "another.sqlite")
    demo.start()
    page.goto(f"{demo.address}/kept")
    expect(page.locator(".kept-one .bits")).to_contain_text("waits to be sent")
    page.locator(".kept-one").evaluate("(one) => one.classList.add('from-before')")
    page.get_by_role("button", name="Send now").tap()
    expect(page.locator(".from-before")).to_have_count(0)  # the list is told anew once it was tried
    expect(page.locator(".kept-one")).to_have_count(1)
    assert demo.entries() == []
    demo.stop()
    demo.flock = first
    before = len(demo.entries())
    demo.start()
    page.reload()
    until(lambda: typed_on(demo, before) == [9])

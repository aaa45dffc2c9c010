"""The work of scripts/screenshots: pages of the invented flock on a phone, light and dark."""

import shutil
import sys
import tempfile
from contextlib import AbstractContextManager
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Literal

from playwright.sync_api import Page, Playwright, sync_playwright

from quailwright.exchange.demo_file import build_demo
from quailwright.exchange.household import Household
from quailwright.journal.store import open_store
from quailwright.web.app import create_app
from quailwright.web.home import Settings
from quailwright.web.serving import beside, listening

DAY = date(2027, 5, 2)
MORNING = datetime(2027, 5, 2, 5, 30, tzinfo=UTC)
PAGES = {
    "round": "/",
    "hatch": "/hatches/apr-23",
    "birds": "/birds",
    "place": "/places/long%20pen",
    "eggs": "/eggs",
    "sheet": "/paper/round",
    "cards": "/paper/places",
    "away": "/paper/away?from=2027-05-10&until=2027-05-16&scoop=90",
    "cautions": "/cautions",
    "week": "/paper/back?week=2027-04-26",
    "plan": "/plan",
    "outlook": "/outlook?ask=fewer_hens&fewer_hens=3",
    "offers": (
        "/plan/offers?hens=20&offer+1%2C+source=creek&offer+1%2C+price_per_egg=0.6"
        "&offer+2%2C+source=parcel&offer+2%2C+route=shipped&offer+2%2C+price_per_egg=0.4"
        "&offer+2%2C+postage=12&offer+2%2C+most_eggs=120"
    ),
    "costs": "/costs",
    "signs": "/signs",
    "egg-store": "/eggs/store",
    "feed": "/feed",
    "housing": "/housing?standard=default",
    "manure": "/manure",
    "breeding": "/breeding",
    "family": "/breeding/family?bird=S12",
    "board": "/breeding/board",
    "rotation": "/breeding/rotation",
    "keep": "/breeding/keep",
    "cross": "/breeding/cross?cock=L8&hen=L2",
    "blend": (
        "/feed/blend?birds=grower&target.protein_pct=24&feed+1%2C+feed=crumbs"
        "&feed+1%2C+protein_pct=28&feed+1%2C+calcium_pct=1.1&feed+2%2C+feed=maize"
    ),
    "brooding": "/brooding?age=3&birds=30&room=18&box=80x60x45&watts=90&price=0.25",
    "light": "/light",
    "needs": "/feed/needs?of=layer",
    "journal": "/journal",
    "settings": "/settings/places",
    "rule": "/settings/care/rule?name=wash",
    "figures": "/help?subject=incubation",
    "first": "/first/latitude",
    "hatches": "/hatches",
    "ask": "/plan/ask",
    "more": "/more",
    "write": "/log",
    "form": "/log/eggs_collected",
    "kept": "/kept",
    "paper": "/paper",
    "holding": "/settings/holding",
    "help": "/help",
}
SCHEMES: tuple[Literal["light", "dark"], ...] = ("light", "dark")


def pages_of(flock: str, invented: bool = True) -> AbstractContextManager[int]:
    """Serves a flock as of that morning; gives the port."""
    app = create_app(Settings(flock, lambda: MORNING, invented=invented))
    return beside(app, listening("127.0.0.1", 0, any_near=False))


def open_pad(page: Page) -> None:
    """The round with its number pad."""
    pen = page.locator("section.place", has_text="long pen")
    pen.get_by_text("Eggs", exact=True).tap()
    for key in "12":
        pen.locator(f"details[open] [data-key='{key}']").tap()


PAINTED = "new Promise(done => setTimeout(() => requestAnimationFrame(done), 300))"
"""Waits until what was scrolled to is painted."""
MORE_EGGS = "260"
"""A week: more than the demo's hens lay, so that the plan has sets."""


def make_a_plan(page: Page, address: str) -> None:
    """A plan for more eggs, with its bars and sliders."""
    page.goto(f"{address}/plan/ask")
    page.get_by_label("eggs a week").fill(MORE_EGGS)
    page.get_by_role("button", name="Plan it").tap()
    page.locator("form.sliding").wait_for(timeout=120_000)


CHILD, WORDS = "Ida", "an invented child"


def with_child(flock: str) -> str:
    """A copy of a flock that a child may open."""
    copy = str(shutil.copy(flock, f"{flock}.child"))
    with open_store(copy) as store:
        household = Household(store)
        household.begin("Mira", WORDS, MORNING)
        household.add(CHILD, "child", WORDS, MORNING)
    return copy


def sign_in_as_child(page: Page, address: str) -> None:
    """The round as a child sees it."""
    page.goto(f"{address}/sign-in")
    page.get_by_label("your name").fill(CHILD)
    page.get_by_label("passphrase").fill(WORDS)
    page.get_by_role("button", name="Sign in").tap()
    page.locator(".always").first.wait_for()


def main() -> None:
    """Takes every picture; with names of pages after the folder, those pages' only."""
    folder, named = Path(sys.argv[1]), sys.argv[2:]
    folder.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as scratch, sync_playwright() as driver:
        flock = str(Path(scratch) / "demo.sqlite")
        build_demo(flock, DAY, 1, MORNING)
        with pages_of(flock) as port, pages_of(with_child(flock), invented=False) as child_port:
            take(
                driver, folder, f"http://localhost:{port}", f"http://localhost:{child_port}", named
            )


def take(
    driver: Playwright, folder: Path, address: str, child_address: str, named: list[str]
) -> None:
    """Takes the pictures of a flock served there, and there to a child: all, or those named."""
    browser = driver.chromium.launch(
        executable_path=shutil.which("chromium"), args=["--no-sandbox"]
    )
    for scheme in SCHEMES:
        phone = browser.new_context(
            viewport={"width": 390, "height": 844},
            is_mobile=True,
            has_touch=True,
            color_scheme=scheme,
            service_workers="block",
        )
        page = phone.new_page()
        for name in named or PAGES:
            page.goto(address + PAGES[name])
            page.screenshot(path=folder / f"{name}-{scheme}.png")
        if named:
            continue
        page.goto(address)
        open_pad(page)
        page.screenshot(path=folder / f"pad-{scheme}.png")
        page.goto(f"{address}/journal")
        page.locator("main a[href^='/journal/']").first.tap()
        page.screenshot(path=folder / f"entry-{scheme}.png")
        make_a_plan(page, address)
        for name, seen in (("made", "main"), ("bars", "#over"), ("sliders", "form.sliding")):
            page.locator(seen).first.evaluate("each => each.scrollIntoView()")
            page.evaluate(PAINTED)
            page.screenshot(path=folder / f"{name}-{scheme}.png")
        page.goto(f"{child_address}/sign-in")
        page.screenshot(path=folder / f"sign-in-{scheme}.png")
        sign_in_as_child(page, child_address)
        page.screenshot(path=folder / f"child-{scheme}.png")
    browser.close()


if __name__ == "__main__":
    main()

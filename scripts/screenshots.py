"""The work of scripts/screenshots: pages of the invented flock on a phone, light and dark, and
sheets of it as they are printed."""

import shutil
import struct
import sys
import tempfile
import zlib
from contextlib import AbstractContextManager
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np
import pypdfium2  # type: ignore[import-untyped]
from playwright.sync_api import FilePayload, Page, Playwright, sync_playwright

from quailwright.exchange.demo_file import build_demo
from quailwright.exchange.household import Household
from quailwright.journal.store import open_store
from quailwright.web.app import create_app
from quailwright.web.home import Settings
from quailwright.web.serving import beside, listening

if TYPE_CHECKING:
    from numpy.typing import NDArray

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
    "readings": "/readings",
    "sensors": "/settings/sensors",
    "notices": "/settings/notices",
    "calendar": "/settings/calendar",
    "tables": "/tables",
    "backup": "/settings/backup",
}
SHEETS = {
    "lid": "/paper/lid.pdf?hatch=apr-23",
    "week-sheet": "/paper/week.pdf",
    "brooder-sheet": "/paper/brooder.pdf",
    "year": "/paper/year.pdf",
}
"""The first page of each is drawn: paper has no dark scheme."""
SHEET_WIDTH = 780
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


OLD_SHEET = """Our eggs in spring,,,,
Date,north pen,long pen,Total,Remarks
1/4/27,5,7,12,
2/4/27,4,7 (1 broken),11,
3/4/27,6,-,6,long pen not looked at
4/4/27,5,8,13,
5/4/27,?,7,7,
13/4/27,5,6,11,
Total,25,35,60,
"""
"""Invented, with what keepers' sheets have: pens side by side, a row and a column of totals."""


def match_a_sheet(page: Page, address: str) -> None:
    """A keeper's own sheet as the guide shows it, before anything is written."""
    page.goto(f"{address}/tables/import")
    sheet = FilePayload(name="eggs.csv", mimeType="text/csv", buffer=OLD_SHEET.encode())
    page.locator("input[type=file]").set_input_files(sheet)
    page.locator("main form button").first.tap()
    page.wait_for_url("**/tables/import/match*")
    page.locator("#columns").evaluate("each => each.scrollIntoView()")
    page.evaluate(PAINTED)


def draw_sheets(page: Page, folder: Path, address: str, named: list[str]) -> None:
    """The first page of each sheet as it is printed, in greys."""
    for name in named or SHEETS:
        if name in SHEETS:
            answer = page.request.get(address + SHEETS[name])
            (first, *_) = pypdfium2.PdfDocument(answer.body())
            drawn = first.render(scale=SHEET_WIDTH / first.get_width(), grayscale=True)
            (folder / f"{name}.png").write_bytes(in_greys(drawn.to_numpy().squeeze()))


def in_greys(picture: "NDArray[np.uint8]") -> bytes:
    """A picture of 8-bit greys, of even width, as PNG (ISO/IEC 15948) of 16 greys."""
    high, wide = picture.shape
    greys = picture >> 4
    lines = np.zeros((high, 1 + wide // 2), dtype=np.uint8)
    lines[:, 1:] = greys[:, ::2] << 4 | greys[:, 1::2]
    head = struct.pack(">IIBBBBB", wide, high, 4, 0, 0, 0, 0)
    data = zlib.compress(lines.tobytes(), 9)
    parts = ((b"IHDR", head), (b"IDAT", data), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        for kind, body in parts
    )


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
        if scheme == SCHEMES[0]:
            draw_sheets(page, folder, address, named)
        for name in named or PAGES:
            if name in PAGES:
                page.goto(address + PAGES[name])
                page.screenshot(path=folder / f"{name}-{scheme}.png")
        if not named or "match" in named:
            match_a_sheet(page, address)
            page.screenshot(path=folder / f"match-{scheme}.png")
        if named:
            continue
        page.goto(address)
        open_pad(page)
        page.screenshot(path=folder / f"pad-{scheme}.png")
        page.goto(f"{address}/journal")
        page.locator("main a[href^='/journal/']").first.tap()
        page.wait_for_url("**/journal/*")
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

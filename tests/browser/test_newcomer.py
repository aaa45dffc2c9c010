"""How far it is for a newcomer: from nothing to a first plan, and from the demo to a mark."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from time import monotonic

import pytest
from playwright.sync_api import Locator, Page, expect
from tests.browser.conftest import Phone, Server, all_sent, serving, until

from quailwright.journal.entries import kind_of
from quailwright.language import LANGUAGES

PLANNED_MS = 120_000
NEEDED = {
    "Have you an incubator?": {"capacity_eggs": "60"},
    "Where do grown birds live?": {"floor": "4"},
    "Where do hatching eggs come from?": {"source": "a neighbour"},
    "What do you want of them?": {"eggs_per_week": "40"},
}
"""The least that a plan needs of a newcomer with a machine and a pen and no birds yet."""

MOST_PAGES = 13
MOST_TAPS = 17
MOST_FIELDS = len(NEEDED)
MOST_TAPS_TO_A_MARK = 1


_WORDS = """() => {
  const shown = document.querySelector("main").cloneNode(true);
  for (const each of shown.querySelectorAll("select, datalist, details, .languages")) each.remove();
  const read = `${document.querySelector("h1").innerText} ${shown.textContent}`;
  return read.split(/\\s+/).filter(Boolean).length;
}"""
"""Words that stand open on a page, without what may be chosen from and what is folded away."""


@dataclass
class Effort:
    """What a thumb did, and what its owner read and waited for."""

    taps: int = 0
    fields: int = 0
    keys: int = 0
    words: int = 0
    pages: list[str] = field(default_factory=list)
    waited_s: float = 0

    def read(self, page: Page) -> str:
        """A new page: its title, its words."""
        title = page.locator("h1").inner_text()
        self.pages.append(title)
        self.words += int(page.evaluate(_WORDS))
        return title

    def fill(self, where: Locator, text: str) -> None:
        """A field is tapped and typed into."""
        where.fill(text)
        self.fields += 1
        self.taps += 1
        self.keys += len(text)

    def tap(self, page: Page, what: Locator, then: Locator, patience_ms: int = 15_000) -> None:
        """Something is tapped, and waited for."""
        began = monotonic()
        what.tap()
        expect(then).to_be_visible(timeout=patience_ms)
        page.wait_for_load_state()
        self.taps += 1
        self.waited_s += monotonic() - began


def from_nothing_to_a_plan(page: Page) -> Effort:
    """The shortest way through the first questions, up to a plan on the screen."""
    effort = Effort()
    effort.read(page)
    begin = page.get_by_role("link", name="one question at a time")
    effort.tap(page, begin, page.get_by_role("heading", name="Where does the flock live?"))
    while page.locator("form[action^='/first/']").count():
        title = effort.read(page)
        for name, text in NEEDED.get(title, {}).items():
            effort.fill(page.locator(f"[name={name}]"), text)
        go_on = page.get_by_role("button", name="Go on")
        if title == "Have you birds now?":
            go_on = page.get_by_role("link", name="No birds yet")
        effort.tap(page, go_on, page.locator("h1").filter(has_not_text=title))
    effort.read(page)
    effort.tap(
        page,
        page.get_by_role("button", name="Plan it"),
        page.get_by_text("Does it meet the goal?"),
        PLANNED_MS,
    )
    return effort


def from_the_demo_to_a_mark(page: Page) -> Effort:
    """A task of the invented flock is marked."""
    effort = Effort()
    effort.read(page)
    tick = page.locator("button.tick").first
    effort.tap(page, tick, page.locator(".task.done").first)
    return effort


_PUT_BY = "(path) => caches.open('seen').then((seen) => seen.match(path)).then(Boolean)"


@pytest.fixture
def new(tmp_path: Path) -> Iterator[Server]:
    """An empty flock, served."""
    with serving(str(tmp_path / "new.sqlite")) as server:
        yield server


@pytest.mark.timeout(300)
def test_few_steps_lead_from_nothing_to_a_first_plan(new: Server, phone: Phone) -> None:
    effort = from_nothing_to_a_plan(phone(new.address, timezone_id="Europe/Lisbon"))
    assert len(effort.pages) <= MOST_PAGES
    assert effort.taps <= MOST_TAPS
    assert effort.fields <= MOST_FIELDS


def test_a_task_of_the_demo_is_one_tap_away(demo: Server, phone: Phone) -> None:
    before = len(demo.entries())
    page = phone(demo.address)
    assert from_the_demo_to_a_mark(page).taps <= MOST_TAPS_TO_A_MARK
    all_sent(page)
    expect(page.locator("#waiting")).to_be_hidden()
    assert [kind_of(entry) for entry in demo.entries()[before:]] == ["care"]


def test_pages_seen_in_the_language_before_are_not_shown_again(demo: Server, phone: Phone) -> None:
    page = phone(demo.address)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    for path in ("/birds", "/kept", "/more"):
        page.goto(demo.address + path)
    assert page.locator("html").get_attribute("lang") == "en"
    until(lambda: page.evaluate(_PUT_BY, "/birds"))
    page.get_by_role("button", name=LANGUAGES["pt"]).tap()
    expect(page.locator("html")).to_have_attribute("lang", "pt")
    until(lambda: not page.evaluate(_PUT_BY, "/birds") and page.evaluate(_PUT_BY, "/more"))
    demo.stop()
    page.goto(f"{demo.address}/kept")
    expect(page.locator("html")).to_have_attribute("lang", "pt")
    page.goto(f"{demo.address}/birds")  # never seen in this language: the page that says so
    expect(page.locator("html")).to_have_attribute("lang", "pt")
    page.goto(f"{demo.address}/more")
    expect(page.locator("html")).to_have_attribute("lang", "pt")
    expect(page.locator("#age")).to_be_visible()

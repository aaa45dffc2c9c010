"""From label to blend on a phone, and that the pages of feed mixed at home shut nobody out."""

from typing import Any

from playwright.sync_api import Page, expect
from tests.browser.conftest import PHONE, Phone, Server
from tests.browser.test_access import SMALL, WIDE, in_both_schemes, unfold, violations
from tests.browser.test_newcomer import Effort
from tests.planning.rations import BASIC, PRICES

MOST_S = 60.0
MOST_TAPS, MOST_FIELDS = 8, 4
WORDS_A_MINUTE = 238.0
"""Brysbaert 2019, How many words do we read per minute, J Mem Lang 109:104047."""
THOUGHT_S = 1.35
"""Of mind before each act: Card, Moran and Newell 1980, The keystroke-level model, CACM 23:396."""
KEY_S = 0.5
"""Our guess for a thumb."""

BLENDED = (
    "/feed/blend?birds=grower&target.protein_pct=24&feed+1%2C+feed=crumbs"
    "&feed+1%2C+protein_pct=28&feed+1%2C+calcium_pct=1.1&feed+2%2C+feed=maize"
)
REFUSED = "/feed/blend?birds=grower&feed+1%2C+protein_pct=100&feed+2%2C+protein_pct=-3"
PAGES = (
    "/feed/blend", BLENDED, REFUSED, "/feed/ration", "/feed/needs?of=starter",
    "/feed/needs?of=layer", "/feed/needs?of=ingredients",
)  # fmt: skip


def seconds(effort: Effort) -> float:
    """How long it takes by the keystroke-level model, reading and waiting counted."""
    reading = effort.words / WORDS_A_MINUTE * 60
    return reading + THOUGHT_S * effort.taps + KEY_S * effort.keys + effort.waited_s


def from_label_to_blend(page: Page) -> Effort:
    """Two bags in hand, whose labels tell name and protein: up to the words of the answer."""
    effort = Effort()
    effort.read(page)
    labels = {
        "feed 1, feed": "crumbs", "feed 1, protein_pct": "28", "feed 2, feed": "maize mash",
        "feed 2, protein_pct": "9",
    }  # fmt: skip
    page.get_by_label("Who eats of it?").select_option("grower")
    effort.taps += 2  # the list is opened, and one of it is tapped
    for name, text in labels.items():
        effort.fill(page.locator(f"[name='{name}']"), text)
    answer = page.locator("section.answer")
    effort.tap(page, page.get_by_role("button", name="Blend them"), answer)
    effort.words += len(answer.inner_text().split())
    return effort


def test_from_label_to_blend_in_under_a_minute(shown: Server, phone: Phone) -> None:
    page = phone(f"{shown.address}/feed/blend")
    effort = from_label_to_blend(page)
    expect(page.locator(".mix-said")).to_have_text(
        "Mix 6.32 kg of crumbs with 3.68 kg of maize mash."
    )
    expect(page.locator(".mix-said")).to_be_in_viewport()
    print(effort, f"{seconds(effort):.0f} s")
    assert effort.taps <= MOST_TAPS
    assert effort.fields <= MOST_FIELDS
    assert seconds(effort) < MOST_S


def test_two_feeds_of_the_journal_are_blended_by_four_taps(shown: Server, phone: Phone) -> None:
    page = phone(f"{shown.address}/feed/blend")
    for feed in ("starter crumb", "layer pellets"):
        page.get_by_role("link", name=f"Take {feed}").tap()
        expect(page.locator(f"input[value='{feed}']")).to_be_visible()
    page.get_by_role("button", name="Blend them").tap()
    expect(page.locator("section.answer")).to_be_in_viewport()


def test_they_shut_nobody_out(shown: Server, phone: Phone) -> None:
    page = phone(shown.address)
    found: dict[str, Any] = {}
    for path in PAGES:
        page.goto(shown.address + path)
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"], path
        unfold(page)
        wrong = [*in_both_schemes(page), *page.evaluate(SMALL), *page.evaluate(WIDE)]
        page.evaluate("document.documentElement.style.fontSize = '200%'")
        wrong += [f"at 200 %: {each}" for each in page.evaluate(WIDE)]
        if wrong:
            found[path] = wrong
    assert found == {}


def test_a_ration_by_keyboard_alone(shown: Server, phone: Phone) -> None:
    page = phone(f"{shown.address}/feed/ration")
    page.get_by_label("Who eats of it?").focus()
    page.keyboard.type("layer")
    for code in BASIC:
        tick = page.locator(f"input[name='{code}']")
        shelf = tick.locator("xpath=ancestor::details")
        if shelf.get_attribute("open") is None:
            shelf.locator("summary").focus()
            page.keyboard.press("Enter")
        tick.focus()
        page.keyboard.press("Space")
        page.keyboard.press("Tab")
        page.keyboard.type(str(PRICES[code]))
        if code == "premix":
            page.keyboard.press("Tab")
            page.keyboard.press("Tab")
            page.keyboard.type("0.5")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Layer ration")).to_be_visible()
    expect(page.get_by_text("This mix meets every need that can be checked")).to_be_visible()
    unfold(page)
    assert [*violations(page), *page.evaluate(SMALL), *page.evaluate(WIDE)] == []
    page.get_by_role("link", name="methionine", exact=True).first.focus()
    page.keyboard.press("Enter")
    expect(page.locator("#methionine")).to_be_in_viewport()

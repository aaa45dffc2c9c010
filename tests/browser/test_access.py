"""Nobody is shut out: axe-core on every page, contrast 7:1, targets of 48 px, text at 200 %."""

from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect
from tests.browser.conftest import DESKTOP, PHONE, Phone, Server, serving

AXE = (Path(__file__).parent / "vendored" / "axe.min.js").read_text(encoding="utf-8")
PAGES = (
    "/", "/hatches", "/hatches/{open}", "/hatches/{closed}", "/birds", "/places/long%20pen",
    "/places/kitchen%20incubator", "/places/brooder", "/housing", "/manure", "/plan",
    "/plan/ask", "/outlook",
    "/outlook?ask=lamp", "/more", "/log",
    "/light", "/signs", "/eggs", "/eggs/store", "/eggs/labels", "/cautions", "/breeding",
    "/breeding/family", "/log/pairing",
    "/paper/away", "/paper/back", "/paper/places", "/log/water_given", "/log/temperature_seen",
    "/log/eggs_boxed", "/log/eggs_ordered", "/log/egg_rule", "/log/contact", "/log/birds_died",
    "/settings/holding", "/settings/places/change?name=long%20pen",
    "/log/eggs_collected", "/log/eggs_set", "/log/care_rule", "/journal", "/journal/{entry}",
    "/journal/{entry}/correct", "/kept", "/people", "/no-signal", "/no-such-page",
    "/breeding/board", "/breeding/rotation", "/breeding/board/cards",
    "/brooding?room=18&box=80x60x45&watts=90&price=0.2", "/breeding/keep?ahead=yes",
)  # fmt: skip
# color-contrast-enhanced is 7:1 (WCAG 2.2, 1.4.6); axe leaves it out unless asked.
RUN = """() => axe.run(document, {
    rules: {"color-contrast-enhanced": {enabled: true}, "target-size": {enabled: true}},
}).then((found) => found.violations.map(
    (one) => [one.id, one.nodes.map((node) => node.target.join(" "))]))"""
SMALL = """() => [...document.querySelectorAll("a[href], button, input, select, textarea, summary")]
    .filter((e) => e.checkVisibility() && e.type !== "hidden" && !e.closest("p, .skip"))
    .map((e) => [e.closest("label.flag") ?? e, e])
    .map(([box, e]) => [box.getBoundingClientRect(), e.outerHTML.slice(0, 90)])
    .filter(([box]) => box.right > 0 && (box.width < 47.5 || box.height < 47.5))
    .map(([box, html]) => `${Math.round(box.width)} x ${Math.round(box.height)}: ${html}`)"""
WIDE = """() => {
    const most = document.documentElement.clientWidth;
    const cut = [...document.querySelectorAll("main *, .foot *, .top *")].filter((e) => {
        const box = e.getBoundingClientRect();
        const out = box.right > most + 1 || box.left < -1;
        return out && e.checkVisibility() && !e.closest(".wide, svg");
    });
    return cut.map((e) => e.outerHTML.slice(0, 80));
}"""


def addresses(server: Server, page: Page) -> list[str]:
    """Every page, with names that stand in the flock."""
    names = page.evaluate("fetch('/api/hatches').then((a) => a.json())")
    entry = server.entries()[-1].id
    return [
        server.address + path.format(open=names[-1], closed=names[1], entry=entry) for path in PAGES
    ]


def unfold(page: Page) -> None:
    """Opens everything that is folded away, so that it is looked at too."""
    page.evaluate(
        """() => { for (const e of document.querySelectorAll("details"))
        { e.removeAttribute("name"); e.open = true; } }"""
    )


def violations(page: Page) -> list[Any]:
    """What axe finds on a page, with all of it in view: the bar at the foot hides nothing then."""
    size = page.viewport_size
    height = page.evaluate("document.documentElement.scrollHeight")
    assert size is not None
    page.set_viewport_size({"width": size["width"], "height": max(size["height"], height)})
    page.evaluate(AXE)
    found: list[Any] = page.evaluate(RUN)
    page.set_viewport_size(size)
    return found


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", ["phone", "desktop"])
def test_no_page_shuts_anyone_out(shown: Server, phone: Phone, scheme: str, size: str) -> None:
    settings: dict[str, Any] = {"color_scheme": scheme, "reduced_motion": "reduce"}
    if size == "desktop":
        settings |= {"viewport": DESKTOP, "is_mobile": False, "has_touch": False}
    page = phone(shown.address, **settings)
    found: dict[str, Any] = {}
    for address in addresses(shown, page):
        page.goto(address)
        unfold(page)
        wrong = violations(page)
        if wrong:
            found[address] = wrong
    assert found == {}


def test_sign_in_and_first_visit_shut_nobody_out(tmp_path: Path, phone: Phone) -> None:
    with serving(str(tmp_path / "new.sqlite"), invented=False) as server:
        page = phone(server.address)
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            assert violations(page) == []
            assert page.evaluate(SMALL) == []
        page.get_by_label("your name").fill("Mira")
        page.get_by_label("passphrase").fill("four words of ours")
        page.get_by_label("the same again").fill("four words of ours")
        page.get_by_role("button", name="Set it").tap()
        expect(page.locator(".bar")).to_be_visible()
        for path in ("/people", "/more"):
            page.goto(server.address + path)
            unfold(page)
            assert violations(page) == []
            assert page.evaluate(SMALL) == []
        page.context.clear_cookies()
        page.goto(f"{server.address}/sign-in")
        assert violations(page) == []


def test_targets_are_large_and_nothing_is_cut(shown: Server, phone: Phone) -> None:
    page = phone(shown.address)
    found: dict[str, list[str]] = {}
    for address in addresses(shown, page):
        page.goto(address)
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"], address
        unfold(page)
        small = page.evaluate(SMALL) + page.evaluate(WIDE)
        if small:
            found[address] = small
    assert found == {}


def test_text_at_200_percent_breaks_nothing(shown: Server, phone: Phone) -> None:
    page = phone(shown.address)
    found: dict[str, list[str]] = {}
    for address in addresses(shown, page):
        page.goto(address)
        page.evaluate("document.documentElement.style.fontSize = '200%'")
        unfold(page)
        cut = page.evaluate(WIDE)
        if cut:
            found[address] = cut
        bar = page.locator(".foot").bounding_box()
        assert bar is not None
        assert bar["height"] < PHONE["height"] / 3, address
    assert found == {}

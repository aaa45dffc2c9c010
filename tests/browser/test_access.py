"""Nobody is shut out: axe-core on every page, contrast 7:1, targets of 48 px, text at 200 %."""

import re
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect
from tests.browser.conftest import DESKTOP, PHONE, Phone, Server, serving

from quailwright import web

AXE = (Path(__file__).parent / "vendored" / "axe.min.js").read_text(encoding="utf-8")
PAGES = (
    "/", "/hatches", "/hatches/{open}", "/hatches/{closed}", "/birds", "/places/long%20pen",
    "/places/kitchen%20incubator", "/places/brooder", "/housing", "/manure", "/plan",
    "/plan/ask", "/outlook",
    "/outlook?ask=lamp", "/more", "/log",
    "/light", "/breeding/cross?cock=yellow&hen=yellow&look-1=yellow&chicks-1=9",
    "/breeding/colours", "/breeding", "/breeding/family", "/log/pairing",
    "/signs", "/eggs", "/eggs/store", "/eggs/labels", "/cautions",
    "/paper", "/paper/away", "/paper/back", "/paper/back/hatch?hatch={open}", "/paper/places",
    "/log/water_given", "/log/temperature_seen",
    "/log/eggs_boxed", "/log/eggs_ordered", "/log/egg_rule", "/log/contact", "/log/birds_died",
    "/settings/holding", "/settings/calendar", "/settings/notices",
    "/settings/places/change?name=long%20pen",
    "/log/eggs_collected", "/log/eggs_set", "/log/care_rule", "/journal", "/journal/{entry}",
    "/journal/{entry}/correct", "/kept", "/people", "/no-signal", "/no-such-page",
    "/breeding/board", "/breeding/rotation", "/breeding/board/cards",
    "/brooding?room=18&box=80x60x45&watts=90&price=0.2", "/breeding/keep?ahead=yes", "/tables",
    "/tables/import", "/settings", "/readings", "/settings/sensors", "/settings/readings",
    "/settings/backup",
)  # fmt: skip
# color-contrast-enhanced is 7:1 (WCAG 2.2, 1.4.6); axe leaves it out unless asked.
RUN = """() => axe.run(document, {
    rules: {"color-contrast-enhanced": {enabled: true}, "target-size": {enabled: true}},
}).then((found) => found.violations.map(
    (one) => [one.id, one.nodes.map((node) => node.target.join(" "))]))"""
_COLOURS = """{runOnly: ["color-contrast", "color-contrast-enhanced", "link-in-text-block"]}"""
OF_COLOURS = f"() => axe.run(document, {_COLOURS}{RUN[RUN.index(').then(') :]}"
"""The rules whose answer hangs on colours."""
STYLE = Path(web.__file__).parent / "static" / "app.css"
PARTS = 3
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


def violations(page: Page, rules: str = RUN) -> list[Any]:
    """What axe finds on a page by RUN or OF_COLOURS, with all of it in view: the bar at the foot
    hides nothing then."""
    size = page.viewport_size
    height = page.evaluate("document.documentElement.scrollHeight")
    assert size is not None
    page.set_viewport_size({"width": size["width"], "height": max(size["height"], height)})
    if not page.evaluate("'axe' in window"):
        page.evaluate(AXE)
    found: list[Any] = page.evaluate(rules)
    page.set_viewport_size(size)
    return found


def in_both_schemes(page: Page) -> list[Any]:
    """The same in light, and what of it colours can change in dark: no more changes there."""
    page.emulate_media(color_scheme="light", reduced_motion="reduce")
    found = violations(page)
    page.emulate_media(color_scheme="dark", reduced_motion="reduce")
    found += [["in dark", *one] for one in violations(page, OF_COLOURS)]
    page.emulate_media(color_scheme="light", reduced_motion="reduce")
    return found


def test_dark_changes_colours_alone() -> None:
    style = STYLE.read_text(encoding="utf-8")
    named = re.compile(
        r"--[a-z-]+: *#[0-9a-f]{6};|(?:stroke|fill): *(?:#[0-9a-f]{6}|var\([a-z-]+\));"
    )
    darks = style.split("@media (prefers-color-scheme: dark) {")[1:]
    assert len(darks) == style.count("prefers-color-scheme")
    for dark in darks:
        inside = dark[: re.search(r"\}\s*\}", dark).start() + 1]  # type: ignore[union-attr]
        for _, rules in re.findall(r"([^{}]+)\{([^{}]*)\}", inside):
            assert named.sub("", rules).strip() == "", rules


@pytest.mark.parametrize("part", range(PARTS))
@pytest.mark.parametrize("size", ["phone", "desktop"])
def test_no_page_shuts_anyone_out(shown: Server, phone: Phone, size: str, part: int) -> None:
    """Of a phone, targets are large too, nothing is cut, and text at 200 % breaks nothing."""
    settings: dict[str, Any] = {}
    if size == "desktop":
        settings = {"viewport": DESKTOP, "is_mobile": False, "has_touch": False}
    page = phone(shown.address, **settings)
    found: dict[str, Any] = {}
    for address in addresses(shown, page)[part::PARTS]:
        page.goto(address)
        if size == "phone":
            assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"], address
        unfold(page)
        wrong = in_both_schemes(page)
        if size == "phone":
            wrong += page.evaluate(SMALL) + page.evaluate(WIDE)
            page.evaluate("document.documentElement.style.fontSize = '200%'")
            wrong += [f"at 200 %: {each}" for each in page.evaluate(WIDE)]
            bar = page.locator(".foot").bounding_box()
            assert bar is not None
            assert bar["height"] < PHONE["height"] / 3, address
        if wrong:
            found[address] = wrong
    assert found == {}


def test_sign_in_and_first_visit_shut_nobody_out(tmp_path: Path, phone: Phone) -> None:
    with serving(str(tmp_path / "new.sqlite"), invented=False) as server:
        page = phone(server.address)
        assert in_both_schemes(page) == []
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

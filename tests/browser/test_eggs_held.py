"""The firm no with no signal: a page seen before refuses to sell what is held."""

from pathlib import Path

from playwright.sync_api import Page, expect
from tests.browser.conftest import PHONE, Phone, all_sent, now, serving
from tests.browser.test_access import SMALL, WIDE, in_both_schemes, unfold
from tests.makers import made

from quailwright.journal.entries import EggsOut, Entry
from quailwright.journal.store import open_store

TODAY = now().astimezone().date().isoformat()
KEPT: tuple[Entry, ...] = (
    made("group", "2026-01-01", group="north", place="shed", hens=10),
    made("group", "2026-01-01", group="south", place="barn", hens=10),
    made("eggs_collected", TODAY, group="north", eggs=4),
    made("eggs_collected", TODAY, group="south", eggs=5),
    made("eggs_boxed", TODAY, box="carton", eggs=6),
    made("treated", TODAY, group="north", product="powder", force=True),
)


def sell(page: Page, **fields: str) -> None:
    page.locator("select[name=use]").select_option("sold")
    for name, value in fields.items():
        field = page.locator(f"form.whole [name={name}]")
        if name == "group":
            field.select_option(value)
        else:
            field.fill(value)
    page.get_by_role("button", name="Keep it").tap()


def test_a_phone_with_no_signal_refuses_to_sell_a_box_that_is_held(
    tmp_path: Path, phone: Phone
) -> None:
    flock = str(tmp_path / "own.sqlite")
    with open_store(flock, create=True) as store, store.writing() as writer:
        writer.append(KEPT, now())
    with serving(flock) as server:
        page = phone(f"{server.address}/log/eggs_out")
        page.evaluate("navigator.serviceWorker.ready.then(() => true)")
        page.reload()
        server.stop()
        page.reload()
        expect(page.locator("#age")).to_contain_text("No signal")
        page.evaluate("document.querySelectorAll('details').forEach((each) => each.open = true)")
        sell(page, eggs="4", box="carton")
        expect(page.locator(".held-here")).to_contain_text(
            "Not kept, these eggs are held: Held for 4 of north laid"
        )
        expect(page.locator("#waiting")).to_be_hidden()
        sell(page, eggs="2", box="", group="north")
        expect(page.locator(".held-here")).to_contain_text("nobody has told until when")
        expect(page.locator("#waiting")).to_be_hidden()
        sell(page, eggs="3", box="", group="south")
        expect(page.locator(".held-here")).to_have_count(0)
        expect(page.locator("#waiting")).to_have_text("kept on this phone: 1")
        server.start()
        page.reload()
        all_sent(page)
        expect(page.locator("#waiting")).to_be_hidden()
        assert [each.group for each in server.entries() if isinstance(each, EggsOut)] == ["south"]


def test_the_egg_store_and_its_labels_shut_nobody_out(tmp_path: Path, phone: Phone) -> None:
    flock = str(tmp_path / "own.sqlite")
    more = (
        made("eggs_collected", TODAY, group="south", eggs=9),
        made("eggs_ordered", TODAY, order="ann-1", eggs=6, on=TODAY, to="Ann"),
        made("eggs_out", TODAY, use="sold", eggs=4, to="Ann", group="south"),
        made("egg_rule", TODAY, storage="cool", keeps_days=21, checked_on="2020-01-01",
             said_by="the county office"),
    )  # fmt: skip
    with open_store(flock, create=True) as store, store.writing() as writer:
        writer.append((*KEPT, *more), now())
    with serving(flock) as server:
        page = phone(server.address)
        for path in ("/eggs/store", "/eggs/labels", "/paper/places"):
            page.goto(server.address + path)
            assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"], path
            unfold(page)
            assert page.evaluate(SMALL) + page.evaluate(WIDE) == [], path
            assert in_both_schemes(page) == [], path

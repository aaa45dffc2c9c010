"""A keeper's day with one thumb: the first run, the round, undo, by keyboard, without scripts."""

from pathlib import Path

from playwright.sync_api import Page, expect
from tests.browser.conftest import DESKTOP, PLAIN_HOST, Phone, Server, all_sent, serving, until

from quailwright.journal.entries import Care, EggsCollected, Retract, as_dict


def test_a_round_by_thumb(demo: Server, phone: Phone) -> None:
    page = phone(demo.address)
    before = len(demo.entries())
    minutes = float(page.locator("#summary b").first.inner_text())
    while page.locator("button.tick:enabled").count():
        page.locator("button.tick:enabled").first.tap()
        page.wait_for_timeout(30)
    for pad in page.locator("a.tick").all():
        pad.tap()
        if page.locator("details.entering[open]").count():
            for key in "12":
                page.locator(f"details.entering[open] [data-key='{key}']").tap()
            break
    assert page.locator("details.entering[open] input.aimed").input_value() == "12"
    all_sent(page)
    expect(page.locator("#waiting")).to_be_hidden()
    assert any(isinstance(each, Care) for each in demo.entries()[before:])
    page.reload()
    assert float(page.locator("#summary b").first.inner_text()) < minutes
    assert page.locator("button.tick").count() == 0


def test_a_count_marks_its_task_and_undo_takes_it_back(demo: Server, phone: Phone) -> None:
    page = phone(demo.address)
    section = page.locator("section.place", has_text="north pen")
    section.locator("a.tick", has_text="Collect and count the eggs").tap()
    section.locator("details[open] [data-key='9']").tap()
    section.locator("details[open] button.main").tap()
    task = section.locator(".task", has_text="Collect and count the eggs")
    expect(task).to_have_class("task done")
    until(lambda: isinstance(demo.entries()[-1], EggsCollected))
    page.locator("#undo").tap()
    until(lambda: isinstance(demo.entries()[-1], Retract))
    expect(task).to_have_class("task")
    undone = demo.entries()[-1]
    assert isinstance(undone, Retract)
    assert undone.entry == demo.entries()[-2].id


def test_a_task_marked_and_undone(demo: Server, phone: Phone) -> None:
    page = phone(demo.address)
    before = len(demo.entries())
    task = page.locator(".task", has_text="Clean the drinker").first
    task.locator("button.tick").tap()
    expect(task.locator("button.tick")).to_be_disabled()
    until(lambda: len(demo.entries()) == before + 1)
    entry = demo.entries()[-1]
    assert entry.id[14] == "4"  # a UUID of version 4, made on the phone
    task.get_by_role("button", name="Undo").tap()
    expect(task.locator("button.tick")).to_be_enabled()
    until(lambda: as_dict(demo.entries()[-1]).get("entry") == entry.id)


def test_minutes_and_searches_change_without_loading_anew(demo: Server, phone: Phone) -> None:
    page = phone(demo.address)
    page.evaluate("window.stayed = true")
    minutes = page.locator("#summary b").first.inner_text()
    for _ in range(5):
        page.locator("button.tick:enabled").first.tap()
        page.wait_for_timeout(100)
    expect(page.locator("#summary b").first).not_to_have_text(minutes)
    assert page.evaluate("window.stayed")
    page.goto(f"{demo.address}/journal")
    page.evaluate("window.stayed = true")
    page.get_by_label("kind").select_option("hatch_closed")
    expect(page.locator("#found .links a").first).to_contain_text("hatch closed")
    page.get_by_label("find").fill("no such thing")
    expect(page.locator("#found [role=status]")).to_have_text("0 entries")
    assert page.evaluate("window.stayed")


def test_the_first_run_over_plain_http(tmp_path: Path, phone: Phone) -> None:
    """From an empty flock, with a passphrase, to the first task marked."""
    with serving(str(tmp_path / "new.sqlite"), invented=False) as server:
        page = phone(f"http://{PLAIN_HOST}:{server.port}/")
        page.get_by_label("your name").fill("Mira")
        page.get_by_label("passphrase").fill("four words of ours")
        page.get_by_label("the same again").fill("four words of ours")
        page.get_by_role("button", name="Set it").tap()
        page.get_by_role("link", name="Where the flock lives").tap()
        page.wait_for_url("**/log/holding**")  # with its scripts
        page.locator("input[name=name]").fill("Back garden")
        keep(page)
        page.goto(f"{server.address.replace('localhost', PLAIN_HOST)}/log/place")
        page.locator("input[name=place]").fill("pen")
        page.locator("select[name=role]").select_option("pen")
        keep(page)
        page.goto(f"{server.address.replace('localhost', PLAIN_HOST)}/log/group")
        page.locator("input[name=group]").fill("hens")
        page.locator("input[name=place]").fill("pen")
        page.locator("input[name=hens]").fill("8")
        keep(page)
        page.locator(".bar").get_by_text("Round").tap()
        page.locator("button.tick", has_text="Feed and fresh water").tap()
        until(lambda: isinstance(server.entries()[-1], Care))
        assert server.entries()[-1].by == "Mira"
        page.goto(f"{server.address.replace('localhost', PLAIN_HOST)}/more")
        page.get_by_role("button", name="Sign out everywhere").tap()
        expect(page.locator("h1")).to_have_text("Sign in")


def keep(page: Page) -> None:
    """Presses the button of a form, and waits for its entry to be written."""
    page.get_by_role("button", name="Keep it").tap()
    expect(page.locator("#said")).to_contain_text("Kept:")
    all_sent(page)
    expect(page.locator("#waiting")).to_be_hidden()


def test_the_round_by_keyboard_alone(demo: Server, phone: Phone) -> None:
    page = phone(demo.address, viewport=DESKTOP, is_mobile=False, has_touch=False)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    reached = set()
    for _ in range(400):
        page.keyboard.press("Tab")
        seen = page.evaluate(
            """() => { const e = document.activeElement, s = getComputedStyle(e);
            return [e.className, e.innerText?.slice(0, 20), s.outlineStyle !== 'none']; }"""
        )
        assert seen[2], f"{seen[0]} shows no focus"
        reached.add((seen[0], seen[1]))
        if seen[0] == "tick" and "Clean the drinker" in page.evaluate(
            "document.activeElement.innerText"
        ):
            break
    before = len(demo.entries())
    page.keyboard.press("Enter")
    until(lambda: len(demo.entries()) == before + 1)
    eggs = page.locator("section.place", has_text="long pen").locator("summary", has_text="Eggs")
    eggs.focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    page.keyboard.type("11")
    page.keyboard.press("Enter")
    until(lambda: as_dict(demo.entries()[-1]).get("eggs") == 11)


def test_the_round_without_scripts(demo: Server, phone: Phone) -> None:
    page = phone(demo.address, java_script_enabled=False)
    task = page.locator(".task", has_text="Clean the drinker").first
    task.locator("button.tick").tap()
    expect(page.locator(".kept-now")).to_contain_text("Kept.")
    assert isinstance(demo.entries()[-1], Care)
    page.get_by_role("button", name="Undo").tap()
    until(lambda: isinstance(demo.entries()[-1], Retract))
    section = page.locator("section.place", has_text="long pen")
    section.get_by_text("Eggs", exact=True).tap()
    section.locator("details[open] input[name=eggs]").fill("not a number")
    section.locator("details[open] button.main").tap()
    expect(page.locator("#refused")).to_contain_text("nothing was written")
    page.locator("input[name=eggs]").fill("10")
    page.get_by_role("button", name="Keep it").tap()
    until(lambda: as_dict(demo.entries()[-1]).get("eggs") == 10)

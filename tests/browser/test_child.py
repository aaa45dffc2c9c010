"""A child with the family's phone: what they see, tick, count and take back."""

from pathlib import Path

from playwright.sync_api import Page, expect
from tests.browser.conftest import Phone, Server, now, serving, until
from tests.browser.test_access import SMALL, WIDE, in_both_schemes, unfold
from tests.makers import made

from quailwright.journal.entries import Care, EggsCollected, Retract
from quailwright.journal.store import open_store

WORDS = "four words of ours"


def as_child(server: Server, phone: Phone) -> Page:
    """A keeper takes in a child, who then signs in on the same phone."""
    with open_store(server.flock, create=True) as store, store.writing() as writer:
        writer.append(
            [
                made("place", "2026-01-01", place="pen", role="pen", floor_m2=4),
                made("group", "2026-01-01", group="hens", place="pen", hens=9,
                     hatched_on="2025-10-01"),
            ],
            now(),
        )  # fmt: skip
    page = phone(server.address)
    page.get_by_label("your name").fill("Mira")
    page.get_by_label("passphrase").fill(WORDS)
    page.get_by_label("the same again").fill(WORDS)
    page.get_by_role("button", name="Set it").tap()
    expect(page.locator(".bar")).to_be_visible()
    page.goto(f"{server.address}/people")
    page.get_by_label("name", exact=True).fill("Ida")
    page.locator("#role").select_option("child")
    page.locator("#passphrase").fill("ida counts the eggs")
    page.get_by_role("button", name="Add").tap()
    expect(page.locator(".cards")).to_contain_text("Ida")
    page.goto(f"{server.address}/more")
    page.get_by_role("button", name="Sign out here").tap()
    page.get_by_label("your name").fill("Ida")
    page.get_by_label("passphrase").fill("ida counts the eggs")
    page.get_by_role("button", name="Sign in").tap()
    expect(page.locator(".always").first).to_be_visible()
    page.wait_for_load_state()  # with its scripts
    return page


def test_a_child_ticks_counts_and_undoes(tmp_path: Path, phone: Phone) -> None:
    with serving(str(tmp_path / "flock.sqlite"), invented=False) as server:
        page = as_child(server, phone)
        expect(page.locator(".bar a")).to_have_text(["Round", "Birds", "More"])
        page.locator("button.tick", has_text="Feed and fresh water").tap()
        until(lambda: isinstance(server.entries()[-1], Care))
        page.locator(".task", has_text="Feed").get_by_role("button", name="Undo").tap()
        until(lambda: isinstance(server.entries()[-1], Retract))
        page.get_by_text("Eggs", exact=True).tap()
        page.locator("details[open] [data-key='7']").tap()
        page.locator("details[open] button.main").tap()
        until(lambda: isinstance(server.entries()[-1], EggsCollected))
        assert server.entries()[-1].by == "Ida"
        for path in ("/", "/birds", "/places/pen", "/more", "/plan"):
            page.goto(server.address + path)
            unfold(page)
            assert in_both_schemes(page) == [], path
            assert page.evaluate(SMALL) + page.evaluate(WIDE) == [], path
        expect(page.locator("main")).to_contain_text("for grown-ups")

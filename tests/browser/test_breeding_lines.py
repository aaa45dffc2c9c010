"""Breeding on the phone: a pairing ticked with no signal, pages that shut nobody out."""

from pathlib import Path

from playwright.sync_api import expect
from tests.browser.conftest import Phone, all_sent, now, serving
from tests.browser.test_access import SMALL, WIDE, unfold, violations
from tests.makers import made

from quailwright.journal.entries import Entry, Pairing
from quailwright.journal.store import open_store

RINGED: tuple[Entry, ...] = (
    made("place", "2026-01-01", place="pen A", role="pen"),
    made("group", "2026-01-01", group="south", place="pen A", hens=9, cocks=2),
    *(
        made("bird", "2026-01-02", bird=ring, sex=sex, group="south", **parents)
        for ring, sex, parents in (
            ("Rex", "cock", {}), ("Ada", "hen", {}), ("Bea", "hen", {}),
            ("Bo", "cock", {"sire": "Rex", "dam": "Ada"}),
            ("Kim", "hen", {"sire": "Bo", "dam": "Ada"}),
        )
    ),
)  # fmt: skip


def test_a_pairing_is_ticked_with_no_signal_and_the_pages_are_open_to_all(
    tmp_path: Path, phone: Phone
) -> None:
    flock = str(tmp_path / "own.sqlite")
    with open_store(flock, create=True) as store, store.writing() as writer:
        writer.append(RINGED, now())
    with serving(flock) as server:
        page = phone(f"{server.address}/breeding")
        for path in ("/breeding", "/breeding/family?bird=Kim"):
            page.goto(server.address + path)
            unfold(page)
            assert violations(page) == []
            assert page.evaluate(SMALL) == []
            assert page.evaluate(WIDE) == []
        page.goto(f"{server.address}/breeding")
        page.evaluate("navigator.serviceWorker.ready.then(() => true)")
        page.goto(f"{server.address}/breeding/board")
        page.goto(f"{server.address}/breeding")
        server.stop()
        page.reload()
        page.get_by_text("A pairing: which cocks run with which hens").tap()
        form = page.locator("form[data-entry=pairing]")
        form.locator("select[name=pen]").select_option("pen A")
        for ring in ("Rex", "Ada", "Bea"):
            form.get_by_label(ring, exact=True).check()
        form.get_by_role("button", name="Keep it").tap()
        expect(page.locator("#waiting")).to_have_text("kept on this phone: 1")
        page.goto(f"{server.address}/breeding/board")
        board = page.locator("form[data-entries]")
        pens = board.get_by_role("listitem").count()
        board.get_by_role("button", name="Log these pairings").tap()
        expect(page.locator("#waiting")).to_have_text(f"kept on this phone: {1 + pens}")
        server.start()
        page.reload()
        all_sent(page)
        expect(page.locator("#waiting")).to_be_hidden()
        pairing, *of_the_board = (one for one in server.entries() if isinstance(one, Pairing))
        assert len(of_the_board) == pens > 0
        assert (pairing.pen, pairing.cocks, pairing.hens) == ("pen A", ["Rex"], ["Ada", "Bea"])

"""What a keeper sees on each page, and what the pages never hold."""

import json
import re
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import urljoin

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient
from tests.makers import made
from tests.web.conftest import (
    KEEPER_PAGES,
    NOW,
    READ_PAGES,
    WRITE_PAGES,
    Enter,
    journal_of,
    routes_of,
    token_of,
)

from quailwright.exchange.record import record
from quailwright.journal.store import open_store
from quailwright.web.app import create_app
from quailwright.web.home import Settings

PAGES = (*READ_PAGES, *WRITE_PAGES, *KEEPER_PAGES)


class _Inspected(HTMLParser):
    """What a page must not hold under its policy: scripts, styles and handlers in the page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.inline: list[str] = []
        self.links: list[str] = []
        self.ids: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = dict(attrs)
        if tag == "style" or (tag == "script" and "src" not in names) or "style" in names:
            self.inline.append(self.get_starttag_text() or tag)
        for name, value in attrs:
            if name.startswith("on") or (value or "").strip().lower().startswith("javascript:"):
                self.inline.append(self.get_starttag_text() or tag)
            if name in ("href", "src", "action"):
                self.links.append(value or "")
            if name == "id":
                self.ids.append(value or "")


@pytest.mark.parametrize("path", PAGES)
def test_each_page_opens_holds_nothing_inline_and_no_id_twice(
    reading: TestClient, path: str
) -> None:
    answer = reading.get(path)
    assert answer.status_code == 200
    page = _Inspected(answer.text)
    assert page.inline == []
    assert len(page.ids) == len(set(page.ids))
    assert all(link.startswith(("/", "#")) for link in page.links)


_FOLLOWED: set[str] = set()
"""Links that were found to lead somewhere: most stand on every page."""


@pytest.mark.parametrize("path", PAGES)
def test_links_of_each_page_lead_somewhere(reading: TestClient, path: str) -> None:
    for link in set(_Inspected(reading.get(path).text).links) - _FOLLOWED:
        only_posted = "/retract" in link or link in ("/sign-out", "/language")
        if link.startswith("/") and not only_posted:
            assert reading.get(link.replace("&amp;", "&")).status_code in (200, 303), link
            _FOLLOWED.add(link)


@pytest.mark.parametrize("path", [*PAGES, "/nothing-here", "/api/today", "/manifest.webmanifest"])
def test_every_answer_carries_the_policy(reading: TestClient, path: str) -> None:
    headers = reading.get(path).headers
    policy = dict(
        part.strip().split(" ", 1) for part in headers["content-security-policy"].split(";")
    )
    assert policy["default-src"] == "'none'"
    assert policy["script-src"] == policy["style-src"] == "'self'"
    assert policy["frame-ancestors"] == policy["base-uri"] == "'none'"
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"


def test_the_round_shows_the_walk_with_why_and_cautions(keeper: TestClient) -> None:
    text = keeper.get("/").text
    assert "Monday 3 May" in text
    assert text.index(">box<") < text.index(">pen<")
    assert "Feed and fresh water" in text
    assert "Caution:" in text
    assert 'data-task="feed_water" data-place="pen"' in text


def test_the_round_is_small_over_the_wire(keeper: TestClient) -> None:
    # What the page links to and, followed from there, what scripts import and style sheets name;
    # the worker with all that it puts by. tests/browser counts what a Chromium is really sent.
    total, seen, ahead = 0, {""}, ["/", "/worker.js"]
    while ahead:
        address = ahead.pop()
        answer = keeper.get(address, headers={"Accept-Encoding": "gzip"})
        assert answer.status_code == 200, address
        total += int(answer.headers["content-length"])
        named = re.findall(r'(?:href|src)="(/static/[^"]+|/manifest[^"]+)"', answer.text)
        named += re.findall(r'(?:from|import)\s*\(?"(\.[^"]+)"', answer.text)
        named += re.findall(r"url\([\"']?([^)\"']+)", answer.text if "/app.css" in address else "")
        if address == "/worker.js":
            named += json.loads(re.search(r"const SHELL = (.*);", answer.text)[1])  # type: ignore[index]
        found = {urljoin(address, link) for link in named} - seen
        seen |= found
        ahead += sorted(found)
    assert {"/kept", "/no-signal"} <= seen
    assert any(each.endswith("/vendored/idb.js") for each in seen)
    assert total < 100_000


def test_a_hatch_shows_what_to_set_its_chart_and_its_table(keeper: TestClient) -> None:
    text = keeper.get("/hatches/may").text
    assert "What humidity to set?" in text
    assert 'class="corridor"' in text
    assert "aim for 10 to 13" in text
    assert '<th scope="col">lost, %</th>' in text


def test_an_empty_flock_teaches_the_first_steps(tmp_path: Path) -> None:
    app = create_app(Settings(str(tmp_path / "new.sqlite"), lambda: NOW, invented=True))
    with TestClient(app, base_url="http://localhost") as client:
        assert "Where the flock lives" in client.get("/").text
        for path in ("/hatches", "/birds", "/plan", "/journal"):
            assert client.get(path).status_code == 200


HOSTILE = (
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "{{ 7*7 }}",
    "a/b?c=d&e#f",
    "'; DROP TABLE entry; --",
    "..",
)


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_are_shown_as_they_are(
    app: FastAPI, keeper: TestClient, flock_file: str, name: str
) -> None:
    entries = [
        made("holding", name=name[:80], timezone="Europe/Lisbon"),
        made("place", place=name, role="pen"),
        made("group", group=name, place=name, hens=3, note=name),
        made("eggs_set", hatch=name, eggs=3, place=name, source=name),
        made("feed_bought", feed=name, kg=1),
        made("birds_counted", group=name, hens=2),
        made("care_rule", rule="x", stage="pen", task=name, every_days=1.0, caution=name, why=name),
    ]
    with open_store(flock_file) as store:
        record(store, entries, NOW)
    from urllib.parse import quote

    own = [f"/places/{quote(name, safe='')}", f"/hatches/{quote(name, safe='')}"]
    own = [path for path in own if name != ".."]
    for path in [*PAGES, *own, f"/log/eggs_collected?group={quote(name)}", "/journal?text=<b>"]:
        answer = keeper.get(path)
        assert answer.status_code == 200, path
        page = _Inspected(answer.text)
        assert page.inline == []
        assert "49" not in re.findall(r"holding\">(.*?)<", answer.text)
        assert "<script>alert" not in answer.text
        assert "<img" not in answer.text


def test_nothing_is_written_by_reading(app: FastAPI, keeper: TestClient) -> None:
    before, people = journal_of(app), app.state.home.household.everyone()
    for path, methods in routes_of(app):
        if "GET" in methods:
            answer = keeper.get(f"{path}?task=x&why=y&do=add")
            none_yet = path in (
                "/api/readings/series", "/api/readings/summary", "/api/breeding/cross",
                "/api/breeding/hidden", "/api/breeding/family",
            )  # fmt: skip
            known = (404,) if path == "/calendar/{token}.ics" else (200, 303)
            assert answer.status_code in ((422,) if none_yet else known), path
    assert journal_of(app) == before
    assert app.state.home.household.everyone() == people
    assert token_of(keeper)


def test_viewers_see_the_round_and_nothing_to_press(enter: Enter) -> None:
    text = enter("viewer").get("/").text
    assert "Feed and fresh water" in text
    assert "<form" not in text
    assert "<button" not in text.split("<main")[1].split("</main")[0]

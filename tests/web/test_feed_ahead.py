"""The page of feed ahead: when it runs out, what to order, the early sign, and the forms."""

import re
from datetime import date, timedelta
from typing import Any

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient
from tests.makers import made
from tests.web.conftest import Enter, journal_of, token_of

from quailwright.exchange import outlook_told


def test_the_day_a_feed_runs_out_is_told_in_words(app: FastAPI, keeper: TestClient) -> None:
    label = {"feed": "pellets", "stage": "layer", "delivery_days": 3, "keeps_days": 60}
    app.state.home.record(made("feed", "2027-04-01", **label))
    app.state.home.record(made("feed_counted", "2027-05-02", feed="pellets", kg=3))
    text = keeper.get("/feed").text
    assert "pellets runs out first:" in text
    # 12 birds eat some 0.3 kg a day: 3 kg last 8 to 14 days, or it would be the birds that changed.
    shown = text.split('class="set-cards"')[1].split("</ul>")[0]
    days = [date(2027, 5, 3) + timedelta(days=n) for n in range(7, 15)]
    assert any(f"Runs out: {day:%a} {day.day} {day:%b}" in shown for day in days)
    assert re.search(r"Order pellets by \d+ May 2027\.", text)
    assert text.index("runs out first") < text.index("<svg")


def test_feed_that_nobody_weighed_since_it_was_bought_has_no_day(keeper: TestClient) -> None:
    """20 kg a month ago, of which 12 birds ate some nine."""
    text = keeper.get("/feed").text
    assert "When feed runs out is not known" in text
    assert "What was used of pellets since 1 Apr 2027 is not told" in text
    assert 'href="/log/feed_counted?feed=pellets&amp;back=/feed"' in text
    assert "quailwright log" not in text


def test_what_nobody_told_leads_to_the_entry(app: FastAPI, keeper: TestClient) -> None:
    app.state.home.record(made("feed_counted", "2027-05-01", feed="pellets", kg=10))
    text = keeper.get("/feed").text
    assert "How long feed takes to come is not told" in text
    assert 'href="/log/feed?feed=pellets&amp;back=/feed"' in text
    assert "quailwright log" not in text


def test_feed_too_old_is_said(app: FastAPI, keeper: TestClient) -> None:
    app.state.home.record(
        made("feed_bought", "2027-04-02", feed="pellets", kg=60, mixed_on="2027-03-01")
    )
    text = keeper.get("/feed").text
    assert "should have been used by" in text
    assert "never thin it out with fresh feed" in text


def given(app: FastAPI, of_late: float) -> None:
    """Feed given each day for ten weeks; of late, so many times as much."""
    first = date(2027, 2, 20)
    app.state.home.record(made("feed_bought", "2027-02-01", feed="pellets", kg=80, cost=60))
    app.state.home.record(
        *(
            made(
                "feed_given",
                (first + timedelta(days=n)).isoformat(),
                feed="pellets",
                kg=round(0.3 * (of_late if n >= 58 else 1.0), 2),
            )
            for n in range(72)
        )
    )


@pytest.mark.parametrize(
    ("of_late", "says", "looks"),
    [
        (1.0, "As usual:", None),
        (0.5, "Look at the drinkers first", "Look:"),
        (2.0, "Look under the feeders", "Look:"),
    ],
)
def test_use_against_before_is_an_early_sign(
    app: FastAPI, keeper: TestClient, of_late: float, says: str, looks: str | None
) -> None:
    given(app, of_late)
    text = keeper.get("/feed").text
    assert text.count(says) == 1
    assert ("Look:" in text) == (looks is not None)


def test_cautions_stand_on_the_page(keeper: TestClient) -> None:
    text = keeper.get("/feed").text
    assert "No layer feed and no shell for chicks and growers" in text
    assert "withdrawal days" in text
    assert "Ask a vet." in text


def test_feed_is_written_down_from_its_page(app: FastAPI, keeper: TestClient) -> None:
    text = keeper.get("/feed").text
    for kind in ("feed_given", "feed_bought", "feed_counted"):
        assert f'action="/log/{kind}"' in text
    fields = {"token": token_of(keeper, "/feed"), "feed": "pellets", "kg": "4.5", "back": "/feed"}
    answer = keeper.post("/log/feed_counted", data=fields)
    assert answer.headers["location"].startswith("/feed?kept=")
    assert getattr(journal_of(app)[-1], "kg", None) == 4.5
    assert "4.5 kg" in keeper.get("/feed").text


def test_a_viewer_reads_and_writes_nothing(enter: Enter) -> None:
    text = enter("viewer").get("/feed").text
    assert "When does it run out" in text
    assert "/log/" not in text


def test_the_weeks_are_drawn_once_for_feed_and_outlook(
    keeper: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    draws = []
    own = outlook_told.ahead

    def counted(*args: Any, **more: Any) -> Any:
        draws.append(1)
        return own(*args, **more)

    monkeypatch.setattr(outlook_told, "ahead", counted)
    for path in ("/feed", "/outlook", "/feed"):
        assert keeper.get(path).status_code == 200
    assert len(draws) == 1

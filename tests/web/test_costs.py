"""The page of costs: in words first, then charts with tables; the files; once for all who ask."""

import csv
import io
import threading
import zipfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient
from tests.makers import made
from tests.web.conftest import NOW, Enter, journal_of

from quailwright.exchange import costs_told
from quailwright.web.app import create_app
from quailwright.web.home import Home, Settings

PAID = (
    made("feed_given", "2027-04-20", feed="pellets", kg=8),
    made("feed_given", "2027-05-01", feed="pellets", kg=4),
    made("eggs_collected", "2027-04-25", group="hens", eggs=40),
    made("eggs_out", "2027-04-26", use="sold", eggs=12, income=4),
    made("eggs_out", "2027-04-26", use="eaten", eggs=6),
    made("care", "2027-04-27", task="feed_water", place="pen", minutes=30),
    made("money", "2027-04-01", amount=-36, category="cage & <b>net", lasts_years=3),
)


@pytest.fixture
def paid(app: FastAPI, keeper: TestClient) -> TestClient:
    """The small flock, with feed, eggs sold and eaten, minutes and a cage."""
    home: Home = app.state.home
    home.record(*PAID)
    return keeper


def test_what_an_egg_costs_is_told_in_words_first(paid: TestClient) -> None:
    text = paid.get("/costs").text
    # 12 kg of 20 for 18.00 are 10.80; the cage wears 36 / 3 / 365.25 a day for 33 days: 1.08; both
    # are borne by hens and cocks, over 48 eggs: 0.248.
    assert '<p class="figure">0.248 EUR</p>' in text
    assert "A dozen costs 2.97 EUR" in text
    assert text.index("0.248 EUR") < text.index("<svg")
    assert "40 eggs" not in text
    assert "48 eggs laid; 12 sold, 6 eaten (those are no income), 0 given." in text
    for heading in ("What does an egg cost?", "What moves the cost of a dozen?"):
        assert heading in text


def test_the_page_tells_what_the_command_tells(app: FastAPI, paid: TestClient) -> None:
    found = costs_told.costs(journal_of(app), app.state.home.flock(), NOW.date())
    text = paid.get("/costs").text
    for sentence in (
        costs_told.whole_words(found.account)[0],
        costs_told.break_even_words(found.account),
        costs_told.cocks_words(found.account),
    ):
        assert sentence in text


def test_what_is_not_known_leads_to_the_entry_that_would_tell_it(
    app: FastAPI, keeper: TestClient
) -> None:
    app.state.home.record(made("feed_bought", "2027-04-02", feed="scratch & go", kg=20))
    app.state.home.record(made("feed_given", "2027-04-03", feed="scratch & go", kg=3))
    text = keeper.get("/costs").text
    assert "3.0 kg of scratch &amp; go have no price, and cost nothing here." in text
    assert 'href="/log/feed?feed=scratch%20%26%20go&amp;back=/costs"' in text
    assert "quailwright log" not in text
    form = keeper.get("/log/feed?feed=scratch%20%26%20go&back=/costs").text
    assert 'value="scratch &amp; go"' in form
    assert 'href="/log/care?task=feed_water&amp;back=/costs"' in text


def test_a_viewer_reads_and_is_led_to_no_form(enter: Enter, paid: TestClient) -> None:
    text = enter("viewer").get("/costs").text
    assert "0.248 EUR" in text
    assert "/log/" not in text


def test_days_may_be_asked_for(paid: TestClient) -> None:
    april = paid.get("/costs?from=2027-04-01&until=2027-04-30").text
    assert "From Thursday 1 April 2027 to Friday 30 April 2027" in april
    assert "40 eggs laid" in april
    month = paid.get("/costs?span=month").text
    assert "From Saturday 1 May 2027 to Monday 3 May 2027" in month
    assert "8 eggs laid" in month
    assert "<svg" not in month.split('id="months"')[1].split("</section>")[0]
    long_ago = paid.get("/costs?from=0001-01-01").text
    assert "From Friday 1 January 2027" in long_ago


def test_the_accepted_plan_stands_beside_what_came(app: FastAPI, paid: TestClient) -> None:
    assert "what the plan reckoned" not in paid.get("/costs").text
    brief = "[goal]\neggs_per_week = 40\n"
    app.state.home.record(made("plan_accepted", "2027-04-10T20:00:00Z", brief=brief, certainty=0.8))
    text = paid.get("/costs").text
    assert "Did feed and hatching eggs cost what the plan reckoned?" in text
    rows = text.split("The accepted plan beside what came")[1].split("</table>")[0]
    assert '<th scope="row">2027-04</th>' in rows
    # 8 kg, of 20 for 18.00, were given in April after the plan was accepted.
    assert "<td>7.20</td>" in rows
    assert "reckoned</td>" in rows


def test_a_minute_with_a_price_is_a_cost(paid: TestClient) -> None:
    assert "your time" not in paid.get("/costs").text.split('id="months"')[0]
    assert "your time" in paid.get("/costs?minute=0,20").text


@pytest.mark.parametrize(
    "query",
    [
        "from=soon", "until=2027-02-30", "from=2027-05-02&until=2027-05-01", "until=2027-06-01",
        "minute=much", "minute=-1", "minute=nan", "minute=1e999", "from=<script>",
    ],
)  # fmt: skip
@pytest.mark.parametrize("path", ["/costs", "/costs/months.csv", "/costs/costs.xlsx"])
def test_what_cannot_be_asked_is_said(keeper: TestClient, path: str, query: str) -> None:
    answer = keeper.get(f"{path}?{query}")
    assert answer.status_code == 422
    assert "--" not in answer.text.split("<main")[1]
    assert "<script>" not in answer.text.replace("<script src", "")


def test_the_months_are_taken_along_as_csv(app: FastAPI, paid: TestClient) -> None:
    before = journal_of(app)
    answer = paid.get("/costs/months.csv?from=2027-04-01&until=2027-05-03")
    assert answer.headers["Content-Type"] == "text/csv; charset=utf-8"
    told = answer.headers["Content-Disposition"]
    assert told == 'attachment; filename="costs-2027-04-01-2027-05-03.csv"'
    assert "default-src 'none'" in answer.headers["Content-Security-Policy"]
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    assert [(row["month"], row["eggs_laid"]) for row in rows] == [
        ("2027-04", "40"),
        ("2027-05", "8"),
    ]
    assert journal_of(app) == before


def test_the_spreadsheet_is_taken_along_with_its_formulas(paid: TestClient) -> None:
    answer = paid.get("/costs/costs.xlsx?from=2027-04-01&until=2027-05-03")
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
    assert answer.headers["Content-Type"] == kind
    assert answer.headers["Content-Disposition"].endswith('.xlsx"')
    assert "default-src 'none'" in answer.headers["Content-Security-Policy"]
    with zipfile.ZipFile(io.BytesIO(answer.content)) as book:
        assert b"<f>SUM(" in book.read("xl/worksheets/sheet1.xml")


def test_the_page_leads_to_files_of_the_same_days(paid: TestClient) -> None:
    text = paid.get("/costs?from=2027-04-01&until=2027-04-30&minute=0,2").text
    asked = "from=2027-04-01&amp;until=2027-04-30&amp;minute=0.2"
    assert f'href="/costs/costs.xlsx?{asked}"' in text
    assert f'href="/costs/months.csv?{asked}"' in text


def test_keepers_words_are_escaped(paid: TestClient) -> None:
    assert "<b>net" not in paid.get("/costs").text


def test_an_empty_flock_is_told_what_to_write(tmp_path: Path) -> None:
    app = create_app(Settings(str(tmp_path / "new.sqlite"), lambda: NOW, invented=True))
    with TestClient(app, base_url="http://localhost") as client:
        for path in ("/costs", "/feed", "/costs/months.csv", "/costs/costs.xlsx"):
            assert client.get(path).status_code == 200, path
        assert 'href="/log/feed_bought?back=/costs"' in client.get("/costs").text
        assert "No feed is in the store by the record." in client.get("/feed").text


def test_eight_who_ask_at_once_wait_for_one_reckoning(
    paid: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    reckonings = []
    own, gate = costs_told.costs, threading.Event()

    def slow(*args: Any, **more: Any) -> Any:
        reckonings.append(1)
        gate.wait(0.3)
        return own(*args, **more)

    monkeypatch.setattr(costs_told, "costs", slow)
    with ThreadPoolExecutor(8) as eight:
        answers = list(eight.map(lambda _: paid.get("/costs"), range(8)))
    assert {answer.status_code for answer in answers} == {200}
    assert len(reckonings) == 1
    assert paid.get("/api/costs").status_code == 200
    assert len(reckonings) == 1

"""The outlook's questions on its page, how often it is drawn, and offers of eggs compared."""

import threading
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient
from tests.web.conftest import Enter, journal_of

from quailwright.exchange import outlook_told


def asked(client: TestClient, ask: str, **fields: str) -> Any:
    return client.get("/outlook", params={"ask": ask, **fields})


@pytest.mark.parametrize(
    ("ask", "fields", "words"),
    [
        ("lamp", {"lamp_h": "16"}, "a lamp to 16 h"),
        ("fewer_cocks", {"fewer_cocks": "1"}, "1 cock fewer"),
        ("fewer_hens", {"fewer_hens": "3"}, "3 hens fewer"),
        ("no_hatches", {}, "nothing more hatching"),
        (
            "set",
            {"set_eggs": "40", "set_on": "2027-05-10", "set_of": "of hens"},
            "40 eggs of hens set on 2027-05-10",
        ),
        (
            "set",
            {"set_eggs": "40", "set_on": "2027-05-10", "set_of": "new shipped"},
            "40 eggs of new eggs, by post set on 2027-05-10",
        ),
    ],
)
def test_each_question_is_answered_in_words_on_the_chart_and_in_a_table(
    keeper: TestClient, ask: str, fields: dict[str, str], words: str
) -> None:
    text = asked(keeper, ask, **fields).text
    assert f"What would {words} change?" in text
    assert 'class="fan-other"' in text
    assert "as it stands</th>" in text
    assert 'class="fan-other"' not in keeper.get("/outlook").text


def test_fewer_hens_lay_less_and_eat_less(keeper: TestClient) -> None:
    text = asked(keeper, "fewer_hens", fewer_hens="5").text
    answer = text.split('id="changes"')[1].split("</section>")[0]
    assert "<b>-" in answer
    assert "kg of feed, likely -" in answer


def test_posted_eggs_promise_less_than_fetched_ones(keeper: TestClient) -> None:
    """Common practice, no source, and the published shares that ours are made from: the post costs
    part of a hatch."""

    def eggs(kind: str) -> int:
        fields = {"set_eggs": "60", "set_on": "2027-05-10", "set_of": f"new {kind}"}
        text = asked(keeper, "set", **fields).text.split('id="changes"')[1]
        return int(text.split("<b>")[1].split(" eggs")[0])

    assert 0 < eggs("shipped") < eggs("collected")


@pytest.mark.parametrize(
    ("ask", "fields"),
    [
        ("lamp", {"lamp_h": "25"}),
        ("fewer_hens", {"fewer_hens": "11"}),
        ("fewer_hens", {"fewer_hens": "-1"}),
        ("set", {"set_eggs": "0"}),
        ("set", {"set_on": "soon"}),
        ("set", {"set_on": "2027-05-03"}),
        ("set", {"set_on": "2030-05-03"}),
        ("set", {"set_of": "of nobody"}),
        ("set", {"set_of": "<script>"}),
        ("everything", {}),
    ],
)
def test_what_cannot_be_asked_is_said(keeper: TestClient, ask: str, fields: dict[str, str]) -> None:
    answer = asked(keeper, ask, **fields)
    assert answer.status_code == 422
    assert "<script>" not in answer.text.replace("<script src", "")


def test_asking_writes_nothing(app: FastAPI, keeper: TestClient) -> None:
    before = journal_of(app)
    asked(keeper, "set", set_of="new collected")
    assert journal_of(app) == before


def test_how_things_stand_is_drawn_once(
    keeper: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    draws = []
    own = outlook_told.ahead

    def counted(*args: Any, **more: Any) -> Any:
        draws.append(1)
        return own(*args, **more)

    monkeypatch.setattr(outlook_told, "ahead", counted)
    for _ in range(3):
        assert keeper.get("/outlook").status_code == 200
    assert len(draws) == 1
    asked(keeper, "fewer_hens", fewer_hens="1")
    assert len(draws) == 2


def test_published_figures_lead_to_their_sources(keeper: TestClient) -> None:
    text = keeper.get("/outlook").text
    links = [
        part.split('"')[0].replace("&amp;", "&")
        for part in text.split('href="')
        if part.startswith("/help?")
    ]
    assert links
    for link in links:
        page, _, anchor = link.partition("#")
        assert f'id="{anchor}"' in keeper.get(page).text


OFFERS = {
    "hens": "12",
    "offer 1, source": "creek",
    "offer 1, route": "collected",
    "offer 1, price_per_egg": "0,60",
    "offer 3, source": "far & <b>away</b>",
    "offer 3, route": "shipped",
    "offer 3, price_per_egg": "0.4",
    "offer 3, postage": "12",
    "offer 3, most_eggs": "20",
}


def test_offers_are_compared_as_the_command_does(app: FastAPI, keeper: TestClient) -> None:
    before = journal_of(app)
    answer = keeper.get("/plan/offers", params=OFFERS)
    assert answer.status_code == 200
    assert "What should I order?" in answer.text
    assert "eggs from creek for" in answer.text
    assert "far &amp; &lt;b&gt;away" in answer.text
    assert "<b>away" not in answer.text
    assert "all 20" in answer.text
    assert "Not enough eggs: it sells 20 at most" in answer.text
    assert journal_of(app) == before


def test_a_pasted_file_of_offers_is_read(enter: Enter) -> None:
    text = 'hens = 8\n[[offer]]\nsource = "creek"\nroute = "collected"\nprice_per_egg = 0.5\n'
    answer = enter("viewer").get("/plan/offers", params={"toml": text})
    assert "What do 8 hens at lay take?" in answer.text
    wrong = enter("viewer").get("/plan/offers", params={"toml": text + "no_such = 3\n"})
    assert wrong.status_code == 422
    assert "no_such" in wrong.text


def test_hens_are_taken_from_the_goal_and_the_empty_page_only_asks(keeper: TestClient) -> None:
    # 40 eggs a week at 70 % lay take 9 hens: 40 / (7 * 0.7) = 8.2.
    fields = {name: value for name, value in OFFERS.items() if name != "hens"}
    assert "What do 9 hens at lay take?" in keeper.get("/plan/offers", params=fields).text
    assert "What should I order?" not in keeper.get("/plan/offers").text


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("hens", "many"),
        ("certainty", "2"),
        ("offer 3, price_per_egg", ""),
        ("offer 3, most_eggs", "few"),
        ("offer 1, source", ""),
    ],
)
def test_what_is_wrong_in_an_offer_is_said_beside_it(
    keeper: TestClient, name: str, text: str
) -> None:
    answer = keeper.get("/plan/offers", params={**OFFERS, name: text})
    assert answer.status_code == 422
    place = answer.text.index(f'name="{name}"')
    assert "fault" in answer.text[place : place + 600]


def test_those_who_ask_at_once_wait_for_one_drawing(
    app: FastAPI, keeper: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    draws = []
    own, gate = outlook_told.ahead, threading.Event()

    def slow(*args: Any, **more: Any) -> Any:
        draws.append(1)
        gate.wait(0.3)
        return own(*args, **more)

    monkeypatch.setattr(outlook_told, "ahead", slow)
    with ThreadPoolExecutor(4) as people:
        answers = list(people.map(lambda _: keeper.get("/outlook").status_code, range(4)))
    assert answers == [200] * 4
    assert len(draws) == 1

"""Paper: what prints, codes that lead to places, and a week typed back in one go."""

import re
from html import unescape

from fastapi import FastAPI
from starlette.testclient import TestClient
from tests.web.conftest import Enter, journal_of, token_of

from quailwright.journal.entries import BirdsDied, EggsCollected

BACK = "/paper/back?week=2027-04-26"


def form_id(text: str) -> str:
    """The id that a form was given."""
    found = re.search(r'name="form" value="([^"]+)"', text)
    assert found is not None
    return found[1]


def test_the_sheet_has_boxes_blanks_and_its_day(keeper: TestClient) -> None:
    text = keeper.get("/paper/round?day=2027-05-10").text
    assert "Round of Monday 10 May 2027" in text
    assert "Feed and fresh water" in text
    assert 'aria-label="box to tick"' in text
    assert ">eggs</span>" in text
    week = keeper.get("/paper/round?days=7").text
    assert week.count('<th scope="col">') == 8
    refused = keeper.get("/paper/round?day=2026-01-01")
    assert (refused.status_code, "next 60 days" in refused.text) == (422, True)
    assert keeper.get("/paper/round?day=soon").status_code == 422


def test_cards_lead_to_their_place_by_the_address_asked_under(app: FastAPI, enter: Enter) -> None:
    keeper = enter("keeper")
    text = keeper.get("/paper/places").text
    assert 'aria-label="Code that opens the page of pen"' in text
    assert "no phone can open them" in text
    assert "style=" not in text
    assert keeper.get("/places/pen").status_code == 200
    assert "10 hens · 2 cocks · hatched Thu 1 Oct 2026" in re.sub(r"\s+", " ", text)


def test_each_code_is_drawn_for_its_own_address(keeper: TestClient) -> None:
    import segno

    text = keeper.get("/paper/places").text
    code = segno.make("http://localhost/places/pen", error="m", micro=False)
    drawn = code.svg_inline(border=4, omitsize=True, dark="#000", light="#fff", svgclass="code")
    assert drawn in text


def test_a_week_is_typed_back_once(app: FastAPI, keeper: TestClient) -> None:
    text = keeper.get(BACK).text
    assert 'aria-label="eggs of hens, Mon 26 Apr"' in text
    assert '<span class="logged">8</span>' in text  # Saturday 1 May is logged already
    fields = {
        "token": token_of(keeper, BACK),
        "form": form_id(text),
        "eggs|2027-04-26|hens": "7",
        "eggs|2027-04-27|hens": "9",
        "dead|0|count": "1",
        "dead|0|day": "2027-04-28",
        "dead|0|who": "hens|hens",
    }
    before = len(journal_of(app))
    answer = keeper.post(BACK, data=fields)
    assert (answer.status_code, answer.headers["location"]) == (303, f"{BACK}&written=3")
    new = journal_of(app)[before:]
    assert [(e.at, e.by) for e in new] == [
        ("2027-04-26", "keeper"), ("2027-04-27", "keeper"), ("2027-04-28", "keeper"),
    ]  # fmt: skip
    assert isinstance(new[0], EggsCollected)
    assert isinstance(new[2], BirdsDied)
    assert keeper.post(BACK, data=fields).status_code == 303
    assert len(journal_of(app)) == before + 3
    text = keeper.get(answer.headers["location"]).text
    assert "Kept: 3 entries." in text
    assert '<span class="logged">9</span>' in text


def test_one_wrong_cell_writes_nothing_and_keeps_what_was_typed(
    app: FastAPI, keeper: TestClient
) -> None:
    text = keeper.get(BACK).text
    fields = {"token": token_of(keeper, BACK), "form": form_id(text)}
    fields |= {"eggs|2027-04-26|hens": "7", "eggs|2027-04-27|hens": "many"}
    before = journal_of(app)
    answer = keeper.post(BACK, data=fields)
    assert answer.status_code == 422
    assert "hens, Tue 27 Apr:" in answer.text
    assert 'value="many"' in answer.text
    assert 'value="7"' in answer.text
    assert form_id(answer.text) == form_id(text)
    assert journal_of(app) == before


def test_more_dead_than_alive_writes_nothing(app: FastAPI, keeper: TestClient) -> None:
    fields = {"token": token_of(keeper, BACK), "form": form_id(keeper.get(BACK).text)}
    fields |= {"eggs|2027-04-26|hens": "7", "dead|0|count": "99", "dead|0|day": "2027-04-28"}
    before = journal_of(app)
    answer = keeper.post(BACK, data={**fields, "dead|0|who": "hens|hens"})
    assert answer.status_code == 422
    assert 'value="99"' in unescape(answer.text)
    assert journal_of(app) == before


def test_weeks_to_come_and_no_weeks_are_refused(keeper: TestClient) -> None:
    assert keeper.get("/paper/back?week=2028-01-03").status_code == 422
    assert keeper.get("/paper/back?week=someday").status_code == 422
    assert keeper.get("/paper/back?week=2027-W17").status_code == 200


def test_a_form_of_another_page_writes_nothing(app: FastAPI, keeper: TestClient) -> None:
    before = journal_of(app)
    assert keeper.post(BACK, data={"eggs|2027-04-26|hens": "7"}).status_code == 403
    assert journal_of(app) == before


def test_a_hatch_leads_to_the_source_of_every_figure_it_stands_on(keeper: TestClient) -> None:
    text = keeper.get("/hatches/may").text
    links = set(re.findall(r'href="(/help\?subject=\w+)#([\w.]+)"', text))
    assert {"incubation.weight_loss_low", "incubation.humidity_setter"} <= {key for _, key in links}
    for address, key in links:
        assert f'id="{key}"' in keeper.get(address).text, key


def test_reasons_on_the_round_lead_to_their_figures(keeper: TestClient) -> None:
    links = set(re.findall(r'href="(/help\?subject=\w+)#([\w.]+)"', keeper.get("/").text))
    assert links
    for address, key in links:
        assert f'id="{key}"' in keeper.get(address).text, key

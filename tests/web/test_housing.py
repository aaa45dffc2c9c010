"""Housing and manure: page, command and API tell the same; who may choose; units; bad input."""

import html
import json
import re
from typing import Any

import msgspec
import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient
from tests.cli import conftest as terminal
from tests.cli.conftest import Quail
from tests.makers import made
from tests.web.conftest import SMALL_FLOCK, Enter, journal_of, token_of

from quailwright.exchange.json_types import HousingShape, ManureShape
from quailwright.journal.entries import Holding, as_dict

quail = terminal.quail
ON = "2027-05-03"


def words_of(page: str) -> str:
    """A page without its marks, in one line."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())


@pytest.fixture
def kept_here(quail: Quail, tmp_path_factory: pytest.TempPathFactory) -> Quail:
    """A terminal over the same small flock."""
    lines = "\n".join(json.dumps(as_dict(entry)) for entry in SMALL_FLOCK)
    assert quail("journal", "import", "-", stdin=lines.encode()).code == 0
    return quail


@pytest.mark.parametrize(
    ("command", "options", "query"),
    [
        ("housing", (), ""),
        ("housing", ("--standard", "swiss"), "&standard=swiss"),
        ("manure", (), ""),
        ("manure", ("--bedding", "straw"), "&bedding=straw"),
    ],
)
def test_command_api_and_page_tell_the_same(
    kept_here: Quail, keeper: TestClient, command: str, options: tuple[str, ...], query: str
) -> None:
    said = kept_here(command, *options, "--on", ON, "--json")
    assert (said.code, said.err) == (0, "")
    assert said.json == keeper.get(f"/api/{command}?on={ON}{query}").json()
    page = words_of(keeper.get(f"/{command}?{query.lstrip('&')}").text)
    read = " ".join(kept_here(command, *options, "--on", ON).out.split())
    for sentence in said.json["said"]:
        assert " ".join(sentence.split()) in page
        assert " ".join(sentence.split()) in read


@pytest.mark.parametrize(
    ("path", "shape"), [("/api/housing", HousingShape), ("/api/manure", ManureShape)]
)
def test_answers_have_their_shapes(keeper: TestClient, path: str, shape: Any) -> None:
    answer = keeper.get(path).json()
    assert msgspec.to_builtins(msgspec.convert(answer, shape)) == answer


def test_room_of_the_small_flock(keeper: TestClient) -> None:
    [pen] = keeper.get("/api/housing").json()["places"]
    assert (pen["place"], pen["birds"], pen["floor_m2"]) == ("pen", 12, 4)
    assert pen["floor_m2_per_bird"] == pytest.approx(4 / 12, abs=1e-4)
    assert pen["least_m2"] == pytest.approx(12 * 0.025)
    # 4 m²: 500 at 80 cm² (Aichi 2015/16), 40 at 0.1 m², 6 and (4 - 0.5) / 0.045 (Swiss rule),
    # 2 and (4 - 1.2) / 0.15 (Directive 2010/63/EU, from memory).
    assert pen["fits"] == {
        "trade": 500, "austrian": 88, "wire": 86, "swiss": 83, "default": 40, "solid": 20,
        "laboratory": 20,
    }  # fmt: skip
    assert (pen["hens_per_cock"], pen["height"]) == (5, None)


def test_droppings_of_the_small_flock(keeper: TestClient) -> None:
    told = keeper.get("/api/manure").json()
    first = told["weeks"][0]
    # 25 to 38 g a grown bird and day (reference/flock_biology.md section 6); cocks eat less.
    assert 10 * 7 * 0.025 <= first["droppings_kg"] <= 12 * 7 * 0.038
    assert first["droppings_low_kg"] < first["droppings_kg"] < first["droppings_high_kg"]
    # The hatch comes out on about 15 May: more birds from then on.
    assert told["weeks"][2]["birds"] > told["weeks"][1]["birds"] == first["birds"] == 12
    assert told["weeks"][-1]["droppings_kg"] > first["droppings_kg"]
    assert told["bedding"] == []


def test_bedding_by_floor_depth_and_rhythm(app: FastAPI, keeper: TestClient) -> None:
    app.state.home.record(
        made("place", "2027-05-01", place="pen", role="pen", floor_kind="litter"),
        made("place", "2027-05-01", place="brood", role="brooder", floor_m2=0.5),
        made("group", "2027-05-01", group="little", place="brood", chicks=20,
             hatched_on="2027-04-28"),
    )  # fmt: skip
    found = {one["place"]: one for one in keeper.get("/api/manure?bedding=straw").json()["bedding"]}
    # 5 to 10 cm of litter (New South Wales DPI): 4 m² take 300 L, half a square metre 37.5 L;
    # brooders weekly, cages about every 61 days (common practice, no source).
    assert found["pen"]["litres_a_change"] == pytest.approx(300)
    assert found["pen"]["litres_a_week"] == pytest.approx(300 * 7 / 61, abs=0.1)
    assert found["brood"]["litres_a_week"] == pytest.approx(37.5)
    # Straw 135 kg/m³ (Rynk et al. 1992, from memory).
    assert found["brood"]["kg_a_week"] == pytest.approx(37.5 * 0.135, abs=0.01)
    text = words_of(keeper.get("/manure?bedding=straw").text)
    assert "brood: 38 L each time, every 7 days." in text
    assert "buckets of straw to one of droppings" in text


def test_a_keeper_chooses_a_standard_and_everything_goes_by_it(
    app: FastAPI, keeper: TestClient
) -> None:
    before = keeper.get("/housing").text
    assert "You chose no standard" in before
    fields = {
        "token": token_of(keeper, "/housing"), "space_standard": "laboratory", "back": "/housing",
    }  # fmt: skip
    answer = keeper.post("/log/holding", data=fields)
    assert answer.headers["location"].startswith("/housing?kept=")
    written = journal_of(app)[-1]
    assert isinstance(written, Holding)
    assert written.space_standard == "laboratory"
    text = words_of(keeper.get("/housing").text)
    assert "Told by the standard that you keep to (European rule for laboratory birds)." in text
    assert "You keep to this one." in text
    # 12 birds want 1.2 m² and ten times 0.15 m²: 4 m² do. On 2 m² they do not.
    assert "12 birds on 4.00 m², 3333 cm² for each; 2.70 m² needed." in text
    app.state.home.record(made("place", "2027-05-02", place="pen", role="pen", floor_m2=2))
    text = words_of(keeper.get("/housing").text)
    assert "pen is too small: 12 birds on 2.00 m², and 2.70 m² is needed." in text
    assert "crowded" in keeper.get("/").text
    assert "they need 2.70 m²" in words_of(keeper.get("/birds").text)


def test_a_standard_asked_for_is_not_kept(app: FastAPI, keeper: TestClient) -> None:
    before = journal_of(app)
    text = words_of(keeper.get("/housing?standard=solid").text)
    assert "Told by the standard that you ask for now (hobby, on solid floor)." in text
    assert journal_of(app) == before
    assert "You chose no standard" in keeper.get("/housing").text


def test_sources_and_cautions_stand_on_the_pages(keeper: TestClient) -> None:
    text = words_of(keeper.get("/housing").text)
    for said in (
        "Swiss Animal Protection Ordinance of 2008", "Directive 2010/63/EU, Annex III, Table 8.3",
        "from memory", "EFSA Journal 21(5):7992", "common practice, no source",
        "people smell ammonia at 20 to 30 ppm", "the nose gets used to it within 20 minutes",
        "these standards are not law for you", "wear a mask",
    ):  # fmt: skip
        assert said in text
    text = words_of(keeper.get("/manure").text)
    # 7 CFR 205.203: 120 days where the edible part touches the soil, 90 otherwise.
    for said in ("keep 120 days", "90 days for other food", "wear a mask", "Dead birds", "Rynk"):
        assert said in text


def test_us_units(app: FastAPI, keeper: TestClient) -> None:
    app.state.home.record(made("holding", "2027-05-01", units="us", space_standard="default"))
    app.state.home.record(made("place", "2027-05-01", place="pen", role="pen", height_m=1.8))
    text = words_of(keeper.get("/housing").text)
    # 4 m² are 43.06 square feet (exact: 1 ft = 0.3048 m), a twelfth 3.59; 1.8 m are 5.9 ft.
    assert "12 birds on 43.1 sq ft, 3.59 sq ft for each; 12.9 sq ft needed." in text
    assert "5.9 ft high: tall" in text
    assert "cm²" not in words_of(keeper.get("/housing").text.split("Which standard")[0])
    assert " lb of fresh droppings" in words_of(keeper.get("/manure").text)
    assert "gal" in words_of(keeper.get("/manure").text)


def test_a_viewer_reads_and_chooses_nothing(enter: Enter, app: FastAPI) -> None:
    viewer = enter("viewer")
    text = viewer.get("/housing").text
    assert "Which standard of room?" in text
    assert "space_standard" not in text
    assert "/log/" not in text
    assert viewer.get("/manure").status_code == 200
    before = journal_of(app)
    fields = {"token": token_of(viewer, "/more"), "space_standard": "wire", "back": "/housing"}
    assert viewer.post("/log/holding", data=fields).status_code == 403
    assert journal_of(app) == before


def test_a_helper_does_not_set_the_standard(enter: Enter) -> None:
    helper = enter("helper")
    assert "space_standard" not in helper.get("/housing").text
    fields = {"token": token_of(helper, "/more"), "space_standard": "wire", "back": "/housing"}
    assert helper.post("/log/holding", data=fields).status_code == 403


@pytest.mark.parametrize("path", ["/housing", "/manure", "/api/housing", "/api/manure"])
def test_nobody_and_no_child_reads_them(enter: Enter, app: FastAPI, path: str) -> None:
    assert enter("").get(path).status_code in (303, 401, 403)


@pytest.mark.parametrize(
    ("command", "option", "wrong", "says"),
    [
        ("housing", "standard", "swis", "Did you mean swiss?"),
        ("housing", "standard", "advice", "There is no standard of room 'advice'."),
        ("housing", "standard", "<b>", "There is no standard of room"),
        ("manure", "bedding", "strow", "Did you mean straw?"),
        ("manure", "bedding", "gold", "No figures are known of bedding 'gold'."),
    ],
)
def test_bad_input_says_what_there_is(
    kept_here: Quail, keeper: TestClient, command: str, option: str, wrong: str, says: str
) -> None:
    said = kept_here(command, f"--{option}", wrong)
    assert said.code == 2
    assert says in said.err
    answer = keeper.get(f"/api/{command}", params={option: wrong})
    assert answer.status_code == 422
    assert says in answer.json()["sentence"]
    page = keeper.get(f"/{command}", params={option: wrong})
    assert page.status_code == 422
    assert says in words_of(page.text)
    assert "<b>" not in page.text.split("<main")[1] or wrong != "<b>"


def test_an_empty_flock(app: FastAPI, quail: Quail) -> None:
    assert "No pen or brooder is written down yet." in quail("log", "care", "task=x").out + (
        quail("housing").out
    )
    told = quail("manure")
    assert told.code == 0
    assert "No birds are there, and so no droppings." in told.out


def test_a_place_not_told_of_leads_to_its_form(app: FastAPI, keeper: TestClient) -> None:
    text = keeper.get("/housing").text
    assert "Of pen nobody has told its height, what its floor is." in words_of(text)
    assert 'href="/log/place?place=pen&amp;role=pen&amp;back=/housing"' in text
    assert "quailwright log" not in text


def test_the_way_there(keeper: TestClient, enter: Enter) -> None:
    assert 'href="/housing"' in keeper.get("/more").text
    assert 'href="/housing#choose"' in keeper.get("/settings").text
    assert 'href="/manure"' in keeper.get("/housing").text

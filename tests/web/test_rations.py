"""The pages of blends, rations and needs: what they answer, and how they take nonsense."""

import re
from collections.abc import Callable

import msgspec
import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient
from tests.makers import made
from tests.planning.rations import BASIC, PRICES
from tests.web.conftest import NOW, PHRASES, journal_of, token_of

from quailwright.exchange.blend_page import blend_page
from quailwright.exchange.json_types import BlendShape, RationShape
from quailwright.exchange.needs_page import _SEEN, CATEGORIES
from quailwright.exchange.record import record
from quailwright.flock.state import Flock
from quailwright.husbandry.feeding import STAGES
from quailwright.husbandry.ingredients import ingredients
from quailwright.husbandry.nutrients import NUTRIENTS
from quailwright.husbandry.requirements import all_requirements

Enter = Callable[[str], TestClient]
# The square as it is taught: maize of 8.5 % with soybean meal of 48.5 % to 21.5 % takes 27 and 13
# parts of 40 (arithmetic of the square, Pearson; figures invented).
LABELS = {
    "target.protein_pct": "21.5",
    "birds": "layer",
    "batch_kg": "40",
    "feed 1, feed": "corn <b>cracked</b>",
    "feed 1, protein_pct": "8,5",
    "feed 3, feed": "meal",
    "feed 3, protein_pct": "48.5",
}
RATION = {
    "stage": "layer",
    "batch_kg": "20",
    "certainty": "0.8",
    "premix, share_pct": "0.5",
    **dict.fromkeys(BASIC, "yes"),
    **{f"{code}, price_per_kg": str(PRICES[code]) for code in BASIC},
}


def in_words(text: str) -> str:
    """What stands in a page's middle, without markup."""
    middle = text.split("<main")[1].split("</main>")[0]
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", middle))


def asked(client: TestClient, **changed: str) -> str:
    """The page of a ration asked for, in words; it must be an answer."""
    form = {"token": token_of(client), **RATION, **changed}
    answer = client.post("/feed/ration", data=form)
    assert answer.status_code == 200, in_words(answer.text)
    return in_words(answer.text)


# Blends.


def test_two_labels_are_blended_in_words_and_as_the_square(
    app: FastAPI, keeper: TestClient
) -> None:
    before = journal_of(app)
    answer = keeper.get("/feed/blend", params=LABELS)
    assert answer.status_code == 200
    assert "Mix 27 kg of corn &lt;b&gt;cracked&lt;/b&gt; with 13 kg of meal." in answer.text
    assert "<b>cracked" not in answer.text
    square = answer.text.split('class="square"')[1].split("</div>")[0]
    assert "27 parts" in square
    assert "13 parts" in square
    assert journal_of(app) == before


def test_hens_get_shell_beside_it_and_chicks_never(keeper: TestClient) -> None:
    shell = "put oyster shell in a dish of its own"
    labels = {**LABELS, "feed 1, calcium_pct": "0.02", "feed 3, calcium_pct": "0.3"}
    assert shell in keeper.get("/feed/blend", params=labels).text
    unknown = keeper.get("/feed/blend", params=LABELS).text
    assert shell not in unknown
    assert "How much calcium it holds is not known" in unknown
    for birds in ("starter", "starter layer", "grower"):
        told = keeper.get("/feed/blend", params={**labels, "birds": birds})
        assert told.status_code == 200
        assert shell not in told.text
    together = keeper.get("/feed/blend", params={**labels, "birds": "starter layer"}).text
    assert "put no oyster shell where chicks can reach it" in together


def test_who_eats_gives_the_target_and_its_source(keeper: TestClient) -> None:
    fields = {name: text for name, text in LABELS.items() if name != "target.protein_pct"}
    # NRC 1994, Table 6-2: 20 % of protein for breeding and laying quail.
    answer = keeper.get("/feed/blend", params=fields).text
    assert "what the most demanding of these birds need: protein 20.0 %" in answer
    assert "NRC 1994" in answer
    assert 'href="/help?subject=feeding#feeding.protein_layer"' in answer
    # The hens of the journal are seven months old: with nobody chosen, they are who eats.
    own = keeper.get("/feed/blend", params={**fields, "birds": ""}).text
    assert "as in your journal: hens in lay" in own
    assert "protein 20.0 %" in own


def test_a_blend_below_need_says_so(keeper: TestClient) -> None:
    told = keeper.get("/feed/blend", params={**LABELS, "target.protein_pct": "14"}).text
    assert "less than the 20.0 % that these birds (hens in lay) need" in told


def test_feeds_of_the_journal_are_filled_in_with_label_and_price(
    app: FastAPI, keeper: TestClient
) -> None:
    label = made("feed", "2027-04-02", feed="pellets", protein_pct=20.5, calcium_pct=3.0)
    record(app.state.home.desk.store, [label], NOW)
    page = keeper.get("/feed/blend", params={"feed 1, protein_pct": "9", "filling": "yes"}).text
    link = re.search(r'href="(/feed/blend\?[^"]*pellets[^"]*)"', page)
    assert link is not None
    filled = keeper.get(link[1].replace("&amp;", "&"))
    assert filled.status_code == 200
    assert "What do I mix?" not in filled.text  # nothing is answered before it is asked for
    assert 'name="feed 1, protein_pct" value="9"' in filled.text
    for name, text in (
        ("feed", "pellets"), ("protein_pct", "20.5"), ("calcium_pct", "3"),
        ("price_per_kg", "0.9"),  # 18.00 for 20 kg
    ):  # fmt: skip
        assert f'name="feed 2, {name}" value="{text}"' in filled.text
    assert not re.search(r'href="/feed/blend\?[^"]*pellets', filled.text.split("<form")[1])


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("feed 1, protein_pct", "100"),
        ("feed 3, protein_pct", "140"),
        ("feed 3, protein_pct", "much"),
        ("feed 3, protein_pct", ""),
        ("feed 1, calcium_pct", "-2"),
        ("feed 1, price_per_kg", "-0.5"),
        ("feed 1, me_kcal_kg", "0"),
        ("feed 3, feed", "corn <b>cracked</b>"),
        ("batch_kg", "0"),
        ("target.protein_pct", "101"),
        ("birds", "geese"),
    ],
)
def test_nonsense_is_said_beside_its_field(keeper: TestClient, name: str, text: str) -> None:
    answer = keeper.get("/feed/blend", params={**LABELS, name: text})
    assert answer.status_code == 422
    place = answer.text.index(f'name="{name}"')
    assert "fault" in answer.text[place : place + 1600].split("</div>")[0]


def test_one_feed_asks_for_another_and_none_for_nothing(keeper: TestClient) -> None:
    one = keeper.get("/feed/blend", params={"feed 1, protein_pct": "12", "birds": "layer"})
    assert one.status_code == 422
    assert "A blend needs two feeds." in one.text
    nothing = keeper.get("/feed/blend")
    assert nothing.status_code == 200
    assert "What do I mix?" not in nothing.text


def test_with_no_birds_known_it_asks_who_eats() -> None:
    typed = {"feed 1, protein_pct": "9", "feed 2, protein_pct": "30"}
    told = blend_page(Flock(), NOW.date(), typed)
    assert told.answer is None
    assert told.asked[0].name == "birds"
    assert told.asked[0].said == ("Say who eats of it, or how much protein it is to hold.",)


def test_out_of_reach_says_so_and_shows_the_nearest(keeper: TestClient) -> None:
    told = in_words(keeper.get("/feed/blend", params={**LABELS, "target.protein_pct": "60"}).text)
    assert "No: these feeds hold 8.5 % to 48.5 % of protein" in told
    assert "The nearest: Take 40 kg of meal alone." in told


def test_a_medicated_feed_raises_its_caution(keeper: TestClient) -> None:
    fields = {**LABELS, "birds": "grower", "feed 3, feed": "crumbs with amprolium"}
    assert "withdrawal period" in keeper.get("/feed/blend", params=fields).text


def test_a_pasted_blend_is_read_by_who_only_looks(enter: Enter) -> None:
    brief = (
        'birds = ["layer"]\n[[feed]]\nfeed = "a"\nprotein_pct = 30\n'
        '[[feed]]\nfeed = "b"\nprotein_pct = 10\n'
    )
    told = enter("viewer").get("/feed/blend", params={"toml": brief})
    assert "Mix 5 kg of a with 5 kg of b." in told.text
    wrong = enter("viewer").get("/feed/blend", params={"toml": brief + "no_such = 3\n"})
    assert wrong.status_code == 422
    assert "no_such" in wrong.text


# Rations.


def test_a_ration_in_scoops_with_needs_prices_and_what_it_rests_on(
    app: FastAPI, keeper: TestClient
) -> None:
    before = journal_of(app)
    told = asked(keeper, scoop_kg="0.25")
    for part in (
        "Layer ration, 20 kg:", "scoops", "This mix meets every need that can be checked",
        "Do they get what they need?", "NRC 1994, published", "NRC 1994, from memory",
        "This rests on figures that were not read again", "balanced feed bought for quail",
        "Not covered: moulds", "Another 0.1 % of methionine would cost", "A kilogram costs",
    ):  # fmt: skip
        assert part in told, part
    assert journal_of(app) == before


def test_answers_lead_to_the_rows_that_they_rest_on(keeper: TestClient) -> None:
    page = keeper.post("/feed/ration", data={"token": token_of(keeper), **RATION}).text
    needs = keeper.get("/feed/needs?of=layer").text
    table = keeper.get("/feed/needs?of=ingredients").text
    linked = re.findall(r'href="/feed/needs\?of=layer#(\w+)"', page)
    assert {"protein", "calcium", "methionine"} <= set(linked)
    assert all(f'id="{code}"' in needs for code in linked)
    mixed = re.findall(r'href="/feed/needs\?of=ingredients#(\w+)"', page)
    assert {"maize", "sbm48", "premix"} <= set(mixed)
    assert all(f'id="{code}"' in table for code in mixed)


def test_what_is_worth_buying_below_which_price(keeper: TestClient) -> None:
    told = asked(keeper, **{"peas": "yes", "peas, price_per_kg": "9"})
    assert re.search(r"Field peas.* worth buying below 0\.\d\d EUR a kg", told)


def test_what_is_not_ticked_is_not_used_and_stock_is_kept_to(keeper: TestClient) -> None:
    told = asked(keeper, **{"peas, price_per_kg": "0.01", "maize, stock_kg": "10", "sorghum": "y",
                            "sorghum, price_per_kg": "0.29"})  # fmt: skip
    mix = told.split("What do I weigh out?")[1].split("Do they get")[0]
    assert "Field peas" not in mix
    assert "Sorghum" in mix
    kilograms = re.search(r"Maize (\d+\.\d{3})", mix)
    assert kilograms is not None
    assert float(kilograms[1]) <= 10.0


def test_maize_and_soybean_meal_alone_are_no_ration(keeper: TestClient) -> None:
    fields = {"token": token_of(keeper), "stage": "layer", "maize": "y", "sbm48": "y",
              "maize, price_per_kg": "0.3", "sbm48, price_per_kg": "0.6"}  # fmt: skip
    told = in_words(keeper.post("/feed/ration", data=fields).text)
    assert "No: no mix of these ingredients meets every need." in told
    assert "calcium at least 2.50 %" in told
    assert "What comes nearest, though it falls short?" in told
    assert "Which needs make it dear?" not in told


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("maize, price_per_kg", ""),
        ("maize, price_per_kg", "-1"),
        ("maize, stock_kg", "lots"),
        ("premix, share_pct", ""),
        ("premix, share_pct", "200"),
        ("batch_kg", "nothing"),
        ("scoop_kg", "0"),
        ("certainty", "2"),
    ],
)
def test_nonsense_of_a_ration_is_said_beside_its_field(
    keeper: TestClient, name: str, text: str
) -> None:
    form = {"token": token_of(keeper), **RATION, name: text}
    answer = keeper.post("/feed/ration", data=form)
    assert answer.status_code == 422
    place = answer.text.index(f'name="{name}"')
    assert "fault" in answer.text[place : place + 900].split("</div>")[0]


def test_an_own_ingredient_by_its_label(keeper: TestClient) -> None:
    own = {"own 1, ingredient": "farm wheat", "own 1, like": "wheat_soft",
           "own 1, protein": "11,8", "own 1, price_per_kg": "0.1"}  # fmt: skip
    told = asked(keeper, **own)
    assert re.search(r"farm wheat \d+\.\d{3}.*from memory, with your own figures", told)
    form = {"token": token_of(keeper), **RATION, **own}
    for name, text in (("protein", "100"), ("energy", "3"), ("price_per_kg", "")):
        wrong = keeper.post("/feed/ration", data={**form, f"own 1, {name}": text})
        assert wrong.status_code == 422, name
        assert "fault" in wrong.text.split('name="own 1, ingredient"')[1]


def test_chicks_get_no_shell_and_nothing_ticked_is_said(keeper: TestClient) -> None:
    form = {"token": token_of(keeper), **RATION, "stage": "starter", "oyster_shell": "yes",
            "oyster_shell, price_per_kg": "0.4"}  # fmt: skip
    refused = keeper.post("/feed/ration", data=form)
    assert refused.status_code == 422
    assert "never for chicks or growers" in refused.text.split('name="oyster_shell"')[1]
    empty = keeper.post("/feed/ration", data={"token": form["token"], "stage": "layer"})
    assert empty.status_code == 422
    assert "Nothing is ticked." in empty.text


def test_a_medicine_is_never_offered_nor_taken(app: FastAPI, keeper: TestClient) -> None:
    feeds = [made("feed", "2027-04-02", feed=name, protein_pct=20) for name in
             ("plain mash", "mash with amprolium")]  # fmt: skip
    record(app.state.home.desk.store, feeds, NOW)
    page = keeper.get("/feed/ration").text
    assert "plain mash" in page
    assert "amprolium" not in page
    brief = 'stage = "layer"\n[[ingredient]]\ningredient = "amprolium"\nprice_per_kg = 1\n'
    refused = keeper.post("/feed/ration", data={"token": token_of(keeper), "toml": brief})
    assert refused.status_code == 422
    assert "a medicine" in refused.text


def test_a_ration_is_asked_by_who_may_write_and_with_the_token(
    keeper: TestClient, enter: Enter
) -> None:
    assert keeper.post("/feed/ration", data=RATION).status_code == 403
    viewer = enter("viewer")
    page = viewer.get("/feed/ration")
    assert page.status_code == 200
    assert 'action="/feed/ration"' not in page.text
    assert viewer.post("/feed/ration", data={"token": token_of(viewer)}).status_code == 403


def test_a_child_does_not_see_them(app: FastAPI) -> None:
    app.state.home.household.add("Ida", "child", PHRASES["helper"], NOW)
    child = TestClient(app, base_url="http://localhost", follow_redirects=False)
    form = {"name": "Ida", "passphrase": PHRASES["helper"], "token": token_of(child, "/sign-in")}
    assert child.post("/sign-in", data=form).status_code == 303
    for path in ("/feed/blend", "/feed/ration", "/feed/needs"):
        assert child.get(path).status_code == 403
        assert path not in child.get("/more").text
    assert child.post("/feed/ration", data={"token": token_of(child)}).status_code == 403
    token = {"X-Write-Token": token_of(child)}
    for path in ("/api/ration", "/api/blend"):
        assert child.post(path, json={"brief": ""}, headers=token).status_code == 403


# Needs.


@pytest.mark.parametrize("stage", STAGES)
def test_every_requirement_is_shown_with_its_source(keeper: TestClient, stage: str) -> None:
    page = keeper.get(f"/feed/needs?of={stage}").text
    rows = [row for row in all_requirements() if row.stage == stage]
    assert page.count('class="cited"') == len(rows)
    # NRC 1994, Table 6-2, breeding quail: 20 % of protein, 2.5 % of calcium.
    if stage == "layer":
        assert "<b>20 %</b>, breeding/laying" in page
        assert "<b>2.5 %</b>, breeding/laying" in page
        assert "production optimum 3.06" in page  # a newer finding stands beside it


def test_every_ingredient_is_shown_with_its_caution(keeper: TestClient) -> None:
    page = keeper.get("/feed/needs?of=ingredients").text
    for row in ingredients().values():
        assert f'id="{row.code}"' in page
    assert {row.category for row in ingredients().values()} == set(CATEGORIES)
    assert {row.seen for row in all_requirements()} <= set(_SEEN)
    assert "Never mouldy (aflatoxin, fumonisin)" in page
    assert keeper.get("/feed/needs?of=geese").status_code == 200


# Over the API.

BRIEF = "\n".join(
    ['stage = "layer"', "batch_kg = 20"]
    + [
        f'[[ingredient]]\ningredient = "{code}"\nprice_per_kg = {PRICES[code]}'
        + ("\nshare_pct = 0.5" if code == "premix" else "")
        for code in BASIC
    ]
)
BLEND = """
birds = ["layer"]
[[feed]]
feed = "a"
protein_pct = 30
price_per_kg = 1
[[feed]]
feed = "b"
protein_pct = 10
price_per_kg = 0.5
"""


def test_rations_and_blends_over_the_api(app: FastAPI, keeper: TestClient) -> None:
    before = journal_of(app)
    token = {"X-Write-Token": keeper.get("/api/me").json()["token"]}
    told = keeper.post("/api/ration", json={"brief": BRIEF}, headers=token).json()
    assert msgspec.to_builtins(msgspec.convert(told, RationShape)) == told
    assert told["status"] == "met"
    assert all(one["nutrient"] in NUTRIENTS and one["met"] for one in told["needs"])
    told = keeper.post("/api/blend", json={"brief": BLEND}, headers=token).json()
    assert msgspec.to_builtins(msgspec.convert(told, BlendShape)) == told
    assert [(one["feed"], one["kg"]) for one in told["mix"]] == [("a", 5.0), ("b", 5.0)]
    assert told["cost"] == 7.5
    for path, brief in (("/api/ration", "stage = 3"), ("/api/blend", "[[feed]]")):
        wrong = keeper.post(path, json={"brief": brief}, headers=token)
        assert wrong.status_code == 422
        assert wrong.json()["findings"]
        assert keeper.post(path, json={}, headers=token).status_code == 422
        assert keeper.post(path, json={"brief": brief}).status_code == 403
    assert journal_of(app) == before


def test_the_document_tells_their_shapes(keeper: TestClient) -> None:
    document = keeper.get("/api/openapi.json").json()
    for path, shape in (("/api/ration", "RationShape"), ("/api/blend", "BlendShape")):
        answer = document["paths"][path]["post"]["responses"]["200"]
        assert answer["content"]["application/json"]["schema"]["$ref"].endswith(shape)
        assert "said" in document["components"]["schemas"][shape]["required"]

"""Rations: published mixes and diets, needs summed up by another way, and what must always hold."""

import csv
from dataclasses import replace
from importlib import resources

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.planning.rations import BASIC, MANY, choice, question

from quailwright.husbandry import facts
from quailwright.husbandry.feeding import Stage
from quailwright.planning.ration import answer
from quailwright.planning.ration_clash import clash
from quailwright.planning.ration_mix import Choice, Need, Question, checks, holds, least_cost
from quailwright.planning.ration_worth import need_prices, worths

STAGES: tuple[Stage, ...] = ("starter", "grower", "layer")


def feed(name: str, price: float, **contents: float) -> Choice:
    """An ingredient that only a textbook knows."""
    return Choice(name, name, contents, price)


def shares_of(asked: Question) -> dict[str, float]:
    """The cheapest mix, by name."""
    mix = least_cost(asked)
    assert mix is not None
    return dict(zip([c.name for c in asked.choices], mix.shares.tolist(), strict=True))


# Published worked examples.


def test_limestone_maize_and_soya_jensen_and_bard() -> None:
    """Jensen and Bard, Operations Research Models and Methods: calcium 0.8 to 1.2 %, protein 22 %
    at least, fibre 5 % at most. In print 3, 65 and 32 %, 0.4916 a kg; the most of calcium and the
    least of protein bind."""
    asked = Question(
        "layer",
        1.0,
        (
            feed("limestone", 10, calcium=38),
            feed("maize", 30.5, calcium=0.1, protein=9, crude_fibre=2),
            feed("soya", 90, calcium=0.2, protein=50, crude_fibre=8),
        ),
        (Need("calcium", 0.8, 1.2), Need("protein", 22), Need("crude_fibre", most=5)),
    )
    found = least_cost(asked)
    assert found is not None
    assert found.cost == pytest.approx(49.15629, abs=1e-5)
    assert found.shares == pytest.approx([0.028171, 0.648572, 0.323257], abs=1e-6)
    assert [round(100 * share) for share in found.shares] == [3, 65, 32]
    assert round(found.cost / 100, 4) == 0.4916
    binding = {(one.need.nutrient, one.what) for one in need_prices(asked, found)}
    assert binding == {("calcium", "most"), ("protein", "least")}


@pytest.mark.parametrize(
    ("table", "least", "shares", "cost"),
    [
        # R limSolve manual, "Blending": in print .5909, .1364, .2727.
        ([(100, 200, 0), (50, 150, 0), (40, 10, 0), (10, 0, 0)], (80, 50, 25, 5),
         (0.590909, 0.136364, 0.272727), 31.818182),
        # Beasley, OR-Notes, dairy feed (problem read, optimum from memory and by another solver).
        ([(100, 200, 0), (80, 150, 0), (40, 20, 0), (10, 0, 0)], (90, 50, 20, 2),
         (0.366667, 0.266667, 0.366667), 30.666667),
    ],
)  # fmt: skip
def test_two_feeds_and_a_filler(
    table: list[tuple[float, ...]],
    least: tuple[float, ...],
    shares: tuple[float, ...],
    cost: float,
) -> None:
    codes = ("protein", "crude_fat", "calcium", "sodium")
    choices = tuple(
        feed(name, price, **{code: float(row[n]) for code, row in zip(codes, table, strict=True)})
        for n, (name, price) in enumerate([("one", 40.0), ("two", 60.0), ("filler", 0.0)])
    )
    needs = tuple(Need(code, float(low)) for code, low in zip(codes, least, strict=True))
    found = least_cost(Question("layer", 1.0, choices, needs))
    assert found is not None
    assert found.shares == pytest.approx(shares, abs=1e-6)
    assert found.cost == pytest.approx(cost, abs=1e-6)


def test_daily_feed_taha() -> None:
    """Taha, Operations Research: An Introduction, example 2.2-2: 800 lb of maize and soya with 30 %
    protein at least and 5 % fibre at most: 470.6 and 329.4 lb, 437.64; with 450 lb of maize there,
    450, 350 and 450.00 (problem read, optimum from memory and by another solver)."""
    maize = feed("maize", 0.3, protein=9, crude_fibre=2)
    soya = feed("soya", 0.9, protein=60, crude_fibre=6)
    asked = Question(
        "layer", 800.0, (maize, soya), (Need("protein", 30), Need("crude_fibre", most=5))
    )
    found = answer(asked)
    assert found.mix is not None
    assert found.kilograms == pytest.approx([470.588235, 329.411765], abs=1e-5)
    assert found.mix.cost * 800 == pytest.approx(437.647059, abs=1e-5)
    short = answer(replace(asked, choices=(replace(maize, stock_kg=450.0), soya)))
    assert short.mix is not None
    assert short.kilograms == pytest.approx([450, 350])
    assert short.mix.cost * 800 == pytest.approx(450.0)


def test_blend_of_six_ingredients() -> None:
    """A blending problem of the PuLP documentation, 100 g: protein 8, fat 6, fibre at most 2, salt
    at most 0.4: beef 60, gel 40, 0.52 (data read, limits and optimum from memory)."""
    rows = {
        "chicken": (0.013, 10, 8, 0.1, 0.2), "beef": (0.008, 20, 10, 0.5, 0.5),
        "mutton": (0.010, 15, 11, 0.3, 0.7), "rice": (0.002, 0, 1, 10, 0.2),
        "wheat": (0.005, 4, 1, 15, 0.8), "gel": (0.001, 0, 0, 0, 0),
    }  # fmt: skip
    choices = tuple(
        feed(name, price, protein=p, crude_fat=fat, crude_fibre=fibre, sodium=salt)
        for name, (price, p, fat, fibre, salt) in rows.items()
    )
    needs = (
        Need("protein", 8), Need("crude_fat", 6), Need("crude_fibre", most=2),
        Need("sodium", most=0.4),
    )  # fmt: skip
    asked = Question("layer", 100.0, choices, needs)
    found = shares_of(asked)
    assert (found["beef"], found["gel"]) == pytest.approx((0.6, 0.4))
    mix = least_cost(asked)
    assert mix is not None
    assert mix.cost * 100 == pytest.approx(0.52)


# Diets of the table, with invented prices, solved before with another solver.


def test_starter_of_the_table() -> None:
    """nutrition table of this project's reference, solved with another solver; prices invented."""
    found = least_cost(question("starter", most={"calcium": 1.1}))
    assert found is not None
    assert found.cost == pytest.approx(0.450310, abs=1e-6)
    wanted = {
        "maize": 57.5785, "sbm48": 39.0441, "veg_oil": 0.1081, "limestone": 1.2698, "dcp": 0.9070,
        "salt": 0.3316, "dl_met": 0.1361, "l_thr": 0.1248, "premix": 0.5,
    }  # fmt: skip
    shares = dict(zip(BASIC, (100 * found.shares).tolist(), strict=True))
    assert shares == pytest.approx({"l_lys": 0.0, **wanted}, abs=1e-4)


def test_threonine_forces_protein_up_where_none_can_be_bought() -> None:
    """As above: without L-threonine 47.01 % soybean meal, 26.99 % protein, 0.481009 a kg; with no
    more than 45 % soybean meal nothing is feasible."""
    codes = [code for code in BASIC if code != "l_thr"]
    asked = question("starter", codes, most={"calcium": 1.1})
    found = least_cost(asked)
    assert found is not None
    assert found.cost == pytest.approx(0.481009, abs=1e-6)
    assert holds(asked.choices, found.shares, "protein") == pytest.approx(26.99, abs=0.005)
    assert shares_of(asked)["sbm48"] == pytest.approx(0.4701, abs=5e-5)
    capped = tuple(replace(c, limit=0.45) if c.name == "sbm48" else c for c in asked.choices)
    assert least_cost(replace(asked, choices=capped)) is None


def test_layer_of_the_table() -> None:
    """As above: 60.0665 % maize, 30.5439 % soybean meal, 0.431132 a kg."""
    asked = question("layer", most={"calcium": 3.5})
    found = least_cost(asked)
    assert found is not None
    assert found.cost == pytest.approx(0.431132, abs=1e-6)
    shares = shares_of(asked)
    assert 100 * shares["maize"] == pytest.approx(60.0665, abs=1e-4)
    assert 100 * shares["sbm48"] == pytest.approx(30.5439, abs=1e-4)
    assert 100 * shares["limestone"] == pytest.approx(5.5966, abs=1e-4)


def test_layer_without_methionine_clashes_over_methionine() -> None:
    """As above: without DL-methionine and with 40 % soybean meal at most it is infeasible."""
    codes = [code for code in BASIC if code != "dl_met"]
    asked = question("layer", codes, most={"calcium": 3.5})
    capped = tuple(replace(c, limit=0.40) if c.name == "sbm48" else c for c in asked.choices)
    asked = replace(asked, choices=capped)
    found = answer(asked)
    assert found.status == "infeasible"
    needs = {
        asked.needs[demand.number].nutrient
        for one in found.clashes
        for demand in one
        if demand.what == "least"
    }
    assert needs == {"methionine"}
    assert found.mix is not None
    short = [c.need.nutrient for c in checks(asked, found.mix.shares) if not c.met]
    assert short == ["methionine"]


# Published diets recomputed from the table of ingredients: inclusion in percent, what is printed,
# and how near the table comes. Amino acids in print are often digestible: they are not compared.
DIETS = {
    # PLoS One 2021, 0245615, Table 1 (laying quail); starch and inert filler are left out.
    "laying quail": (
        {"maize": 58.466, "sbm44": 30.071, "veg_oil": 0.906, "limestone": 7.041, "dcp": 1.142,
         "salt": 0.326, "l_lys": 0.342, "l_thr": 0.078, "dl_met": 0.441},
        {"energy": 2800, "protein": 18.8, "calcium": 2.99, "sodium": 0.15},
    ),
    # PMC7936218, Table 1 (broilers), 12.55 MJ.
    "broiler": (
        {"maize": 57.01, "sbm44": 31.5, "corn_gluten_meal": 3.4, "veg_oil": 3.1, "limestone": 1.2,
         "dcp": 2, "l_lys": 0.34, "dl_met": 0.15, "salt": 0.3},
        {"energy": 2999.5, "protein": 21.33, "calcium": 1.00, "methionine": 0.50},
    ),
    # Asian-Australas J Anim Sci 2015, 28(2):215, Table 2, grower; calcium phosphate taken as dcp.
    "broiler grower": (
        {"maize": 63.98, "sbm48": 29.67, "veg_oil": 2.33, "dcp": 1.23, "limestone": 1.45,
         "salt": 0.45, "dl_met": 0.10, "l_lys": 0.09},
        {"energy": 3100, "protein": 19.41, "calcium": 0.95},
    ),
    # PMC5941049, Table 1 (with fish meal and middlings), 11.76 MJ; straw left out.
    "with fish meal": (
        {"maize": 60, "sbm44": 28.4, "fish_meal": 2, "wheat_midds": 5, "dcp": 0.84,
         "limestone": 0.96, "salt": 0.3},
        {"energy": 2810.7, "protein": 18.92, "calcium": 0.74, "lysine": 1.02},
    ),
    # Poult Sci 2022, 101(6):101886, Table 1 (hens).
    "hens": (
        {"maize": 55.9, "sbm44": 25.35, "wheat_bran": 5, "veg_oil": 3, "limestone": 8.15,
         "dcp": 1.3, "l_lys": 0.13, "dl_met": 0.2, "l_thr": 0.09, "salt": 0.3},
        {"energy": 2690, "protein": 16.54, "calcium": 3.53},
    ),
    # Korean J Poult Sci 2018, 45(3):183, Table 1 (hens); tricalcium phosphate taken as dcp.
    "hens with gluten": (
        {"maize": 53.65, "sbm44": 18.25, "corn_gluten_meal": 3.86, "wheat_bran": 11.27,
         "veg_oil": 1.60, "limestone": 9.35, "dcp": 1.05, "salt": 0.30, "dl_met": 0.15,
         "l_lys": 0.02},
        {"energy": 2700, "protein": 16.0, "calcium": 3.80},
    ),
}  # fmt: skip
BAND = {"energy": 0.04, "protein": 0.06, "calcium": 0.05, "sodium": 0.05, "methionine": 0.1,
        "lysine": 0.1}  # fmt: skip
"""How near a table of this kind comes; protein of one diet with gluten and bran is 5.4 % off."""


@pytest.mark.parametrize("name", list(DIETS))
def test_published_diets_are_what_the_table_says(name: str) -> None:
    inclusion, printed = DIETS[name]
    choices = tuple(choice(code, "layer", 0.0) for code in inclusion)
    shares = np.array(list(inclusion.values())) / 100
    for code, value in printed.items():
        assert holds(choices, shares, code) == pytest.approx(value, rel=BAND[code]), code


def test_a_printed_diet_that_cannot_be() -> None:
    """J Anim Sci Technol 2024, 66(3):471, Table 1, day 1 to 7: printed with 23 % protein, but its
    13 % maize gluten meal and 35.08 % soybean meal alone hold more."""
    diet = {"corn_gluten_meal": 13.0, "sbm44": 35.08}
    choices = tuple(choice(code, "layer", 0.0) for code in diet)
    assert holds(choices, np.array(list(diet.values())) / 100, "protein") > 23.0


# Rations that a keeper would ask for.


def summed(stage: Stage, shares: dict[str, float]) -> dict[str, float]:
    """What a mix holds, summed up from the file of the table and nothing of the programme's."""
    table = resources.files(facts).joinpath("feed/ingredients.csv").read_text(encoding="utf-8")
    found: dict[str, float] = {}
    for line in csv.DictReader(table.splitlines()):
        share = shares.get(line["ingredient"], 0.0)
        for column, text in line.items():
            try:
                found[column] = found.get(column, 0.0) + share * float(text)
            except ValueError:
                continue
    return found


def least_of(stage: Stage) -> dict[str, float]:
    """The base needs, read from the file."""
    table = resources.files(facts).joinpath("feed/requirements.csv").read_text(encoding="utf-8")
    rows = csv.DictReader(table.splitlines())
    return {r["nutrient"]: float(r["least"]) for r in rows
            if r["stage"] == stage and r["use"] == "base"}  # fmt: skip


@pytest.mark.parametrize("stage", STAGES)
@pytest.mark.parametrize("certainty", [0.5, 0.9])
@pytest.mark.parametrize("scoop_kg", [0.0, 0.25])
def test_rations_from_28_ingredients_meet_every_listed_minimum(
    stage: Stage, certainty: float, scoop_kg: float
) -> None:
    asked = question(
        stage, MANY, certainty=certainty, per_energy=True, scoop_kg=scoop_kg,
        most={"calcium": 4.0 if stage == "layer" else 1.2},
    )  # fmt: skip
    assert len(asked.choices) >= 20
    found = answer(asked)
    assert found.status == "met"
    assert found.whole is bool(scoop_kg)
    kilograms = dict(zip(MANY, found.kilograms.tolist(), strict=True))
    total = sum(kilograms.values())
    assert 20.0 - 1e-9 <= total <= 20.001 + 1e-9
    held = summed(stage, {code: kg / total for code, kg in kilograms.items()})
    richer = max(1.0, held["energy"] / 2900)
    checked = 0
    for code, least in least_of(stage).items():
        if code in held:
            wanted = least * (richer if code != "energy" else 1.0)
            assert held[code] >= wanted * (1 - 1e-6), code
            checked += 1
    assert checked == 12
    assert held["calcium"] <= (4.0 if stage == "layer" else 1.2) * (1 + 1e-6)
    for one, kg in zip(asked.choices, found.kilograms.tolist(), strict=True):
        assert kg <= one.limit * total * (1 + 1e-6), one.name
        if scoop_kg:
            assert kg / one.scoop_kg == pytest.approx(round(kg / one.scoop_kg), abs=1e-6)
    if scoop_kg:
        assert found.rounding_cost is not None
        assert found.exact is not None
        assert 0 <= found.rounding_cost < 0.1 * found.exact.cost


def test_maize_and_soybean_meal_alone_lack_minerals_and_methionine() -> None:
    """What keepers' mixes fail on: methionine, calcium, phosphorus and salt (NRC 1994's needs)."""
    asked = question("layer", ("maize", "sbm48"))
    found = answer(asked)
    assert found.status == "infeasible"
    alone = {asked.needs[one[0].number].nutrient for one in found.clashes if len(one) == 1}
    assert alone == {"calcium", "available_phosphorus", "sodium", "chlorine"}
    together = {
        asked.needs[demand.number].nutrient
        for one in found.clashes
        if len(one) > 1
        for demand in one
        if demand.what == "least"
    }
    assert "methionine" in together
    assert found.mix is not None


def test_it_says_when_only_the_margin_stands_in_the_way() -> None:
    """Without L-threonine starters take 47 % soybean meal on the mean; 47.5 % is too little to be
    sure of the threonine, were lots to differ."""
    codes = [code for code in BASIC if code != "l_thr"]
    asked = question("starter", codes, most={"calcium": 1.1})
    capped = tuple(replace(c, limit=0.475) if c.name == "sbm48" else c for c in asked.choices)
    asked = replace(asked, choices=capped)
    assert answer(asked).status == "met"
    found = answer(replace(asked, certainty=0.95))
    assert (found.status, found.feasible_on_mean) == ("infeasible", True)
    assert not answer(question("layer", ("maize", "sbm48"), certainty=0.8)).feasible_on_mean


def test_a_clash_holds_nothing_that_could_be_left_out() -> None:
    """Property of an irreducible infeasible set: without any one of it there is a mix."""
    codes = [code for code in BASIC if code not in ("dl_met", "l_thr")]
    asked = question("starter", codes)
    capped = tuple(replace(c, limit=0.40) if c.name == "sbm48" else c for c in asked.choices)
    asked = replace(asked, choices=capped)
    found = clash(asked)
    assert len(found) >= 2
    assert least_cost(asked, found) is None
    for demand in found:
        assert least_cost(asked, [one for one in found if one != demand]) is not None


def test_stock_that_leaves_no_room_for_a_batch_is_the_clash() -> None:
    asked = question("layer")
    few = tuple(replace(c, stock_kg=1.0) for c in asked.choices)
    found = answer(replace(asked, choices=few))
    assert found.status == "infeasible"
    assert found.mix is None
    (one,) = found.clashes
    assert {demand.what for demand in one} <= {"stock", "limit"}


def test_more_of_an_ingredient_than_its_limit_is_a_clash() -> None:
    """What the keeper asks for never goes over the limit of the stage unsaid."""
    asked = question("layer", (*BASIC, "barley"))
    much = tuple(replace(c, least=0.3) if c.name == "barley" else c for c in asked.choices)
    found = answer(replace(asked, choices=much))
    assert found.status == "infeasible"
    assert [{demand.what for demand in one} for one in found.clashes] == [{"share", "limit"}]


# What things are worth.


def test_prices_of_needs_are_what_solving_again_costs() -> None:
    """At the margin: a ten-thousandth more of each need that binds, solved again."""
    asked = question("layer", certainty=0.8, per_energy=True, most={"calcium": 3.5})
    mix = least_cost(asked)
    assert mix is not None
    prices = need_prices(asked, mix)
    assert {one.need.nutrient for one in prices} >= {"energy", "methionine", "calcium"}
    for one in prices:
        if one.what != "least" or one.need.least is None:
            continue
        little = 1e-4 * one.need.least
        moved = tuple(
            replace(need, least=one.need.least + little) if need is one.need else need
            for need in asked.needs
        )
        again = least_cost(replace(asked, needs=moved))
        assert again is not None
        assert (again.cost - mix.cost) / little == pytest.approx(one.price, rel=0.02, abs=1e-9)


def test_an_ingredient_comes_in_just_below_the_price_it_is_worth() -> None:
    asked = question("layer", (*BASIC, "peas"), most={"calcium": 3.5})
    mix = least_cost(asked)
    assert mix is not None
    (peas,) = [one for one in worths(asked, mix) if one.choice.name == "peas"]
    assert peas.why == "unused"
    for factor, comes in ((0.999, True), (1.001, False)):
        price = peas.below * factor
        tried = tuple(replace(c, price=price) if c.name == "peas" else c for c in asked.choices)
        share = shares_of(replace(asked, choices=tried))["peas"]
        assert (share > 1e-6) is comes


def test_stock_that_runs_out_is_worth_what_more_of_it_saves() -> None:
    asked = question("layer", (*BASIC, "peas"), most={"calcium": 3.5})
    cheap = tuple(
        replace(c, price=0.1, stock_kg=2.0) if c.name == "peas" else c for c in asked.choices
    )
    asked = replace(asked, choices=cheap)
    mix = least_cost(asked)
    assert mix is not None
    (peas,) = [one for one in worths(asked, mix) if one.choice.name == "peas"]
    assert peas.why == "stock"
    more = tuple(replace(c, stock_kg=2.01) if c.name == "peas" else c for c in asked.choices)
    again = least_cost(replace(asked, choices=more))
    assert again is not None
    saved = (mix.cost - again.cost) * asked.batch_kg / 0.01
    assert peas.below == pytest.approx(0.1 + saved, rel=1e-3)


def test_scoops_too_coarse_say_what_would_do() -> None:
    asked = question("layer", most={"calcium": 3.5}, batch_kg=2.0, scoop_kg=0.5)
    found = answer(asked)
    assert found.status == "met"
    assert not found.whole
    assert found.finer_kg is not None
    assert found.finer_kg < 0.5
    assert found.kilograms.sum() == pytest.approx(2.0)


# Properties.


@settings(max_examples=15, deadline=None)
@given(st.floats(0.5, 500))
def test_the_mix_does_not_depend_on_the_batch(batch_kg: float) -> None:
    first, other = question("layer"), question("layer", batch_kg=batch_kg)
    one, two = least_cost(first), least_cost(other)
    assert one is not None
    assert two is not None
    assert one.shares == pytest.approx(two.shares, abs=1e-9)


@settings(max_examples=15, deadline=None)
@given(st.sampled_from(sorted(set(MANY) - set(BASIC))), st.floats(0.01, 2))
def test_one_more_ingredient_never_costs_more(code: str, price: float) -> None:
    asked = question("grower")
    before = least_cost(asked)
    after = least_cost(replace(asked, choices=(*asked.choices, choice(code, "grower", price))))
    assert before is not None
    assert after is not None
    assert after.cost <= before.cost + 1e-9


@settings(max_examples=15, deadline=None)
@given(st.floats(0.2, 5))
def test_prices_all_dearer_change_the_cost_alone(factor: float) -> None:
    asked = question("layer")
    dear = tuple(replace(c, price=c.price * factor) for c in asked.choices)
    one, two = least_cost(asked), least_cost(replace(asked, choices=dear))
    assert one is not None
    assert two is not None
    assert two.cost == pytest.approx(one.cost * factor)


@settings(max_examples=10, deadline=None)
@given(st.floats(0.5, 0.98), st.floats(0.001, 0.02))
def test_more_certainty_never_costs_less(certainty: float, more: float) -> None:
    one = least_cost(question("starter", MANY, certainty=certainty))
    two = least_cost(question("starter", MANY, certainty=certainty + more))
    assert one is not None
    assert two is None or two.cost >= one.cost - 1e-9


def test_needs_are_met_as_often_as_asked_when_lots_differ() -> None:
    """Lots drawn at random (NumPy), each ingredient's protein off its mean by its own spread."""
    asked = question("starter", MANY, certainty=0.8)
    found = answer(asked)
    assert found.mix is not None
    rng = np.random.default_rng(1)
    spread = np.array([c.protein_cv for c in asked.choices])
    protein = np.array([c.of("protein") for c in asked.choices])
    lots = 1 + spread * rng.standard_normal((200_000, len(spread)))
    held = (lots * protein) @ found.mix.shares
    (check,) = [c for c in checks(asked, found.mix.shares) if c.need.nutrient == "protein"]
    assert (held >= check.surely).mean() == pytest.approx(0.8, abs=0.005)
    assert (held >= 24.0).mean() >= 0.795

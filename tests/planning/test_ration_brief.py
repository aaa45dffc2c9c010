"""Briefs of rations and blends: labels and laboratory sheets sorted out, and no brief that breaks
them."""

import math
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.makers import made

from quailwright.flock.fold import fold
from quailwright.flock.state import Flock
from quailwright.husbandry.ingredients import ingredients
from quailwright.husbandry.nutrients import NUTRIENTS
from quailwright.planning.blend import blended
from quailwright.planning.blend_brief import read_blend
from quailwright.planning.brief_text import brief_text
from quailwright.planning.ration import answer
from quailwright.planning.ration_brief import RationAsked, known, read_ration
from quailwright.planning.ration_mix import Choice

ON = date(2027, 5, 2)
NOBODY = fold([], ON)
MAIZE = '[[ingredient]]\ningredient = "maize"\nprice_per_kg = 0.3\n'


def asked(text: str) -> RationAsked:
    """What a brief without faults asks."""
    found, findings = read_ration(text.encode(), NOBODY)
    assert findings == []
    assert found is not None
    return found


def own(fields: str, name: str = "mine") -> Choice:
    """An ingredient of the keeper's own, beside maize."""
    text = f'stage = "layer"\n{MAIZE}[[ingredient]]\ningredient = "{name}"\nprice_per_kg = 0.2\n'
    return asked(text + fields).question.choices[1]


def test_what_a_label_does_not_tell_is_the_tables() -> None:
    """Property: amino acids fall with protein and are not raised with it; Boila et al. 1996, Can J
    Anim Sci 76:163, found that they rise with the protein of wheat, unevenly (r2 0.29 to 0.88), and
    lysine less than protein."""
    table = ingredients()["wheat_soft"].composition
    poor = own('like = "wheat_soft"\ncontains = { protein = "9 %" }\n')
    rich = own('like = "wheat_soft"\ncontains = { protein = "13 %" }\n')
    assert (poor.of("protein"), rich.of("protein")) == (9.0, 13.0)
    assert poor.of("lysine") == pytest.approx(table["lysine"] * 9.0 / 10.2)
    assert rich.of("lysine") == table["lysine"]
    assert poor.of("energy") == rich.of("energy") == table["energy"]
    assert poor.limit == ingredients()["wheat_soft"].most["layer"] / 100


def test_dry_matter_of_the_lot_moves_the_tables_figures() -> None:
    damp = own('like = "maize"\ndry_matter_pct = 80\n')
    assert damp.of("energy") == pytest.approx(3350 * 80 / 89)
    assert damp.of("protein") == pytest.approx(8.5 * 80 / 89)


def test_a_sheet_of_dry_matter_is_brought_to_the_feed() -> None:
    sheet = own(
        'like = "peas"\nbasis = "dry matter"\ndry_matter_pct = 87\n'
        'contains = { protein = "238 g/kg", energy = "13.0 MJ/kg", lysine = "17 g/kg" }\n'
    )
    assert sheet.of("protein") == pytest.approx(23.8 * 0.87)
    assert sheet.of("lysine") == pytest.approx(1.7 * 0.87)
    assert sheet.of("energy") == pytest.approx(13.0 * 1000 / 4.184 * 0.87)


def test_without_a_table_what_is_not_told_is_unknown_and_said() -> None:
    text = (
        f'stage = "layer"\n{MAIZE}[[ingredient]]\ningredient = "meal"\nprice_per_kg = 1\n'
        'contains = { protein = "40 %", energy = "2400 kcal/kg" }\n'
    )
    found = asked(text)
    assert set(found.question.choices[1].composition) == {"protein", "energy"}
    assert {"lysine", "methionine", "calcium"} <= set(found.untold["meal"])


def test_an_analysed_lot_spreads_less() -> None:
    told = 'like = "barley"\ncontains = { protein = "11 %" }\n'
    assert own(told + "analysed = true\n").protein_cv < own(told).protein_cv


def test_labels_that_changed_places_are_doubted() -> None:
    """Korean J Poult Sci 2018, 45(3):183, Table 1, prints methionine 0.76 and lysine 0.32 for a hen
    diet whose ingredients hold about 0.76 lysine."""
    text = (
        f'stage = "layer"\n{MAIZE}[[ingredient]]\ningredient = "hen diet"\nprice_per_kg = 1\n'
        'contains = { protein = "16 %", methionine = "0.76 %", lysine = "0.32 %" }\n'
    )
    (doubt,) = asked(text).doubts
    assert "the two may have changed places" in doubt
    assert asked(f'stage = "layer"\n{MAIZE}').doubts == ()


def test_an_ingredient_of_the_table_goes_by_its_code_or_its_name() -> None:
    assert known("Field peas, white flowered") is known("peas") is ingredients()["peas"]
    assert known("Soy fullfat") is ingredients()["soy_fullfat"]
    assert known("moon dust") is None


def test_needs_that_every_ingredient_tells_are_checked() -> None:
    """Arginine is in no row of the table: it is checked where all ingredients are told with it."""
    with_it = MAIZE + 'contains = { arginine = "0.4 %" }\n'
    assert "arginine" in asked(f'stage = "layer"\n{MAIZE}').unchecked
    found = asked(f'stage = "layer"\n{with_it}')
    assert "arginine" not in found.unchecked
    assert "arginine" in {need.nutrient for need in found.question.needs}


def test_own_needs_stand_as_written_and_the_tables_move_with_energy() -> None:
    found = asked(
        f'stage = "layer"\n[needs.lysine]\nmin = 1.1\n[needs.energy]\nmin = 2700\n{MAIZE}'
    )
    needs = {need.nutrient: need for need in found.question.needs}
    assert (needs["lysine"].least, needs["lysine"].per_energy) == (1.1, False)
    assert (needs["energy"].least, needs["methionine"].per_energy) == (2700, True)
    assert found.question.energy == 2900
    flat = asked(f'stage = "layer"\nper_energy = false\n{MAIZE}')
    assert not any(need.per_energy for need in flat.question.needs)


def sentences(text: str, flock: Flock = NOBODY) -> list[str]:
    """Every problem of a brief."""
    found, findings = read_ration(text.encode(), flock)
    assert (found is None) is bool(findings)
    return [finding.sentence for finding in findings]


def test_an_own_most_may_not_pass_what_birds_stand() -> None:
    """Laying hens' calcium damages the kidneys of growing birds (Wideman 1985)."""
    (one,) = sentences(f'stage = "starter"\n[needs.calcium]\nmin = 3\nmax = 4\n{MAIZE}')
    assert "needs.calcium.max: birds of this stage stand 1.2 % of calcium at most." in one
    assert sentences(f'stage = "grower"\n[needs.sodium]\nmax = 1\n{MAIZE}')
    own = asked(f'stage = "starter"\n[needs.calcium]\nmax = 1.0\n{MAIZE}').question.needs
    assert {need.nutrient: need.most for need in own}["calcium"] == 1.0


@pytest.mark.parametrize(
    "fields", ['ingredient = "pellets"', 'ingredient = "pellets"\nlike = "maize"']
)
def test_a_layer_feed_of_unknown_calcium_is_kept_from_chicks(fields: str) -> None:
    label = {"feed": "pellets", "protein_pct": 16, "me_kcal_kg": 2700, "stage": "layer"}
    flock = fold([made("feed", "2027-05-01", **label)], ON)
    rest = f"{MAIZE}[[ingredient]]\n{fields}\nprice_per_kg = 0.2\n"
    (one,) = sentences(f'stage = "starter"\n{rest}', flock)
    assert "ingredient 2: pellets tells no calcium" in one
    assert sentences(f'stage = "layer"\n{rest}', flock) == []
    assert sentences(f'stage = "starter"\n{rest}contains = {{ calcium = "1 %" }}\n', flock) == []


def test_any_meal_of_unknown_calcium_is_kept_from_chicks() -> None:
    rest = (
        f'{MAIZE}[[ingredient]]\ningredient = "meal"\nprice_per_kg = 1\n'
        'contains = { protein = "40 %" }\n'
    )
    (one,) = sentences(f'stage = "grower"\n{rest}')
    assert "meal tells no calcium" in one


def test_shelled_maize_is_no_shell_and_medicated_feed_is_no_ingredient() -> None:
    rest = "price_per_kg = 0.3\n"
    corn = f'[[ingredient]]\ningredient = "shelled corn"\nlike = "maize"\n{rest}'
    assert sentences(f'stage = "starter"\n{corn}') == []
    crumbs = f'[[ingredient]]\ningredient = "medicated crumbs"\nlike = "bag_gamebird_28"\n{rest}'
    (one,) = sentences(f'stage = "starter"\n{crumbs}')
    assert "a medicine, or a feed with one in it, is no ingredient of a ration." in one


def test_what_is_mouldy_is_no_ingredient() -> None:
    mouldy = '[[ingredient]]\ningredient = "mouldy maize"\nlike = "maize"\nprice_per_kg = 0\n'
    (one,) = sentences(f'stage = "layer"\n{mouldy}')
    assert "what is mouldy is never fed" in one


def test_least_shares_past_the_whole_are_said() -> None:
    peas = MAIZE.replace("maize", "peas") + "min_pct = 60\n"
    (one,) = sentences(f'stage = "layer"\n{MAIZE}share_pct = 60\n{peas}')
    assert "the least shares come to 120 % together, more than the whole mix." in one
    assert sentences(f'stage = "layer"\n{MAIZE}share_pct = 40\n{peas}') == []


def test_no_price_is_put_on_what_tells_too_little() -> None:
    """Raw soybeans by a label of four figures: what harms chicks in them is on no label."""
    prices = {"maize": 0.3, "sbm48": 0.6, "veg_oil": 1.3, "limestone": 0.15, "dcp": 0.9,
              "salt": 0.2, "dl_met": 5, "corn_gluten_meal": 0.9, "fish_meal": 1.5}  # fmt: skip
    table = "".join(
        f'[[ingredient]]\ningredient = "{name}"\nprice_per_kg = {price}\n'
        for name, price in prices.items()
    )
    beans = (
        '[[ingredient]]\ningredient = "raw soybeans"\nprice_per_kg = 2\n'
        'contains = { protein = "37 %", energy = "3300 kcal/kg", calcium = "0.25 %" }\n'
    )
    found = answer(asked(f'stage = "starter"\ncertainty = 0.5\n{table}{beans}').question)
    assert found.status == "met"
    assert found.worths
    assert "raw soybeans" not in {one.choice.name for one in found.worths}


# No brief breaks them.

_VALUES = st.one_of(
    st.booleans(),
    st.integers(-5, 200),
    st.floats(-2, 5000, allow_nan=False).map(lambda x: round(x, 3)),
    st.sampled_from(["maize", "peas", "as fed", "dry matter", "layer", "9 %", "13 MJ/kg", "x", ""]),
    st.lists(st.integers(0, 3), max_size=2),
    st.dictionaries(
        st.sampled_from([*list(NUTRIENTS)[:6], "min", "max", "odd"]),
        st.sampled_from(["9 %", "92 g/kg", "3000 kcal/kg", "0 kcal/kg", "100 %", 3, -1, 0.5]),
        max_size=3,
    ),
)
_INGREDIENT = st.dictionaries(
    st.sampled_from(
        ["ingredient", "like", "price_per_kg", "stock_kg", "min_pct", "max_pct", "share_pct",
         "scoop_kg", "contains", "basis", "dry_matter_pct", "analysed", "medicated", "odd"]
    ),
    _VALUES,
    max_size=6,
).map(lambda row: {"ingredient": "maize", "price_per_kg": 0.3, **row})  # fmt: skip
_FEED = st.dictionaries(
    st.sampled_from(
        ["feed", "protein_pct", "calcium_pct", "me_kcal_kg", "price_per_kg", "stock_kg", "kg",
         "share_pct", "min_pct", "max_pct", "basis", "dry_matter_pct", "medicated", "stage"]
    ),
    _VALUES,
    max_size=5,
).map(lambda row: {"feed": "maize", **row})  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(
    st.dictionaries(
        st.sampled_from(["stage", "batch_kg", "certainty", "scoop_kg", "fine_kg", "per_energy"]),
        _VALUES,
        max_size=3,
    ),
    _VALUES,
    st.lists(_INGREDIENT, max_size=3),
)
def test_any_brief_of_a_ration_is_answered_or_told_what_is_wrong(
    top: dict[str, object], needs: object, rows: list[dict[str, object]]
) -> None:
    document = {"stage": "layer", **top, "needs": needs, "ingredient": rows}
    found, findings = read_ration(brief_text(document).encode(), NOBODY)
    assert (found is None) is bool(findings)
    for finding in findings:
        assert finding.what
    if found is not None:
        ration = answer(found.question)
        assert ration.mix is None or math.isclose(float(ration.mix.shares.sum()), 1, abs_tol=1e-6)


@settings(max_examples=150, deadline=None)
@given(
    st.dictionaries(
        st.sampled_from(["batch_kg", "birds", "currency", "place"]), _VALUES, max_size=2
    ),
    _VALUES,
    st.lists(_FEED, max_size=3),
)
def test_any_brief_of_a_blend_is_answered_or_told_what_is_wrong(
    top: dict[str, object], target: object, rows: list[dict[str, object]]
) -> None:
    named = [{**row, "feed": f"{row['feed']} {n}"} for n, row in enumerate(rows)]
    for document in (
        {**top, "target": target, "feed": rows},
        {
            **top,
            "target": {"protein_pct": 18},
            "feed": [{"protein_pct": 9, **row} for row in named],
        },
    ):
        found, findings = read_blend(brief_text(document).encode(), NOBODY, ON)
        assert (found is None) is bool(findings)
        if found is not None:
            blend = blended(found)
            assert (blend.kilograms >= 0).all()

"""Needs, ingredients and amounts of labels, held against what is printed elsewhere."""

import csv
from importlib import resources
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quailwright.husbandry import facts
from quailwright.husbandry.ingredients import ingredients, is_medicine, is_shell
from quailwright.husbandry.nutrients import (
    NUTRIENTS,
    NotAnAmount,
    amount_of,
    amount_said,
    as_fed,
    problems_of,
)
from quailwright.husbandry.requirements import all_requirements, beside, requirements_of

# NRC 1994, Nutrient Requirements of Poultry, 9th ed., Table 6-2 (Japanese quail): starting and
# growing, breeding and laying. Energy, protein, calcium of layers and methionine of starters were
# read in papers that quote the table; the rest is from memory.
NRC = {
    "energy": (2900, 2900), "protein": (24, 20), "arginine": (1.25, 1.26),
    "glycine_serine": (1.15, 1.17), "histidine": (0.36, 0.42), "isoleucine": (0.98, 0.90),
    "leucine": (1.69, 1.42), "lysine": (1.30, 1.00), "methionine": (0.50, 0.45),
    "methionine_cystine": (0.75, 0.70), "phenylalanine": (0.96, 0.78),
    "phenylalanine_tyrosine": (1.80, 1.40), "threonine": (1.02, 0.74), "tryptophan": (0.22, 0.19),
    "valine": (0.95, 0.92), "linoleic_acid": (1.0, 1.0), "calcium": (0.80, 2.50),
    "available_phosphorus": (0.30, 0.35), "potassium": (0.40, 0.40), "sodium": (0.15, 0.15),
    "chlorine": (0.14, 0.14), "magnesium": (300, 500), "copper": (5, 5), "iodine": (0.3, 0.3),
    "iron": (120, 60), "manganese": (60, 60), "selenium": (0.2, 0.2), "zinc": (25, 50),
    "vitamin_a": (1650, 3300), "vitamin_d3": (750, 900), "vitamin_e": (12, 25),
    "vitamin_k": (1, 1), "vitamin_b12": (0.003, 0.003), "biotin": (0.3, 0.15),
    "choline": (2000, 1500), "folacin": (1, 1), "niacin": (40, 20), "pantothenic_acid": (10, 15),
    "pyridoxine": (3, 3), "riboflavin": (4, 4), "thiamin": (2, 2),
}  # fmt: skip


def test_base_needs_are_those_of_nrc_1994() -> None:
    for stage, column in (("starter", 0), ("grower", 0), ("layer", 1)):
        rows = {row.nutrient: row.least for row in requirements_of(stage, "base")}  # type: ignore[arg-type]
        assert rows == {code: values[column] for code, values in NRC.items()}
    assert all(row.source.startswith("NRC 1994") for row in all_requirements() if row.use == "base")


def test_what_was_not_read_says_so() -> None:
    base = [row for row in all_requirements() if row.use == "base"]
    read = {(row.nutrient, row.stage) for row in base if row.certainty == "published"}
    assert read == {
        ("energy", "starter"), ("energy", "grower"), ("energy", "layer"), ("protein", "starter"),
        ("protein", "grower"), ("protein", "layer"), ("methionine", "starter"),
        ("methionine", "grower"), ("calcium", "layer"),
    }  # fmt: skip
    for row in all_requirements():
        assert row.certainty in get_args(facts.Certainty)
        assert row.source
        assert row.seen
        assert row.conditions
        if row.certainty == "from memory":
            assert row.seen.startswith("not read")
        assert row.cite().endswith(f"Certainty: {row.certainty} ({row.seen}).")


def test_newer_findings_stand_beside_the_base() -> None:
    """Calcium of hens in lay: Stanquevis et al. 2021, Poult Sci 100:147, 2.74 (2.71 to 2.75);
    Ribeiro et al. 2016, Braz J Poult Sci, 3.8 at 48 weeks and more."""
    found = {row.least: (row.low, row.high) for row in beside("calcium", "layer")}
    assert found[2.74] == (2.71, 2.75)
    assert 3.8 in found
    digestible = [row for row in beside("lysine", "layer") if row.amino_acids == "digestible"]
    assert {row.least for row in digestible} == {1.12, 1.03, 1.148}


def test_birds_not_in_lay_are_kept_from_the_calcium_of_layers() -> None:
    """Kidney damage in growing chickens from 2.75 % (Wideman 1985); the tool's limit for all."""
    for stage in ("starter", "grower"):
        limits = {row.nutrient: row.most for row in requirements_of(stage, "limit")}
        assert limits["calcium"] == facts.value("feeding.calcium_not_laying_max")


def test_no_table_holds_a_row_twice() -> None:
    for name in ("requirements", "ingredients"):
        table = resources.files(facts).joinpath(f"feed/{name}.csv").read_text(encoding="utf-8")
        lines = list(csv.reader(table.splitlines()))
        assert len({len(line) for line in lines}) == 1
        assert len({tuple(line) for line in lines}) == len(lines)


@pytest.mark.parametrize("code", list(ingredients()))
def test_every_ingredient_can_be_true(code: str) -> None:
    one = ingredients()[code]
    assert problems_of(one.composition, one.dry_matter_pct) == []
    assert len(one.composition) == 15
    assert one.certainty in get_args(facts.Certainty)
    assert one.source
    assert one.seen
    assert 0 <= one.protein_cv < 0.5
    assert (one.protein_cv > 0) is bool(one.spread_certainty)
    for share in one.most.values():
        assert 0 <= share <= 100
    assert not is_medicine(code)
    assert not is_medicine(one.name)


def test_chicks_never_get_shell_or_layer_feed() -> None:
    for code in ("oyster_shell", "bag_layer_16", "bag_layer_18"):
        assert ingredients()[code].most["starter"] == ingredients()[code].most["grower"] == 0
    assert is_shell("Oyster shell, coarse")
    assert not is_shell("limestone")


def test_spread_of_maize_protein_an_and_kong_2022() -> None:
    """An and Kong 2022, Variation of crude protein and amino acids concentrations in corn, wheat,
    and barley, Korean J Poult Sci 49(2):79, Table 1: coefficients of variation within each of six
    countries run from 2.88 to 5.25 % (251 samples); wheat has 9.06 between countries."""
    assert 0.0288 <= ingredients()["maize"].protein_cv <= 0.0525
    assert ingredients()["wheat_soft"].protein_cv == pytest.approx(0.0906)


def test_energy_of_maize_by_its_proximates_nrc_1994() -> None:
    """NRC 1994, Appendix B: MEn = 36.21 CP + 85.44 EE + 37.26 NFE, of dry matter; maize of 9.551,
    4.27 and 82.247 % has 3775 kcal/kg of dry matter, 3360 as fed at 89 %."""
    reckoned = 36.21 * 9.551 + 85.44 * 4.27 + 37.26 * 82.247
    assert as_fed(reckoned, "dry matter", 89) == pytest.approx(3360, abs=1)
    assert ingredients()["maize"].composition["energy"] == pytest.approx(3360, rel=0.01)


@pytest.mark.parametrize(
    ("code", "text", "amount"),
    [
        ("protein", "9.2 %", 9.2),
        ("protein", "92 g/kg", 9.2),
        ("protein", "92g / kg", 9.2),
        ("lysine", "2600 mg/kg", 0.26),
        ("lysine", "0,26 %", 0.26),
        ("energy", "3200 kcal/kg", 3200),
        ("energy", "12.55 MJ/kg", 2999.5),  # PMC7936218 Table 1 prints 12.55 MJ for 3000 kcal
        ("energy", "1315 kcal/lb", 2899),
        ("zinc", "0.05 g/kg", 50),
        ("vitamin_a", "3300 IU/kg", 3300),
    ],
)
def test_units_of_labels(code: str, text: str, amount: float) -> None:
    assert amount_of(NUTRIENTS[code], text) == pytest.approx(amount, rel=2e-4)


@pytest.mark.parametrize(
    ("code", "text", "says"),
    [
        ("protein", "9.2", "as a number with its unit"),
        ("protein", "much", "as a number with its unit"),
        ("protein", "-3 %", "as a number with its unit"),
        ("protein", "12 MJ/kg", "protein is not told in MJ/kg"),
        ("energy", "92 g/kg", "energy is not told in g/kg"),
    ],
)
def test_what_is_no_amount_is_told_apart(code: str, text: str, says: str) -> None:
    with pytest.raises(NotAnAmount, match=says):
        amount_of(NUTRIENTS[code], text)


def test_dry_matter_to_as_fed_by_the_published_square() -> None:
    """Beet pulp of 9 % in dry matter at 91 % dry matter, gluten meal of 68.2 % at 90 %: 8.19 and
    61.38 % as fed (a worked Pearson square, qammunity 18681112)."""
    assert as_fed(9, "dry matter", 91) == pytest.approx(8.19)
    assert as_fed(68.2, "dry matter", 90) == pytest.approx(61.38)
    with pytest.raises(ValueError, match="out of range"):
        as_fed(9, "dry matter", 0)


@given(st.floats(0.1, 100), st.floats(1, 100))
def test_drying_only_concentrates(amount: float, dry: float) -> None:
    assert as_fed(amount, "dry matter", dry) <= amount * (1 + 1e-12)
    assert as_fed(amount, "as fed", dry) == amount


@pytest.mark.parametrize(
    ("composition", "dry", "says"),
    [
        ({"protein": 100.0}, None, "leaves no room for anything else"),
        ({"protein": 120.0}, None, "more than the whole feed"),
        ({"protein": -1.0}, None, "cannot be -1"),
        ({"energy": 0.0, "protein": 18.0}, None, "Energy of 0 cannot be"),
        ({"energy": 12.5, "protein": 18.0}, None, "Was it MJ/kg?"),
        ({"energy": 13400.0}, None, "more than that of pure fat"),
        ({"protein": 60.0, "crude_fat": 30.0}, 80.0, "more than the feed"),
        ({"protein": 8.0, "lysine": 9.0}, None, "more than the protein"),
        ({"methionine": 0.5, "methionine_cystine": 0.4}, None, "more methionine than"),
        ({"available_phosphorus": 0.5, "phosphorus": 0.4}, None, "more available phosphorus"),
    ],
)
def test_nonsense_gets_a_sentence(
    composition: dict[str, float], dry: float | None, says: str
) -> None:
    (problem,) = problems_of(composition, dry)
    assert says in problem


def test_amounts_are_said_with_their_units() -> None:
    assert amount_said("energy", 2900.4) == "2900 kcal/kg"
    assert amount_said("lysine", 1.3) == "1.30 %"
    assert amount_said("vitamin_b12", 0.003) == "0.003 mg/kg"


def test_names_of_medicines_are_known() -> None:
    for name in ("Amprolium 20 %", "monensin premix", "sulfadimidine", "Oxytetracycline"):
        assert is_medicine(name)
    for name in ingredients():
        assert not is_medicine(name)

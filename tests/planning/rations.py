"""Questions for the tests of rations: ingredients of the table at invented prices."""

from collections.abc import Iterable, Mapping
from dataclasses import replace

from quailwright.husbandry.feeding import Stage
from quailwright.husbandry.ingredients import ingredients
from quailwright.husbandry.requirements import requirements_of
from quailwright.planning.ration_mix import Choice, Need, Question

PRICES = {
    "maize": 0.30, "sbm48": 0.60, "veg_oil": 1.30, "limestone": 0.15, "dcp": 0.90, "salt": 0.20,
    "dl_met": 5.0, "l_lys": 3.0, "l_thr": 3.5, "premix": 4.0, "wheat_soft": 0.32,
    "wheat_hard": 0.35, "barley": 0.28, "oats": 0.30, "sorghum": 0.29, "millet_proso": 0.45,
    "peas": 0.40, "sbm44": 0.55, "soy_fullfat": 0.70, "sunflower_meal": 0.35, "canola_meal": 0.40,
    "corn_gluten_meal": 0.80, "wheat_bran": 0.22, "wheat_midds": 0.24, "alfalfa_meal": 0.30,
    "fish_meal": 1.50, "brewers_yeast": 0.90, "bsfl_defatted": 2.50,
}  # fmt: skip
BASIC = ("maize", "sbm48", "veg_oil", "limestone", "dcp", "salt", "dl_met", "l_lys", "l_thr",
         "premix")  # fmt: skip
MANY = tuple(PRICES)


def choice(code: str, stage: Stage, price: float | None = None) -> Choice:
    """An ingredient of the table on offer."""
    one = ingredients()[code]
    return Choice(
        code,
        one.name,
        one.composition,
        PRICES[code] if price is None else price,
        least=0.005 if code == "premix" else 0.0,
        most=0.005 if code == "premix" else 1.0,
        limit=one.most[stage] / 100,
        protein_cv=one.protein_cv,
        category=one.category,
    )


def needs_of(
    stage: Stage, *, per_energy: bool = False, most: Mapping[str, float] | None = None
) -> tuple[Need, ...]:
    """The base needs that every ingredient of the table tells, with these most amounts."""
    told = ingredients()["maize"].composition
    limits = {"sodium": 0.25, **(most or {})}
    return tuple(
        Need(
            row.nutrient,
            row.least,
            limits.get(row.nutrient),
            per_energy and row.nutrient != "energy",
            least_from=row,
        )
        for row in requirements_of(stage, "base")
        if row.nutrient in told
    )


def question(
    stage: Stage,
    codes: Iterable[str] = BASIC,
    *,
    certainty: float = 0.5,
    per_energy: bool = False,
    most: Mapping[str, float] | None = None,
    batch_kg: float = 20.0,
    scoop_kg: float = 0.0,
) -> Question:
    """What gives birds of a stage what they need, from these ingredients."""
    choices = tuple(choice(code, stage) for code in codes)
    if scoop_kg:
        fine = ("mineral", "amino acid", "premix", "fat")
        choices = tuple(
            replace(one, scoop_kg=0.001 if one.category in fine else scoop_kg) for one in choices
        )
    return Question(
        stage, batch_kg, choices, needs_of(stage, per_energy=per_energy, most=most), certainty
    )

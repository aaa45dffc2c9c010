"""What feed is reckoned in: nutrients, their units, and amounts as labels and laboratories write
them."""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

from quailwright.language import mark, say

Kind = Literal["energy", "protein", "amino acid", "mineral", "vitamin", "other"]
Basis = Literal["as fed", "dry matter"]

KCAL_IN_A_MJ: Final = 1000 / 4.184
"""The thermochemical calorie, exact by definition."""


@dataclass(frozen=True, slots=True)
class Nutrient:
    """One nutrient: its code, its name in English, and the unit that its tables are kept in.

    `step` is an amount worth speaking of in that unit: what "another ..." means.
    """

    code: str
    name: str
    unit: str
    kind: Kind
    step: float


def _all(*nutrients: Nutrient) -> Mapping[str, Nutrient]:
    return {nutrient.code: nutrient for nutrient in nutrients}


NUTRIENTS: Final = _all(
    Nutrient("energy", mark("energy"), "kcal/kg", "energy", 50),
    Nutrient("protein", mark("protein"), "%", "protein", 1),
    Nutrient("lysine", mark("lysine"), "%", "amino acid", 0.1),
    Nutrient("methionine", mark("methionine"), "%", "amino acid", 0.1),
    Nutrient("methionine_cystine", mark("methionine with cystine"), "%", "amino acid", 0.1),
    Nutrient("threonine", mark("threonine"), "%", "amino acid", 0.1),
    Nutrient("tryptophan", mark("tryptophan"), "%", "amino acid", 0.02),
    Nutrient("arginine", mark("arginine"), "%", "amino acid", 0.1),
    Nutrient("glycine_serine", mark("glycine with serine"), "%", "amino acid", 0.1),
    Nutrient("histidine", mark("histidine"), "%", "amino acid", 0.1),
    Nutrient("isoleucine", mark("isoleucine"), "%", "amino acid", 0.1),
    Nutrient("leucine", mark("leucine"), "%", "amino acid", 0.1),
    Nutrient("phenylalanine", mark("phenylalanine"), "%", "amino acid", 0.1),
    Nutrient("phenylalanine_tyrosine", mark("phenylalanine with tyrosine"), "%", "amino acid", 0.1),
    Nutrient("valine", mark("valine"), "%", "amino acid", 0.1),
    Nutrient("linoleic_acid", mark("linoleic acid"), "%", "other", 0.1),
    Nutrient("calcium", mark("calcium"), "%", "mineral", 0.1),
    Nutrient("phosphorus", mark("phosphorus"), "%", "mineral", 0.05),
    Nutrient("available_phosphorus", mark("available phosphorus"), "%", "mineral", 0.05),
    Nutrient("sodium", mark("sodium"), "%", "mineral", 0.01),
    Nutrient("chlorine", mark("chlorine"), "%", "mineral", 0.01),
    Nutrient("potassium", mark("potassium"), "%", "mineral", 0.05),
    Nutrient("magnesium", mark("magnesium"), "mg/kg", "mineral", 50),
    Nutrient("copper", mark("copper"), "mg/kg", "mineral", 1),
    Nutrient("iodine", mark("iodine"), "mg/kg", "mineral", 0.1),
    Nutrient("iron", mark("iron"), "mg/kg", "mineral", 10),
    Nutrient("manganese", mark("manganese"), "mg/kg", "mineral", 10),
    Nutrient("selenium", mark("selenium"), "mg/kg", "mineral", 0.05),
    Nutrient("zinc", mark("zinc"), "mg/kg", "mineral", 10),
    Nutrient("vitamin_a", mark("vitamin A"), "IU/kg", "vitamin", 500),
    Nutrient("vitamin_d3", mark("vitamin D3"), "IU/kg", "vitamin", 100),
    Nutrient("vitamin_e", mark("vitamin E"), "IU/kg", "vitamin", 5),
    Nutrient("vitamin_k", mark("vitamin K"), "mg/kg", "vitamin", 0.5),
    Nutrient("vitamin_b12", mark("vitamin B12"), "mg/kg", "vitamin", 0.001),
    Nutrient("biotin", mark("biotin"), "mg/kg", "vitamin", 0.05),
    Nutrient("choline", mark("choline"), "mg/kg", "vitamin", 100),
    Nutrient("folacin", mark("folacin"), "mg/kg", "vitamin", 0.5),
    Nutrient("niacin", mark("niacin"), "mg/kg", "vitamin", 5),
    Nutrient("pantothenic_acid", mark("pantothenic acid"), "mg/kg", "vitamin", 1),
    Nutrient("pyridoxine", mark("pyridoxine"), "mg/kg", "vitamin", 0.5),
    Nutrient("riboflavin", mark("riboflavin"), "mg/kg", "vitamin", 0.5),
    Nutrient("thiamin", mark("thiamin"), "mg/kg", "vitamin", 0.5),
    Nutrient("crude_fibre", mark("crude fibre"), "%", "other", 1),
    Nutrient("crude_fat", mark("crude fat"), "%", "other", 1),
    Nutrient("calcium_to_phosphorus", mark("calcium to available phosphorus"), "ratio", "other", 1),
)
"""By code. Amino acids are total, not digestible; energy is metabolisable; vitamin D3 in ICU is the
same number in IU."""

RATIO: Final = ("calcium", "available_phosphorus")
"""What `calcium_to_phosphorus` is the ratio of."""


class NotAnAmount(ValueError):
    """A text that is no amount of a nutrient; its words say what would be."""


_AMOUNT = re.compile(r"\s*(\d+(?:[.,]\d+)?)\s*(%|[a-zA-Zµ]+(?:\s*/\s*[a-zA-Z0-9]+)?)\s*\Z")
_MASS_PERCENT: Final = {
    "%": 1.0,
    "g/kg": 0.1,
    "g/100g": 1.0,
    "mg/kg": 1e-4,
    "ppm": 1e-4,
    "mg/100g": 1e-3,
}
_MASS_MG: Final = {"mg/kg": 1.0, "ppm": 1.0, "µg/kg": 1e-3, "ug/kg": 1e-3, "mcg/kg": 1e-3,
                   "g/kg": 1e3, "%": 1e4, "mg/100g": 10.0}  # fmt: skip
_ENERGY: Final = {"kcal/kg": 1.0, "mj/kg": KCAL_IN_A_MJ, "kj/kg": KCAL_IN_A_MJ / 1000,
                  "kj/100g": KCAL_IN_A_MJ / 100, "kcal/100g": 10.0, "kcal/lb": 1 / 0.45359237,
                  "mcal/kg": 1000.0}  # fmt: skip
_IU: Final = {"iu/kg": 1.0, "ie/kg": 1.0, "ui/kg": 1.0, "icu/kg": 1.0, "iu/g": 1000.0,
              "iu/lb": 1 / 0.45359237}  # fmt: skip
_FACTORS: Final[Mapping[str, Mapping[str, float]]] = {
    "%": _MASS_PERCENT,
    "mg/kg": _MASS_MG,
    "kcal/kg": _ENERGY,
    "IU/kg": _IU,
}
_TAKEN: Final = {
    "%": "%, g/kg, mg/kg",
    "mg/kg": "mg/kg, g/kg, %",
    "kcal/kg": "kcal/kg, MJ/kg, kcal/lb",
    "IU/kg": "IU/kg, IU/lb",
    "ratio": "",
}


def amount_of(nutrient: Nutrient, text: str) -> float:
    """An amount as it is written on a label, in the nutrient's own unit.

    Args:
        text: a number and its unit: `9.2 %`, `92 g/kg`, `13.4 MJ/kg`, `3200 kcal/kg`.

    Raises:
        NotAnAmount: no number, no unit, or a unit that this nutrient is not measured in.
    """
    told = _AMOUNT.match(text)
    taken = _TAKEN[nutrient.unit]
    if told is None:
        raise NotAnAmount(
            say(
                "Write {nutrient} as a number with its unit, such as {units}.",
                nutrient=say(nutrient.name),
                units=taken,
            )
        )
    unit = re.sub(r"\s", "", told[2]).lower()
    factor = _FACTORS.get(nutrient.unit, {}).get(unit)
    if factor is None:
        raise NotAnAmount(
            say(
                "{nutrient} is not told in {unit}; use one of {units}.",
                nutrient=say(nutrient.name),
                unit=told[2],
                units=taken,
            )
        )
    return float(told[1].replace(",", ".")) * factor


def as_fed(amount: float, basis: Basis, dry_matter_pct: float) -> float:
    """An amount of the feed as it is fed.

    Args:
        amount: in any unit a kilogram.
        basis: what the amount is of; what has been dried holds more of everything.
        dry_matter_pct: dry matter of the feed as fed [%], above 0 and up to 100.

    Raises:
        ValueError: dry matter out of range.
    """
    if not 0 < dry_matter_pct <= 100:
        raise ValueError(f"Dry matter of {dry_matter_pct:g} % is out of range.")
    return amount * dry_matter_pct / 100 if basis == "dry matter" else amount


_LEAST_ENERGY_OF_FOOD = 500.0
_MOST_ENERGY = 9600.0
"""Pure fat holds less than this [kcal/kg], and a feed with protein in it more than the other: they
tell a wrong unit from a right one."""
_PURE = 50.0


def problems_of(composition: Mapping[str, float], dry_matter_pct: float | None) -> list[str]:
    """What cannot be true of a feed, each in a sentence; nothing where all of it can.

    Args:
        composition: by nutrient code, as fed, in the nutrient's unit.
        dry_matter_pct: None where it is not told.
    """
    found = []
    water = 0.0 if dry_matter_pct is None else 100.0 - dry_matter_pct
    for code, value in composition.items():
        nutrient = NUTRIENTS[code]
        if not math.isfinite(value) or value < 0:
            found.append(
                say("{nutrient} cannot be {value:g}.", nutrient=say(nutrient.name), value=value)
            )
        elif nutrient.unit == "%" and value > 100:
            found.append(
                say(
                    "{nutrient} of {value:g} % is more than the whole feed.",
                    nutrient=say(nutrient.name),
                    value=value,
                )
            )
    if found:
        return found
    protein = composition.get("protein")
    if protein is not None and protein >= 100:
        return [
            say(
                "Protein of 100 % leaves no room for anything else: even pure protein meals stay "
                "below 95 %."
            )
        ]
    parts = {code: composition.get(code, 0.0) for code in ("protein", "crude_fat", "crude_fibre")}
    whole = sum(parts.values()) + water
    if whole > 100.5:
        found.append(
            say(
                "Protein, fat, fibre and water make {whole:.0f} % together, more than the feed. "
                "Look at the units and at whether the figures are of dry matter.",
                whole=whole,
            )
        )
    found += _doubtful_energy(composition, protein)
    acids = {
        code: value
        for code, value in composition.items()
        if NUTRIENTS[code].kind == "amino acid" and value < _PURE
    }
    for code, value in acids.items():
        if protein is not None and value > protein + 0.05:
            found.append(
                say(
                    "{acid} of {value:g} % is more than the protein, {protein:g} %.",
                    acid=say(NUTRIENTS[code].name),
                    value=value,
                    protein=protein,
                )
            )
    if composition.get("methionine", 0.0) > composition.get("methionine_cystine", 200.0) + 1e-9:
        found.append(say("There is more methionine than methionine with cystine."))
    if composition.get("available_phosphorus", 0.0) > composition.get("phosphorus", 200.0) + 1e-9:
        found.append(say("There is more available phosphorus than phosphorus."))
    return found


def _doubtful_energy(composition: Mapping[str, float], protein: float | None) -> list[str]:
    energy = composition.get("energy")
    if energy is None:
        return []
    if energy > _MOST_ENERGY:
        return [
            say(
                "Energy of {energy:.0f} kcal/kg is more than that of pure fat. Is the unit right?",
                energy=energy,
            )
        ]
    if not protein or energy >= _LEAST_ENERGY_OF_FOOD:
        return []
    if energy == 0:
        return [
            say("Energy of 0 cannot be: whatever has protein has energy. Leave it out if unknown.")
        ]
    return [
        say(
            "Energy of {energy:g} kcal/kg is too little for a feed. Was it MJ/kg?",
            energy=energy,
        )
    ]


def amount_said(code: str, value: float) -> str:
    """An amount with its unit: `1.30 %`, `2900 kcal/kg`, `0.003 mg/kg`."""
    unit = NUTRIENTS[code].unit
    if unit == "kcal/kg":
        return say("{energy:.0f} kcal/kg", energy=value)
    if unit == "%":
        if NUTRIENTS[code].kind == "protein" or value >= 10:
            return say("{share:.1f} %", share=value)
        return say("{share:.2f} %", share=value)
    if unit == "ratio":
        return say("{ratio:.1f} to 1", ratio=value)
    return say("{amount:.4g} {unit}", amount=value, unit=unit)

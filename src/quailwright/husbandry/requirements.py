"""What quail need in their feed, by stage: the base table, limits, and other findings beside it."""

import csv
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Final, Literal, TypeVar

from quailwright.husbandry.facts import Certainty
from quailwright.husbandry.feeding import Stage
from quailwright.husbandry.nutrients import NUTRIENTS

Use = Literal["base", "limit", "beside"]
Word = TypeVar("Word", bound=str)
BASE: Final = "NRC 1994"
"""Author and year of the table that needs are taken from."""


@dataclass(frozen=True, slots=True)
class Requirement:
    """One row of ``facts/feed/requirements.csv``.

    Attributes:
        use: "base" is reckoned with, "limit" too; "beside" is another's figure, to be shown.
        least, most: in the nutrient's unit, of the diet as fed; None where there is none.
        low, high: the range that the source gives.
        amino_acids: "total", "digestible", or "" where it is none.
        conditions, source, certainty, seen: as of a `facts.Figure`.
    """

    nutrient: str
    stage: Stage
    use: Use
    least: float | None
    most: float | None
    low: float | None
    high: float | None
    amino_acids: str
    conditions: str
    source: str
    certainty: Certainty
    seen: str

    def cite(self) -> str:
        """The row on one line: number, unit, conditions, source and certainty."""
        unit = NUTRIENTS[self.nutrient].unit
        numbers = " to ".join(f"{n:g}" for n in (self.least, self.most) if n is not None)
        if self.least is None:
            numbers = f"at most {numbers}"
        span = f" ({self.low:g} to {self.high:g})" if None not in (self.low, self.high) else ""
        kind = ", digestible" if self.amino_acids == "digestible" else ""
        return (
            f"{numbers}{'' if unit == 'ratio' else f' {unit}'}{span}{kind}, {self.conditions}. "
            f"Source: {self.source}. Certainty: {self.certainty} ({self.seen})."
        )


@cache
def all_requirements() -> tuple[Requirement, ...]:
    """Every row, in table order."""
    table = resources.files("quailwright.husbandry.facts").joinpath("feed/requirements.csv")
    return tuple(_row(line) for line in csv.DictReader(table.read_text("utf-8").splitlines()))


def _row(line: dict[str, str]) -> Requirement:
    nutrient, unit = line["nutrient"], line["unit"]
    if NUTRIENTS[nutrient].unit != unit:
        raise ValueError(f"'{nutrient}' is kept in {NUTRIENTS[nutrient].unit}, not in {unit}.")
    least, most, low, high = (_number(line[name]) for name in ("least", "most", "low", "high"))
    stage: Stage = _one_of(line["stage"], ("starter", "grower", "layer"))
    use: Use = _one_of(line["use"], ("base", "limit", "beside"))
    certainty: Certainty = _one_of(
        line["certainty"], ("published", "common practice, no source", "from memory", "inferred")
    )
    return Requirement(
        nutrient,
        stage,
        use,
        least,
        most,
        low,
        high,
        line["amino_acids"],
        line["conditions"],
        line["source"],
        certainty,
        line["seen"],
    )


def _number(text: str) -> float | None:
    return float(text) if text else None


def _one_of(text: str, words: tuple[Word, ...]) -> Word:
    for word in words:
        if word == text:
            return word
    raise ValueError(f"'{text}' is none of {', '.join(words)}.")


def requirements_of(stage: Stage, use: Use) -> tuple[Requirement, ...]:
    """The rows of one stage and use, in table order."""
    return tuple(row for row in all_requirements() if row.stage == stage and row.use == use)


def beside(nutrient: str, stage: Stage) -> tuple[Requirement, ...]:
    """What others found that this stage needs of a nutrient, digestible amino acids too."""
    return tuple(row for row in requirements_of(stage, "beside") if row.nutrient == nutrient)

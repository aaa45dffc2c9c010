"""What quail need in their feed and what ingredients hold, as a page looks them up."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from quailwright.husbandry.feeding import STAGES, Stage
from quailwright.husbandry.ingredients import Ingredient, ingredients
from quailwright.husbandry.nutrients import NUTRIENTS, Kind
from quailwright.husbandry.requirements import Requirement, all_requirements
from quailwright.language import figure, mark, say

INGREDIENTS: Final = "ingredients"
STAGE_WORDS: Final = {
    "starter": mark("starter, to 3 weeks"),
    "grower": mark("grower, 3 to 6 weeks"),
    "layer": mark("layer"),
}
CATEGORIES: Final = {
    "cereal": mark("Cereals"),
    "cereal by-product": mark("Bran and other by-products of cereals"),
    "legume": mark("Peas and beans"),
    "oilseed meal": mark("Oilseeds and their meals"),
    "protein by-product": mark("Gluten meal"),
    "animal": mark("Of animals"),
    "insect": mark("Insects"),
    "yeast": mark("Yeast"),
    "forage": mark("Green forage"),
    "fat": mark("Fat and oil"),
    "mineral": mark("Minerals"),
    "amino acid": mark("Amino acids"),
    "premix": mark("Premix"),
    "complete feed": mark("Bought feeds: type their labels in"),
}
"""By the category of the table, in the order of the pages."""
_KINDS: Final[dict[Kind, str]] = {
    "energy": mark("Energy"),
    "protein": mark("Protein"),
    "amino acid": mark("Amino acids"),
    "mineral": mark("Minerals"),
    "vitamin": mark("Vitamins"),
    "other": mark("Other needs"),
}
_SEEN: Final = (
    mark("judgement between sources"),
    mark("not read"),
    mark("not read; low confidence, to be checked before use"),
    mark("read in a paper that quotes it"),
    mark("read in an excerpt"),
)
"""How a requirement's source was seen: what `seen` of the table may be."""


@dataclass(frozen=True, slots=True)
class Found:
    """A published figure: how much, when it holds, whose it is, and how sure."""

    amount: str
    conditions: str
    source: str
    certainty: str


@dataclass(frozen=True, slots=True)
class NeedOf:
    """A need: what is reckoned with, and what others found."""

    code: str
    name: str
    used: tuple[Found, ...]
    others: tuple[Found, ...]


@dataclass(frozen=True, slots=True)
class IngredientTold:
    """An ingredient of the table, in words."""

    code: str
    name: str
    holds: tuple[tuple[str, str], ...]
    most: str
    spread: str
    spread_source: str
    caution: str
    source: str
    certainty: str


@dataclass(frozen=True, slots=True)
class NeedsPage:
    """The needs of a stage, or the ingredients, by heading.

    Attributes:
        of: a stage, or `INGREDIENTS`.
        choices: what may be looked up, with its words.
    """

    of: str
    choices: tuple[tuple[str, str], ...]
    needs: tuple[tuple[str, tuple[NeedOf, ...]], ...] = ()
    ingredients: tuple[tuple[str, tuple[IngredientTold, ...]], ...] = ()


def needs_page(of: str) -> NeedsPage:
    """What was asked for; the needs of layers where that is not known."""
    choices = (
        *((stage, say(STAGE_WORDS[stage])) for stage in STAGES),
        (INGREDIENTS, say("ingredients")),
    )
    if of == INGREDIENTS:
        return NeedsPage(of, choices, ingredients=tuple(_by_category()))
    stage: Stage = next((one for one in STAGES if one == of), "layer")
    return NeedsPage(stage, choices, needs=tuple(_by_kind(stage)))


def _by_kind(stage: Stage) -> Iterator[tuple[str, tuple[NeedOf, ...]]]:
    rows = [row for row in all_requirements() if row.stage == stage]
    for kind, title in _KINDS.items():
        needs = []
        for code in dict.fromkeys(row.nutrient for row in rows):
            if NUTRIENTS[code].kind != kind:
                continue
            of = [row for row in rows if row.nutrient == code]
            needs.append(
                NeedOf(
                    code,
                    say(NUTRIENTS[code].name),
                    tuple(_found(row) for row in of if row.use != "beside"),
                    tuple(_found(row) for row in of if row.use == "beside"),
                )
            )
        if needs:
            yield say(title), tuple(needs)


def _found(row: Requirement) -> Found:
    conditions = say(row.conditions)
    if row.amino_acids == "digestible":
        conditions = say("digestible; {conditions}", conditions=conditions)
    elif row.amino_acids == "total":
        conditions = say("total; {conditions}", conditions=conditions)
    certainty = say(
        "{certainty} ({how})", certainty=say(row.certainty), how=say(row.seen)
    ) if row.seen else say(row.certainty)  # fmt: skip
    return Found(_amount(row), conditions, row.source, certainty)


def _amount(row: Requirement) -> str:
    def told(number: float) -> str:
        unit = NUTRIENTS[row.nutrient].unit
        if unit == "ratio":
            return say("{ratio:g} to 1", ratio=number)
        return f"{figure(number, 'g')} {unit}"

    if row.least is not None and row.most is not None:
        words = say("{low} to {high}", low=told(row.least), high=told(row.most))
    elif row.most is not None:
        words = say("at most {amount}", amount=told(row.most))
    elif row.least is not None:
        words = told(row.least)
    else:
        words = ""
    if row.low is None or row.high is None:
        return words
    span = say("{low} to {high}", low=told(row.low), high=told(row.high))
    return say("{amount} ({range})", amount=words, range=span) if words else span


def _by_category() -> Iterator[tuple[str, tuple[IngredientTold, ...]]]:
    for category, title in CATEGORIES.items():
        rows = [row for row in ingredients().values() if row.category == category]
        yield say(title), tuple(_told(row) for row in rows)


def _told(row: Ingredient) -> IngredientTold:
    spread = ""
    if row.protein_cv:
        spread = say(
            "Its protein spreads by {percent:.1f} % of its mean between lots ({certainty}).",
            percent=100 * row.protein_cv,
            certainty=say(row.spread_certainty),
        )
    return IngredientTold(
        row.code,
        say(row.name),
        tuple(
            (say(NUTRIENTS[code].name), f"{figure(value, 'g')} {NUTRIENTS[code].unit}")
            for code, value in row.composition.items()
        ),
        say(
            "At most {starter:g} % of a starter, {grower:g} % of a grower, {layer:g} % of a layer "
            "ration.",
            starter=row.most["starter"],
            grower=row.most["grower"],
            layer=row.most["layer"],
        ),
        spread,
        row.spread_source,
        say(row.caution) if row.caution else "",
        row.source,
        say(row.certainty),
    )

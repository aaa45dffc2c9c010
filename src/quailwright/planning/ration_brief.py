"""What a keeper asks of a ration, read from TOML, with the labels and prices of the journal."""

import difflib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Annotated, Any, Final

from msgspec import Meta

from quailwright.flock.state import FeedStock, Flock
from quailwright.husbandry import facts
from quailwright.husbandry.feeding import Stage
from quailwright.husbandry.ingredients import (
    BY_THE_GRAM,
    Ingredient,
    ingredients,
    is_layer_feed,
    is_medicine,
    is_mouldy,
    is_shell,
)
from quailwright.husbandry.nutrients import (
    NUTRIENTS,
    Basis,
    NotAnAmount,
    amount_of,
    as_fed,
    problems_of,
)
from quailwright.husbandry.requirements import requirements_of
from quailwright.journal import entries as kinds
from quailwright.journal.findings import Finding
from quailwright.language import mark, say
from quailwright.planning.brief import (
    AMOUNT,
    CERTAIN,
    CERTAINTY,
    Document,
    Field,
    Path,
    read_document,
    shown,
)
from quailwright.planning.ration_mix import BATCH_KG, Choice, Need, Question

FINE_KG: Final = 0.001
"""What the gram scale tells apart, where nothing else is told [kg]."""
_A_SPECK: Final = 1e-9
_MOST_KG: Final = 100_000


@dataclass(frozen=True)
class RationAsked:
    """What a brief asks.

    Attributes:
        unchecked: codes of nutrients that quail need and that not every ingredient tells.
        untold: codes, by the name of an ingredient, that count as nothing there.
        doubts: sentences about labels that may be misread.
    """

    question: Question
    unchecked: tuple[str, ...]
    untold: Mapping[str, tuple[str, ...]]
    doubts: tuple[str, ...]


KG = Field(
    Annotated[float, Meta(gt=0, le=_MOST_KG)], mark("kilograms, a number above 0, such as 20")
)
SCOOP = Field(
    Annotated[float, Meta(ge=0.0001, le=1000)],
    mark("kilograms, 0.0001 or more, such as 0.25 for 250 g"),
)
PERCENT = Field(Annotated[float, Meta(ge=0, le=100)], mark("a number from 0 to 100"))
CURRENCY = Field(
    Annotated[str, Meta(min_length=1, max_length=8, pattern=kinds.NAME)],
    mark("a code such as EUR"),
)
STAGE = Field(kinds.Stage, mark("starter, grower or layer"), required=True)
NAME = Field(kinds.Name, mark("its name"), required=True)
FLAG = Field(bool, mark("true or false"))
BASIS = Field(Basis, mark('"as fed" or "dry matter"'))
DRY_MATTER = Field(Annotated[float, Meta(gt=0, le=100)], mark("dry matter in percent, such as 88"))
_ANYTHING = Field(Any, "")
TOP: Final = {
    "stage": STAGE,
    "batch_kg": KG,
    "certainty": CERTAIN,
    "per_energy": FLAG,
    "scoop_kg": SCOOP,
    "fine_kg": SCOOP,
    "currency": CURRENCY,
}
_TABLES: Final = ("needs", "ingredient")
_NEED: Final = {"min": _ANYTHING, "max": _ANYTHING}
INGREDIENT: Final = {
    "ingredient": NAME,
    "like": Field(kinds.Name, mark("the name of an ingredient of the table")),
    "price_per_kg": AMOUNT,
    "stock_kg": AMOUNT,
    "min_pct": PERCENT,
    "max_pct": PERCENT,
    "share_pct": PERCENT,
    "scoop_kg": SCOOP,
    "contains": _ANYTHING,
    "basis": BASIS,
    "dry_matter_pct": DRY_MATTER,
    "analysed": FLAG,
    "medicated": FLAG,
    "note": Field(str, mark("a text")),
}


def read_ration(data: bytes, flock: Flock) -> tuple[RationAsked | None, list[Finding]]:
    """A ration's brief from TOML: what it asks, or None and every problem found in it.

    Args:
        data: the file.
        flock: for labels and prices of feeds with the name of an ingredient.
    """
    document, findings = read_document(data)
    if document is None:
        return None, findings
    document.keys((), (*TOP, *_TABLES), document.values)
    given = {name: value for name, value in document.values.items() if name in TOP}
    told = document.fields((), TOP, given)
    stage: Stage = told.get("stage", "layer")
    offers = _Offers(document, stage, flock, told.get("scoop_kg", 0.0), told.get("fine_kg"))
    choices = tuple(offers.read())
    if not document.values.get("ingredient"):
        document.find(
            ("ingredient",),
            say("there is no ingredient in it."),
            say("Add [[ingredient]] with ingredient and price_per_kg."),
        )
    together = sum(choice.least for choice in choices)
    if together > 1 + _A_SPECK:
        document.find(
            ("ingredient",),
            say(
                "the least shares come to {share:.0f} % together, more than the whole mix.",
                share=100 * together,
            ),
            say("Lower share_pct or min_pct of one."),
        )
    own = _own_needs(document, document.values.get("needs", {}))
    _within_limits(document, stage, own)
    if document.findings:
        return None, document.in_order_of_lines()
    needs, unchecked = _needs(stage, choices, own, per_energy=told.get("per_energy", True))
    currency = told.get("currency") or (flock.holding.currency if flock.holding else None) or ""
    question = Question(
        stage,
        told.get("batch_kg", BATCH_KG),
        choices,
        needs,
        told.get("certainty", CERTAINTY),
        next(
            row.least or 0.0 for row in requirements_of(stage, "base") if row.nutrient == "energy"
        ),
        currency,
    )
    wanted = [need.nutrient for need in needs if need.least is not None]
    untold = {
        choice.name: tuple(
            code
            for code in wanted
            if code not in choice.composition and code != "calcium_to_phosphorus"
        )
        for choice in choices
    }
    untold = {name: codes for name, codes in untold.items() if codes}
    return RationAsked(question, unchecked, untold, tuple(offers.doubts)), []


# What quail need.


def _needs(
    stage: Stage, choices: Sequence[Choice], own: Mapping[str, Need], *, per_energy: bool
) -> tuple[tuple[Need, ...], tuple[str, ...]]:
    """The needs to reckon with, in table order, and the codes of those that cannot be."""
    table = frozenset(code for row in ingredients().values() for code in row.composition)
    reckoned: dict[str, Need] = {}
    unchecked = []
    for row in requirements_of(stage, "base"):
        told = row.nutrient in table or all(row.nutrient in c.composition for c in choices)
        if not told and row.nutrient not in own:
            unchecked.append(row.nutrient)
            continue
        reckoned[row.nutrient] = Need(
            row.nutrient,
            row.least,
            per_energy=per_energy and NUTRIENTS[row.nutrient].kind != "energy",
            least_from=row,
        )
    for row in requirements_of(stage, "limit"):
        before = reckoned.get(row.nutrient, Need(row.nutrient))
        if row.least is not None:
            before = replace(before, least=row.least, least_from=row)
        reckoned[row.nutrient] = replace(before, most=row.most, most_from=row)
    for code, need in own.items():
        before = reckoned.get(code, Need(code))
        if need.least is not None:
            least = need.least or None
            before = replace(before, least=least, per_energy=False, least_from=None)
        if need.most is not None:
            before = replace(before, most=need.most, most_from=None)
        reckoned[code] = before
    bounded = (n for n in reckoned.values() if n.least is not None or n.most is not None)
    return tuple(bounded), tuple(unchecked)


def _own_needs(document: Document, given: object) -> dict[str, Need]:
    """The keeper's own needs; a least of 0 is none."""
    found: dict[str, Need] = {}
    if not isinstance(given, dict):
        document.fields(("needs",), {}, given)
        return found
    document.keys(("needs",), NUTRIENTS, given)
    for code, one in given.items():
        if code not in NUTRIENTS:
            continue
        told = document.fields(("needs", code), _NEED, one)
        bounds = {
            name: _need_amount(document, ("needs", code, name), code, value)
            for name, value in told.items()
        }
        least, most = bounds.get("min"), bounds.get("max")
        if least is not None and most is not None:
            document.low_first(("needs", code), {"min": least, "max": most}, "min", "max")
        if code == "energy" and (least == 0 or most == 0):
            document.find(
                ("needs", code),
                say("a ration without energy feeds no bird."),
                say("Give kcal a kilogram, such as 2800, or leave it out."),
            )
        found[code] = Need(code, least, most)
    return found


def _within_limits(document: Document, stage: Stage, own: Mapping[str, Need]) -> None:
    """An own most may be stricter than what birds of the stage stand, never laxer."""
    limits = {row.nutrient: row.most for row in requirements_of(stage, "limit")}
    for code, need in own.items():
        most = limits.get(code)
        if most is not None and need.most is not None and need.most > most:
            document.find(
                ("needs", code, "max"),
                say(
                    "birds of this stage stand {most:g} {unit} of {nutrient} at most.",
                    most=most,
                    unit=NUTRIENTS[code].unit,
                    nutrient=say(NUTRIENTS[code].name),
                ),
                say("Give that or less, or leave it out."),
            )


def _need_amount(document: Document, path: Path, code: str, value: object) -> float | None:
    unit = NUTRIENTS[code].unit
    if isinstance(value, str) and unit != "ratio":
        try:
            return amount_of(NUTRIENTS[code], value)
        except NotAnAmount as bad:
            document.find(path, say("{value} will not do.", value=shown(value)), str(bad))
            return None
    number = document.fields(path[:-1], {str(path[-1]): AMOUNT}, {str(path[-1]): value})
    amount = number.get(str(path[-1]))
    if amount is not None and unit == "%" and amount > 100:
        document.find(
            path,
            say("{share:g} % is more than the whole feed.", share=amount),
            say("Give percent of the feed."),
        )
        return None
    return None if amount is None else float(amount)


# What there is to mix.


class _Offers:
    """Reads the ingredients of a brief."""

    def __init__(
        self, document: Document, stage: Stage, flock: Flock, scoop: float, fine: float | None
    ) -> None:
        self._document = document
        self._stage: Stage = stage
        self._feeds = {name.casefold(): stock for name, stock in flock.feeds.items()}
        self._scoop = scoop
        self._fine = FINE_KG if fine is None else fine
        self.doubts: list[str] = []

    def read(self) -> Iterator[Choice]:
        """Each ingredient that is as it should be; what is not is found."""
        rows = self._document.tables("ingredient", INGREDIENT)
        for number, (_, told) in enumerate(rows, 1):
            if "ingredient" in told:
                choice = self._choice(("ingredient", number), told)
                if choice is not None:
                    yield choice

    def _choice(self, path: tuple[str, int], told: Mapping[str, Any]) -> Choice | None:
        document, name = self._document, str(told["ingredient"])
        if self._refused(path, told):
            return None
        stock = self._feeds.get(name.casefold())
        label = _label(stock)
        base = self._base(path, told, knows=bool(label) or "contains" in told)
        own = self._contains(path, told)
        if base is None and not own and not label:
            return None
        dry = told.get("dry_matter_pct", base.dry_matter_pct if base else None)
        composition = _composed(base, {**label, **own}, dry)
        for problem in problems_of({**label, **own}, told.get("dry_matter_pct")):
            where = (*path, "contains") if own else path
            document.find(where, problem, say("Read the label or the laboratory's sheet again."))
        if self._rich_perhaps(name, stock, base, {**label, **own}):
            document.find(
                path,
                say(
                    "{ingredient} tells no calcium; birds that do not lay take harm from what a "
                    "layer feed holds.",
                    ingredient=name,
                ),
                say("Add its calcium from the label, or leave it out."),
            )
            return None
        category = base.category if base else ""
        self._doubt(name, {**label, **own}, category)
        least, most = self._shares(path, told, category, name)
        price = told.get("price_per_kg", None if stock is None else stock.price_per_kg)
        if price is None and "price_per_kg" not in document.values["ingredient"][path[-1] - 1]:
            document.find(
                (*path, "price_per_kg"),
                say("{ingredient} has no price.", ingredient=name),
                say("Add price_per_kg (0 if it is yours for nothing)."),
            )
        own_figures = bool(own) or bool(label)
        return Choice(
            name,
            base.name if base and base.code == _code(name) else name,
            composition,
            float(price or 0.0),
            least,
            most,
            base.most[self._stage] / 100 if base else 1.0,
            told.get("stock_kg"),
            self._scoop_of(told, category),
            _spread(base, {**label, **own}, analysed=told.get("analysed", False)),
            category,
            base.caution if base else "",
            base.cite() if base else "",
            _certainty(base, own_figures=own_figures, analysed=told.get("analysed", False)),
        )

    def _refused(self, path: Path, told: Mapping[str, Any]) -> bool:
        name, like = str(told["ingredient"]), str(told.get("like", ""))
        if is_medicine(name) or is_medicine(like) or told.get("medicated"):
            self._document.find(
                path,
                say("a medicine, or a feed with one in it, is no ingredient of a ration."),
                say(
                    "Leave it out. A medicated feed is fed as its label and a vet say, to the "
                    "species that it names, and its withdrawal period is kept."
                ),
            )
            return True
        if is_mouldy(name):
            self._document.find(
                path,
                say("what is mouldy is never fed, nor thinned with good feed."),
                say("Leave it out, and throw it away."),
            )
            return True
        if self._stage != "layer" and any(map(is_shell, (name, like))):
            self._document.find(
                path,
                say("oyster shell is for hens in lay, never for chicks or growers."),
                say("Leave it out: limestone in the mix gives them what they need."),
            )
            return True
        return False

    def _rich_perhaps(
        self,
        name: str,
        stock: FeedStock | None,
        base: Ingredient | None,
        told: Mapping[str, float],
    ) -> bool:
        """Whether birds that do not lay may get too much calcium of it, by what is not told."""
        if self._stage == "layer" or "calcium" in told:
            return False
        if base is None:
            return True
        label = None if stock is None else stock.label
        for_layers = is_layer_feed(name) or (label is not None and label.stage == "layer")
        return for_layers and base.most[self._stage] > 0

    def _base(self, path: Path, told: Mapping[str, Any], *, knows: bool) -> Ingredient | None:
        """The row of the table that an ingredient is, or is like."""
        named = "like" if "like" in told else "ingredient"
        base = known(str(told[named]))
        if base is None and (named == "like" or not knows):
            near = nearest_names(str(told[named]))
            self._document.find(
                (*path, named),
                say("{name} is not in the table of ingredients.", name=shown(told[named])),
                say(
                    "Add contains with protein, energy and what else its label tells, or like with "
                    "one of {names}.",
                    names=", ".join(near),
                ),
            )
        return base

    def _contains(self, path: Path, told: Mapping[str, Any]) -> dict[str, float]:
        """What the keeper tells of it, as fed, in the nutrients' units."""
        document, given = self._document, told.get("contains", {})
        where = (*path, "contains")
        if not isinstance(given, dict):
            document.fields(where, {}, given)
            return {}
        basis: Basis = told.get("basis", "as fed")
        dry = told.get("dry_matter_pct")
        if basis == "dry matter" and dry is None:
            document.find(
                (*path, "dry_matter_pct"),
                say("figures of dry matter need the dry matter."),
                say("Add dry_matter_pct, such as 88: what the sheet tells, or 100 less the water."),
            )
            return {}
        codes = [code for code in NUTRIENTS if code != "calcium_to_phosphorus"]
        document.keys(where, codes, given)
        found = {}
        for code in codes:
            if code not in given:
                continue
            try:
                found[code] = as_fed(_told(code, given[code]), basis, dry or 100.0)
            except NotAnAmount as bad:
                what = say("{value} will not do.", value=shown(given[code]))
                document.find((*where, code), what, str(bad))
        return found

    def _doubt(self, name: str, own: Mapping[str, float], category: str) -> None:
        """Labels on which lysine and methionine may have changed places: a mixed feed has more
        lysine."""
        lysine, methionine = own.get("lysine"), own.get("methionine")
        mixed = category in ("", "complete feed")
        if lysine is not None and methionine is not None and mixed and methionine > lysine:
            self.doubts.append(
                say(
                    "{ingredient} tells more methionine than lysine, which hardly any feed holds: "
                    "the two may have changed places.",
                    ingredient=name,
                )
            )

    def _shares(
        self, path: Path, told: Mapping[str, Any], category: str, name: str
    ) -> tuple[float, float]:
        """Least and most share that the keeper asks for, 0 to 1."""
        document = self._document
        if "share_pct" in told:
            for other in ("min_pct", "max_pct"):
                if other in told:
                    document.find(
                        (*path, other),
                        say("share_pct says already how much of it there is to be."),
                        say("Leave one of the two out."),
                    )
            return told["share_pct"] / 100, told["share_pct"] / 100
        if category == "premix":
            document.find(
                (*path, "share_pct"),
                say("{ingredient} goes in at the dose of its label.", ingredient=name),
                say("Add share_pct, such as 0.5."),
            )
        document.low_first(path, told, "min_pct", "max_pct")
        return told.get("min_pct", 0.0) / 100, told.get("max_pct", 100.0) / 100

    def _scoop_of(self, told: Mapping[str, Any], category: str) -> float:
        if not self._scoop:
            return 0.0
        usual = min(self._fine, self._scoop) if category in BY_THE_GRAM else self._scoop
        return float(told.get("scoop_kg", usual))


def _told(code: str, value: object) -> float:
    """An amount of a `contains`. Raises NotAnAmount."""
    if not isinstance(value, str):
        raise NotAnAmount(
            say(
                'Write it with its unit, in quotes: {nutrient} = "{number} {unit}".',
                nutrient=code,
                number=shown(value),
                unit=NUTRIENTS[code].unit,
            )
        )
    return amount_of(NUTRIENTS[code], value)


def _code(name: str) -> str:
    return "_".join(name.casefold().replace("-", " ").replace("_", " ").split())


def known(name: str) -> Ingredient | None:
    """The row of the table that a name means: its code, or its name."""
    table = ingredients()
    by_name = {row.name.casefold(): row for row in table.values()}
    return table.get(_code(name)) or by_name.get(name.casefold())


def nearest_names(name: str) -> list[str]:
    """Codes of the table that a name may have meant; every code where none is near."""
    codes = list(ingredients())
    near = [code for code in codes if _code(name) in code or code in _code(name)]
    return near or difflib.get_close_matches(_code(name), codes, 4, 0.6) or codes


def _label(stock: FeedStock | None) -> dict[str, float]:
    """What the journal tells of a feed."""
    if stock is None or stock.label is None:
        return {}
    told = {
        "protein": stock.label.protein_pct,
        "energy": stock.label.me_kcal_kg,
        "calcium": stock.label.calcium_pct,
    }
    return {code: value for code, value in told.items() if value is not None}


def _composed(
    base: Ingredient | None, own: Mapping[str, float], dry_matter_pct: float | None
) -> dict[str, float]:
    """The table's figures at this dry matter, with the keeper's own over them.

    Amino acids fall with protein that is told lower than the table's. They are not raised with it:
    in cereals what protein comes on top is poor in lysine.
    """
    if base is None:
        return dict(own)
    drier = 1.0 if dry_matter_pct is None else dry_matter_pct / base.dry_matter_pct
    composition = {code: value * drier for code, value in base.composition.items()}
    protein = composition.get("protein", 0.0)
    if "protein" in own and protein > 0:
        poorer = min(1.0, own["protein"] / protein)
        for code in composition:
            if NUTRIENTS[code].kind == "amino acid":
                composition[code] *= poorer
    return {**composition, **own}


def _spread(base: Ingredient | None, own: Mapping[str, float], *, analysed: bool) -> float:
    if analysed and "protein" in own:
        return facts.value("energy.protein_cv_analysed")
    if base is not None:
        return base.protein_cv
    return facts.value("energy.protein_cv_label")


def _certainty(base: Ingredient | None, *, own_figures: bool, analysed: bool) -> str:
    """`laboratory` or `label` where all comes from there, else how sure the table is."""
    if base is None:
        return "laboratory" if analysed else "label"
    return f"{base.certainty}, with your own figures" if own_figures else base.certainty

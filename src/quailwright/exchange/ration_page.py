"""A ration as a page asks for it: birds, a batch, and what there is to mix, or a pasted brief."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from quailwright.exchange import ration_told
from quailwright.exchange.blend_page import price_asked
from quailwright.exchange.needs_page import CATEGORIES, STAGE_WORDS
from quailwright.exchange.plan_asked import Question, number_or_day
from quailwright.flock.state import FeedStock, Flock
from quailwright.guide import wording
from quailwright.husbandry.feeding import STAGES
from quailwright.husbandry.ingredients import Ingredient, ingredients, is_medicine
from quailwright.husbandry.nutrients import NUTRIENTS, amount_said
from quailwright.journal.entries import LONGEST_BRIEF
from quailwright.journal.findings import BadInput, Finding
from quailwright.language import figure, mark, say
from quailwright.planning.brief_text import brief_text
from quailwright.planning.ration import Ration
from quailwright.planning.ration_brief import RationAsked, known
from quailwright.planning.ration_mix import BATCH_KG, Check, Choice, checks

PASTED: Final = "toml"
"""The name of the field for a whole brief."""
MOST_OWN: Final = 2
"""Ingredients of the keeper's own, by their labels."""

_SURE: Final = (
    ("0.8", mark("with four lots in five")),
    ("0.95", mark("nearly always")),
    ("0.5", mark("on the mean of its lots")),
)
_ASKED: Final = ("stage", "batch_kg", "scoop_kg", "certainty")
_FIELDS: Final = ("price_per_kg", "stock_kg", "share_pct")
_LABEL: Final = {"protein": "%", "calcium": "%", "energy": "kcal/kg"}
"""What is asked of an own ingredient's label, with the unit that it is asked in."""


@dataclass(frozen=True, slots=True)
class Item:
    """An ingredient that may be ticked.

    Attributes:
        key: the name of its tick; its other fields have the name of the key and their own.
        code: of the table; "" for a feed of the journal.
        own_name: it is a keeper's name, as it stands.
        asked: its price, its stock, and the share of a premix.
        said: what is wrong with the ingredient itself.
    """

    key: str
    name: str
    code: str
    own_name: bool
    ticked: bool
    asked: tuple[Question, ...]
    said: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class MixRow:
    """An ingredient of the mix, in words; `code` is that of the table, "" for none."""

    name: str
    code: str
    kg: str
    measure: str
    share: str
    costs: str
    certainty: str
    caution: str


@dataclass(frozen=True, slots=True)
class NeedRow:
    """A need beside what the mix holds, in words."""

    code: str
    name: str
    least: str
    most: str
    holds: str
    surely: str
    met: bool
    others: str
    source: str


@dataclass(frozen=True, slots=True)
class Answered:
    """The answer; of an infeasible one `mix` is the nearest, and may be empty.

    Attributes:
        clashes, short: why there is no mix, and where the nearest falls short.
        binds: what its needs cost; `worth`: what ingredients are worth.
        said: what it rests on and what it does not cover.
        brief: as the command line takes it.
    """

    met: bool
    stage: str
    heading: str
    cost: str
    status: str
    whole: bool
    clashes: tuple[str, ...]
    short: tuple[str, ...]
    mix: tuple[MixRow, ...]
    needs: tuple[NeedRow, ...]
    binds: tuple[str, ...]
    worth: tuple[str, ...]
    said: tuple[str, ...]
    brief: str


@dataclass(frozen=True, slots=True)
class RationPage:
    """The questions with their answers so far, and what comes of them.

    Attributes:
        asked: birds, batch, scoop, certainty.
        shelves: what may be ticked, by heading; `own`: ingredients of the keeper's.
        elsewhere: what is wrong that stands beside no question, in sentences.
    """

    asked: list[Question]
    shelves: list[tuple[str, list[Item]]]
    own: list[list[Question]]
    pasted: str
    elsewhere: list[str]
    answer: Answered | None = None


def names(flock: Flock) -> list[str]:
    """The names of all fields of the page."""
    keys = [*ingredients(), *map(_key_of, _feeds(flock))]
    each = [name for key in keys for name in (key, *(f"{key}, {field}" for field in _FIELDS))]
    own = [
        f"own {n}, {field}"
        for n in range(1, MOST_OWN + 1)
        for field in ("ingredient", "like", *_LABEL, "price_per_kg", "stock_kg")
    ]
    return [*_ASKED, PASTED, *each, *own]


def _feeds(flock: Flock) -> list[FeedStock]:
    """Feeds of the journal that may go into a ration and are none of the table."""
    return [
        stock
        for stock in flock.feeds.values()
        if stock.label is not None
        and stock.label.protein_pct is not None
        and known(stock.name) is None
        and not is_medicine(stock.name)
    ]


def _key_of(stock: FeedStock) -> str:
    return f"feed {stock.name}"


def ration_page(flock: Flock, typed: Mapping[str, str] | None = None) -> RationPage:
    """The ration that was asked for; only the questions where nothing was.

    Args:
        typed: text by `names`; None where nothing was asked.
    """
    if typed is None:
        return _page(flock, _so_far(flock))
    text = typed.get(PASTED, "")
    keys = [] if text.strip() else _ticked(flock, typed)
    try:
        data = text.encode() if text.strip() else _written(flock, typed, keys)
        if len(data) > LONGEST_BRIEF:
            raise BadInput(say("That is too long: {most} characters at most.", most=LONGEST_BRIEF))
        asked = ration_told.ration_asked(say("The brief"), data, flock)
    except BadInput as error:
        return _page(flock, typed, error, None if text.strip() else keys)
    found = ration_told.ration_of(asked)
    return _page(flock, typed, answer=_answered(asked, found, data.decode()))


def _so_far(flock: Flock) -> dict[str, str]:
    """What the journal tells: ingredients of the table that are on the shelf, and their prices."""
    told: dict[str, str] = {}
    for stock in flock.feeds.values():
        row = known(stock.name)
        key = row.code if row is not None else _key_of(stock)
        if row is not None:
            told[key] = "yes"
        if stock.price_per_kg is not None:
            told[f"{key}, price_per_kg"] = f"{stock.price_per_kg:.12g}"
        if row is not None and stock.bought:
            told[f"{key}, stock_kg"] = f"{max(0.0, round(stock.kg, 3)):.12g}"
    return told


def _ticked(flock: Flock, typed: Mapping[str, str]) -> list[str]:
    """Keys of what is to be mixed, in the order of the brief."""
    keys = [*ingredients(), *map(_key_of, _feeds(flock))]
    own = [f"own {n}" for n in range(1, MOST_OWN + 1)]
    fields = ("ingredient", *_LABEL, "price_per_kg", "stock_kg")
    return [
        *(key for key in keys if typed.get(key)),
        *(key for key in own if any(typed.get(f"{key}, {field}") for field in fields)),
    ]


def _written(flock: Flock, typed: Mapping[str, str], keys: list[str]) -> bytes:
    """The brief that the fields make. Raises BadInput where nothing is ticked."""
    if not keys:
        what = say("Nothing is ticked.")
        mend = say("Tick what there is to mix, each with its price.")
        raise BadInput(say("There is no ration yet."), (Finding("shape", what, mend),))
    values: dict[str, Any] = {"stage": typed.get("stage") or "layer"}
    for name in ("batch_kg", "scoop_kg", "certainty"):
        if typed.get(name):
            values[name] = number_or_day(typed[name])
    by_key = {_key_of(stock): stock.name for stock in _feeds(flock)}
    values["ingredient"] = [_ingredient(key, by_key.get(key, key), typed) for key in keys]
    return brief_text(values).encode()


def _ingredient(key: str, name: str, typed: Mapping[str, str]) -> dict[str, Any]:
    told: dict[str, Any] = {"ingredient": name}
    if key.startswith("own "):
        told["ingredient"] = typed.get(f"{key}, ingredient", "")
        if typed.get(f"{key}, like"):
            told["like"] = typed[f"{key}, like"]
        contains = {
            code: f"{typed[f'{key}, {code}']} {unit}"
            for code, unit in _LABEL.items()
            if typed.get(f"{key}, {code}")
        }
        if contains:
            told["contains"] = contains
    return told | {
        field: number_or_day(typed[f"{key}, {field}"])
        for field in _FIELDS
        if typed.get(f"{key}, {field}")
    }


# The questions.


def _page(
    flock: Flock,
    typed: Mapping[str, str],
    error: BadInput | None = None,
    keys: list[str] | None = None,
    answer: Answered | None = None,
) -> RationPage:
    said, elsewhere = _beside(error, keys, set(names(flock)))
    priced = price_asked(flock)

    def asked(
        name: str, label: str, takes: Any = "number", says: str = "",
        choices: tuple[tuple[str, str], ...] = (),
    ) -> Question:  # fmt: skip
        value = typed.get(name, "")
        return Question(name, label, says, takes, choices, value, tuple(said.get(name, ())))

    def item(key: str, name: str, row: Ingredient | None) -> Item:
        price, stock = f"{key}, price_per_kg", f"{key}, stock_kg"
        each = [asked(price, priced), asked(stock, say("kg there are"))]
        if row is not None and row.category == "premix":
            each.append(asked(f"{key}, share_pct", say("% of the mix, as its label says")))
        return Item(
            key, name, row.code if row is not None else "", row is None, bool(typed.get(key)),
            tuple(each), tuple(said.get(key, ())),
        )  # fmt: skip

    shelves = [
        (
            say(title),
            [
                item(row.code, say(row.name), row)
                for row in ingredients().values()
                if row.category == category
            ],
        )
        for category, title in CATEGORIES.items()
    ]
    feeds = [item(_key_of(stock), stock.name, None) for stock in _feeds(flock)]
    if feeds:
        shelves.insert(0, (say("Feeds of your journal"), feeds))
    stages = tuple((stage, say(STAGE_WORDS[stage])) for stage in STAGES)
    weighed = say("left empty: weighed to the gram")
    sure = tuple((value, say(words)) for value, words in _SURE)
    return RationPage(
        [
            asked("stage", say("Who eats of it?"), "choice", choices=stages),
            asked("batch_kg", say("kg wanted"), says=say("{kg:g} when left empty", kg=BATCH_KG)),
            asked("scoop_kg", say("kg that a scoop holds"), says=weighed),
            asked("certainty", say("protein and amino acids are met"), "choice", choices=sure),
        ],
        shelves,
        [_own_asked(n, asked, priced) for n in range(1, MOST_OWN + 1)],
        typed.get(PASTED, ""),
        elsewhere,
        answer,
    )


def _own_asked(number: int, asked: Any, priced: str) -> list[Question]:
    table = (("", say("nothing")), *((row.code, say(row.name)) for row in ingredients().values()))
    key = f"own {number}"
    return [
        asked(f"{key}, ingredient", say("its name"), "text"),
        asked(
            f"{key}, like", say("it is like"), "choice",
            say("what its label does not tell is taken from there"), table,
        ),
        asked(f"{key}, protein", say("protein, %")),
        asked(f"{key}, calcium", say("calcium, %")),
        asked(f"{key}, energy", say("energy, kcal/kg")),
        asked(f"{key}, price_per_kg", priced),
        asked(f"{key}, stock_kg", say("kg there are")),
    ]  # fmt: skip


_OF_AN_INGREDIENT: Final = re.compile(r"ingredient (\d+)(?:, (.+))?")


def _beside(
    error: BadInput | None, keys: list[str] | None, known_names: set[str]
) -> tuple[dict[str, list[str]], list[str]]:
    """What is wrong: by the name of the field, and what has none.

    Args:
        keys: of the ingredients in the order of the brief; None where it was pasted.
    """
    said: dict[str, list[str]] = {}
    if error is None:
        return said, []
    elsewhere = [error.sentence]
    for finding in error.findings:
        field = finding.field
        told = _OF_AN_INGREDIENT.fullmatch(field)
        if keys is not None and told is not None:
            key = keys[int(told[1]) - 1]
            part = (told[2] or "").removeprefix("contains.")
            if key.startswith("own "):
                part = "protein" if part in ("", "contains") else part
            field = f"{key}, {part}" if f"{key}, {part}" in known_names else key
        if keys is not None and field in known_names:
            said.setdefault(field, []).append(f"{finding.what} {finding.mend}")
        else:
            elsewhere.append(finding.sentence)
    return said, elsewhere


# The answer.


def _answered(asked: RationAsked, ration: Ration, brief: str) -> Answered:
    question, mix = ration.question, ration.mix
    met = ration.status == "met"
    cost = ""
    if mix is not None:
        cost = say("A kilogram costs {cost}.", cost=wording.money(mix.cost, question.currency))
    return Answered(
        met,
        question.stage,
        ration_told.heading(ration),
        cost,
        ration_told.status_words(ration),
        ration.whole,
        tuple(ration_told.clash_said(one, question) for one in ration.clashes),
        tuple(ration_told.short_said(ration)),
        tuple(_mix_row(ration, *one) for one in ration_told.mixed(ration)),
        () if mix is None else tuple(_need(one, ration) for one in checks(question, mix.shares)),
        tuple(ration_told.price_said(one, question) for one in ration.need_prices),
        tuple(ration_told.worth_said(one, question) for one in ration.worths),
        tuple(ration_told.said(asked, ration)),
        brief,
    )


def _mix_row(ration: Ration, choice: Choice, kilograms: float, share: float) -> MixRow:
    row = known(choice.name)
    return MixRow(
        ration_told.name_of(choice),
        row.code if row is not None else "",
        figure(kilograms, ".3f"),
        ration_told.scoops_said(choice, kilograms) if ration.whole else "",
        figure(100 * share, ".1f"),
        figure(choice.price * kilograms, ".2f"),
        ration_told.sure_said(choice),
        say(choice.caution) if choice.caution else "",
    )


def _need(check: Check, ration: Ration) -> NeedRow:
    code = check.need.nutrient
    return NeedRow(
        code,
        say(NUTRIENTS[code].name),
        "" if check.least is None else amount_said(code, check.least),
        "" if check.most is None else amount_said(code, check.most),
        amount_said(code, check.holds),
        amount_said(code, check.surely),
        check.met,
        ration_told.others_said(check.need, ration.question),
        ration_told.source_said(check.need),
    )

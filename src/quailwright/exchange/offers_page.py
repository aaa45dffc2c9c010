"""Sellers' offers as a page asks for them: plain fields or a file's text, and what to order."""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np

from quailwright.exchange.plan_asked import ROUTES as NOT_OWN
from quailwright.exchange.plan_asked import Question, number_or_day
from quailwright.flock.state import Flock
from quailwright.journal.findings import BadInput, Finding
from quailwright.language import figure, mark, say
from quailwright.outlook.report import spread_of
from quailwright.planning.brief_text import brief_text
from quailwright.planning.offers import (
    Answer,
    Compared,
    answer,
    hens_wanted,
    read_offers,
    says_of,
)

MOST_OFFERS = 4
SEED = 1
PASTED = "toml"
"""The name of the field for a whole file."""
_LONGEST = 20_000

ROUTES = (*NOT_OWN, ("own", mark("own eggs")))
_FIRST_ROUTE = ROUTES[0][0]

_FIELDS = (
    ("source", mark("from whom"), "text", False),
    ("route", mark("they are"), "choice", False),
    ("price_per_egg", mark("price of an egg"), "number", False),
    ("postage", mark("postage of an order"), "number", False),
    ("most_eggs", mark("most eggs they sell"), "whole", False),
    ("least_eggs", mark("fewest they sell"), "whole", True),
    ("distance_km", mark("km to drive, one way"), "number", True),
    ("cost_per_km", mark("cost of a km"), "number", True),
    ("fertility", mark("fertile, as they say (0.9 for 90 %)"), "number", True),
)
"""Of each offer: name, label, what it takes, and whether it is folded away."""


@dataclass(frozen=True, slots=True)
class Row:
    """An offer in the answer, in words."""

    source: str
    route: str
    order: str
    cost: str
    chance: float
    hens: str
    hen_costs: str
    hatch: str
    own_hatches: int


@dataclass(frozen=True, slots=True)
class OffersPage:
    """The questions with their answers so far, and what comes of them.

    Attributes:
        hens, certainty: questions; `offers`: of each offer.
        pasted: a file's text, instead.
        elsewhere: what is wrong that stands beside no question, in sentences.
        hens_wanted: at lay; `sure`: with which chance. 0 where nothing is answered.
        said: what to do, in sentences; `rows`: every offer, the cheapest way first; `notes`: on
            offers that do not do as they are.
    """

    hens: Question
    certainty: Question
    offers: list[list[Question]]
    pasted: str
    elsewhere: list[str]
    hens_wanted: int = 0
    sure: float = 0.0
    said: tuple[str, ...] = ()
    rows: tuple[Row, ...] = ()
    notes: tuple[str, ...] = ()


def names() -> list[str]:
    """The names of all fields of the page."""
    each = [_name(n, field) for n in range(1, MOST_OFFERS + 1) for field, *_ in _FIELDS]
    return ["hens", "certainty", PASTED, *each]


def _name(number: int, field: str) -> str:
    return f"offer {number}, {field}"


def offers_page(flock: Flock, on: date, typed: Mapping[str, str]) -> OffersPage:
    """The offers that were typed, compared by this flock's record; only the questions if none was.

    Args:
        flock: folded up to the end of the day `on`.
        typed: text by `names`.
    """
    text = typed.get(PASTED, "")
    numbers = [n for n in range(1, MOST_OFFERS + 1) if _is_typed(n, typed)]
    if not text.strip() and not numbers:
        return _page(flock, typed)
    try:
        found = _answer(flock, on, text, typed, numbers)
    except BadInput as error:
        # Offers are numbered as they were read: the fields that were left empty are none.
        return _page(flock, typed, error, dict(enumerate(numbers, 1)) if not text.strip() else {})
    return _answered(_page(flock, typed), found)


def _is_typed(number: int, typed: Mapping[str, str]) -> bool:
    return any(typed.get(_name(number, field), "") for field, *_ in _FIELDS if field != "route")


def _answer(
    flock: Flock, on: date, text: str, typed: Mapping[str, str], numbers: list[int]
) -> Answer:
    data = text.encode() if text.strip() else _written(typed, numbers)
    if len(data) > _LONGEST:
        raise BadInput(say("That is too long: {most} characters at most.", most=_LONGEST))
    asked, findings = read_offers(data)
    if asked is None:
        raise BadInput(say("The offers cannot be compared as they are."), tuple(findings))
    if hens_wanted(asked.hens, flock) is None:
        what = say("this is not told, and no goal of eggs is in the journal.")
        mend = say("Say how many hens you want at lay.")
        raise BadInput(
            say("The offers cannot be compared as they are."),
            (Finding("shape", what, mend, field="hens"),),
        )
    return answer(asked, flock, on, np.random.default_rng(SEED))


def _written(typed: Mapping[str, str], numbers: list[int]) -> bytes:
    values: dict[str, Any] = {
        name: number_or_day(typed[name]) for name in ("hens", "certainty") if typed.get(name)
    }
    values["offer"] = [
        {"route": _FIRST_ROUTE}
        | {
            field: text if takes in ("text", "choice") else number_or_day(text)
            for field, _, takes, _ in _FIELDS
            if (text := typed.get(_name(number, field), ""))
        }
        for number in numbers
    ]
    return brief_text(values).encode()


_OFFER_FIELD = re.compile(r"offer (\d+)(, .+)?")


def _page(
    flock: Flock,
    typed: Mapping[str, str],
    error: BadInput | None = None,
    numbers: Mapping[int, int] | None = None,
) -> OffersPage:
    said: dict[str, list[str]] = {}
    elsewhere = [error.sentence] if error is not None else []
    known = set(names())
    for finding in error.findings if error is not None else ():
        field = _OFFER_FIELD.sub(
            lambda found: f"offer {(numbers or {}).get(int(found[1]), found[1])}{found[2] or ''}",
            finding.field,
        )
        if numbers is not None and field in known:
            said.setdefault(field, []).append(f"{finding.what} {finding.mend}")
        else:
            elsewhere.append(finding.sentence)
    goal = flock.goal is not None and bool(flock.goal.eggs_per_week)
    says = say("left empty, as your goal takes") if goal else ""

    def asked(name: str, label: str, takes: Any, more: bool = False, says: str = "") -> Question:
        choices = tuple((code, say(words)) for code, words in ROUTES) if takes == "choice" else ()
        value = typed.get(name) or (_FIRST_ROUTE if choices else "")
        return Question(
            name, say(label), says, takes, choices, value, tuple(said.get(name, ())), more
        )

    return OffersPage(
        asked("hens", mark("hens you want at lay"), "whole", says=says),
        asked("certainty", mark("how sure, 0.5 to 0.99"), "number", says=say("0.8 if left empty")),
        [
            [
                asked(_name(number, field), label, takes, more)
                for field, label, takes, more in _FIELDS
            ]
            for number in range(1, MOST_OFFERS + 1)
        ],
        typed.get(PASTED, ""),
        elsewhere,
    )


def _answered(page: OffersPage, found: Answer) -> OffersPage:
    return OffersPage(
        page.hens,
        page.certainty,
        page.offers,
        page.pasted,
        [],
        found.hens,
        found.certainty,
        tuple(found.said),
        tuple(_row(one) for one in found.compared),
        tuple(
            f"{one.offer.source}: {says_of(one, found.hens, found.certainty)}"
            for one in found.compared
            if not one.reaches or one.eggs != one.eggs_needed
        ),
    )


def _row(one: Compared) -> Row:
    hatch, each = spread_of(one.belief.hatch), one.cost_per_hen
    ranged = say("{mean:.0f} ({low:.0f} to {high:.0f})", mean=one.hens.mean, low=one.hens.q10,
                 high=one.hens.q90)  # fmt: skip
    if math.isfinite(each.q90):
        costs = say("{mean:.2f} ({low:.2f} to {high:.2f})", mean=each.mean, low=each.q10,
                    high=each.q90)  # fmt: skip
    else:
        costs = say("{mean:.2f} ({low:.2f} up)", mean=each.mean, low=each.q10)
    return Row(
        one.offer.source,
        say(dict(ROUTES)[one.offer.route]),
        f"{one.eggs}" if one.reaches else say("all {eggs}", eggs=one.eggs),
        figure(one.cost, ".2f"),
        one.chance,
        ranged,
        costs,
        say("{mean:.0%} ({low:.0%} to {high:.0%})", mean=hatch["mean"], low=hatch["q10"],
            high=hatch["q90"]),
        one.belief.own_hatches,
    )  # fmt: skip

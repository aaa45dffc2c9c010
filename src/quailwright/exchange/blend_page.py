"""A blend as a page asks for it: the labels of two feeds or more, and who is to eat of it."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Final
from urllib.parse import urlencode

from quailwright.exchange import blend_told
from quailwright.exchange.plan_asked import Question, number_or_day
from quailwright.flock.state import FeedStock, Flock
from quailwright.guide import wording
from quailwright.husbandry import facts
from quailwright.husbandry.feeding import STAGES, Stage
from quailwright.husbandry.ingredients import ingredients
from quailwright.husbandry.nutrients import NUTRIENTS, amount_said
from quailwright.journal.findings import BadInput, Finding
from quailwright.language import figure, mark, say
from quailwright.planning.blend import Blend, ShelfFeed, Square
from quailwright.planning.blend_brief import stages_of
from quailwright.planning.brief_text import brief_text
from quailwright.planning.ration_brief import known
from quailwright.planning.ration_mix import BATCH_KG

MOST_FEEDS: Final = 4
PASTED: Final = "toml"
"""The name of the field for a whole brief."""
FILLING: Final = "filling"
"""The name of what says that the fields are still being filled in: nothing is answered yet."""
LONGEST: Final = 5_000
"""Characters of a brief that an address takes."""

BIRDS: Final = {
    "starter": mark("chicks"),
    "grower": mark("growing birds"),
    "layer": mark("hens in lay"),
    "starter grower": mark("chicks and growing birds together"),
    "grower layer": mark("growing birds and hens together"),
    "starter layer": mark("chicks and hens together"),
    "starter grower layer": mark("birds of all ages together"),
}

_FIELDS: Final = (
    ("feed", mark("its name"), "text", False),
    ("protein_pct", mark("protein, %"), "number", False),
    ("calcium_pct", mark("calcium, %"), "number", False),
    ("price_per_kg", mark("price of a kg"), "number", False),
    ("stock_kg", mark("kg there are"), "number", True),
    ("me_kcal_kg", mark("energy, kcal/kg"), "number", True),
)
"""Of each feed: name, label, what it takes, and whether it is folded away."""
_ASKED: Final = ("birds", "target.protein_pct", "target.calcium_pct", "batch_kg")


@dataclass(frozen=True, slots=True)
class Part:
    """A feed of the answer, in words; `code` is that of the ingredient of the table that it is."""

    name: str
    kg: str
    share: str
    protein: str
    calcium: str
    price: str
    costs: str
    code: str


@dataclass(frozen=True, slots=True)
class Drawn:
    """Pearson's square: each corner with its feed, what it holds, and its parts."""

    first: str
    first_holds: str
    first_parts: str
    other: str
    other_holds: str
    other_parts: str
    target: str
    says: str


@dataclass(frozen=True, slots=True)
class Basis:
    """What the answer rests on: a sentence, and the page that tells more, "" for none."""

    says: str
    address: str


@dataclass(frozen=True, slots=True)
class Answered:
    """The answer.

    Attributes:
        met: whether the target is reached; else the nearest blend is told.
        mix: what to do, in a sentence; "" where there is no blend at all.
        status, holds, costs: sentences; costs "" where no price is told.
        cautions, said: what else to know.
    """

    met: bool
    mix: str
    status: str
    holds: str
    costs: str
    parts: tuple[Part, ...]
    square: Drawn | None
    cautions: tuple[str, ...]
    said: tuple[str, ...]
    rests_on: tuple[Basis, ...]


@dataclass(frozen=True, slots=True)
class BlendPage:
    """The questions with their answers so far, and what comes of them.

    Attributes:
        asked: who eats, the targets, the kilograms; `feeds`: of each feed.
        fill: feeds of the journal, each with its label in words and the address that fills it in.
        names: of the ingredients of the table, to choose from: code and name.
        elsewhere: what is wrong that stands beside no question, in sentences.
    """

    asked: list[Question]
    feeds: list[list[Question]]
    fill: list[tuple[str, str, str]]
    names: list[tuple[str, str]]
    pasted: str
    elsewhere: list[str]
    answer: Answered | None = None


def names() -> list[str]:
    """The names of all fields of the page."""
    each = [_name(n, field) for n in range(1, MOST_FEEDS + 1) for field, *_ in _FIELDS]
    return [*_ASKED, PASTED, FILLING, *each]


def _name(number: int, field: str) -> str:
    return f"feed {number}, {field}"


def blend_page(flock: Flock, on: date, typed: Mapping[str, str]) -> BlendPage:
    """The blend of the feeds that were typed; only the questions if none was.

    Args:
        flock: folded up to the end of the day `on`.
        typed: text by `names`.
    """
    text = typed.get(PASTED, "")
    numbers = [n for n in range(1, MOST_FEEDS + 1) if _is_typed(n, typed)]
    if typed.get(FILLING) or (not text.strip() and not numbers):
        return _page(flock, on, typed)
    try:
        data = text.encode() if text.strip() else _written(typed, numbers)
        if len(data) > LONGEST:
            raise BadInput(say("That is too long: {most} characters at most.", most=LONGEST))
        found = blend_told.blend_of(say("The brief"), data, flock, on)
    except BadInput as error:
        return _page(flock, on, typed, error, None if text.strip() else numbers)
    return _page(flock, on, typed, answer=_answered(found))


def _is_typed(number: int, typed: Mapping[str, str]) -> bool:
    return any(typed.get(_name(number, field), "") for field, *_ in _FIELDS)


def _written(typed: Mapping[str, str], numbers: list[int]) -> bytes:
    """The brief that the fields make. Raises BadInput where there is but one feed."""
    if len(numbers) < 2:
        other = next(n for n in range(1, MOST_FEEDS + 1) if n not in numbers)
        what, mend = say("A blend needs two feeds."), say("Give the label of another one.")
        raise BadInput(
            say("There is no blend yet."),
            (Finding("shape", what, mend, field=_name(other, "protein_pct")),),
        )
    values: dict[str, Any] = {}
    if typed.get("batch_kg"):
        values["batch_kg"] = number_or_day(typed["batch_kg"])
    if typed.get("birds"):
        values["birds"] = typed["birds"].split()
    target = {
        name.removeprefix("target."): number_or_day(typed[name])
        for name in _ASKED
        if name.startswith("target.") and typed.get(name)
    }
    if target:
        values["target"] = target
    values["feed"] = [
        {"feed": _letter(number)}
        | {
            field: text if takes == "text" else number_or_day(text)
            for field, _, takes, _ in _FIELDS
            if (text := typed.get(_name(number, field), ""))
        }
        for number in numbers
    ]
    return brief_text(values).encode()


def _letter(number: int) -> str:
    """What a feed is called that has no name."""
    return "ABCD"[number - 1]


# The questions.


def _page(
    flock: Flock,
    on: date,
    typed: Mapping[str, str],
    error: BadInput | None = None,
    numbers: list[int] | None = None,
    answer: Answered | None = None,
) -> BlendPage:
    said, elsewhere = _beside(error, numbers, typed)

    def asked(
        name: str, label: str, takes: Any, says: str = "", more: bool = False,
        choices: tuple[tuple[str, str], ...] = (),
    ) -> Question:  # fmt: skip
        value = typed.get(name, "")
        return Question(name, label, says, takes, choices, value, tuple(said.get(name, ())), more)

    here = stages_of(flock, on)
    nobody = say("as in your journal: {birds}", birds=_birds(here)) if here else say("choose who")
    birds = (("", nobody), *((code, say(words)) for code, words in BIRDS.items()))
    by_need = say("left empty: what they need")
    return BlendPage(
        [
            asked("birds", say("Who eats of it?"), "choice", choices=birds),
            asked("target.protein_pct", say("protein wanted, %"), "number", by_need),
            asked("target.calcium_pct", say("calcium wanted, %"), "number", say("optional")),
            asked(
                "batch_kg", say("kg wanted"), "number",
                say("{kg:g} when left empty", kg=BATCH_KG),
            ),
        ],
        [
            [
                asked(
                    _name(number, field),
                    price_asked(flock) if field == "price_per_kg" else say(label), takes, more=more,
                )
                for field, label, takes, more in _FIELDS
            ]
            for number in range(1, MOST_FEEDS + 1)
        ],
        list(_to_fill(flock, typed)),
        [(row.code, say(row.name)) for row in ingredients().values()],
        typed.get(PASTED, ""),
        elsewhere,
        answer,
    )  # fmt: skip


def price_asked(flock: Flock) -> str:
    """How the price of a kilogram is asked for."""
    if flock.holding is not None and flock.holding.currency:
        return say("price of a kg, {currency}", currency=flock.holding.currency)
    return say("price of a kg")


def _birds(stages: frozenset[Stage]) -> str:
    code = " ".join(stage for stage in STAGES if stage in stages)
    return say(BIRDS[code])


_FEED_FIELD: Final = re.compile(r"feed (\d+)(?:, (.+))?")


def _beside(
    error: BadInput | None, numbers: list[int] | None, typed: Mapping[str, str]
) -> tuple[dict[str, list[str]], list[str]]:
    """What is wrong: by the name of the field, and what has none.

    Args:
        numbers: of the feeds in the order of the brief; None where it was pasted.
    """
    said: dict[str, list[str]] = {}
    if error is None:
        return said, []
    elsewhere = [error.sentence]
    known_names = set(names())
    for finding in error.findings:
        field, words = finding.field, f"{finding.what} {finding.mend}"
        told = _FEED_FIELD.fullmatch(field)
        if numbers is not None and told is not None:
            number = int(told[1])
            number = numbers[number - 1] if number <= len(numbers) else number
            field = _name(number, told[2] or _doubtful(number, typed))
        elif numbers is not None and field == "target":
            field = "birds"
            words = say("Say who eats of it, or how much protein it is to hold.")
        if numbers is not None and field in known_names:
            said.setdefault(field, []).append(words)
        else:
            elsewhere.append(finding.sentence)
    return said, elsewhere


def _doubtful(number: int, typed: Mapping[str, str]) -> str:
    """The field of a label that cannot be true as a whole: its energy, unless the protein alone
    cannot be."""
    protein = number_or_day(typed.get(_name(number, "protein_pct"), ""))
    too_much = isinstance(protein, int | float) and protein >= _WHOLE
    return (
        "me_kcal_kg" if typed.get(_name(number, "me_kcal_kg")) and not too_much else "protein_pct"
    )


_WHOLE: Final = 100
"""Percent."""


def _to_fill(flock: Flock, typed: Mapping[str, str]) -> Iterator[tuple[str, str, str]]:
    """Feeds of the journal whose protein is known, each with its label, and the address that fills
    it in where there is room for it."""
    free = [n for n in range(1, MOST_FEEDS + 1) if not _is_typed(n, typed)]
    there = {typed.get(_name(n, "feed"), "").casefold() for n in range(1, MOST_FEEDS + 1)}
    for stock in flock.feeds.values():
        if not free or stock.name.casefold() in there:
            continue
        values = _label(stock)
        if stock.label is None or stock.label.protein_pct is None:
            continue
        query = {name: typed[name] for name in names() if typed.get(name) and name != PASTED}
        query |= {_name(free[0], field): text for field, text in values.items()}
        protein = say("{percent:g} % protein", percent=stock.label.protein_pct)
        yield stock.name, protein, f"/feed/blend?{urlencode({**query, FILLING: 'yes'})}#feeds"


def _label(stock: FeedStock) -> dict[str, str]:
    """The fields of a feed of the journal."""
    label = stock.label
    told: dict[str, float | None] = {
        "protein_pct": label.protein_pct if label else None,
        "calcium_pct": label.calcium_pct if label else None,
        "me_kcal_kg": label.me_kcal_kg if label else None,
        "price_per_kg": stock.price_per_kg,
        "stock_kg": max(0.0, stock.kg) if stock.bought else None,
    }
    numbers = {name: f"{round(n, 3):.12g}" for name, n in told.items() if n is not None}
    return {"feed": stock.name, **numbers}


# The answer.


def _answered(blend: Blend) -> Answered:
    asked, mixed = blend.asked, blend_told.mixed(blend)
    cost = blend.cost
    costs = ""
    if cost is not None and mixed:
        costs = say(
            "It costs {cost}, {each} a kg.",
            cost=wording.money(cost, asked.currency),
            each=wording.money(cost / blend.total_kg, asked.currency),
        )
    return Answered(
        blend.status == "met",
        _mix_said([(feed.name, kg) for feed, kg, _ in mixed]),
        blend_told.status_words(blend),
        blend_told.holds_said(blend) if mixed else "",
        costs,
        tuple(_part(feed, kg, share) for feed, kg, share in mixed),
        None if blend.square is None else _drawn(blend.square, next(iter(asked.targets))),
        (*blend_told.cautions(blend), *_below_need(blend)),
        tuple(blend_told.said(blend)),
        tuple(_rests_on(blend)),
    )


def _mix_said(parts: list[tuple[str, float]]) -> str:
    """`Mix 3 kg of crumbs with 7 kg of maize.`"""
    amounts = [say("{kg:g} kg of {feed}", kg=_weighed(kg), feed=name) for name, kg in parts]
    match amounts:
        case []:
            return ""
        case [only]:
            return say("Take {amount} alone.", amount=only)
        case [first, other]:
            return say("Mix {amount} with {other}.", amount=first, other=other)
    return say(
        "Mix {amounts} and {last}.", amounts=", ".join(amounts[:-1]), last=amounts[-1]
    )  # fmt: skip


def _weighed(kilograms: float) -> float:
    """To 10 g; less than a kilogram to a gram."""
    return round(kilograms, 3 if kilograms < 1 else 2)


def _part(feed: ShelfFeed, kilograms: float, share: float) -> Part:
    def held(code: str) -> str:
        return amount_said(code, feed.contents[code]) if code in feed.contents else UNTOLD

    row = known(feed.name)
    return Part(
        feed.name,
        figure(kilograms, ".2f" if kilograms >= 1 else ".3f"),
        figure(100 * share, ".1f"),
        held("protein"),
        held("calcium"),
        UNTOLD if feed.price is None else figure(feed.price, ".2f"),
        UNTOLD if feed.price is None else figure(feed.price * kilograms, ".2f"),
        row.code if row is not None else "",
    )


def _drawn(square: Square, code: str) -> Drawn:
    (first, other), (first_holds, other_holds) = square.names, square.holds
    parts = [say("{parts:.4g} parts", parts=part) for part in square.parts]
    return Drawn(
        first,
        amount_said(code, first_holds),
        parts[0],
        other,
        amount_said(code, other_holds),
        parts[1],
        amount_said(code, square.target),
        say(
            "{first} holds {first_holds} and {other} {other_holds} of {nutrient}; to hold {target} "
            "it takes {first_parts:.4g} parts of {first} and {other_parts:.4g} of {other}.",
            first=first,
            first_holds=amount_said(code, first_holds),
            other=other,
            other_holds=amount_said(code, other_holds),
            nutrient=say(NUTRIENTS[code].name),
            target=amount_said(code, square.target),
            first_parts=square.parts[0],
            other_parts=square.parts[1],
        ),
    )


UNTOLD: Final = "\N{EN DASH}"
"""What stands where a label tells nothing."""
_NEAR: Final = 0.05
"""Percent of protein that no label is exact to."""


def _most_demanding(blend: Blend) -> Stage | None:
    birds = blend.asked.birds
    return max(birds, key=lambda one: facts.value(f"feeding.protein_{one}")) if birds else None


def _below_need(blend: Blend) -> Iterator[str]:
    """Where the birds need more protein than the blend holds."""
    stage = _most_demanding(blend)
    if stage is None or not blend.total_kg:
        return
    need, held = facts.value(f"feeding.protein_{stage}"), blend.holds("protein")
    told = all("protein" in feed.contents for feed, _, _ in blend_told.mixed(blend))
    if told and held < need - _NEAR:
        yield say(
            "It holds {held} of protein, less than the {need} that these birds ({birds}) need.",
            held=amount_said("protein", held),
            need=amount_said("protein", need),
            birds=say(BIRDS[stage]),
        )


def _rests_on(blend: Blend) -> Iterator[Basis]:
    stage = _most_demanding(blend)
    if blend.asked.from_need and stage is not None:
        key = f"feeding.protein_{stage}"
        yield Basis(
            say("The target: protein for {birds}, {figure}", birds=say(BIRDS[stage]),
                figure=facts.rows(key)[0].cite()),
            f"/help?subject=feeding#{key}",
        )  # fmt: skip
        yield Basis(say("What else they need, and what others found"), f"/feed/needs?of={stage}")
    for feed, _, _ in blend_told.mixed(blend):
        row = known(feed.name)
        if row is not None:
            yield Basis(
                say(
                    "{feed}: what its label does not tell is taken from the table of ingredients, "
                    "{certainty}.",
                    feed=feed.name,
                    certainty=say(row.certainty),
                ),
                f"/feed/needs?of=ingredients#{row.code}",
            )

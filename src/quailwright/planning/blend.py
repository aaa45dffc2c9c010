"""Bought feeds blended to a protein or calcium target.

Two feeds and one target are the square of Pearson: parts of each are what the other is away from
the target. More feeds, amounts that are fixed, or a second target make a linear programme of the
same: the cheapest blend on the target, or where prices are not told, as much as can be of the feeds
named first.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from quailwright.husbandry import facts
from quailwright.husbandry.feeding import Stage
from quailwright.husbandry.ingredients import is_mouldy, is_shell
from quailwright.planning.program import Program
from quailwright.planning.ration_mix import BATCH_KG
from quailwright.planning.solver import solve

Array = NDArray[np.float64]
SECONDS: Final = 10.0


@dataclass(frozen=True, slots=True)
class ShelfFeed:
    """A feed to blend.

    Attributes:
        contents: by nutrient code (protein, calcium, energy), as fed; a missing one is unknown.
        price: of a kilogram, None where not told.
        stock_kg: None where there is no end of it.
        exactly_kg, share: how much of it there is to be, None where that is free; share 0 to 1.
        least, most: shares, 0 to 1.
        layer: it is a layer feed.
        medicated: there is a medicine in it.
        old_kg: what there is beside `stock_kg` that was mixed longer ago than it keeps.
        limit: share that these birds may have of it at most, whatever the keeper asks; 0 to 1.
    """

    name: str
    contents: Mapping[str, float]
    price: float | None = None
    stock_kg: float | None = None
    exactly_kg: float | None = None
    share: float | None = None
    least: float = 0.0
    most: float = 1.0
    layer: bool = False
    medicated: bool = False
    limit: float = 1.0
    old_kg: float = 0.0


@dataclass(frozen=True, slots=True)
class BlendAsked:
    """What a blend is asked for.

    Attributes:
        targets: what it is to hold, by nutrient code [%].
        batch_kg: None where amounts that are fixed settle it.
        birds: the stages that eat of it; none where not told.
        from_need: the target is the need of the most demanding of these birds.
    """

    feeds: tuple[ShelfFeed, ...]
    targets: Mapping[str, float]
    batch_kg: float | None = BATCH_KG
    birds: frozenset[Stage] = frozenset()
    currency: str = ""
    from_need: bool = False

    @property
    def calcium_most(self) -> float | None:
        """Most calcium that the most delicate of the birds stands [%]; None where all lay."""
        if self.birds - {"layer"}:
            return facts.value("feeding.calcium_not_laying_max")
        return None


@dataclass(frozen=True, slots=True)
class Square:
    """Pearson's square of two feeds: what each holds, and its parts."""

    names: tuple[str, str]
    holds: tuple[float, float]
    target: float
    parts: tuple[float, float]


Why = Literal["medicated", "layer feed", "shell", "limit", "mouldy"]


@dataclass(frozen=True)
class Blend:
    """What is answered.

    Attributes:
        status: "met", or "infeasible"; then `kilograms` are of the nearest blend.
        kilograms: of each feed of `asked`, shape (feeds,); empty where there is none at all.
        left_out: feeds that these birds may not have, and why.
        reach: of each target, the least and most that a blend of the feeds can hold.
        shell_g: oyster shell that each hen takes beside it in a day [g]; None where none is to be
            given.
    """

    asked: BlendAsked
    status: Literal["met", "infeasible"]
    kilograms: Array
    left_out: Mapping[str, Why]
    reach: Mapping[str, tuple[float, float]]
    square: Square | None
    shell_g: float | None

    @property
    def total_kg(self) -> float:
        """All feeds together [kg]."""
        return float(self.kilograms.sum())

    def holds(self, code: str) -> float:
        """What the blend holds of a nutrient; what a feed does not tell counts as nothing."""
        if not self.total_kg:
            return 0.0
        held = np.array([feed.contents.get(code, 0.0) for feed in self.asked.feeds])
        return float(held @ self.kilograms / self.total_kg)

    def untold(self, code: str) -> list[str]:
        """Names of the feeds in the blend that do not tell a nutrient."""
        pairs = zip(self.asked.feeds, self.kilograms.tolist(), strict=True)
        return [feed.name for feed, kg in pairs if kg > 1e-9 and code not in feed.contents]

    @property
    def cost(self) -> float | None:
        """What it costs; None where the price of a feed in it is not told."""
        pairs = [
            (feed.price, kg)
            for feed, kg in zip(self.asked.feeds, self.kilograms.tolist(), strict=True)
            if kg > 0
        ]
        return (
            sum((p or 0.0) * kg for p, kg in pairs)
            if all(p is not None for p, _ in pairs)
            else None
        )


def square(low: tuple[str, float], high: tuple[str, float], target: float) -> Square | None:
    """Pearson's square: parts of two feeds that make the target; None where they do not reach it.

    Args:
        low, high: each feed's name and what it holds [%], in either order.
        target: what the blend is to hold [%].
    """
    first, second = low[1], high[1]
    if first == second or not min(first, second) <= target <= max(first, second):
        return None
    return Square(
        (low[0], high[0]), (first, second), target, (abs(second - target), abs(target - first))
    )


def blended(asked: BlendAsked) -> Blend:
    """The cheapest blend on the target, or the nearest to it."""
    left_out = _left_out(asked)
    allowed = [feed.name not in left_out for feed in asked.feeds]
    reach = {code: _reach(asked, allowed, code) for code in asked.targets}
    kilograms, met = _solved(asked, allowed, exact=True), True
    if kilograms is None:
        kilograms, met = _solved(asked, allowed, exact=False), False
    if kilograms is None:
        kilograms = np.zeros(len(asked.feeds))
    found = Blend(
        asked,
        "met" if met else "infeasible",
        kilograms,
        left_out,
        reach,
        _square(asked, left_out) if met else None,
        None,
    )
    return replace(found, shell_g=_shell(found))


def _left_out(asked: BlendAsked) -> dict[str, Why]:
    """Feeds that the birds may not have: mouldy ones, medicated ones for hens in lay, and for birds
    that do not lay oyster shell, a layer feed whose calcium is not told, and what is not for them
    at all."""
    found: dict[str, Why] = {}
    for feed in asked.feeds:
        if is_mouldy(feed.name):
            found[feed.name] = "mouldy"
        elif feed.medicated and "layer" in asked.birds:
            found[feed.name] = "medicated"
        elif asked.calcium_most is not None and is_shell(feed.name):
            found[feed.name] = "shell"
        elif feed.layer and asked.calcium_most is not None and "calcium" not in feed.contents:
            found[feed.name] = "layer feed"
        elif feed.limit <= 0:
            found[feed.name] = "limit"
    return found


def _reach(asked: BlendAsked, allowed: list[bool], code: str) -> tuple[float, float]:
    held = [
        feed.contents.get(code, 0.0) for feed, may in zip(asked.feeds, allowed, strict=True) if may
    ]
    return (min(held), max(held)) if held else (0.0, 0.0)


def _solved(asked: BlendAsked, allowed: list[bool], *, exact: bool) -> Array | None:
    """Kilograms of each feed on the target; where not `exact`, as near to it as can be."""
    program = Program()
    prices = [feed.price for feed in asked.feeds]
    for number, feed in enumerate(asked.feeds):
        low = feed.exactly_kg or 0.0
        high = np.inf if feed.exactly_kg is None else feed.exactly_kg
        if feed.stock_kg is not None:
            high = min(high, feed.stock_kg)
        if not allowed[number]:
            low = high = 0.0
        if low > high:
            return None
        by_name = 1.0 + number
        told = prices[number]
        cost = by_name if told is None or None in prices else told
        program.column(feed.name, lower=low, upper=float(high), cost=cost if exact else 0.0)
    columns = list(range(len(asked.feeds)))
    if asked.batch_kg is not None:
        program.row(
            "the batch", [(n, 1.0) for n in columns], lower=asked.batch_kg, upper=asked.batch_kg
        )
    for number, feed in enumerate(asked.feeds):
        for bound, least in _share_bounds(feed):
            terms = [(n, -bound + (1.0 if n == number else 0.0)) for n in columns]
            name = f"share of {feed.name}"
            if allowed[number]:
                program.row(
                    name, terms, lower=0.0 if least else -np.inf, upper=np.inf if least else 0.0
                )
    for code, target in asked.targets.items():
        terms = [(n, asked.feeds[n].contents.get(code, 0.0) - target) for n in columns]
        if not exact:
            for sign in (1.0, -1.0):
                terms.append((program.column(f"off {code}", cost=1.0 / (target or 1.0)), sign))
        program.row(code, terms, lower=0.0, upper=0.0)
    most = asked.calcium_most
    if most is not None:
        terms = [(n, asked.feeds[n].contents.get("calcium", 0.0) - most) for n in columns]
        program.row("calcium that birds not in lay stand", terms, upper=0.0)
    solution = solve(program, gap=0.0, seconds=SECONDS)
    if not solution.found:
        return None
    kilograms: Array = np.clip(solution.values[: len(asked.feeds)], 0.0, None)
    return kilograms if kilograms.sum() > 1e-9 else None


def _share_bounds(feed: ShelfFeed) -> Iterator[tuple[float, bool]]:
    """Each bound on the share of a feed, and whether it is a least."""
    if feed.limit < 1:
        yield feed.limit, False
    if feed.share is not None:
        yield feed.share, True
        yield feed.share, False
        return
    if feed.least > 0:
        yield feed.least, True
    if feed.most < 1:
        yield feed.most, False


def _square(asked: BlendAsked, left_out: Mapping[str, Why]) -> Square | None:
    """The square, where the question is one: two feeds, one target, nothing fixed."""
    feeds = [feed for feed in asked.feeds if feed.name not in left_out]
    plain = all((f.share, f.exactly_kg, f.least, f.most) == (None, None, 0.0, 1.0) for f in feeds)
    if len(feeds) != 2 or len(asked.targets) != 1 or not plain:
        return None
    ((code, target),) = asked.targets.items()
    one, other = feeds
    return square(
        (one.name, one.contents.get(code, 0.0)), (other.name, other.contents.get(code, 0.0)), target
    )


def _shell(blend: Blend) -> float | None:
    """Oyster shell that a hen takes beside the blend: none where chicks could reach it, nor where
    the calcium of a feed in it is unknown."""
    birds = blend.asked.birds
    if "layer" not in birds or "starter" in birds or not blend.total_kg:
        return None
    if blend.untold("calcium"):
        return None
    lacking = facts.value("feeding.calcium_layer") - blend.holds("calcium")
    if lacking <= 0:
        return None
    eaten = facts.value("feeding.intake_adult_g_d")
    return eaten * lacking / facts.value("energy.shell_calcium")

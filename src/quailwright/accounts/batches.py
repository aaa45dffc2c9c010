"""What each hatch cost until its birds were grown, and what a bird of it comes to."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from quailwright.accounts.borne import BIRDS, EGGS_TO_HATCH, Borne
from quailwright.accounts.heads import Record, grown_d
from quailwright.flock.state import Flock, Hatch

Parts = dict[str, float]

_SAME_D = 4
"""Birds taken to have hatched so near to a hatch are of it."""
_LEFT = ("processed", "sold", "given")


@dataclass(slots=True)
class Batch:
    """Birds that hatched together, and what raising them cost up to now or until they were grown.

    Attributes:
        hatch: its name; "" for chicks that were bought.
        hatched_on: None while none hatched.
        chicks: hatched, or bought.
        hens, cocks: alive on the day they were grown; not sexed ones half and half.
        left_young: birds for the table, sold or given before.
        grown_on: the day; None while they are not.
        parts: cost by kind.
        eggs_unpriced: eggs set of which nobody told the cost.
    """

    hatch: str
    hatched_on: date | None
    chicks: float
    hens: float
    cocks: float
    left_young: float
    grown_on: date | None
    parts: Parts
    eggs_unpriced: int = 0

    @property
    def cost(self) -> float:
        """All of it."""
        return sum(self.parts.values())

    @property
    def raised(self) -> float:
        """Birds that share its cost, each alike: the grown ones, and those that left young."""
        return self.hens + self.cocks + self.left_young

    @property
    def each(self) -> float | None:
        """What one raised bird cost; those that died are borne by the others."""
        return self.cost / self.raised if self.grown_on is not None and self.raised > 0 else None


def batches_of(record: Record, all_borne: Sequence[Borne]) -> list[Batch]:
    """Every hatch and batch of bought chicks since the record begins, oldest first.

    Args:
        all_borne: every cost of the days that the record is of.
    """
    flock = record.flock
    raising: dict[date, Parts] = defaultdict(lambda: defaultdict(float))
    for one in all_borne:
        if one.bearer == "raising" and one.born is not None:
            raising[one.born][one.kind] += one.amount
    hatch_of = {born: _hatch_of(flock, born) for born in raising}
    left = _left_young(record)
    found: list[Batch] = []
    for hatch in flock.hatches.values():
        if not record.since <= hatch.set_at.date() <= record.last:
            continue
        born = [day for day, name in hatch_of.items() if name == hatch.name]
        eggs, unpriced = eggs_cost(flock, hatch)
        batch = _batch(record, hatch.name, born, raising, left)
        batch.chicks = hatch.hatched
        if batch.hatched_on is None and hatch.hatchings:
            batch.hatched_on = hatch.hatchings[0][0].date()
        if eggs:
            batch.parts = {EGGS_TO_HATCH: eggs, **batch.parts}
        batch.eggs_unpriced = unpriced
        found.append(batch)
    for day, name in hatch_of.items():
        if name is None and BIRDS in raising[day]:
            batch = _batch(record, "", [day], raising, left)
            batch.chicks = batch.raised
            found.append(batch)
    return sorted(found, key=lambda one: (one.hatched_on or record.last, one.hatch))


def _batch(
    record: Record,
    name: str,
    born: Sequence[date],
    raising: dict[date, Parts],
    left: dict[date, float],
) -> Batch:
    parts: Parts = {}
    hens = cocks = left_young = 0.0
    grown_on: date | None = None
    for day in born:
        for kind, amount in raising[day].items():
            parts[kind] = parts.get(kind, 0.0) + amount
        left_young += left.get(day, 0.0)
        grown = day + timedelta(days=grown_d())
        if grown <= record.last:
            own_hens, own_cocks = record.alive_on(day, grown)
            hens, cocks = hens + own_hens, cocks + own_cocks
        grown_on = max(grown_on or grown, grown)
    if grown_on is not None and grown_on > record.last:
        grown_on = None
    return Batch(name, min(born, default=None), 0.0, hens, cocks, left_young, grown_on, parts)


def _hatch_of(flock: Flock, born: date) -> str | None:
    """The hatch whose chicks hatched nearest to that day."""
    near = [
        (abs((one.hatchings[0][0].date() - born).days), one.name)
        for one in flock.hatches.values()
        if one.hatchings
    ]
    near = [pair for pair in near if pair[0] <= _SAME_D]
    return min(near)[1] if near else None


def _left_young(record: Record) -> dict[date, float]:
    found: dict[date, float] = defaultdict(float)
    for day, _, born, _, birds in record.gone(*_LEFT):
        if (day - born).days < grown_d():
            found[born] += birds
    return found


def eggs_cost(flock: Flock, hatch: Hatch) -> tuple[float, int]:
    """What the eggs of a hatch cost as far as it is told, and of how many it is not.

    Own eggs cost what the hens cost, and nothing here. Of a source: the mean of what was paid for
    its good eggs up to then, else its price.
    """
    cost, unpriced = 0.0, 0
    for clutch in hatch.clutches:
        if clutch.group is not None:
            continue
        source = flock.sources.get(clutch.source or "")
        if source is not None and source.route == "own":
            continue
        each = _paid_each(flock, clutch.source or "", hatch)
        if each is None and source is not None:
            each = source.price_per_egg
        if each is None:
            unpriced += clutch.eggs
        else:
            cost += clutch.eggs * each
    return cost, unpriced


def _paid_each(flock: Flock, source: str, hatch: Hatch) -> float | None:
    paid = [
        (receipt.cost, receipt.good)
        for receipt in flock.receipts
        if receipt.source == source and receipt.at <= hatch.set_at and receipt.cost is not None
    ]
    eggs = sum(good for _, good in paid)
    return sum(cost for cost, _ in paid) / eggs if eggs else None

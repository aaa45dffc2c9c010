"""The account of some days: what came in, what it cost and who bore it, and what each thing costs.

Shares add up to the whole: the costs of hens, cocks, birds for the table and birds being raised are
all costs, and so are those of the months. Eggs that were eaten are no income. docs/costs.md tells
the rules.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from quailwright.accounts.batches import Batch, batches_of
from quailwright.accounts.borne import (
    BIRDS,
    FEED,
    Borne,
    born_of,
    borne,
    feed_if_cocks_ate_as_hens,
    kind_of,
    money_of,
    months_between,
)
from quailwright.accounts.feed import InStore, Used, feed_used
from quailwright.accounts.heads import BEARERS, Month, Record, month_of
from quailwright.accounts.minutes import Minutes, minutes_of
from quailwright.accounts.untold import unpaid_eggs, untold
from quailwright.flock.remark import Remark
from quailwright.flock.state import Flock
from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK

Parts = dict[str, float]

DOZEN = 12
EGGS_SOLD, BIRDS_SOLD = "eggs sold", "birds sold"


@dataclass(frozen=True, slots=True)
class Each:
    """What one of something costs (or earns): the sum of its parts; None where there was none."""

    value: float | None
    parts: Parts

    @staticmethod
    def of(parts: Mapping[str, float], number: float) -> "Each":
        """The parts of a whole, each over a number of things."""
        if number <= 0:
            return Each(None, {})
        each = {kind: amount / number for kind, amount in parts.items()}
        return Each(sum(each.values()), each)

    def times(self, number: float) -> "Each":
        """So many together."""
        if self.value is None:
            return self
        return Each(self.value * number, {k: v * number for k, v in self.parts.items()})


@dataclass(slots=True)
class MonthOf:
    """A month, as far as it lies in the days asked for.

    Attributes:
        costs, income: by kind.
        cash: money in less money out, as it was paid.
        eggs: laid; by use what went.
        feed_kg: used.
        hen_days, bird_days: of grown hens, of all birds.
        keeping: cost of hens and of cocks with them.
    """

    month: Month
    costs: Parts = field(default_factory=dict)
    income: Parts = field(default_factory=dict)
    cash: float = 0.0
    eggs: int = 0
    gone: Counter[str] = field(default_factory=Counter)
    feed_kg: float = 0.0
    hen_days: float = 0.0
    bird_days: float = 0.0
    minutes: float = 0.0
    keeping: float = 0.0

    @property
    def result(self) -> float:
        """Income less costs."""
        return sum(self.income.values()) - sum(self.costs.values())


@dataclass(slots=True)
class Cocks:
    """What the cocks kept with the hens cost.

    Attributes:
        cost: by kind, in the days asked for.
        per_week: of these days.
        per_egg: of what an egg costs, what is theirs.
        per_week_if_as_hens: if each ate as much as a hen: the most it may be.
        birds: on the mean of the days.
    """

    cost: Each
    per_week: float
    per_egg: float | None
    per_week_if_as_hens: float
    birds: float


@dataclass(slots=True)
class Account:
    """All of it. `remarks` are what nobody told, and which entry would tell it."""

    first: date
    last: date
    currency: str
    costs: Parts
    income: Parts
    by_bearer: dict[str, Parts]
    months: list[MonthOf]
    eggs: int
    gone: Counter[str]
    feed_kg: float
    feed_in_store: dict[str, InStore]
    hen_days: float
    minutes: Minutes
    minute_price: float
    per_egg: Each
    per_dozen: Each
    per_hen_at_lay: Each
    per_hen_if_cocks_bear_none: float | None
    raised: float
    per_dressed_bird: Each
    dressed: float
    per_hour: Each
    break_even_dozen: float | None
    break_even_dozen_sold: float | None
    paid_per_dozen: float | None
    cocks: Cocks
    batches: list[Batch]
    remarks: list[Remark]
    record: Record
    used: list[Used]

    @property
    def days(self) -> int:
        """How many days it is of."""
        return (self.last - self.first).days + 1

    @property
    def said(self) -> list[str]:
        """The remarks as sentences, for a terminal."""
        return [remark.in_full for remark in self.remarks]

    @property
    def batches_of_these_days(self) -> list[Batch]:
        """Batches that grew up in these days or later, or are growing."""
        return [one for one in self.batches if one.grown_on is None or one.grown_on >= self.first]

    @property
    def cost(self) -> float:
        """All costs."""
        return sum(self.costs.values())

    @property
    def earned(self) -> float:
        """All income less all costs."""
        return sum(self.income.values()) - self.cost


_LOOKED_BACK = timedelta(days=400)
"""Birds raised so long before the first day tell what a bird of these days cost to raise."""


def account(flock: Flock, first: date, last: date, minute_price: float = 0.0) -> Account:
    """The account of the days from `first` to `last`.

    Args:
        flock: folded up to the end of `last`.
        minute_price: what a minute of the keeper's is worth; 0 leaves time out of the costs.

    Raises:
        ValueError: `last` before `first`.
    """
    if last < first:
        raise ValueError("The last day lies before the first.")
    begin = first - _LOOKED_BACK if first - date.min > _LOOKED_BACK else date.min
    begun = [change.day for group in flock.groups.values() for change in group.changes[:1]]
    begin = max(begin, min([first, *begun, *(payment.day for payment in flock.payments)]))
    record = Record(flock, last, begin)
    used, left = feed_used(flock, last, record.eaten_kg)
    minutes = minutes_of(flock, first, last)
    shared = borne(record, used, minutes.by_month, minute_price, first, last)
    ever = minutes_of(flock, begin, last).by_month
    whole = borne(record, used, ever, minute_price, begin, last)
    batches = batches_of(record, whole)
    costs = _by_kind(shared)
    by_bearer = {
        name: _by_kind(one for one in shared if one.bearer == name) for name in (*BEARERS, "nobody")
    }
    months = _months(record, shared, used, minutes, first, last)
    income: Parts = defaultdict(float)
    for month in months:
        for kind, amount in month.income.items():
            income[kind] += amount
    eggs = sum(month.eggs for month in months)
    gone: Counter[str] = sum((month.gone for month in months), Counter())
    hen_days = sum(month.hen_days for month in months)
    keeping = _together(by_bearer["hens"], by_bearer["cocks"])
    knows_feed = _knows_feed(used, costs, first, last) or not any(m.bird_days for m in months)
    per_egg = Each.of(keeping, eggs) if knows_feed else Each(None, {})
    per_hen, cocks_bear_none, raised = _per_hen(record, batches, first, last)
    per_dressed, dressed = _per_dressed(record, batches, by_bearer["table"], first, last)
    earned = _together(income, {kind: -amount for kind, amount in costs.items() if kind != "time"})
    other_income = sum(income.values()) - income.get(EGGS_SOLD, 0.0)
    to_earn = sum(costs.values()) - other_income
    sold = gone["sold"]
    # Income may also be told apart from the eggs, as money.
    paid_for = sold - unpaid_eggs(flock, first, last) or sold
    found = Account(
        first,
        last,
        flock.holding.currency if flock.holding is not None else "",
        costs,
        dict(income),
        by_bearer,
        months,
        eggs,
        gone,
        sum(month.feed_kg for month in months),
        left,
        hen_days,
        minutes,
        minute_price,
        per_egg,
        per_egg.times(DOZEN),
        per_hen,
        cocks_bear_none,
        raised,
        per_dressed,
        dressed,
        Each.of(earned, minutes.hours),
        DOZEN * to_earn / eggs if eggs and knows_feed else None,
        DOZEN * to_earn / sold if sold and knows_feed else None,
        DOZEN * income[EGGS_SOLD] / paid_for if paid_for and EGGS_SOLD in income else None,
        _cocks(record, used, by_bearer["cocks"], eggs if knows_feed else 0, first, last),
        batches,
        [],
        record,
        used,
    )
    found.remarks += untold(found)
    return found


def _knows_feed(used: Sequence[Used], costs: Parts, first: date, last: date) -> bool:
    """Whether what feed cost is told of any of it: else what an egg costs is not known."""
    return money_of(FEED) in costs or any(
        one.cost > 0 or one.kg > one.unpriced_kg for one in used if first <= one.day <= last
    )


def _by_kind(shared: Iterable[Borne]) -> Parts:
    found: Parts = defaultdict(float)
    for one in shared:
        found[one.kind] += one.amount
    return dict(found)


def _together(*of: Mapping[str, float]) -> Parts:
    found: Parts = defaultdict(float)
    for parts in of:
        for kind, amount in parts.items():
            found[kind] += amount
    return dict(found)


def _months(
    record: Record,
    shared: Sequence[Borne],
    used: Sequence[Used],
    minutes: Minutes,
    first: date,
    last: date,
) -> list[MonthOf]:
    flock = record.flock
    found = {month: MonthOf(month) for month in months_between(first, last)}
    for one in shared:
        own = found[one.month]
        own.costs[one.kind] = own.costs.get(one.kind, 0.0) + one.amount
        if one.bearer in ("hens", "cocks"):
            own.keeping += one.amount
    for payment in flock.payments:
        if not first <= payment.day <= last:
            continue
        own = found[month_of(payment.day)]
        own.cash += payment.amount
        if payment.amount > 0 and payment.lasts_years is None:
            kind = kind_of(payment)
            own.income[kind] = own.income.get(kind, 0.0) + payment.amount
    for lot in flock.lots.values():
        if first <= lot.laid <= last:
            found[month_of(lot.laid)].eggs += lot.collected
    for gone in flock.eggs_gone:
        if first <= gone.day <= last:
            found[month_of(gone.day)].gone[gone.use] += gone.eggs
    for feed in used:
        if first <= feed.day <= last:
            found[month_of(feed.day)].feed_kg += feed.kg
    for month, heads in record.heads(first, last).items():
        found[month].hen_days = sum(h.days for (who, _), h in heads.items() if who == "hens")
        found[month].bird_days = sum(h.days for h in heads.values())
    for month, spent in minutes.by_month.items():
        found[month].minutes = spent
    return list(found.values())


def _per_hen(
    record: Record, batches: Sequence[Batch], first: date, last: date
) -> tuple[Each, float | None, float]:
    """A hen at lay: of the batches that grew up in these days, and grown birds bought in them."""
    parts: Parts = defaultdict(float)
    birds = hens = 0.0
    bought: set[tuple[str, date]] = set()
    for batch in batches:
        if batch.grown_on is not None and first <= batch.grown_on <= last and batch.raised > 0:
            birds += batch.raised
            hens += batch.hens
            for kind, amount in batch.parts.items():
                parts[kind] += amount
    for payment in record.flock.payments:
        if payment.entry != "group" or not first <= payment.day <= last:
            continue
        group = record.flock.groups.get(payment.group)
        if group is None or born_of(record, payment) is not None:
            continue
        bought.add((payment.group, payment.day))
        parts[BIRDS] += -payment.amount
    for name, day in bought:
        changes = record.flock.groups[name].changes
        came = [c.birds for c in changes if c.day == day and c.why == "in"]
        birds += sum(one.total for one in came)
        hens += sum(one.hens for one in came)
    each = Each.of(parts, birds) if hens > 0 else Each(None, {})
    return each, sum(parts.values()) / hens if hens > 0 else None, birds


def _per_dressed(
    record: Record, batches: Sequence[Batch], table: Mapping[str, float], first: date, last: date
) -> tuple[Each, float]:
    """A bird for the table: what raising it cost, and its share of keeping those for the table.

    Hens too old for it have laid before: the eggs have borne them.
    """
    each = {one.hatched_on: one for one in batches if one.hatched_on is not None}
    oldest = facts.spread("care.table_age_d")[1]
    parts: Parts = defaultdict(float, table)
    dressed = 0.0
    for day, _, born, name, birds in record.gone("processed"):
        if not first <= day <= last or (name == "hens" and (day - born).days > oldest):
            continue
        dressed += birds
        batch = _nearest(each, born)
        if batch is not None and batch.raised > 0:
            for kind, amount in batch.parts.items():
                parts[kind] += amount * birds / batch.raised
    return Each.of(parts, dressed), dressed


def _nearest(by_day: Mapping[date, Batch], born: date) -> Batch | None:
    day = min(by_day, key=lambda one: abs((one - born).days), default=None)
    return by_day[day] if day is not None and abs((day - born).days) <= DAYS_A_WEEK else None


def _cocks(
    record: Record,
    used: Sequence[Used],
    cost: Mapping[str, float],
    eggs: int,
    first: date,
    last: date,
) -> Cocks:
    days = (last - first).days + 1
    whole = sum(cost.values())
    as_hens = whole - cost.get(FEED, 0.0) + feed_if_cocks_ate_as_hens(record, used, first, last)
    bird_days = sum(
        one.days
        for heads in record.heads(first, last).values()
        for (who, _), one in heads.items()
        if who == "cocks"
    )
    weeks = days / DAYS_A_WEEK
    return Cocks(
        Each(whole, dict(cost)),
        whole / weeks,
        whole / eggs if eggs else None,
        as_hens / weeks,
        bird_days / days,
    )


def default_first(flock: Flock, last: date) -> date:
    """The first of the days that are asked for unless told: a year of them, or all there are."""
    a_year = last - timedelta(days=364)
    return max(a_year, min(flock.first_day or last, last))

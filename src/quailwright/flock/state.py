"""The state that the fold makes: plain records, derived from the journal and never stored.

Readers treat it as read-only. Days are dates at the holding; instants are aware date-times.
"""

import copy
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field, fields
from datetime import date, datetime
from functools import reduce
from typing import NamedTuple, TypeVar

from quailwright.journal import entries as kinds
from quailwright.journal.findings import Finding
from quailwright.language import Said, later, later_many, say

CLASSES = ("chicks", "hens", "cocks")


@dataclass(slots=True)
class Birds:
    """Birds by class: chicks (not sexed yet), hens, cocks."""

    chicks: int = 0
    hens: int = 0
    cocks: int = 0

    @property
    def total(self) -> int:
        """All of them."""
        return self.chicks + self.hens + self.cocks

    def add(self, other: "Birds") -> None:
        """Adds `other` to these."""
        self.chicks += other.chicks
        self.hens += other.hens
        self.cocks += other.cocks

    def take(self, other: "Birds") -> None:
        """Takes `other` from these. Check `lacks` first: it goes below nothing."""
        self.chicks -= other.chicks
        self.hens -= other.hens
        self.cocks -= other.cocks

    def lacks(self, other: "Birds") -> "Birds":
        """What is missing here to take `other`."""
        return Birds(
            max(0, other.chicks - self.chicks),
            max(0, other.hens - self.hens),
            max(0, other.cocks - self.cocks),
        )

    def negative(self) -> "Birds":
        """As many, below nothing: a change that takes them."""
        return Birds(-self.chicks, -self.hens, -self.cocks)

    def copy(self) -> "Birds":
        """The same counts, apart."""
        return Birds(self.chicks, self.hens, self.cocks)

    def told(self) -> Said:
        """`2 chicks, 1 hen`, to be said later."""
        parts = [
            later_many("{n} chick", "{n} chicks", self.chicks),
            later_many("{n} hen", "{n} hens", self.hens),
            later_many("{n} cock", "{n} cocks", self.cocks),
        ]
        some = [part for part in parts if part.number]
        if not some:
            return later("no birds")
        return reduce(lambda first, rest: later("{first}, {rest}", first=first, rest=rest), some)

    def __str__(self) -> str:
        return say(self.told())


@dataclass(slots=True)
class Place:
    """A machine, brooder, pen or egg store. `role` is None while nobody has described it."""

    name: str
    role: kinds.Role | None = None
    capacity_eggs: int | None = None
    floor_m2: float | None = None
    height_m: float | None = None
    floor_kind: kinds.FloorKind | None = None
    heater_w: float | None = None
    walk_order: int | None = None
    closed: bool = False
    quarantined_until: date | None = None


@dataclass(slots=True)
class Death:
    """Birds of a group found dead on a day."""

    day: date
    birds: Birds
    found: kinds.Found | None
    together: bool = False


@dataclass(slots=True)
class Change:
    """Birds that came to a group (above 0) or left it, and why.

    `why` is a key of `Group.came` or `Group.gone`, or "sexed", which takes chicks and gives hens
    and cocks. `oldest` and `youngest` are the hatching days of birds that came, where known;
    `other` is the group that moved birds came from or went to, `since` when they came to it;
    `hatch` or `source` is where birds that are new to the flock come from, where told.
    """

    day: date
    why: str
    birds: Birds
    oldest: date | None = None
    youngest: date | None = None
    other: str = ""
    since: date | None = None
    hatch: str = ""
    source: str = ""


@dataclass(slots=True)
class Weighing:
    """Birds of a group weighed on a day: how many, their mean, and of which sex if one."""

    day: date
    birds: int
    mean_g: float
    sex: kinds.Sex | None


@dataclass(slots=True)
class Group:
    """Birds that live together.

    Every bird that came in is alive, gone, or a counted difference:
    `came["in"] + came["moved_in"] + came["found"] == alive + gone` where `found` is signed.
    `lived` tells from which day on it lived where.
    """

    name: str
    place: str
    alive: Birds = field(default_factory=Birds)
    oldest: date | None = None
    youngest: date | None = None
    since: date | None = None
    placed: date | None = None
    hatches: list[str] = field(default_factory=list)
    came: Counter[str] = field(default_factory=Counter)
    gone: Counter[str] = field(default_factory=Counter)
    deaths: list[Death] = field(default_factory=list)
    changes: list[Change] = field(default_factory=list)
    weighings: list[Weighing] = field(default_factory=list)
    lived: list[tuple[date, str]] = field(default_factory=list)
    sexed_on: date | None = None
    weighed_on: date | None = None
    counted_on: date | None = None

    def age_days(self, on: date) -> int | None:
        """Age of its youngest birds in days, or None when nobody has said when they hatched."""
        return None if self.youngest is None else max(0, (on - self.youngest).days)


@dataclass(slots=True)
class Clutch:
    """Eggs of one source or group that went into a hatch."""

    eggs: int
    source: str | None
    group: str | None
    lot: str
    mean_egg_g: float | None
    laid_from: date | None
    laid_to: date | None
    storage_c: float | None

    def stored_days(self, set_on: date) -> float | None:
        """Mean days from lay to setting, None where no lay date is known."""
        laid = [day for day in (self.laid_from, self.laid_to) if day is not None]
        if not laid:
            return None
        return sum(max(0, (set_on - day).days) for day in laid) / len(laid)


@dataclass(slots=True)
class Hatch:
    """One setting: `eggs_set + found == alive + removed + hatched`, where `found` is signed."""

    name: str
    set_in: str
    place: str
    set_at: datetime
    set_hour_known: bool
    eggs_set: int = 0
    found: int = 0
    clutches: list[Clutch] = field(default_factory=list)
    clear: int = 0
    dead: int = 0
    hatched: int = 0
    housed: int = 0
    candled: list[tuple[datetime, int, int]] = field(default_factory=list)
    weighed: list[tuple[datetime, int, float]] = field(default_factory=list)
    hatchings: list[tuple[datetime, int]] = field(default_factory=list)
    housed_at: datetime | None = None
    turning_stopped_at: datetime | None = None
    opened: Counter[str] = field(default_factory=Counter)
    opened_at: datetime | None = None
    closed_at: datetime | None = None

    @property
    def removed(self) -> int:
        """Eggs taken out at candling."""
        return self.clear + self.dead

    @property
    def alive(self) -> int:
        """Eggs not taken out and not hatched: those that may still hatch while it is open."""
        return self.eggs_set + self.found - self.removed - self.hatched

    @property
    def to_house(self) -> int:
        """Chicks hatched that are not in a group yet."""
        return self.hatched - self.housed


@dataclass(slots=True)
class EggLot:
    """Eggs of one group laid on one day. `collected + found == on_hand + out + set_to_hatch`.

    They were counted `counts` times that day, the most at once being `largest_count`. `boxed` of
    those on hand are in boxes; `place` is where the group lived when they were gathered;
    `weighed` of them came to `weighed_g` together.
    """

    laid: date
    group: str
    collected: int = 0
    cracked: int = 0
    found: int = 0
    out: int = 0
    set_to_hatch: int = 0
    counts: int = 0
    largest_count: int = 0
    boxed: int = 0
    place: str = ""
    weighed: int = 0
    weighed_g: float = 0.0

    @property
    def on_hand(self) -> int:
        """Eggs still in the store."""
        return self.collected + self.found - self.out - self.set_to_hatch

    @property
    def loose(self) -> int:
        """Eggs still in the store that are in no box."""
        return self.on_hand - self.boxed


@dataclass(slots=True)
class Box:
    """A box of eggs: how many of each lot are in it, by lay date and group.

    `packed` is all that was put in since it was last empty. Eggs of a box are mixed: which of them
    left nobody can tell, and `lots` is a reckoning.
    """

    name: str
    packed_on: date
    lots: dict[tuple[date, str], int] = field(default_factory=dict)
    packed: dict[tuple[date, str], int] = field(default_factory=dict)

    @property
    def eggs(self) -> int:
        """All eggs in it."""
        return sum(self.lots.values())


@dataclass(slots=True)
class Order:
    """Eggs promised to somebody for a day; `filled` have left for it. 0 eggs: called off."""

    name: str
    eggs: int
    on: date
    to: str
    price_per_egg: float | None
    filled: int = 0

    @property
    def left(self) -> int:
        """Eggs still to come."""
        return max(0, self.eggs - self.filled)


@dataclass(slots=True)
class Receipt:
    """Hatching eggs that came from a source. `good + found == on_hand + set_to_hatch`."""

    source: str
    lot: str
    at: datetime
    good: int
    laid_from: date | None = None
    laid_to: date | None = None
    found: int = 0
    set_to_hatch: int = 0
    cost: float | None = None

    @property
    def on_hand(self) -> int:
        """Good eggs not set yet."""
        return self.good + self.found - self.set_to_hatch


class Bought(NamedTuple):
    """Feed bought on a day; `mixed_on` where that was told."""

    day: date
    kg: float
    cost: float | None
    mixed_on: date | None = None


@dataclass(slots=True)
class FeedStock:
    """A feed in the store. `kg` may fall below nothing when buying was not recorded."""

    name: str
    label: kinds.Feed | None = None
    bought_kg: float = 0.0
    given_kg: float = 0.0
    found_kg: float = 0.0
    last_given: date | None = None
    given: list[tuple[date, float]] = field(default_factory=list)
    bought: list[Bought] = field(default_factory=list)
    counted_on: date | None = None

    @property
    def kg(self) -> float:
        """Kilograms in the store by the record."""
        return self.bought_kg - self.given_kg + self.found_kg

    @property
    def price_per_kg(self) -> float | None:
        """What a kilogram costs: by the label, else as last paid; None where nothing tells."""
        if self.label is not None and self.label.price_per_kg is not None:
            return self.label.price_per_kg
        paid = [each.cost / each.kg for each in self.bought if each.cost is not None and each.kg]
        return paid[-1] if paid else None


@dataclass(frozen=True, slots=True)
class Withholding:
    """Eggs laid and meat taken from a group in these days are withheld. Both ends count.

    None as the last day: nobody has told it yet, so they are withheld until somebody does.
    `treated` is the group that was given the product, where its birds brought this to `group`;
    `entry` the entry that says so.
    """

    group: str
    product: str
    since: date
    eggs_until: date | None
    meat_until: date | None
    treated: str = ""
    entry: str = ""

    @property
    def given_to(self) -> str:
        """The group that was treated."""
        return self.treated or self.group


class Quarantined(NamedTuple):
    """A place was in quarantine in these days. Both ends count."""

    place: str
    since: date
    until: date


@dataclass(slots=True)
class Difference:
    """A count that did not agree with the record: counted minus recorded, signed."""

    day: date
    of: str
    what: str
    recorded: float
    counted: float
    entry: str

    @property
    def amount(self) -> float:
        """Counted minus recorded."""
        return self.counted - self.recorded


@dataclass(slots=True)
class RingedBird:
    """One bird known by its ring."""

    name: str
    sex: kinds.Sex
    group: str | None
    hatch: str | None
    sire: str | None
    dam: str | None
    plumage: str
    hatched_on: date | None
    left: kinds.LeftUse | None = None
    left_on: date | None = None
    weights: list[tuple[date, float]] = field(default_factory=list)
    genotype: str = ""
    laid: list[tuple[date, kinds.HenLaid]] = field(default_factory=list)


@dataclass(slots=True)
class Payment:
    """Money in (positive) or out.

    `lasts_years` says over how long it is spread, `entry` the kind of entry that carried it where
    that is none for money alone, `group` which birds it bought.
    """

    day: date
    amount: float
    category: str
    lasts_years: float | None = None
    entry: str = ""
    group: str = ""


class EggsFrom(NamedTuple):
    """Eggs of one lot that left the store; `held` where they were not to leave for that use."""

    laid: date
    group: str
    eggs: int
    box: str
    held: bool


class EggsGone(NamedTuple):
    """Eggs that left the store on a day: for what, to whom, for which order, of which lots.

    `income_told`: whether what they brought is told. `lots` leaves out eggs that nobody logged.
    `mixed` are the other lots packed into the boxes that they came from, with all eggs packed.
    """

    day: date
    use: kinds.EggsUse
    eggs: int
    income_told: bool
    to: str = ""
    order: str = ""
    lots: tuple[EggsFrom, ...] = ()
    entry: str = ""
    mixed: tuple[EggsFrom, ...] = ()


class Feeding(NamedTuple):
    """Feed given at a place on a day."""

    day: date
    place: str
    feed: str
    kg: float


class WaterFilled(NamedTuple):
    """Water filled in at a place on a day."""

    day: date
    place: str
    litres: float


class AirSeen(NamedTuple):
    """Lowest and highest temperature since the last look, as read at an instant."""

    at: datetime
    place: str
    lowest_c: float | None
    highest_c: float | None
    spot: kinds.Spot | None


class Tick(NamedTuple):
    """A task done on a day, and the minutes that it took where they were noted."""

    day: date
    task: str
    place: str
    minutes: float | None


@dataclass(frozen=True, slots=True)
class AcceptedPlan:
    """The plan that the keeper took on: when, the brief (TOML) it answers, and how sure it is."""

    accepted_at: datetime
    brief: str
    certainty: float


@dataclass(slots=True)
class SetToDo:
    """A planned set.

    Attributes:
        hatch: the name that its hatch will bear.
        on: the day to set it.
        eggs, place: how many, in which incubator.
        source, group: whose eggs.
        since: the day on which it was planned.
        set_as: the hatch that was set for it, under this or another name; None while none is.
    """

    hatch: str
    on: date
    eggs: int
    place: str
    source: str | None
    group: str | None
    since: date
    set_as: str | None = None

    @property
    def whose(self) -> str:
        """The group or source whose eggs they are."""
        return self.group or self.source or ""


@dataclass(frozen=True, slots=True)
class CullToDo:
    """From the day `on` no more than so many of the birds of a hatch or group stay; None: all.

    `hatched_on` says which birds of a group of mixed age; `since` when it was planned.
    """

    on: date
    hatch: str | None
    group: str | None
    hatched_on: date | None
    keep_hens: int | None
    keep_cocks: int | None
    since: date

    @property
    def whose(self) -> str:
        """The hatch or group in words, to be said later where it has a day."""
        name = self.hatch or self.group or ""
        if self.hatched_on is None:
            return name
        return later("{group} hatched on {day}", group=name, day=self.hatched_on)


CullKey = tuple[date, str | None, str | None, date | None]
"""Day, hatch, group and hatching day of a planned cull."""


@dataclass(slots=True)
class Flock:
    """Everything that stands, as of the last entry folded."""

    holding: kinds.Holding | None = None
    zone: str = ""
    entries: int = 0
    first_day: date | None = None
    last_day: date | None = None
    places: dict[str, Place] = field(default_factory=dict)
    groups: dict[str, Group] = field(default_factory=dict)
    hatches: dict[str, Hatch] = field(default_factory=dict)
    lots: dict[tuple[date, str], EggLot] = field(default_factory=dict)
    stocked: dict[tuple[date, str], EggLot] = field(default_factory=dict)
    receipts: list[Receipt] = field(default_factory=list)
    sources: dict[str, kinds.Source] = field(default_factory=dict)
    feeds: dict[str, FeedStock] = field(default_factory=dict)
    instruments: dict[str, kinds.Instrument] = field(default_factory=dict)
    goal: kinds.Goal | None = None
    care_rules: dict[tuple[str, str | None], kinds.CareRule] = field(default_factory=dict)
    care: defaultdict[tuple[str, str], list[date]] = field(
        default_factory=lambda: defaultdict(list)
    )
    withholdings: list[Withholding] = field(default_factory=list)
    quarantines: list[Quarantined] = field(default_factory=list)
    boxes: dict[str, Box] = field(default_factory=dict)
    orders: dict[str, Order] = field(default_factory=dict)
    outages: list[tuple[date, kinds.Outage]] = field(default_factory=list)
    feedings: list[Feeding] = field(default_factory=list)
    water: list[WaterFilled] = field(default_factory=list)
    air: list[AirSeen] = field(default_factory=list)
    contacts: dict[str, kinds.Contact] = field(default_factory=dict)
    egg_rules: dict[kinds.Storage, kinds.EggRule] = field(default_factory=dict)
    payments: list[Payment] = field(default_factory=list)
    eggs_gone: list[EggsGone] = field(default_factory=list)
    ticks: list[Tick] = field(default_factory=list)
    birds: dict[str, RingedBird] = field(default_factory=dict)
    pairings: dict[str, kinds.Pairing] = field(default_factory=dict)
    paired: list[tuple[date, kinds.Pairing]] = field(default_factory=list)
    named: dict[str, tuple[str, ...]] = field(default_factory=dict)
    """By ring, logged or not: the birds that were ever logged as its chicks."""
    ranks: dict[str, int] = field(default_factory=dict, compare=False)
    """By ring: a number smaller than those of its chicks, so that circles are found at once."""
    differences: list[Difference] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    plan: AcceptedPlan | None = None
    planned_sets: dict[str, SetToDo] = field(default_factory=dict)
    planned_culls: dict[CullKey, CullToDo] = field(default_factory=dict)

    def copy(self) -> "Flock":
        """The same, apart: what is booked on one from the day after `last_day` on leaves the other.

        Shared is what bookings never change; and, of the many lots, those long gone, of which
        `booking.eggs.lot_of` makes new ones before it changes them.
        """
        made = _apart(self)
        for name in _CHANGING:
            setattr(made, name, {key: _apart(one) for key, one in getattr(self, name).items()})
        made.receipts = [_apart(receipt) for receipt in self.receipts]
        made.care = defaultdict(list, {key: days.copy() for key, days in self.care.items()})
        last_day = self.last_day or date.min
        live = {
            key: _apart(lot)
            for key, lot in self.lots.items()
            if lot.laid >= last_day or key in self.stocked
        }
        made.lots |= live
        made.stocked = {key: live[key] for key in self.stocked}
        return made

    @property
    def units(self) -> kinds.Units:
        """The keeper's units; metric until they say."""
        return (self.holding.units if self.holding is not None else None) or "metric"

    def groups_alive(self) -> Iterator[Group]:
        """Groups that still hold birds."""
        return (group for group in self.groups.values() if group.alive.total > 0)

    def groups_at(self, place: str) -> list[Group]:
        """Groups with birds at a place."""
        return [group for group in self.groups_alive() if group.place == place]

    def hatches_open(self) -> Iterator[Hatch]:
        """Hatches that are not closed."""
        return (hatch for hatch in self.hatches.values() if hatch.closed_at is None)

    def in_walking_order(self) -> list[Place]:
        """Places as the keeper walks: by `walk_order`, then those without one, by name."""
        return sorted(
            self.places.values(),
            key=lambda place: (place.walk_order is None, place.walk_order or 0, place.name),
        )

    def withheld_on(self, group: str, laid: date) -> Withholding | None:
        """What withholds eggs that this group laid on that day, the longest of all; or None."""
        longest = None
        for held in self.withholdings:
            if held.group != group or not held.since <= laid <= (held.eggs_until or date.max):
                continue
            if longest is None or (held.eggs_until or date.max) > (longest.eggs_until or date.max):
                longest = held
        return longest

    def meat_withheld_on(self, group: str, day: date) -> Withholding | None:
        """What withholds meat of this group on that day, the longest of all; or None."""
        longest = None
        for held in self.withholdings:
            if held.group != group or not held.since <= day <= (held.meat_until or date.max):
                continue
            if longest is None or (held.meat_until or date.max) > (longest.meat_until or date.max):
                longest = held
        return longest

    def quarantine_of(self, lot: EggLot, on: date) -> Quarantined | None:
        """The quarantine, not over on the day `on`, in which a lot was laid; or None."""
        for apart in self.quarantines:
            if apart.place == lot.place and apart.since <= lot.laid <= apart.until >= on:
                return apart
        return None

    @property
    def egg_rule(self) -> kinds.EggRule | None:
        """How long eggs keep, as the keeper was told for the way they store them; or None.

        Where the keeper has not said how, it is the only rule they were told, if it is one.
        """
        storage = self.holding.egg_storage if self.holding is not None else None
        if storage is not None:
            return self.egg_rules.get(storage)
        return next(iter(self.egg_rules.values())) if len(self.egg_rules) == 1 else None


_CHANGING = ("places", "groups", "hatches", "feeds", "birds", "planned_sets", "boxes", "orders")
"""The parts of a flock, by name, that bookings change in place."""

_Part = TypeVar("_Part")


def _apart(part: _Part) -> _Part:
    """A part of the flock copied with its own lists and counts, not with what is in them."""
    made = copy.copy(part)
    for each in fields(part):  # type: ignore[arg-type]
        value = getattr(part, each.name)
        if isinstance(value, (list, dict, Birds)):
            setattr(made, each.name, value.copy())
    return made

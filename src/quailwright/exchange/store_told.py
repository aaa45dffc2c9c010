"""The egg store: lots, boxes, orders, who received what, and what may not be sold.

The page, the command and the API show this one thing.
"""

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any, Literal

import msgspec

from quailwright.flock.held import Hold, box_holds, hold_of, lots_told, reasons_told, sell_by
from quailwright.flock.kept import facts_of
from quailwright.flock.state import Box, EggLot, EggsGone, Flock, Order, Withholding
from quailwright.journal import entries as kinds
from quailwright.journal.entries import Entry
from quailwright.language import said_plainly, say, say_many

if TYPE_CHECKING:
    from quailwright.outlook.forecast import Outlook

ASK_AGAIN_AFTER = timedelta(days=365)
"""A rule that was asked about longer ago than this is to be asked about again. Inferred."""
HOME_USE_DAYS = 28
"""Days of eggs eaten at home that tell how many will be."""
SHOWN = 60
"""Lots and entries of who received what that are shown, unless more are asked for."""

OrderState = Literal["open", "late", "filled", "over", "called_off"]
Chances = Callable[[Sequence[Order]], dict[str, float]]


@dataclass(frozen=True, slots=True)
class InLot:
    """Eggs of a lot in a box, or that somebody received."""

    laid: date
    group: str
    eggs: int


@dataclass(frozen=True, slots=True)
class LotRow:
    """A lot with eggs on hand.

    Attributes:
        loose: eggs in no box.
        held: "" when it may be sold; else treated, quarantine or age.
        why: the reason in a sentence, "" when free.
        until, free_from: as `held.Hold` has them.
        sell_by: the last day by the keeper's rule; None where none is told.
    """

    laid: date
    group: str
    eggs: int
    loose: int
    held: str
    why: str
    until: date | None
    free_from: date | None
    sell_by: date | None


@dataclass(frozen=True, slots=True)
class BoxRow:
    """A box. What holds one of its lots holds it whole: `why` says which and why."""

    box: str
    eggs: int
    packed_on: date
    lots: list[InLot]
    held: bool
    why: str
    sell_by: date | None


@dataclass(frozen=True, slots=True)
class OrderRow:
    """An order; `chance` to have its eggs by the day, 0 to 1, None where there is nothing to ask.

    `over`: eggs beyond what was ordered.
    """

    order: str
    to: str
    on: date
    eggs: int
    filled: int
    left: int
    over: int
    state: OrderState
    price_per_egg: float | None
    chance: float | None


@dataclass(frozen=True, slots=True)
class Received:
    """Eggs that left: when, for whom, which lots.

    `affected` are those of its lots that are withheld; `maybe` lots that are withheld, lay beside
    them and may have been among them, as the treatment was written down only after they left, or as
    they were packed into the same box. `mixed` are all other lots packed into that box.
    """

    on: date
    use: str
    to: str
    order: str
    eggs: int
    lots: list[InLot]
    affected: list[InLot]
    maybe: list[InLot]
    why: str
    entry: str
    mixed: list[InLot] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class RuleRow:
    """How long eggs keep, as somebody told; `ask_again` where that is more than a year ago."""

    storage: str
    keeps_days: float
    checked_on: date
    said_by: str
    ask_again: bool
    used: bool


@dataclass(frozen=True, slots=True)
class EggStore:
    """All of it.

    Attributes:
        answer: the summary, first what must be known.
        free, held, past: eggs that may be sold; that are withheld, alone or by their box; that
            are past the keeping time.
        rules: as told; `asks`: what to ask, and whom.
        received: who received what, the newest first, as searched.
        sold_although_held: of all time, what left although it is withheld by now, or may have.
        searched: what was asked for.
    """

    on: date
    answer: str
    free: int
    held: int
    past: int
    lots: list[LotRow]
    boxes: list[BoxRow]
    orders: list[OrderRow]
    rules: list[RuleRow]
    asks: list[str]
    received: list[Received]
    sold_although_held: list[Received]
    searched: str
    more: int

    @property
    def shape(self) -> dict[str, Any]:
        """`eggs --json`."""
        shape: dict[str, Any] = msgspec.to_builtins(self, enc_hook=said_plainly)
        return shape


def store_told(
    flock: Flock,
    on: date,
    entries: Sequence[Entry] = (),
    chances: Chances | None = None,
    of: str = "",
    shown: int = SHOWN,
) -> EggStore:
    """The egg store on the day `on`; `flock` is folded up to then.

    Args:
        entries: of the journal, in the order in which they arrived.
        chances: gives the chance to fill each of these orders by its name.
        of: a person, order, group, box or lay date; only who received such is listed.
        shown: how many at most.
    """
    lots = [_lot(flock, key, on) for key in sorted(flock.stocked)]
    boxes = [_box(flock, box, on) for box in flock.boxes.values()]
    boxes_held = sum(box.eggs for box in boxes if box.held)
    loose_held = sum(lot.loose for lot in lots if lot.held in ("treated", "quarantine"))
    past = sum(lot.loose for lot in lots if lot.held == "age")
    on_hand = sum(lot.eggs for lot in lots)
    held = loose_held + boxes_held
    left = [one for one in reversed(flock.eggs_gone) if one.use != "discarded"]
    beside = _beside(flock, entries)
    asked = of.strip()
    # Ten years of sales are told only where somebody asks for them, or where one went wrong.
    gone = [
        _received(flock, one, beside.get(one.entry, []))
        for n, one in enumerate(left)
        if asked or n < shown or beside.get(one.entry) or any(lot.held for lot in one.lots)
    ]
    wrong = [one for one in gone if one.affected or one.maybe]
    found = [one for one in gone if _is_of(one, asked)]
    free = on_hand - held - past
    return EggStore(
        on,
        _answer(on_hand, free, held, past, len(wrong)),
        free,
        held,
        past,
        lots,
        boxes,
        _orders(flock, on, chances),
        _rules(flock, on),
        _asks(flock, on),
        found[:shown],
        wrong,
        asked,
        max(0, len(found if asked else left) - shown),
    )


def _answer(on_hand: int, free: int, held: int, past: int, wrong: int) -> str:
    said = [say_many("{n} egg may be sold.", "{n} eggs may be sold.", free)]
    if not on_hand:
        said = [say("No eggs are in the store.")]
    if held:
        said.insert(0, say_many("{n} egg is not to be sold.", "{n} eggs are not to be sold.", held))
    if past:
        said.append(
            say_many(
                "{n} egg is past the keeping time.", "{n} eggs are past the keeping time.", past
            )
        )
    if wrong:
        said.insert(
            0,
            say_many(
                "Eggs that are withheld left the store {n} time, or may have.",
                "Eggs that are withheld left the store {n} times, or may have.",
                wrong,
            ),
        )
    return " ".join(said)


def _lot(flock: Flock, key: tuple[date, str], on: date) -> LotRow:
    lot = flock.stocked[key]
    hold = hold_of(flock, lot, on, "sold")
    return LotRow(
        lot.laid,
        lot.group,
        lot.on_hand,
        lot.loose,
        hold.why if hold is not None else "",
        say(reasons_told(flock, [hold])) if hold is not None else "",
        hold.until if hold is not None else None,
        hold.free if hold is not None else None,
        sell_by(flock, lot.laid),
    )


def _box(flock: Flock, box: Box, on: date) -> BoxRow:
    holds = box_holds(flock, box, on, "sold")
    oldest = min(laid for laid, _ in box.lots)
    return BoxRow(
        box.name,
        box.eggs,
        box.packed_on,
        [InLot(laid, group, eggs) for (laid, group), eggs in sorted(box.lots.items())],
        bool(holds),
        _why(flock, holds),
        sell_by(flock, oldest),
    )


def _why(flock: Flock, holds: Sequence[Hold]) -> str:
    if not holds:
        return ""
    return say(
        "Held for {lots}. {reasons}",
        lots=lots_told([replace(hold, box="") for hold in holds]),
        reasons=reasons_told(flock, holds),
    )


def _orders(flock: Flock, on: date, chances: Chances | None) -> list[OrderRow]:
    standing = sorted(flock.orders.values(), key=lambda order: (order.on, order.name))
    asked = [order for order in standing if order.left]
    known = chances(asked) if chances is not None and asked else {}
    return [
        OrderRow(
            order.name,
            order.to,
            order.on,
            order.eggs,
            order.filled,
            order.left,
            max(0, order.filled - order.eggs),
            _state(order, on),
            order.price_per_egg,
            known.get(order.name),
        )
        for order in standing
    ]


def _state(order: Order, on: date) -> OrderState:
    if not order.eggs and not order.filled:
        return "called_off"
    if order.filled > order.eggs:
        return "over"
    if not order.left:
        return "filled"
    return "late" if order.on < on else "open"


def order_chances(
    flock: Flock, on: date, outlook: "Outlook"
) -> Callable[[Sequence[Order]], dict[str, float]]:
    """Gives the chance to fill orders, each after those due before it.

    Counted are eggs that may be sold now and on the day, and the outlook's draws of eggs of hens
    that are not withheld then; less what is eaten at home, as of late.
    """
    return lambda orders: {
        order.name: _chance(flock, on, outlook, order, orders[: n + 1])
        for n, order in enumerate(orders)
    }


def _chance(
    flock: Flock, on: date, outlook: "Outlook", order: Order, until_it: Sequence[Order]
) -> float:
    due = max(order.on, on)
    wanted = sum(each.left for each in until_it)
    days = (due - on).days
    eaten = _eaten_a_day(flock, on) * days
    stock = _stock_for(flock, due)
    ahead = outlook.samples["eggs"] * 0.0
    for week in range(outlook.weeks):
        first = outlook.first_day(week)
        laid_on = [first + timedelta(days=n) for n in range(7)]
        shares = [_free_share(flock, outlook, week, laid, due) for laid in laid_on if laid <= due]
        ahead[:, week] = outlook.samples["eggs"][:, week] * sum(shares) / len(laid_on)
    supply = stock + ahead.sum(axis=1) - eaten
    return float((supply >= wanted).mean())


def _free_share(flock: Flock, outlook: "Outlook", week: int, laid: date, due: date) -> float:
    """The part of a day's eggs that may be sold on the day `due`, by the means of the groups."""
    last = sell_by(flock, laid)
    if last is not None and due > last:
        return 0.0
    means = {name: float(eggs[week]) for name, eggs in outlook.eggs_by_group.items()}
    whole = sum(means.values())
    if not whole:
        return 1.0
    free = sum(eggs for name, eggs in means.items() if not _will_be_held(flock, name, laid, due))
    return free / whole


def _will_be_held(flock: Flock, group: str, laid: date, due: date) -> bool:
    known = flock.groups.get(group)
    place = known.place if known is not None else ""
    return flock.withheld_on(group, laid) is not None or any(
        apart.place == place and apart.since <= laid <= apart.until >= due
        for apart in flock.quarantines
    )


def _stock_for(flock: Flock, due: date) -> int:
    """Eggs on hand that may be sold on that day."""
    loose = sum(
        lot.loose for lot in flock.stocked.values() if hold_of(flock, lot, due, "sold") is None
    )
    return loose + sum(
        box.eggs for box in flock.boxes.values() if not box_holds(flock, box, due, "sold")
    )


def _eaten_a_day(flock: Flock, on: date) -> float:
    since = on - timedelta(days=HOME_USE_DAYS)
    eaten = sum(one.eggs for one in flock.eggs_gone if one.use == "eaten" and one.day > since)
    return eaten / HOME_USE_DAYS


def _rules(flock: Flock, on: date) -> list[RuleRow]:
    return [
        RuleRow(
            rule.storage,
            rule.keeps_days,
            rule.checked_on,
            rule.said_by,
            on - rule.checked_on > ASK_AGAIN_AFTER,
            rule is flock.egg_rule,
        )
        for rule in flock.egg_rules.values()
    ]


def _asks(flock: Flock, on: date) -> list[str]:
    """What is to be minded and asked before eggs are sold, and whom."""
    return [*_laid_the_evening_before(flock, on), *_asks_of_keeping(flock, on)]


def _laid_the_evening_before(flock: Flock, on: date) -> list[str]:
    """A lot is of the day it was gathered; quail lay late in the day (Sonoda et al. 1985)."""
    ends = sorted(
        {
            (held.eggs_until, held.group)
            for held in flock.withholdings
            if held.eggs_until is not None and held.eggs_until >= on - timedelta(days=1)
        }
    )
    return [
        say(
            "{group}: quail lay late in the day. What is gathered on the morning of {free} may "
            "have been laid on {until}, which is withheld: clear every nest on the evening of "
            "{until}, or throw away the first gathering of {free}.",
            group=group,
            free=until + timedelta(days=1),
            until=until,
        )
        for until, group in ends
        if flock.withheld_on(group, until + timedelta(days=1)) is None
        and (known := flock.groups.get(group)) is not None
        and known.alive.total
    ]


def _asks_of_keeping(flock: Flock, on: date) -> list[str]:
    whom = say(
        "Ask the office that sees to the sale of eggs where you live: for agriculture or for "
        "health."
    )
    rule = flock.egg_rule
    if rule is None and not flock.egg_rules:
        return [
            say("Nobody has told how long eggs may be kept. {whom}", whom=whom),
        ]
    if rule is None:
        return [
            say(
                "Say in the settings how you store the eggs (room, cool or refrigerated), and how "
                "long they may be kept so. {whom}",
                whom=whom,
            )
        ]
    if on - rule.checked_on > ASK_AGAIN_AFTER:
        return [
            say(
                "How long eggs may be kept was asked on {day}, more than a year ago: ask again. "
                "{whom}",
                day=rule.checked_on,
                whom=whom,
            )
        ]
    return []


def _beside(flock: Flock, entries: Sequence[Entry]) -> dict[str, list[Hold]]:
    """By the entry of loose eggs that left, withheld lots that may have been among them.

    They lay beside them, and their treatment was written down only after they had left. The fold
    has it that free eggs left; whoever took them did not know that others were not.
    """
    found: dict[str, list[Hold]] = {}
    if not (flock.withholdings and entries):
        return found
    turns = {fact.id: n for n, entry in enumerate(entries) for fact in facts_of(entry)}
    known = {fact.id: fact for entry in entries for fact in facts_of(entry)}
    later = Counter[tuple[date, str]]()
    for gone in reversed(flock.eggs_gone):
        entry = known.get(gone.entry)
        if isinstance(entry, kinds.EggsOut) and gone.use != "discarded" and entry.box is None:
            taken = {(one.laid, one.group) for one in gone.lots}
            for held in flock.withholdings:
                if turns.get(held.entry, -1) > turns[gone.entry] and held.since <= gone.day:
                    found.setdefault(gone.entry, []).extend(
                        hold
                        for hold in _of_withholding(flock, held, entry, gone, later)
                        if (hold.laid, hold.group) not in taken
                    )
        for one in gone.lots:
            later[one.laid, one.group] += one.eggs
    return found


def _of_withholding(
    flock: Flock,
    held: Withholding,
    entry: kinds.EggsOut,
    gone: EggsGone,
    later: Counter[tuple[date, str]],
) -> Iterator[Hold]:
    """Lots that it withholds, fit what left, and were still there; `later` left after it."""
    if entry.group not in (None, held.group):
        return
    first = max(held.since, entry.laid_from or date.min)
    last = min(held.eggs_until or date.max, gone.day, entry.laid_to or date.max)
    for days in range((last - first).days + 1):
        lot = flock.lots.get((first + timedelta(days=days), held.group))
        if lot is None:
            continue
        there = lot.on_hand + lot.set_to_hatch + later[lot.laid, lot.group]
        hold = hold_of(flock, lot, gone.day, gone.use, there)
        if there and hold is not None:
            yield hold


def _received(flock: Flock, gone: EggsGone, maybe: Sequence[Hold]) -> Received:
    still = [
        (one, hold_of(flock, flock.lots[one.laid, one.group], gone.day, gone.use))
        for one in gone.lots
        if one.held
    ]
    affected = [one for one, hold in still if hold is not None and hold.why != "age"]
    holds = [hold for _, hold in still if hold is not None and hold.why != "age"]
    in_box = (
        hold_of(flock, flock.lots[one.laid, one.group], gone.day, gone.use, one.eggs)
        for one in gone.mixed
    )
    maybe = [*maybe, *(hold for hold in in_box if hold is not None and hold.why != "age")]
    return Received(
        gone.day,
        gone.use,
        gone.to,
        gone.order,
        gone.eggs,
        [InLot(one.laid, one.group, one.eggs) for one in gone.lots],
        [InLot(one.laid, one.group, one.eggs) for one in affected],
        [InLot(hold.laid, hold.group, hold.eggs) for hold in maybe],
        say(reasons_told(flock, [*holds, *maybe])) if holds or maybe else "",
        gone.entry,
        [InLot(one.laid, one.group, one.eggs) for one in gone.mixed],
    )


def _is_of(one: Received, of: str) -> bool:
    if not of:
        return True
    if any(of.casefold() == name.casefold() for name in (one.to, one.order) if name):
        return True
    lots = (*one.lots, *one.maybe, *one.mixed)
    return any(of in (lot.group, lot.laid.isoformat()) for lot in lots)


@dataclass(frozen=True, slots=True)
class Label:
    """A label to print, of a box or of a lot: what is in it, and until when it is kept.

    `text` is what the keeper's place asks for, in the keeper's own words.
    """

    title: str
    eggs: int
    laid_first: date
    laid_last: date
    groups: list[str]
    storage: str
    keep_until: date | None
    name: str
    contact: str
    text: str
    allergy: str


def labels(flock: Flock, on: date) -> list[Label]:
    """Labels of boxes, and of loose eggs by lot, that may be sold on the day `on`.

    What is withheld, in quarantine or past its time gets none.
    """
    boxes = [
        _label(flock, box.name, box.eggs, list(box.lots))
        for box in flock.boxes.values()
        if not box_holds(flock, box, on, "sold")
    ]
    lots = [
        _label(flock, "", lot.loose, [(lot.laid, lot.group)])
        for _, lot in sorted(flock.stocked.items())
        if lot.loose and hold_of(flock, lot, on, "sold") is None
    ]
    return boxes + lots


def _label(flock: Flock, title: str, eggs: int, keys: list[tuple[date, str]]) -> Label:
    days = [laid for laid, _ in keys]
    rule = flock.egg_rule
    holding = flock.holding or kinds.Holding(id="", at="")
    return Label(
        title,
        eggs,
        min(days),
        max(days),
        sorted({group for _, group in keys}),
        _storage_line(rule.storage if rule is not None else holding.egg_storage),
        sell_by(flock, min(days)),
        holding.label_name or holding.name,
        holding.label_contact,
        holding.label_text,
        say("Quail eggs. Eggs are an allergen."),
    )


def _storage_line(storage: kinds.Storage | None) -> str:
    if storage is None:
        return ""
    return {
        "room": say("Keep at room temperature."),
        "cool": say("Keep cool."),
        "refrigerated": say("Keep refrigerated."),
    }[storage]


def held_on_this_phone(flock: Flock, on: date) -> dict[str, Any] | None:
    """What a page carries, so that a phone without a signal can say no; None: nothing is held.

    `lots` and `spans` are of loose eggs in the store and of those still to be laid, by group, with
    the reason, and whether it holds what is eaten too; `free` the loose eggs of each group that
    may be sold; `boxes` the reason of each box that is held.
    """
    lots = []
    free: dict[str, int] = {}
    for lot in flock.stocked.values():
        hold = hold_of(flock, lot, on, "sold")
        if hold is None:
            free[lot.group] = free.get(lot.group, 0) + lot.loose
        elif hold.why != "age":
            why = say(reasons_told(flock, [hold]))
            eaten = hold.why == "treated"
            lots.append([lot.laid.isoformat(), lot.group, lot.loose, why, eaten])
    boxes = {}
    for box in flock.boxes.values():
        holds = box_holds(flock, box, on, "sold")
        if holds:
            boxes[box.name] = [_why(flock, holds), any(hold.why == "treated" for hold in holds)]
    spans = [
        [name, say(reasons_told(flock, [hold])), hold.why == "treated"]
        for name, group in flock.groups.items()
        if group.alive.total
        and (hold := hold_of(flock, EggLot(on, name, place=group.place), on, "sold")) is not None
    ]
    if not (lots or boxes or spans):
        return None
    return {"lots": lots[-SHOWN:], "boxes": boxes, "spans": spans, "free": free}

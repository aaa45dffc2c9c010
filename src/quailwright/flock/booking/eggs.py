"""Bookings of eggs for the kitchen, in lots by lay date and group."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from typing import NamedTuple

from quailwright.flock.booking.known import contradict, group_of, near, pay, refuse
from quailwright.flock.held import Hold, box_holds, hold_of, is_held, lots_told, reasons_told
from quailwright.flock.state import Box, EggLot, EggsFrom, EggsGone, Flock, Order
from quailwright.journal import entries as kinds
from quailwright.language import Said, later, mark


def lot_of(flock: Flock, laid: date, group: str) -> EggLot:
    """The lot, to change: a new one in its place, as copies of the flock share those long gone."""
    key = (laid, group)
    known = flock.lots.get(key)
    lot = flock.lots[key] = EggLot(laid, group) if known is None else replace(known)
    if key in flock.stocked:
        flock.stocked[key] = lot
    return lot


def forget_empty(flock: Flock, lot: EggLot) -> None:
    if lot.on_hand <= 0:
        flock.stocked.pop((lot.laid, lot.group), None)


def lots(
    flock: Flock, group: str | None, laid_from: date | None, laid_to: date | None
) -> Iterator[EggLot]:
    """Lots with eggs on hand that fit, oldest first. Do not change the store while reading on."""
    for lot in flock.stocked.values():
        if (
            (group is None or lot.group == group)
            and (laid_from is None or lot.laid >= laid_from)
            and (laid_to is None or lot.laid <= laid_to)
        ):
            yield lot


def eggs_collected(flock: Flock, entry: kinds.EggsCollected, day: date, forced: bool) -> None:
    if entry.group not in flock.groups:
        group_of(flock, entry, entry.group)
    key = (day, entry.group)
    lot = flock.lots.get(key)
    if lot is None:
        lot = flock.lots[key] = EggLot(day, entry.group)
    lot.place = flock.groups[entry.group].place
    lot.collected += entry.eggs
    lot.cracked += entry.cracked
    lot.counts += 1
    if entry.eggs > lot.largest_count:
        lot.largest_count = entry.eggs
    if entry.total_g and entry.eggs:
        lot.weighed += entry.eggs
        lot.weighed_g += entry.total_g
    if lot.on_hand > 0:
        flock.stocked[key] = lot


class _Fitting(NamedTuple):
    """Eggs of a lot, loose or in a box, that an entry may take; `held`: it should not."""

    lot: EggLot
    eggs: int
    box: Box | None
    held: bool


def eggs_out(flock: Flock, entry: kinds.EggsOut, day: date, forced: bool) -> None:
    """Takes the oldest eggs that fit and are free, loose ones before those in boxes.

    Eggs of a box are mixed: what holds one lot in it holds them all.
    """
    if entry.group is not None:
        group_of(flock, entry, entry.group)
    order = None if entry.order is None else order_of(flock, entry, entry.order)
    box = None if entry.box is None else box_of(flock, entry, entry.box)
    fitting = _in_box(flock, entry, day, box) if box else _in_store(flock, entry, day)
    available = sum(each.eggs for each in fitting if not each.held)
    if available < entry.eggs:
        _eggs_short(flock, entry, day, fitting, forced)
    elif entry.use in ("sold", "given") and entry.group is None and box is None:
        _not_told_apart(flock, entry, day, forced)
    left = entry.eggs
    boxes = {each.box.name: each.box for each in fitting if each.box is not None}
    gone: list[EggsFrom] = []
    for each in sorted(fitting, key=lambda each: each.held):
        taken = min(left, each.eggs)
        if not taken:
            continue
        left -= taken
        each.lot.out += taken
        if each.box is not None:
            _take_from_box(flock, each.box, each.lot, taken)
        forget_empty(flock, each.lot)
        name = each.box.name if each.box is not None else ""
        held = each.held and is_held(flock, each.lot, day, entry.use)
        gone.append(EggsFrom(each.lot.laid, each.lot.group, taken, name, held))
    if left:
        lot = lot_of(flock, entry.laid_to or day, entry.group or "")
        lot.found += left
        lot.out += left
    opened_boxes = {one.box: boxes[one.box] for one in gone if one.box}
    if order is not None:
        order.filled += entry.eggs if entry.use in ("sold", "given") else 0
    flock.eggs_gone.append(
        EggsGone(
            day,
            entry.use,
            entry.eggs,
            entry.income is not None,
            entry.to or (order.to if order is not None else ""),
            entry.order or "",
            tuple(gone),
            entry.id,
            tuple(
                EggsFrom(*key, packed, name, False)
                for name, opened in sorted(opened_boxes.items())
                for key, packed in sorted(opened.packed.items())
                if not any(one.box == name and (one.laid, one.group) == key for one in gone)
            ),
        )
    )
    pay(flock, day, entry.income, mark("eggs sold"))


def _in_box(flock: Flock, entry: kinds.EggsOut, day: date, box: Box) -> list[_Fitting]:
    """The eggs of a box, oldest first; all are held by what holds any of its lots."""
    held = bool(box_holds(flock, box, day, entry.use))
    return [
        _Fitting(flock.lots[key], eggs, box, held)
        for key, eggs in sorted(box.lots.items())
        if _fits(entry, *key)
    ]


def _in_store(flock: Flock, entry: kinds.EggsOut, day: date) -> list[_Fitting]:
    """Eggs of the store, oldest first, no more free ones than are asked for."""
    found: list[_Fitting] = []
    free = 0
    for lot in lots(flock, entry.group, entry.laid_from, entry.laid_to):
        loose = lot.loose
        if not loose:
            continue
        held = is_held(flock, lot, day, entry.use)
        free += 0 if held else loose
        found.append(_Fitting(lot, loose, None, held))
        if free >= entry.eggs:
            return found
    boxed = [each for box in flock.boxes.values() for each in _in_box(flock, entry, day, box)]
    boxed.sort(key=lambda each: (each.lot.laid, each.lot.group))
    return found + boxed


def _holds(flock: Flock, entry: kinds.EggsOut, day: date, fitting: list[_Fitting]) -> list[Hold]:
    """What holds those of the fitting eggs that are held, each lot of a box with them."""
    boxes = {each.box.name: each.box for each in fitting if each.box is not None and each.held}
    if entry.box is not None:
        boxes[entry.box] = flock.boxes[entry.box]
    loose = (
        hold_of(flock, each.lot, day, entry.use, each.eggs)
        for each in fitting
        if each.held and each.box is None
    )
    return [hold for hold in loose if hold is not None] + [
        hold for box in boxes.values() for hold in box_holds(flock, box, day, entry.use)
    ]


def _fits(entry: kinds.EggsOut, laid: date, group: str) -> bool:
    return (
        entry.group in (None, group)
        and (entry.laid_from is None or laid >= entry.laid_from)
        and (entry.laid_to is None or laid <= entry.laid_to)
    )


def _take_from_box(flock: Flock, box: Box, lot: EggLot, eggs: int) -> None:
    key = (lot.laid, lot.group)
    lot.boxed -= eggs
    box.lots[key] -= eggs
    if not box.lots[key]:
        del box.lots[key]
    if not box.lots:
        del flock.boxes[box.name]


def unbox_beyond_stock(flock: Flock, lot: EggLot) -> None:
    """Takes out of boxes what of a lot is there no more."""
    for box in list(flock.boxes.values()):
        beyond = lot.boxed - lot.on_hand
        inside = box.lots.get((lot.laid, lot.group), 0)
        if beyond > 0 and inside:
            _take_from_box(flock, box, lot, min(beyond, inside))


def _eggs_short(
    flock: Flock,
    entry: kinds.EggsOut,
    day: date,
    fitting: list[_Fitting],
    forced: bool,
) -> None:
    holds = _holds(flock, entry, day, fitting)
    on_hand = sum(each.eggs for each in fitting)
    if on_hand >= entry.eggs and holds:
        parts = {
            "eggs": entry.eggs,
            "use": later(entry.use),
            "on_hand": on_hand,
            "lots": lots_told(holds),
            "reasons": reasons_told(flock, holds),
        }
        contradict(
            flock,
            entry,
            forced,
            "eggs" if entry.box is None else "box",
            _held_words(entry, sum(each.eggs for each in fitting if each.held), parts),
            later("Discard them; ask the vet who directed it when in doubt.")
            if any(hold.why == "treated" for hold in holds)
            else later("Keep them back, or eat them at home if you are content with them."),
            "withheld",
        )
        return
    parts = {"eggs": entry.eggs, "use": later(entry.use), "on_hand": on_hand}
    contradict(
        flock,
        entry,
        forced,
        "eggs",
        later(
            "{eggs} eggs {use}, but box {box} has {on_hand} fitting eggs.", box=entry.box, **parts
        )
        if entry.box
        else later(
            "{eggs} eggs {use}, but {on_hand} fitting eggs of {group} are on hand.",
            group=entry.group,
            **parts,
        )
        if entry.group
        else later("{eggs} eggs {use}, but {on_hand} fitting eggs are on hand.", **parts),
        later("Log eggs_collected first, or mend the number."),
    )


def _not_told_apart(flock: Flock, entry: kinds.EggsOut, day: date, forced: bool) -> None:
    """Refuses eggs that leave the house with nobody saying whose, while held ones lie with them."""
    if not flock.withholdings and not flock.quarantines:
        return
    holds = []
    for lot in reversed(flock.stocked.values()):
        if (day - lot.laid).days > _LIE_TOGETHER_D:
            break
        if lot.loose and _fits(entry, lot.laid, lot.group):
            hold = hold_of(flock, lot, day, entry.use, lot.loose)
            if hold is not None and hold.why != "age":
                holds.append(hold)
    if holds:
        holds.reverse()
        contradict(
            flock,
            entry,
            forced,
            "group",
            later(
                "{eggs} eggs {use} and nobody says whose, while held ones lie beside them: {lots}. "
                "{reasons}",
                eggs=entry.eggs,
                use=later(entry.use),
                lots=lots_told(holds),
                reasons=reasons_told(flock, holds),
            ),
            later("Say whose they are (group) if you keep them apart; discard the held ones."),
            "withheld",
        )


_LIE_TOGETHER_D = 60
"""Eggs laid longer ago [days] do not lie beside those sold today."""


def _held_words(entry: kinds.EggsOut, withheld: int, parts: dict[str, object]) -> Said:
    if entry.box is not None:
        return later(
            "{eggs} eggs {use} from box {box}, but the whole box is withheld: {lots}. {reasons}",
            box=entry.box,
            **parts,
        )
    parts["withheld"] = withheld
    if entry.group is not None:
        return later(
            "{eggs} eggs {use}, but of {on_hand} on hand of {group} {withheld} are withheld: "
            "{lots}. {reasons}",
            group=entry.group,
            **parts,
        )
    return later(
        "{eggs} eggs {use}, but of {on_hand} on hand {withheld} are withheld: {lots}. {reasons}",
        **parts,
    )


def eggs_boxed(flock: Flock, entry: kinds.EggsBoxed, day: date, forced: bool) -> None:
    """Puts the oldest eggs that fit and are in no box into one.

    Eggs past the time that they may be kept are passed over. Where others among the oldest are
    held, nothing is packed: they lie with the rest, and would be in the box.
    """
    if entry.group is not None:
        group_of(flock, entry, entry.group)
    picked: list[tuple[EggLot, int]] = []
    holds: list[Hold] = []
    left = entry.eggs
    for lot in lots(flock, entry.group, entry.laid_from, entry.laid_to):
        packed = min(lot.loose, left)
        if not packed:
            continue
        hold = hold_of(flock, lot, day, "sold", packed)
        if hold is not None and hold.why == "age":
            continue
        if hold is not None:
            holds.append(hold)
        picked.append((lot, packed))
        left -= packed
        if not left:
            break
    if holds:
        contradict(
            flock,
            entry,
            forced,
            "eggs",
            later(
                "{eggs} eggs into box {box}, but of the oldest that fit these are withheld: "
                "{lots}. {reasons}",
                eggs=entry.eggs,
                box=entry.box,
                lots=lots_told(holds),
                reasons=reasons_told(flock, holds),
            ),
            later(
                "Discard them first, or name the group or the days of lay that you do pack, if you "
                "are sure that no other egg is among them."
            ),
            "withheld",
        )
    if left:
        contradict(
            flock,
            entry,
            forced,
            "eggs",
            later(
                "{eggs} eggs into box {box}, but {on_hand} fitting eggs are in no box.",
                eggs=entry.eggs,
                box=entry.box,
                on_hand=entry.eggs - left,
            ),
            later("Log eggs_collected first, or mend the number."),
        )
        lot = lot_of(flock, entry.laid_to or day, entry.group or "")
        lot.found += left
        flock.stocked[lot.laid, lot.group] = lot
        picked.append((lot, left))
    box = flock.boxes.get(entry.box)
    if box is None:
        box = flock.boxes[entry.box] = Box(entry.box, day)
    box.packed_on = day
    for lot, packed in picked:
        key = (lot.laid, lot.group)
        box.lots[key] = box.lots.get(key, 0) + packed
        box.packed[key] = box.packed.get(key, 0) + packed
        lot.boxed += packed


def eggs_ordered(flock: Flock, entry: kinds.EggsOrdered, day: date, forced: bool) -> None:
    """Takes an order, or replaces it; what has left for it stays counted."""
    known = flock.orders.get(entry.order)
    flock.orders[entry.order] = Order(
        entry.order,
        entry.eggs,
        entry.on,
        entry.to or (known.to if known is not None else ""),
        entry.price_per_egg
        if entry.price_per_egg is not None or known is None
        else known.price_per_egg,
        known.filled if known is not None else 0,
    )


def box_of(flock: Flock, entry: kinds.EggsOut, name: str) -> Box:
    box = flock.boxes.get(name)
    if box is None:
        raise refuse(
            entry,
            "orphan",
            "box",
            later("there are no eggs in a box {name!r} at that time.", name=name),
            near(name, flock.boxes, later("Log eggs_boxed first.")),
        )
    return box


def order_of(flock: Flock, entry: kinds.EggsOut, name: str) -> Order:
    order = flock.orders.get(name)
    if order is None:
        raise refuse(
            entry,
            "orphan",
            "order",
            later("there is no order {name!r} at that time.", name=name),
            near(name, flock.orders, later("Log eggs_ordered first.")),
        )
    return order

"""Bookings of eggs for the kitchen, in lots by lay date and group."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date

from quailwright.flock.booking.known import contradict, group_of, pay
from quailwright.flock.state import EggLot, EggsGone, Flock
from quailwright.journal import entries as kinds
from quailwright.language import later, mark


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
    lot.collected += entry.eggs
    lot.cracked += entry.cracked
    lot.counts += 1
    if entry.eggs > lot.largest_count:
        lot.largest_count = entry.eggs
    if lot.on_hand > 0:
        flock.stocked[key] = lot


def eggs_out(flock: Flock, entry: kinds.EggsOut, day: date, forced: bool) -> None:
    if entry.group is not None:
        group_of(flock, entry, entry.group)
    free: list[EggLot] = []
    held: list[EggLot] = []
    available = 0
    for lot in lots(flock, entry.group, entry.laid_from, entry.laid_to):
        if entry.use != "discarded" and flock.withheld_on(lot.group, lot.laid):
            held.append(lot)
            continue
        free.append(lot)
        available += lot.on_hand
        if available >= entry.eggs:
            break
    if available < entry.eggs:
        _eggs_short(flock, entry, available, held, forced)
    left = entry.eggs
    for lot in free + held:
        taken = min(left, lot.on_hand)
        lot.out += taken
        left -= taken
        forget_empty(flock, lot)
    if left:
        lot = lot_of(flock, entry.laid_to or day, entry.group or "")
        lot.found += left
        lot.out += left
    flock.eggs_gone.append(EggsGone(day, entry.use, entry.eggs, entry.income is not None))
    pay(flock, day, entry.income, mark("eggs sold"))


def _eggs_short(
    flock: Flock, entry: kinds.EggsOut, available: int, held: list[EggLot], forced: bool
) -> None:
    withheld = sum(lot.on_hand for lot in held)
    on_hand = available + withheld
    if on_hand >= entry.eggs and held:
        why = flock.withheld_on(held[0].group, held[0].laid)
        parts = {
            "eggs": entry.eggs,
            "use": later(entry.use),
            "on_hand": on_hand,
            "withheld": withheld,
            "treated": held[0].group,
            "product": why.product if why else later("a medicine"),
            "until": why.eggs_until if why else later("a later day"),
        }
        contradict(
            flock,
            entry,
            forced,
            "eggs",
            later(
                "{eggs} eggs {use}, but of {on_hand} on hand of {group} {withheld} are withheld: "
                "{treated} was treated with {product}, eggs withheld until {until}.",
                group=entry.group,
                **parts,
            )
            if entry.group
            else later(
                "{eggs} eggs {use}, but of {on_hand} on hand {withheld} are withheld: "
                "{treated} was treated with {product}, eggs withheld until {until}.",
                **parts,
            ),
            later("Discard them; ask the vet who directed it when in doubt."),
            "withheld",
        )
        return
    contradict(
        flock,
        entry,
        forced,
        "eggs",
        later(
            "{eggs} eggs {use}, but {on_hand} fitting eggs of {group} are on hand.",
            eggs=entry.eggs,
            use=later(entry.use),
            on_hand=on_hand,
            group=entry.group,
        )
        if entry.group
        else later(
            "{eggs} eggs {use}, but {on_hand} fitting eggs are on hand.",
            eggs=entry.eggs,
            use=later(entry.use),
            on_hand=on_hand,
        ),
        later("Log eggs_collected first, or mend the number."),
    )


def eggs_boxed(flock: Flock, entry: kinds.EggsBoxed, day: date, forced: bool) -> None:
    """To be written by whoever writes boxes."""


def eggs_ordered(flock: Flock, entry: kinds.EggsOrdered, day: date, forced: bool) -> None:
    """To be written by whoever writes orders."""

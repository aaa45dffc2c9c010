"""Bookings of hatching eggs and hatches. Every egg set is alive, taken out, or hatched."""

from datetime import date, datetime, timedelta

from quailwright.flock.booking.eggs import forget_empty, lot_of, lots, unbox_beyond_stock
from quailwright.flock.booking.known import contradict, group_of, hatch_of, pay, place_of, refuse
from quailwright.flock.booking.plans import set_as_planned
from quailwright.flock.state import Clutch, Difference, Flock, Hatch, Receipt
from quailwright.husbandry import facts
from quailwright.journal import entries as kinds
from quailwright.journal.entries import Entry
from quailwright.journal.moments import instant
from quailwright.language import Said, later, mark

ONE_SETTING = timedelta(hours=24)
"""Eggs set within this time of the first are the same hatch."""


def eggs_received(flock: Flock, entry: kinds.EggsReceived, day: date, forced: bool) -> None:
    flock.receipts.append(
        Receipt(
            entry.source,
            entry.lot,
            instant(entry.at, flock.zone),
            entry.eggs - entry.broken,
            entry.laid_from,
            entry.laid_to,
            cost=entry.cost,
        )
    )
    if entry.cost is not None:
        pay(flock, day, -entry.cost, mark("hatching eggs"), entry="eggs_received")


def eggs_set(flock: Flock, entry: kinds.EggsSet, day: date, forced: bool) -> None:
    set_at = instant(entry.at, flock.zone)
    hatch = flock.hatches.get(entry.hatch)
    if hatch is not None and (hatch.closed_at or abs(set_at - hatch.set_at) > ONE_SETTING):
        raise refuse(
            entry,
            "conflict",
            "hatch",
            later(
                "a hatch {hatch!r} was set on {day} already.",
                hatch=entry.hatch,
                day=hatch.set_at.date(),
            ),
            later("Give this one a name of its own."),
        )
    if entry.mean_egg_g is not None and not _may_weigh(entry.mean_egg_g):
        contradict(
            flock,
            entry,
            forced,
            "mean_egg_g",
            _no_egg(entry.mean_egg_g),
            later("Weigh without the tray."),
        )
    if entry.group is not None:
        _set_own_eggs(flock, entry, day)
    elif entry.source is not None:
        _set_received_eggs(flock, entry, forced)
    place_of(flock, entry.place)
    if hatch is None:
        hatch = Hatch(entry.hatch, entry.place, entry.place, set_at, "T" in entry.at)
        flock.hatches[entry.hatch] = hatch
    hatch.eggs_set += entry.eggs
    hatch.clutches.append(
        Clutch(
            entry.eggs,
            entry.source,
            entry.group,
            entry.lot,
            entry.mean_egg_g,
            entry.laid_from,
            entry.laid_to,
            entry.storage_c,
        )
    )
    set_as_planned(flock, hatch, day)


def _set_own_eggs(flock: Flock, entry: kinds.EggsSet, day: date) -> None:
    """Takes the group's freshest eggs, those in boxes last.

    Eggs that nobody logged may be set: they are `found`, and a difference says so.
    """
    name = group_of(flock, entry, entry.group or "").name
    left = entry.eggs
    fitting = lots(flock, name, entry.laid_from, entry.laid_to)
    freshest = list(reversed(list(fitting)))
    for boxed in (False, True):
        for lot in freshest:
            taken = min(left, lot.on_hand if boxed else lot.loose)
            lot.set_to_hatch += taken
            left -= taken
            unbox_beyond_stock(flock, lot)
            forget_empty(flock, lot)
            if not left:
                return
    there_were = entry.eggs - left
    flock.differences.append(Difference(day, name, "eggs_set", there_were, entry.eggs, entry.id))
    lot = lot_of(flock, entry.laid_to or day, name)
    lot.found += left
    lot.set_to_hatch += left


def _set_received_eggs(flock: Flock, entry: kinds.EggsSet, forced: bool) -> None:
    receipts = [
        receipt
        for receipt in flock.receipts
        if receipt.source == entry.source and entry.lot in ("", receipt.lot)
    ]
    if not receipts:
        return
    missing = entry.eggs - sum(receipt.on_hand for receipt in receipts)
    if missing > 0:
        got = sum(receipt.good for receipt in receipts)
        contradict(
            flock,
            entry,
            forced,
            "eggs",
            later(
                "{eggs} set, but of {got} good eggs from {source} {left} are left.",
                eggs=entry.eggs,
                got=got,
                source=entry.source,
                left=entry.eggs - missing,
            ),
            later("Log eggs_received first, or mend the number."),
        )
        receipts[-1].found += missing
    left = entry.eggs
    for receipt in receipts:
        taken = min(left, receipt.on_hand)
        receipt.set_to_hatch += taken
        left -= taken


def eggs_weighed(flock: Flock, entry: kinds.EggsWeighed, day: date, forced: bool) -> None:
    hatch = hatch_of(flock, entry, entry.hatch)
    if entry.eggs > hatch.alive:
        contradict(
            flock,
            entry,
            forced,
            "eggs",
            later(
                "{eggs} eggs on the scale, but {hatch} has {left} left of {set} set.",
                eggs=entry.eggs,
                hatch=entry.hatch,
                left=hatch.alive,
                set=hatch.eggs_set,
            ),
            later("Mend the number, or the candling before."),
        )
    at = instant(entry.at, flock.zone)
    before = hatch.weighed[-1] if hatch.weighed else _told_at_setting(hatch)
    grams = entry.total_g / entry.eggs
    if not _may_weigh(grams):
        contradict(flock, entry, forced, "total_g", _no_egg(grams), _MEND_WEIGHT)
    elif before is not None and _gained(hatch, before, entry):
        contradict(
            flock,
            entry,
            forced,
            "total_g",
            later(
                "{grams:.2f} g an egg, after {before:.2f} g: eggs do not gain weight.",
                grams=grams,
                before=before[2] / before[1],
            ),
            _MEND_WEIGHT,
        )
    hatch.weighed.append((at, entry.eggs, entry.total_g))


_MEND_WEIGHT = later(
    "Weigh the same eggs, without the tray, on the same scale; mend the number of eggs or the "
    "weight."
)


def _may_weigh(grams: float) -> bool:
    possible = facts.figure("egg_water.egg_mass_possible")
    return (possible.low or 0.0) <= grams <= (possible.high or grams)


def _no_egg(grams: float) -> Said:
    possible = facts.figure("egg_water.egg_mass_possible")
    return later(
        "{grams:.1f} g an egg cannot be: Coturnix eggs weigh {low:g} to {high:g} g.",
        grams=grams,
        low=possible.low,
        high=possible.high,
    )


def _told_at_setting(hatch: Hatch) -> tuple[datetime, int, float] | None:
    """The mean weights given at setting, as a weighing of all eggs."""
    means = [(c.mean_egg_g, c.eggs) for c in hatch.clutches if c.mean_egg_g is not None]
    if len(means) < len(hatch.clutches):
        return None
    return hatch.set_at, hatch.eggs_set, sum(mean * eggs for mean, eggs in means)


def _gained(hatch: Hatch, before: tuple[datetime, int, float], entry: kinds.EggsWeighed) -> bool:
    """Whether the mean egg grew by more than the scale and the choice of eggs can explain.

    Unless all that were left were weighed once, or as many eggs twice (marked ones), the two
    weighings may be of different eggs.
    """
    at, eggs, grams = before
    growth = (entry.total_g / entry.eggs) / (grams / eggs) - 1.0
    taken_out_since = sum(clear + dead for when, clear, dead in hatch.candled if when > at)
    left_then = hatch.alive + taken_out_since
    same_eggs = eggs == entry.eggs or eggs >= left_then or entry.eggs >= hatch.alive
    if same_eggs:
        chosen = abs(1.0 / entry.eggs - 1.0 / eggs)
    else:
        chosen = 1.0 / entry.eggs + 1.0 / eggs - 2.0 / left_then
    scale = facts.value("egg_water.scale_noise_g")
    told = facts.value("egg_water.mean_egg_noise_g") / (grams / eggs)
    sampling = facts.value("egg_water.egg_mass_cv") ** 2 * max(0.0, chosen)
    spread = (sampling + (scale / grams) ** 2 + (scale / entry.total_g) ** 2 + told**2) ** 0.5
    return bool(growth > _BEYOND_CHANCE * spread)


_BEYOND_CHANCE = 4.0
"""Standard deviations beyond which a gain in weight is no chance."""


def eggs_candled(flock: Flock, entry: kinds.EggsCandled, day: date, forced: bool) -> None:
    hatch = hatch_of(flock, entry, entry.hatch)
    _eggs_leave(flock, hatch, entry, "clear", entry.clear + entry.dead, _TAKEN_OUT, forced)
    hatch.clear += entry.clear
    hatch.dead += entry.dead
    hatch.candled.append((instant(entry.at, flock.zone), entry.clear, entry.dead))


def chicks_hatched(flock: Flock, entry: kinds.ChicksHatched, day: date, forced: bool) -> None:
    hatch = hatch_of(flock, entry, entry.hatch)
    _eggs_leave(flock, hatch, entry, "chicks", entry.chicks, _HATCHED, forced)
    opened = hatch.opened.total()
    if opened and hatch.hatched + entry.chicks + opened > hatch.eggs_set + hatch.found:
        contradict(
            flock,
            entry,
            forced,
            "chicks",
            later(
                "{chicks} hatched, but of {set} set {hatched} hatched before and {opened} were "
                "opened unhatched.",
                chicks=entry.chicks,
                set=hatch.eggs_set,
                hatched=hatch.hatched,
                opened=opened,
            ),
            later("Mend the number, or retract the wrong entry before."),
        )
    hatch.hatched += entry.chicks
    hatch.hatchings.append((instant(entry.at, flock.zone), entry.chicks))


_TAKEN_OUT = mark(
    "{eggs} taken out, but {hatch} has {left} eggs left: {set} set, {removed} taken out, "
    "{hatched} hatched."
)
_HATCHED = mark(
    "{eggs} hatched, but {hatch} has {left} eggs left: {set} set, {removed} taken out, "
    "{hatched} hatched."
)


def _eggs_leave(
    flock: Flock, hatch: Hatch, entry: Entry, field: str, eggs: int, too_many: str, forced: bool
) -> None:
    if hatch.closed_at is not None:
        contradict(
            flock,
            entry,
            forced,
            "hatch",
            later("{hatch} was closed on {day}.", hatch=hatch.name, day=hatch.closed_at.date()),
            later("Retract the closing, or mend the name."),
            "conflict",
        )
    if eggs > hatch.alive:
        contradict(
            flock,
            entry,
            forced,
            field,
            later(
                too_many,
                eggs=eggs,
                hatch=hatch.name,
                left=hatch.alive,
                set=hatch.eggs_set,
                removed=hatch.removed,
                hatched=hatch.hatched,
            ),
            later("Mend the number, or retract the wrong entry before."),
        )
        hatch.found += eggs - hatch.alive


def turning_stopped(flock: Flock, entry: kinds.TurningStopped, day: date, forced: bool) -> None:
    hatch = hatch_of(flock, entry, entry.hatch)
    hatch.turning_stopped_at = instant(entry.at, flock.zone)
    if entry.place is not None:
        hatch.place = place_of(flock, entry.place).name


def eggs_opened(flock: Flock, entry: kinds.EggsOpened, day: date, forced: bool) -> None:
    hatch = hatch_of(flock, entry, entry.hatch)
    names = ("infertile", "early", "middle", "late", "pipped", "contaminated")
    opened = sum(getattr(entry, name) for name in names)
    before = hatch.opened.total()
    unhatched = hatch.eggs_set + hatch.found - hatch.hatched
    if before + opened > unhatched:
        contradict(
            flock,
            entry,
            forced,
            "infertile",
            later(
                "{opened} eggs opened, but {hatch} left {unhatched} unhatched of {set} set.",
                opened=before + opened,
                hatch=hatch.name,
                unhatched=unhatched,
                set=hatch.eggs_set,
            ),
            later("Mend the numbers."),
        )
    for name in names:
        hatch.opened[name] += getattr(entry, name)
    hatch.opened_at = instant(entry.at, flock.zone)


def hatch_closed(flock: Flock, entry: kinds.HatchClosed, day: date, forced: bool) -> None:
    hatch = hatch_of(flock, entry, entry.hatch)
    if hatch.closed_at is None:
        hatch.closed_at = instant(entry.at, flock.zone)

"""Bookings of groups of birds. Every bird that came in is alive, gone, or a counted difference."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from typing import Any

from quailwright.flock.booking.known import contradict, group_of, hatch_of, pay, place_of, refuse
from quailwright.flock.state import (
    CLASSES,
    Birds,
    Change,
    Death,
    Difference,
    Flock,
    Group,
    Weighing,
    Withholding,
)
from quailwright.journal import entries as kinds
from quailwright.journal.entries import Entry
from quailwright.journal.moments import instant
from quailwright.language import Said, later, mark


def _birds(entry: Any) -> Birds:
    return Birds(entry.chicks, entry.hens, entry.cocks)


def group(flock: Flock, entry: kinds.Group, day: date, forced: bool) -> None:
    coming = _birds(entry)
    hatched_on = entry.hatched_on
    group = flock.groups.get(entry.group)
    hatch = None if entry.hatch is None else hatch_of(flock, entry, entry.hatch)
    if group is not None and group.alive.total and group.place != entry.place:
        contradict(
            flock,
            entry,
            forced,
            "place",
            later("{group} lives at {place}.", group=group.name, place=group.place),
            later("Log birds_moved to move it, or give the new birds a name of their own."),
            "conflict",
        )
    if hatch is not None:
        if not coming.total:
            coming.chicks = max(0, hatch.to_house)
            if not coming.total:
                contradict(
                    flock,
                    entry,
                    forced,
                    "hatch",
                    later(
                        "no chicks of {hatch} wait to be housed at that time ({hatched} hatched).",
                        hatch=hatch.name,
                        hatched=hatch.hatched,
                    ),
                    later("Log chicks_hatched first, or mend the time."),
                )
        if coming.total > hatch.to_house:
            contradict(
                flock,
                entry,
                forced,
                "chicks",
                later(
                    "{birds} birds from {hatch}, but of {hatched} hatched {left} are not housed "
                    "yet.",
                    birds=coming.total,
                    hatch=hatch.name,
                    hatched=hatch.hatched,
                    left=hatch.to_house,
                ),
                later("Log chicks_hatched first, or mend the number."),
            )
        hatch.housed += coming.total
        hatch.housed_at = hatch.housed_at or instant(entry.at, flock.zone)
        if hatched_on is None and hatch.hatchings:
            hatched_on = hatch.hatchings[0][0].date()
    place_of(flock, entry.place)
    if group is None:
        group = flock.groups[entry.group] = Group(entry.group, entry.place)
    _settle_in(group, entry.place, day, hatched_on, hatched_on)
    group.alive.add(coming)
    group.came["in"] += coming.total
    group.changes.append(
        Change(
            day,
            "in",
            coming,
            hatched_on,
            hatched_on,
            hatch="" if hatch is None else hatch.name,
            source=entry.source or "",
        )
    )
    if hatch is not None and hatch.name not in group.hatches:
        group.hatches.append(hatch.name)
    if entry.cost is not None:
        pay(flock, day, -entry.cost, mark("birds"), entry="group", group=entry.group)


def _settle_in(
    group: Group, place: str, day: date, oldest: date | None, youngest: date | None
) -> None:
    """Makes ready for birds of these hatching days: an empty group starts afresh."""
    if not group.alive.total:
        group.since = group.placed = day
        group.oldest, group.youngest, group.sexed_on = oldest, youngest, None
        group.hatches = []
    else:
        group.oldest = _pick(min, group.oldest, oldest)
        group.youngest = _pick(max, group.youngest, youngest)
    if group.place != place:
        group.place, group.placed = place, day
    _lives(group, day)


def _lives(group: Group, day: date) -> None:
    """Notes where a group lives from this day on, if it did not live there before."""
    if not group.lived or group.lived[-1][1] != group.place:
        group.lived.append((day, group.place))


def _pick(
    choose: Callable[[date, date], date], one: date | None, other: date | None
) -> date | None:
    if one is None or other is None:
        return one or other
    return choose(one, other)


def birds_moved(flock: Flock, entry: kinds.BirdsMoved, day: date, forced: bool) -> None:
    group = group_of(flock, entry, entry.group)
    going = _birds(entry)
    if not going.total:
        going = group.alive.copy()
        if not going.total:
            contradict(
                flock,
                entry,
                forced,
                "group",
                later("{group} has no birds.", group=group.name),
                later("Mend the group's name."),
            )
    whole = going == group.alive
    target = group if whole and entry.to_group is None else None
    if target is None and entry.to_group in (None, group.name):
        if not whole:
            raise refuse(
                entry,
                "conflict",
                "to_group",
                later(
                    "{going} of {all} moved, so the group parts in two.",
                    going=going.told(),
                    all=group.alive.told(),
                ),
                later("Add to_group: the name of the group they join or become."),
            )
        target = group
    not_from_quarantine(flock, entry, group, day, forced, mark("moved"), entry.place)
    _must_have(flock, entry, group, going, forced, mark("moved"))
    place_of(flock, entry.place)
    if target is group:
        group.place, group.placed = entry.place, day
        _lives(group, day)
        return
    name = entry.to_group or ""
    target = flock.groups.get(name)
    if target is not None and target.alive.total and target.place != entry.place:
        contradict(
            flock,
            entry,
            forced,
            "place",
            later(
                "{group} lives at {place}, not at {other}.",
                group=target.name,
                place=target.place,
                other=entry.place,
            ),
            later("Mend place or to_group."),
            "conflict",
        )
    if target is None:
        target = flock.groups[name] = Group(name, entry.place)
    _book_missing(group, going, day)
    group.alive.take(going)
    group.gone["moved_out"] += going.total
    group.changes.append(Change(day, "moved_out", going.negative(), other=name))
    _settle_in(target, entry.place, day, group.oldest, group.youngest)
    target.alive.add(going)
    target.came["moved_in"] += going.total
    target.changes.append(
        Change(day, "moved_in", going, group.oldest, group.youngest, group.name, group.since)
    )
    target.sexed_on = target.sexed_on or group.sexed_on
    target.hatches.extend(name for name in group.hatches if name not in target.hatches)
    _withholding_follows(flock, group, target, day)
    if whole:
        for bird in flock.birds.values():
            if bird.group == group.name and bird.left is None:
                bird.group = target.name


def _withholding_follows(flock: Flock, group: Group, target: Group, day: date) -> None:
    """Birds under a withholding carry it into the group that they join."""
    known = {_of(held) for held in flock.withholdings if held.group == target.name}
    for held in list(flock.withholdings):
        last = max(held.eggs_until or date.max, held.meat_until or date.max)
        if held.group == group.name and last >= day and _of(held) not in known:
            known.add(_of(held))
            flock.withholdings.append(
                replace(held, group=target.name, since=day, treated=held.given_to)
            )


def _of(held: Withholding) -> tuple[str, str, date | None, date | None]:
    return (held.given_to, held.product, held.eggs_until, held.meat_until)


def not_from_quarantine(
    flock: Flock, entry: Entry, group: Group, day: date, forced: bool, verb: str, to_place: str = ""
) -> None:
    until = place_of(flock, group.place).quarantined_until
    if until is not None and day <= until and to_place != group.place:
        contradict(
            flock,
            entry,
            forced,
            "group",
            later(
                "{place} is in quarantine until {until}, so {group} is not to be {done}.",
                place=group.place,
                until=until,
                group=group.name,
                done=later(verb),
            ),
            later("Wait until the day after, or end the quarantine with a new entry."),
            "withheld",
        )


def _must_have(
    flock: Flock, entry: Entry, group: Group, birds: Birds, forced: bool, verb: str
) -> None:
    lacking = group.alive.lacks(birds)
    if lacking.total:
        contradict(
            flock,
            entry,
            forced,
            next(name for name in CLASSES if getattr(lacking, name)),
            later(
                "{birds} {done}, but {group} has {alive}.",
                birds=birds.told(),
                done=later(verb),
                group=group.name,
                alive=group.alive.told(),
            ),
            later("Mend the number, or log birds_counted to set the record right."),
        )


def _book_missing(group: Group, birds: Birds, day: date) -> None:
    """Books birds that the record lacks as found, so that every bird stays accounted for."""
    lacking = group.alive.lacks(birds)
    if lacking.total:
        group.alive.add(lacking)
        group.came["found"] += lacking.total
        group.changes.append(Change(day, "found", lacking))


def leave(
    flock: Flock, entry: Entry, group: Group, birds: Birds, day: date, forced: bool, reason: str
) -> None:
    _must_have(flock, entry, group, birds, forced, reason)
    _book_missing(group, birds, day)
    group.alive.take(birds)
    group.gone[reason] += birds.total
    group.changes.append(Change(day, reason, birds.negative()))


def birds_died(flock: Flock, entry: kinds.BirdsDied, day: date, forced: bool) -> None:
    group = group_of(flock, entry, entry.group)
    birds = _birds(entry)
    leave(flock, entry, group, birds, day, forced, "died")
    group.deaths.append(Death(day, birds, entry.found, entry.together))


def birds_processed(flock: Flock, entry: kinds.BirdsProcessed, day: date, forced: bool) -> None:
    group = group_of(flock, entry, entry.group)
    not_withheld(flock, entry, group, day, forced)
    leave(flock, entry, group, _birds(entry), day, forced, "processed")


def not_withheld(flock: Flock, entry: Entry, group: Group, day: date, forced: bool) -> None:
    held = flock.meat_withheld_on(group.name, day)
    if held is not None:
        contradict(
            flock,
            entry,
            forced,
            "group",
            _meat_held(group.name, held),
            later("Wait until the day after; ask the vet who directed it when in doubt.")
            if held.meat_until
            else NO_DATE,
            "withheld",
        )


NO_DATE = later(
    "No date is no permission: ask the vet or read the label, then log treated again, of the same "
    "group and product, with the date."
)


def _meat_held(group: str, held: Withholding) -> Said:
    if held.meat_until is None:
        return later(
            "meat of {group} is withheld: {treated} was treated with {product} on {day}, and "
            "nobody has told until when meat is withheld.",
            group=group,
            treated=held.given_to,
            product=held.product,
            day=held.since,
        )
    return later(
        "meat of {group} is withheld until {until} (treated with {product}).",
        group=group,
        until=held.meat_until,
        product=held.product,
    )


def not_withheld_live(
    flock: Flock, entry: Entry, group: Group, day: date, forced: bool, verb: str
) -> None:
    """Birds that leave alive take the withholding with them: who gets them must be told."""
    meat = flock.meat_withheld_on(group.name, day)
    eggs = flock.withheld_on(group.name, day)
    held = meat or eggs
    if held is None:
        return
    last = [each for each in (meat and meat.meat_until, eggs and eggs.eggs_until) if each]
    unknown = (meat and meat.meat_until is None) or (eggs and eggs.eggs_until is None)
    parts = {"group": group.name, "product": held.product, "done": later(verb)}
    contradict(
        flock,
        entry,
        forced,
        "group",
        later(
            "{group} was treated with {product}, and nobody has told until when its eggs and meat "
            "are withheld: it is not to be {done}.",
            **parts,
        )
        if unknown
        else later(
            "{group} was treated with {product}: its eggs or meat are withheld until {until}, and "
            "it is not to be {done} before.",
            until=max(last),
            **parts,
        ),
        NO_DATE
        if unknown
        else later(
            "Wait until the day after. Or ask the vet whether they may go, tell who gets them the "
            "date in writing, and log it with force."
        ),
        "withheld",
    )


def birds_out(flock: Flock, entry: kinds.BirdsOut, day: date, forced: bool) -> None:
    group = group_of(flock, entry, entry.group)
    if entry.use != "lost":
        not_from_quarantine(flock, entry, group, day, forced, entry.use)
        not_withheld_live(flock, entry, group, day, forced, entry.use)
    leave(flock, entry, group, _birds(entry), day, forced, entry.use)
    pay(flock, day, entry.income, mark("birds sold"))


def birds_sexed(flock: Flock, entry: kinds.BirdsSexed, day: date, forced: bool) -> None:
    group = group_of(flock, entry, entry.group)
    chicks = Birds(chicks=entry.hens + entry.cocks)
    _must_have(flock, entry, group, chicks, forced, mark("sexed"))
    _book_missing(group, chicks, day)
    group.alive.take(chicks)
    group.alive.add(Birds(hens=entry.hens, cocks=entry.cocks))
    group.changes.append(
        Change(day, "sexed", Birds(-chicks.chicks, entry.hens, entry.cocks)),
    )
    group.sexed_on = day


def birds_counted(flock: Flock, entry: kinds.BirdsCounted, day: date, forced: bool) -> None:
    group = group_of(flock, entry, entry.group)
    found = Birds()
    for name in CLASSES:
        counted = getattr(entry, name)
        recorded = getattr(group.alive, name)
        if counted is None:
            continue
        if counted != recorded:
            flock.differences.append(Difference(day, group.name, name, recorded, counted, entry.id))
            group.came["found"] += counted - recorded
            setattr(group.alive, name, counted)
            setattr(found, name, counted - recorded)
    if found != Birds():
        group.changes.append(Change(day, "found", found))
    group.counted_on = day


def birds_weighed(flock: Flock, entry: kinds.BirdsWeighed, day: date, forced: bool) -> None:
    group = group_of(flock, entry, entry.group)
    group.weighed_on = day
    grams = entry.weights_g or ()
    birds = len(grams) or entry.birds or 0
    if birds:
        total_g = sum(grams) if grams else entry.total_g or 0.0
        group.weighings.append(Weighing(day, birds, total_g / birds, entry.sex))


def treated(flock: Flock, entry: kinds.Treated, day: date, forced: bool) -> None:
    """Withholds from this day on, and tells dates that an earlier entry of it left open.

    What another entry withholds stays withheld: none is ever made shorter.
    """
    group = group_of(flock, entry, entry.group)
    eggs, meat = entry.eggs_withheld_until, entry.meat_withheld_until
    known = any(
        held.given_to == group.name and held.product == entry.product for held in flock.withholdings
    )
    if not group.alive.total and not known:
        contradict(
            flock,
            entry,
            forced,
            "group",
            later(
                "{group} has no birds at that time, so nothing would be withheld.", group=group.name
            ),
            later("Log it of the group in which the treated birds are now."),
        )
    for n, held in enumerate(flock.withholdings):
        if held.given_to == group.name and held.product == entry.product:
            if held.since == day and held.group == group.name:
                eggs, meat = eggs or held.eggs_until, meat or held.meat_until
            flock.withholdings[n] = replace(
                held, eggs_until=held.eggs_until or eggs, meat_until=held.meat_until or meat
            )
    flock.withholdings.append(
        Withholding(group.name, entry.product, day, eggs, meat, entry=entry.id)
    )

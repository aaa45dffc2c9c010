"""What holds eggs back: a medicine, a quarantine, or the time that eggs are kept. Pure.

A medicine holds them from being eaten, sold and given; a quarantine and their age from being sold
and given, as what is eaten at home is the keeper's choice. Thrown out they may always be.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Literal

from quailwright.flock.state import Box, EggLot, Flock, Withholding
from quailwright.journal import entries as kinds
from quailwright.language import Said, later

_DAY = timedelta(days=1)
Why = Literal["treated", "quarantine", "age"]


@dataclass(frozen=True, slots=True)
class Hold:
    """Why eggs of a lot are held.

    Attributes:
        why: treated, quarantine or age.
        laid, group, eggs: the lot, and how many of its eggs are meant.
        until: treated: the last day of lay that is withheld (None: nobody has told it);
            quarantine: its last day; age: the last day on which the eggs were to be sold.
        free: treated: the first day of lay from which eggs may be sold again (None: unknown);
            quarantine: the first day on which these may be sold; age: None, never again.
        by: the product, the place in quarantine, or who said how long eggs keep.
        treated, since: the group that was treated, and when; or when the quarantine began.
        box: the box that they are in, which they hold whole.
    """

    why: Why
    laid: date
    group: str
    eggs: int
    until: date | None
    free: date | None
    by: str
    treated: str
    since: date
    box: str = ""

    @property
    def reason(self) -> tuple[str, str, date | None, str, str]:
        """What lots that are held by one and the same thing share."""
        return (self.why, self.group, self.until, self.by, self.treated)


def is_held(flock: Flock, lot: EggLot, on: date, use: kinds.EggsUse) -> bool:
    """Whether anything keeps eggs of this lot from that use on the day `on`."""
    if use == "discarded":
        return False
    if flock.withholdings and flock.withheld_on(lot.group, lot.laid) is not None:
        return True
    if use == "eaten":
        return False
    if flock.quarantines and flock.quarantine_of(lot, on) is not None:
        return True
    if not flock.egg_rules:
        return False
    last = sell_by(flock, lot.laid)
    return last is not None and on > last


def hold_of(
    flock: Flock, lot: EggLot, on: date, use: kinds.EggsUse, eggs: int | None = None
) -> Hold | None:
    """What keeps eggs of this lot from that use on the day `on`, or None."""
    if not is_held(flock, lot, on, use):
        return None
    eggs = lot.on_hand if eggs is None else eggs
    held = flock.withheld_on(lot.group, lot.laid) if flock.withholdings else None
    if held is not None:
        return Hold(
            "treated",
            lot.laid,
            lot.group,
            eggs,
            held.eggs_until,
            free_from(flock, lot.group, held),
            held.product,
            held.given_to,
            held.since,
        )
    apart = flock.quarantine_of(lot, on) if flock.quarantines else None
    if apart is not None:
        free = apart.until + _DAY
        return Hold(
            "quarantine", lot.laid, lot.group, eggs, apart.until, free, apart.place, "", apart.since
        )
    last = sell_by(flock, lot.laid)
    rule = flock.egg_rule
    if rule is not None and last is not None and on > last:
        return Hold("age", lot.laid, lot.group, eggs, last, None, rule.said_by, "", lot.laid)
    return None


def sell_by(flock: Flock, laid: date) -> date | None:
    """The last day on which eggs laid then may be kept by the keeper's rule; None without one."""
    rule = flock.egg_rule
    return None if rule is None else laid + timedelta(days=int(rule.keeps_days))


def free_from(flock: Flock, group: str, held: Withholding) -> date | None:
    """The first day of lay, after what withholds them, from which a group's eggs are free.

    None while the end of any withholding on the way is not told.
    """
    while held.eggs_until is not None:
        day = held.eggs_until + _DAY
        following = flock.withheld_on(group, day)
        if following is None:
            return day
        held = following
    return None


def box_holds(flock: Flock, box: Box, on: date, use: kinds.EggsUse) -> list[Hold]:
    """What keeps a box from that use: any lot packed into it that is held, as eggs are mixed.

    A lot of which no egg should be left may still be in it; only its age is not held against it.
    """
    holds = (
        (key in box.lots, hold_of(flock, flock.lots[key], on, use, box.lots.get(key, packed)))
        for key, packed in sorted(box.packed.items())
    )
    return [
        replace(hold, box=box.name)
        for inside, hold in holds
        if hold is not None and (inside or hold.why != "age")
    ]


def lots_told(holds: Iterable[Hold]) -> str:
    """`10 of layers laid 2027-05-03, 4 of layers laid 2027-05-04`, every lot, to be said later."""
    return _joined(
        [
            later(
                "{eggs} of {group} laid {day} in box {box}",
                eggs=h.eggs,
                group=h.group,
                day=h.laid,
                box=h.box,
            )
            if h.box
            else later("{eggs} of {group} laid {day}", eggs=h.eggs, group=h.group, day=h.laid)
            for h in holds
        ],
        later("no eggs"),
    )


def reasons_told(flock: Flock, holds: Sequence[Hold]) -> str:
    """A sentence for each thing that holds these lots, to be said later."""
    by_reason: defaultdict[object, list[Hold]] = defaultdict(list)
    for hold in holds:
        by_reason[hold.reason if hold.why != "age" else "age"].append(hold)
    return _after_another([_reason(flock, alike[0]) for alike in by_reason.values()])


def _after_another(sentences: Sequence[Said]) -> Said:
    if len(sentences) == 1:
        return sentences[0]
    half = len(sentences) // 2
    return later(
        "{first} {rest}",
        first=_after_another(sentences[:half]),
        rest=_after_another(sentences[half:]),
    )


def _reason(flock: Flock, hold: Hold) -> Said:
    if hold.why == "quarantine":
        return later(
            "{place} is in quarantine until {until}: eggs laid there may be sold or given from "
            "{free} on.",
            place=hold.by,
            until=hold.until,
            free=hold.free,
        )
    if hold.why == "age":
        rule = flock.egg_rule
        return later(
            "They are past the {days:g} days that eggs may be kept, as {who} said on {day}.",
            days=rule.keeps_days if rule is not None else 0,
            who=hold.by,
            day=rule.checked_on if rule is not None else hold.laid,
        )
    parts = {"treated": hold.treated, "product": hold.by, "group": hold.group}
    if hold.until is None:
        return later(
            "{treated} was treated with {product}, and nobody has told until when eggs of {group} "
            "are withheld. No date told: ask the vet or read the label, then log treated again "
            "with the date.",
            **parts,
        )
    if hold.free is None:
        return later(
            "{treated} was treated with {product}, eggs withheld until {until}. From when on eggs "
            "of {group} may be sold again nobody has told: ask the vet or read the label.",
            until=hold.until,
            **parts,
        )
    return later(
        "{treated} was treated with {product}, eggs withheld until {until}. Eggs of {group} laid "
        "from {free} on may be sold again.",
        until=hold.until,
        free=hold.free,
        **parts,
    )


def _joined(parts: Sequence[Said], nothing: Said) -> Said:
    """`a, b, c`: halves of halves, as each text within a text takes room on the stack."""
    if len(parts) < 2:
        return parts[0] if parts else nothing
    half = len(parts) // 2
    return later(
        "{first}, {rest}",
        first=_joined(parts[:half], nothing),
        rest=_joined(parts[half:], nothing),
    )

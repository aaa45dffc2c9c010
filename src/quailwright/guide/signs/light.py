"""A lamp whose told times give less light than is aimed for."""

from collections.abc import Iterator
from datetime import date, timedelta

from quailwright.flock.state import Flock
from quailwright.guide.occasions import lamp_told, may_lay
from quailwright.guide.signs.sign import Sign
from quailwright.husbandry import facts
from quailwright.journal.moments import as_date, day_text
from quailwright.language import mark, say

_LOOKED_BACK = 60
"""Days back within which the beginning is looked for."""
_STEPPING = timedelta(days=7)
"""So long a time just told may be a step on the way up."""


def signs_of_light(flock: Flock, on: date) -> Iterator[Sign]:
    """The lamp's told times fall short of the hours aimed for, while hens may lay.

    A flock that rests by the keeper's choice is left in peace, and so is a lamp that is being
    stepped up: times told within the last week.
    """
    holding, told = flock.holding, lamp_told(flock)
    if holding is None or told is None or holding.rests_in_winter:
        return
    changed = as_date(day_text(holding.at, flock.zone))
    layers = [group for group in flock.groups_alive() if may_lay(group, on)]
    if not layers or on - changed < _STEPPING:
        return
    from quailwright.guide.light import lamp_light_h  # loads numpy, only where a lamp is told

    first = on - timedelta(days=_LOOKED_BACK)
    found = lamp_light_h(flock, first, _LOOKED_BACK + 1)
    if found is None:
        return
    natural, lit = found
    aimed = holding.light_target_h
    wanted = facts.value("laying.light_full_h") if aimed is None else aimed
    enough = lit >= wanted - facts.value("laying.lamp_timer_notch_h")
    if enough[-1]:
        return
    short = _LOOKED_BACK
    while short > 0 and not enough[short - 1]:
        short -= 1
    since = max(changed, first + timedelta(days=short))
    figures = {
        "on": told[0], "off": told[1], "lit": float(lit[-1]), "day": float(natural[-1]),
        "wanted": wanted,
    }  # fmt: skip
    yield Sign(
        mark("lamp times fall short"),
        say("lamp"),
        since,
        say(
            "With the lamp from {on} to {off} the day is {lit:.1f} h long ({day:.1f} h without "
            "it); full lay needs {wanted:g} h.",
            **figures,
        )
        if aimed is None
        else say(
            "With the lamp from {on} to {off} the day is {lit:.1f} h long ({day:.1f} h without "
            "it); you aim for {wanted:g} h.",
            **figures,
        ),
        say("Is the timer's clock right, and does the lamp burn? Then set it by the light page."),
        (
            say("Lengthen by an hour a week at most, and write the new times down."),
            say("Or let the hens rest: say so in the settings, and this is not told again."),
        ),
    )

"""Signs of a hatch under way: eggs that dry too fast or too slowly, and a machine too hot or cold.

The whole reckoning, with what to set, is the hatch's own page; these only say that it is time to
look there.
"""

from collections.abc import Iterator, Sequence
from datetime import date, timedelta

from quailwright.flock.state import AirSeen, Flock, Hatch
from quailwright.guide import wording
from quailwright.guide.occasions import elapsed, ends
from quailwright.guide.signs.sign import Sign
from quailwright.husbandry import facts
from quailwright.journal.entries import Units
from quailwright.language import mark, say

_DAY = timedelta(days=1)
_TOLD_FOR = timedelta(days=2)
_SECONDS_A_DAY = 86_400.0


def signs_of_hatches(flock: Flock, on: date, air: Sequence[AirSeen] = ()) -> Iterator[Sign]:
    """What looks wrong with hatches under way on the day `on`; `air` as for `signs`."""
    for hatch in flock.hatches_open():
        if hatch.alive <= 0 or on > ends(hatch).date():
            continue
        if hatch.turning_stopped_at is None:
            yield from _of_weight(hatch)
        yield from _of_warmth(flock, hatch, on, air)


def _of_weight(hatch: Hatch) -> Iterator[Sign]:
    """The line through the first and the last weighing, drawn on to the stop of turning."""
    if len(hatch.weighed) < 2:
        return
    (first_at, first_eggs, first_g), (last_at, last_eggs, last_g) = (
        hatch.weighed[0],
        hatch.weighed[-1],
    )
    days = (last_at - first_at).total_seconds() / _SECONDS_A_DAY
    if days < facts.value("signs.hatch_weighed_after_d"):
        return
    lost_pct = 100.0 * (1.0 - (last_g / last_eggs) / (first_g / first_eggs))
    stop = facts.value("incubation.turning_stop_day")
    at_stop_pct = lost_pct / days * stop
    low, high = (facts.value(f"incubation.weight_loss_{end}") for end in ("low", "high"))
    spare = facts.value("signs.hatch_loss_spare_pct")
    if low - spare <= at_stop_pct <= high + spare:
        return
    wet = at_stop_pct < low
    yield Sign(
        mark("eggs dry too slowly") if wet else mark("eggs dry too fast"),
        hatch.name,
        last_at.date(),
        say(
            "Lost {lost:.1f} % in {days:.0f} days; at that rate {end:.0f} % by the stop of "
            "turning, where {low:g} to {high:g} % hatch best.",
            lost=lost_pct,
            days=days,
            end=at_stop_pct,
            low=low,
            high=high,
        ),
        say(
            "The humidity of {place}: less water, more air. The hatch's own page says what to set.",
            place=hatch.place,
        )
        if wet
        else say(
            "The humidity of {place}: more water. The hatch's own page says what to set.",
            place=hatch.place,
        ),
        (
            say("The hygrometer: hold it against a second one, or the salt test at 75 %."),
            say("Weigh once more, without the tray, the same eggs."),
        ),
    )


def _of_warmth(flock: Flock, hatch: Hatch, on: date, air: Sequence[AirSeen]) -> Iterator[Sign]:
    """The last look at a thermometer that keeps the lowest and highest, of the last two days."""
    since = elapsed(hatch.set_at, 0.0)
    looks = [
        seen
        for seen in (*flock.air, *air)
        if seen.place == hatch.place
        and seen.spot != "room"
        and seen.at >= since
        and timedelta(0) <= on - seen.at.date() < _TOLD_FOR
    ]
    cold, hot = (
        facts.value("incubation.temperature_harm_low"),
        facts.value("incubation.temperature_harm_high"),
    )
    lows = [(seen.lowest_c, seen.at.date()) for seen in looks if seen.lowest_c is not None]
    highs = [(seen.highest_c, seen.at.date()) for seen in looks if seen.highest_c is not None]
    usual = facts.value("incubation.temperature")
    if lows and min(lows)[0] < cold:
        degrees, day = min(lows)
        yield _warmth(mark("machine too cold"), hatch, day, degrees, usual, flock.units)
    if highs and max(highs)[0] > hot:
        degrees, day = max(highs)
        yield _warmth(mark("machine too hot"), hatch, day, degrees, usual, flock.units)


def _warmth(
    name: str, hatch: Hatch, day: date, degrees_c: float, usual_c: float, units: Units
) -> Sign:
    return Sign(
        name,
        hatch.place,
        day,
        say(
            "{degrees} in {place}, with {hatch} inside; {usual} is wanted at egg height.",
            degrees=wording.heat(degrees_c, units),
            place=hatch.place,
            hatch=hatch.name,
            usual=wording.heat(usual_c, units),
        ),
        say("Hold a second thermometer at egg height now, before you turn any knob."),
        (
            say("Plug, socket, fuse; lid and vents; sun or draught on the machine."),
            say("Log an outage with how long and how cold: the hatch's page says what it costs."),
            say("Throw nothing out: candle some days later before you judge."),
        ),
    )

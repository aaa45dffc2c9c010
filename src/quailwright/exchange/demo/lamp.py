"""The lamp of the demo: its timer set by what `quailwright light` reckons, and looked at weekly."""

from bisect import bisect_right
from datetime import date, datetime, time, timedelta

from quailwright.exchange.demo import scenario
from quailwright.exchange.demo.chores import tick_when_due
from quailwright.exchange.demo.world import World
from quailwright.husbandry import facts
from quailwright.husbandry.daylight import sun_halves
from quailwright.husbandry.lamp import Setting, lamp_settings
from quailwright.journal import entries as kinds
from quailwright.journal.moments import zone


def planned(first_day: date, days: int) -> list[Setting]:
    """How the timer stands from the first day on; before it the birds had the light aimed for."""
    sun = sun_halves(scenario.LATITUDE_DEG, scenario.LONGITUDE_DEG, first_day, days)
    return lamp_settings(sun, scenario.LIGHT_TARGET_H, scenario.LIGHT_TARGET_H, "morning")


def mind(world: World) -> None:
    """New times told when they change, also by the clocks' doing, and the weekly look."""
    if not world.writes_today:
        return
    times = _times(world)
    if times != world.lamp:
        world.diary.write(kinds.Holding, lamp_on=times[0], lamp_off=times[1])
        world.lamp = times
    if times[0] != times[1]:
        tick_when_due(world, "timer_check", None, 0, facts.value("care.timer_check_interval_d"))


def _times(world: World) -> tuple[str, str]:
    """On and off by the clock of the day; the same twice where no lamp burns."""
    day = scenario.FIRST_DAY - world.days_before
    lamp = world.timer[bisect_right(world.timer, day, key=lambda one: one.first) - 1].lamp
    if not lamp:
        return ("00:00", "00:00")
    noon = datetime.combine(world.day, time(12), tzinfo=zone(scenario.ZONE))
    ahead_h = (noon.utcoffset() or timedelta(0)) / timedelta(hours=1)
    on, off = (_clock(hours + ahead_h) for hours in lamp[0])
    return on, off


def _clock(hours: float) -> str:
    whole, minutes = divmod(round(hours * 60), 60)
    return f"{whole:02d}:{minutes:02d}"

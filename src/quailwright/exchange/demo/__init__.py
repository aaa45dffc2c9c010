"""An invented holding to look around in: its journal of about 14 months, made from a seed.

The story (who, where, when, how many) is in `scenario` and is made up; how the birds hatch, grow,
eat, lay and die comes from `quailwright.husbandry`. Every note in it says that it is invented.
"""

from datetime import date, datetime, time, timedelta

from numpy.random import Generator

from quailwright.exchange.demo import (
    breeders,
    chores,
    events,
    hatching,
    kitchen,
    lamp,
    scenario,
    sensors,
)
from quailwright.exchange.demo.diary import Diary, in_order, invented_ids
from quailwright.exchange.demo.sensors import Shown
from quailwright.exchange.demo.world import World
from quailwright.journal.entries import Entry
from quailwright.journal.moments import zone

__all__ = ["Shown", "invented", "invented_entries", "invented_ids"]


def invented_entries(on: date, rng: Generator) -> list[Entry]:
    """The journal of the demo, up to the evening before `on`: its round is still to be done.

    Args:
        on: the day of the demo, from 1972 on.
        rng: random numbers; the same seed and date give the same entries, ids too.

    Returns:
        Entries in the order in which they fold, with no contradiction among them.
    """
    return invented(on, rng)[0]


def invented(
    on: date, rng: Generator, until: datetime | None = None
) -> tuple[list[Entry], list[Shown]]:
    """The same, and what its sensors showed up to `until`, or to the end of the day `on`."""
    first_day = on - timedelta(days=scenario.FIRST_DAY)
    diary = Diary(scenario.ZONE, invented_ids(on, rng))
    (ring_rng,) = rng.spawn(1)
    ring_book = Diary(scenario.ZONE, invented_ids(on, ring_rng))
    world = World(on, first_day, rng, diary, ring_rng, ring_book, *events.weather_days(on))
    world.timer = lamp.planned(first_day, scenario.FIRST_DAY)
    while world.day < on:
        _live_a_day(world)
        world.day += timedelta(days=1)
    (sensor_rng,) = rng.spawn(1)
    midnight = datetime.combine(on + timedelta(days=1), time(), tzinfo=zone(scenario.ZONE))
    return in_order(diary, ring_book), sensors.shown(world, until or midnight, sensor_rng)


def _live_a_day(world: World) -> None:
    diary = world.diary
    diary.turn_to(world.day)
    breeders.open_book(world)
    world.writes_today, world.from_calendar = _record_kept(world)

    diary.by = world.someone()
    diary.not_before("07:00")
    if world.days_before == scenario.FIRST_DAY:
        events.begin(world)
    lamp.mind(world)
    chores.bury_the_dead(world)
    hatching.machine_care(world, "morning")
    hatching.morning(world)
    chores.brooder_care(world, "morning")
    chores.pen_care(world)

    diary.by = world.someone()
    diary.not_before("13:30")
    hatching.machine_care(world, "midday")
    chores.brooder_care(world, "midday")
    hatching.clean_up(world)
    events.of_the_day(world)
    breeders.of_the_day(world)
    hatching.receive_eggs(world)
    chores.buy_feed(world)

    diary.by = world.someone()
    diary.not_before("18:00")
    chores.give_feed(world)
    chores.fill_water(world)
    kitchen.collect_eggs(world)
    kitchen.take_orders(world)
    kitchen.use_eggs(world)
    hatching.evening(world)
    diary.not_before("21:30")
    hatching.machine_care(world, "evening")
    chores.brooder_care(world, "evening")


def _record_kept(world: World) -> tuple[bool, bool]:
    """Whether the round is written down on this day, and whether its eggs come from the wall.

    On holidays, and on some other days, nothing is written; hatches, moves and deaths always are.
    """
    ago = world.days_before
    if any(last <= ago <= first for first, last in scenario.HOLIDAYS):
        return False, False
    drawn = world.rng.random()
    if ago <= scenario.NO_GAPS_FOR_LAST or ago in (scenario.TYPING_MISTAKE, scenario.FIRST_DAY):
        return True, False
    if drawn < scenario.NO_RECORD_DAY:
        return False, False
    from_calendar = drawn < scenario.NO_RECORD_DAY + scenario.WALL_CALENDAR_DAY
    return not from_calendar, from_calendar

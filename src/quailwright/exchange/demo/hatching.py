"""The hatches of the demo day by day: set, weighed, candled, moved, counted, opened and closed."""

from collections.abc import Iterator
from itertools import takewhile

from quailwright.exchange.demo import hatch as eggs
from quailwright.exchange.demo import scenario
from quailwright.exchange.demo.birds import Group
from quailwright.exchange.demo.chores import tick
from quailwright.exchange.demo.hatch import Hatch
from quailwright.exchange.demo.world import World
from quailwright.husbandry import facts
from quailwright.husbandry.incubation import HOURS_A_DAY
from quailwright.journal import entries as kinds

MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
MORNING_HOUR, EVENING_HOUR = 7, 20


def receive_eggs(world: World) -> None:
    """Eggs for a hatch arrive, and rest a day or (posted) two before they are set."""
    for setting in scenario.SETTINGS:
        if setting.source is None:
            continue
        by_post = setting.posted
        rest_h = facts.value("incubation.rest_posted_h" if by_post else "incubation.rest_h")
        if world.days_before != setting.days_before + rest_h / HOURS_A_DAY:
            continue
        broken = scenario.BROKEN_OF_POSTED if by_post else scenario.BROKEN_OF_FETCHED
        came = setting.eggs + broken
        world.diary.write(
            kinds.EggsReceived,
            source=setting.source,
            eggs=came,
            broken=broken,
            cost=round(came * scenario.PRICE_PER_EGG[setting.source], 2),
            laid_from=world.days_ago(facts.value("incubation.storage_best_days")),
            laid_to=world.days_ago(2 if by_post else 0),
            note=scenario.NOTES["bad"] if by_post else "",
        )


def open_hatches(world: World) -> Iterator[tuple[Hatch, int]]:
    """Hatches that are not closed, each with its day (0 is the day of setting)."""
    for hatch in world.hatches:
        if not hatch.closed:
            yield hatch, (world.day - hatch.set_on).days


def machine_care(world: World, time_of_day: str) -> None:
    """Turning by hand three times a day, and in the morning and evening a look at the machine."""
    in_machine: dict[str, int] = {}
    for hatch, _ in open_hatches(world):
        in_machine[hatch.place] = in_machine.get(hatch.place, 0) + hatch.eggs_in
    to_turn = sum(hatch.eggs_in for hatch, _ in open_hatches(world) if hatch.turned)
    if to_turn:
        tick(world, "turn_eggs", scenario.INCUBATOR, to_turn)
    if time_of_day == "midday":
        return
    for place, held in in_machine.items():
        tick(world, "machine_check", place, held)
        if time_of_day == "morning":
            tick(world, "top_up_water", place, held)


def morning(world: World) -> None:
    """The morning look for chicks, and chicks that are ready carried to the brooder."""
    for hatch, day in open_hatches(world):
        _count_chicks(world, hatch, day, MORNING_HOUR)
        _carry_to_brooder(world, hatch, day, MORNING_HOUR)


def clean_up(world: World) -> None:
    """The hatcher cleaned on the day after a hatch was closed; the last time it is put off."""
    open_d = facts.value("incubation.open_unhatched_day")
    for hatch in world.hatches:
        done = (world.day - hatch.set_on).days == open_d + 1
        if done and world.days_before > scenario.CLEANING_PUT_OFF:
            tick(world, "clean_machine", hatch.place, 0)


def evening(world: World) -> None:
    """The evening's step of every hatch, and eggs set if this is the day for it."""
    for setting in scenario.SETTINGS:
        if setting.days_before == world.days_before:
            _set_eggs(world, setting)
    world.diary.not_before(f"{EVENING_HOUR}:00")
    for hatch, day in open_hatches(world):
        if day in _days("incubation.weighing_day_", (1, 2, 3, 4)):
            _weigh(world, hatch, day)
        if day in _candling_days(hatch):
            clear, dead = eggs.candle(hatch, day, world.rng)
            world.diary.write(kinds.EggsCandled, hatch=hatch.name, clear=clear, dead=dead)
        if day == facts.value("incubation.turning_stop_day"):
            hatch.place, hatch.turned = scenario.HATCHER, False
            world.diary.write(kinds.TurningStopped, hatch=hatch.name, place=hatch.place)
        _count_chicks(world, hatch, day, EVENING_HOUR)
        _carry_to_brooder(world, hatch, day, EVENING_HOUR)
        if day == facts.value("incubation.open_unhatched_day"):
            _open_and_close(world, hatch)


def days_saving(world: World) -> Iterator[int]:
    """For each hatch for which our own eggs are being saved today: the days saved so far."""
    save_d = int(facts.value("incubation.storage_best_days"))
    for setting in scenario.SETTINGS:
        saved_d = save_d - (world.days_before - setting.days_before)
        if setting.laid_by is not None and 0 <= saved_d <= save_d:
            yield saved_d


def _days(prefix: str, names: tuple[object, ...]) -> set[float]:
    return {facts.value(f"{prefix}{name}") for name in names}


def _candling_days(hatch: Hatch) -> set[float]:
    """The posted eggs are left alone until they are laid down."""
    return _days("incubation.candling_day_", ("second",) if hatch.posted else ("first", "second"))


def _set_eggs(world: World, setting: scenario.Setting) -> None:
    name = f"{MONTHS[world.day.month - 1]}-{world.day.day}"
    count = setting.eggs
    whose: dict[str, object] = {"source": setting.source}
    if setting.laid_by is not None:
        since = world.days_ago(facts.value("incubation.storage_best_days"))
        count = min(count, world.eggs.on_hand(setting.laid_by, since))
        laid_from, laid_to = world.eggs.take_freshest(count, setting.laid_by, since)
        whose = {"group": setting.laid_by, "laid_from": laid_from, "laid_to": laid_to}
    hatch = eggs.start(name, setting, world.day, count, world.rng)
    world.hatches.append(hatch)
    world.diary.not_before(setting.time)
    world.diary.write(
        kinds.EggsSet,
        hatch=name,
        eggs=count,
        place=hatch.place,
        mean_egg_g=hatch.mean_egg_g,
        storage_c=facts.value("incubation.storage_temperature"),
        **whose,
    )


def _weigh(world: World, hatch: Hatch, day: int) -> None:
    left_share = 1.0 - hatch.loss_pct_per_day / 100.0 * day
    total_g = hatch.eggs_in * hatch.mean_egg_g * left_share
    reading_g = round(float(world.rng.normal(total_g, scenario.SCALE_SPREAD_G)), 1)
    world.diary.write(kinds.EggsWeighed, hatch=hatch.name, eggs=hatch.eggs_in, total_g=reading_g)


def _count_chicks(world: World, hatch: Hatch, day: int, hour: int) -> None:
    hours = _hours_since_set(hatch, day, hour)
    out = len(list(takewhile(lambda hatched_h: hatched_h <= hours, hatch.chick_hours)))
    if out == hatch.hatched:
        return
    world.diary.write(kinds.ChicksHatched, hatch=hatch.name, chicks=out - hatch.hatched)
    hatch.hatched = out
    if hatch.first_seen_h is None:
        hatch.first_seen_h = hours
        world.groups[hatch.brood] = Group(hatch.brood, scenario.BROODER, world.day)


def _hours_since_set(hatch: Hatch, day: int, hour: int) -> float:
    return day * HOURS_A_DAY + hour - int(hatch.setting.time[:2])


def _carry_to_brooder(world: World, hatch: Hatch, day: int, hour: int) -> None:
    """Dry chicks go to the brooder about a day after the first hatched, late ones as they come."""
    ready = hatch.hatched - hatch.housed
    if not ready or hatch.first_seen_h is None:
        return
    waited_h = _hours_since_set(hatch, day, hour) - hatch.first_seen_h
    if waited_h < facts.value("incubation.dry_chick_move_h"):
        return
    world.diary.write(
        kinds.Group, group=hatch.brood, place=scenario.BROODER, hatch=hatch.name, chicks=ready
    )
    world.groups[hatch.brood].chicks += ready
    hatch.housed = hatch.hatched


def _open_and_close(world: World, hatch: Hatch) -> None:
    found = eggs.opened(hatch, world.rng)
    if found:
        world.diary.write(kinds.EggsOpened, hatch=hatch.name, **found)
    note = scenario.NOTES["bad"] if hatch.posted else ""
    world.diary.write(kinds.HatchClosed, hatch=hatch.name, note=note)
    hatch.closed = True


def broods(world: World) -> Iterator[tuple[Hatch, Group]]:
    """Broods that are still in the brooder, each with its hatch."""
    for hatch in world.hatches:
        brood = world.groups.get(hatch.brood)
        if brood is not None and brood.total:
            yield hatch, brood

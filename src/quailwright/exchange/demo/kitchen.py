"""The eggs of the demo: gathered in the evening, then eaten, sold, given or thrown away."""

from datetime import date, timedelta

from quailwright.exchange.demo import scenario
from quailwright.exchange.demo.birds import Group, lay_today
from quailwright.exchange.demo.hatching import days_saving
from quailwright.exchange.demo.world import World
from quailwright.husbandry import facts
from quailwright.journal import entries as kinds

DOZEN = 12
WEDNESDAY, SATURDAY, SUNDAY = 2, 5, 6


def collect_eggs(world: World) -> None:
    """The evening's eggs of each pen: written down, lost to the record, or kept for a sum."""
    _, weather = world.weather()
    for group in world.alive():
        left = weather * world.lays(group.place)
        laid = lay_today(group, world.day, left, world.rng)
        if _in_lumped_week(world):
            world.unwritten_eggs[group.name] = world.unwritten_eggs.get(group.name, 0) + laid
            if world.days_before == scenario.LUMPED_WEEK[1] and world.unwritten_eggs[group.name]:
                _write_eggs(world, group, world.unwritten_eggs[group.name], "lump")
        elif laid or _should_lay(world, group):
            if world.from_calendar:
                _write_eggs(world, group, laid, "calendar")
            elif world.writes_today:
                _write_eggs(world, group, laid, _weather_note(world))


def _in_lumped_week(world: World) -> bool:
    first, last = scenario.LUMPED_WEEK
    return last <= world.days_before <= first


def _should_lay(world: World, group: Group) -> bool:
    return group.hens > 0 and group.age_d(world.day) >= facts.value("laying.half_laying_age_d")


def _weather_note(world: World) -> str:
    if world.in_cold_snap():
        return "cold"
    return "heat" if world.in_heat_wave() else ""


def _write_eggs(world: World, group: Group, eggs: int, note: str) -> None:
    cracked = int(world.rng.binomial(eggs, scenario.CRACKED))
    fields: dict[str, object] = {"group": group.name, "eggs": eggs, "cracked": cracked}
    if eggs and world.day.weekday() == SUNDAY:
        mean_g = facts.value("laying.egg_mass_g")
        fields["total_g"] = round(eggs * float(world.rng.normal(mean_g, scenario.SCALE_SPREAD_G)))
    fields["note"] = scenario.NOTES.get(note, "")
    if world.days_before == scenario.TYPING_MISTAKE and group.name == scenario.LONG_HENS:
        _mistype_and_mend(world, fields)
    elif note == "calendar":
        world.diary.write_undated(kinds.EggsCollected, **fields)
    else:
        world.diary.write(kinds.EggsCollected, **fields)
    world.eggs.put(world.day, group.name, eggs)
    held = group.name == scenario.NORTH_HENS and world.day <= world.eggs_withheld_until
    _throw_away(world, group, eggs if held else cracked)


def _mistype_and_mend(world: World, fields: dict[str, object]) -> None:
    """The last digit typed twice, and put right a few minutes later."""
    typed = int(f"{fields['eggs']}{str(fields['eggs'])[-1]}")
    wrong = world.diary.write(kinds.EggsCollected, **{**fields, "eggs": typed})
    world.diary.wait(10)
    right = world.diary.drawn_up(
        kinds.EggsCollected, wrong.at, **{**fields, "note": scenario.NOTES["typed"]}
    )
    world.diary.write(
        kinds.Retract, entry=wrong.id, why="The last digit was typed twice.", instead=right
    )


def _throw_away(world: World, group: Group, eggs: int) -> None:
    """Cracked eggs, and eggs withheld, go the same evening: never to the kitchen."""
    if not eggs:
        return
    world.diary.write(
        kinds.EggsOut, use="discarded", eggs=eggs, group=group.name,
        laid_from=world.day, laid_to=world.day,
    )  # fmt: skip
    world.eggs.take_laid_on(eggs, group.name, world.day)


def use_eggs(world: World) -> None:
    """Eggs eaten on most days, sold by the dozen on two, given away on Sundays.

    While the first hens are in quarantine none leaves the house: all are eaten there.
    """
    if not world.writes_today:
        return
    fewest, most = scenario.EGGS_AT_A_MEAL
    if world.rng.random() < scenario.EGGS_EATEN_ON:
        _out(world, "eaten", min(int(world.rng.integers(fewest, most + 1)), _on_hand(world)))
    spare = _on_hand(world) - scenario.KEEP_IN_PANTRY
    if world.days_before <= scenario.BOXES_SINCE:
        _pack_and_sell(world, spare // DOZEN)
    elif world.day.weekday() in (WEDNESDAY, SATURDAY):
        _out(world, "sold", spare // DOZEN * DOZEN)
    if world.day.weekday() == SUNDAY:
        _out(world, "given", min(scenario.EGGS_GIVEN, spare))


def _pack_and_sell(world: World, dozens: int) -> None:
    """On market days eggs are packed by the dozen and the boxes sold; one stands there at last."""
    market = world.day.weekday() in (WEDNESDAY, SATURDAY)
    kept = min(_boxes_kept(world), _on_hand(world) // DOZEN)
    for _ in range(max(kept, dozens if market else 0)):
        group, laid_from = _usable(world)
        world.boxes_packed += 1
        box = f"box {world.boxes_packed}"
        world.diary.write(kinds.EggsBoxed, box=box, eggs=DOZEN, group=group, laid_from=laid_from)
        world.eggs.take_oldest(DOZEN, group, laid_from)
        world.boxes.append(box)
    while market and len(world.boxes) > _boxes_kept(world):
        buyer = scenario.BUYERS[world.rng.integers(len(scenario.BUYERS))]
        world.diary.write(
            kinds.EggsOut, use="sold", eggs=DOZEN, box=world.boxes.pop(0), to=buyer,
            income=scenario.PRICE_PER_DOZEN,
        )  # fmt: skip


def _boxes_kept(world: World) -> int:
    return scenario.BOXES_KEPT if world.days_before == 1 else 0


def take_orders(world: World) -> None:
    """Orders written down on the evening on which they came, on any day."""
    for order in scenario.ORDERS:
        if order.days_before == world.days_before:
            world.diary.write(
                kinds.EggsOrdered,
                order=order.name,
                eggs=order.eggs,
                on=world.on + timedelta(days=order.wanted_in),
                to=order.to,
                price_per_egg=scenario.PRICE_PER_DOZEN / DOZEN,
            )


def _usable(world: World) -> tuple[str | None, date | None]:
    """All eggs; while a pen's eggs are saved for a hatch, only the old pen's fresh ones."""
    for saved_d in days_saving(world):
        return scenario.NORTH_HENS, world.days_ago(saved_d)
    return None, None


def _on_hand(world: World) -> int:
    return world.eggs.on_hand(*_usable(world))


def _out(world: World, use: kinds.EggsUse, eggs: int) -> None:
    if eggs <= 0:
        return
    group, laid_from = _usable(world)
    if world.days_before >= scenario.FIRST_DAY - int(facts.value("care.quarantine_d")):
        use = "eaten"
    income = eggs / DOZEN * scenario.PRICE_PER_DOZEN if use == "sold" else None
    world.diary.write(
        kinds.EggsOut, use=use, eggs=eggs, group=group, laid_from=laid_from, income=income
    )
    world.eggs.take_oldest(eggs, group, laid_from)

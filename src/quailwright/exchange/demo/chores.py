"""The daily round of the demo: ticks, feed, and birds found dead."""

from quailwright.exchange.demo import scenario
from quailwright.exchange.demo.birds import Group, die_today, eat_today_kg
from quailwright.exchange.demo.world import World
from quailwright.husbandry import brooding, facts, feeding
from quailwright.journal import entries as kinds


def tick(world: World, task: str, place: str | None, birds: int, minutes_of: str = "") -> None:
    """A task ticked off, unless it was forgotten; its minutes are noted now and then."""
    if not world.writes_today or world.rng.random() < scenario.TICK_FORGOTTEN:
        return
    minutes: dict[str, float] = {}
    if world.rng.random() < scenario.MINUTES_NOTED:
        key = f"care.min_{minutes_of or task}"
        usual = facts.value(key) + birds * facts.value(f"{key}_bird")
        minutes["minutes"] = round(float(usual * world.rng.uniform(*scenario.FAST_AND_SLOW)), 1)
    world.diary.tick(kinds.Care, task=task, place=place, **minutes)
    world.last_done[task, place] = world.day


def tick_when_due(world: World, task: str, place: str | None, birds: int, every_d: float) -> None:
    """A task that comes round every so many days, done on the day or a little late."""
    since = world.last_done.setdefault((task, place), world.day)
    if (world.day - since).days >= int(every_d) and world.rng.random() < scenario.DONE_WHEN_DUE:
        tick(world, task, place, birds)


def brooder_care(world: World, time_of_day: str) -> None:
    """Feed and water in the morning, and a look at the chicks as often as their age asks."""
    broods = [group for group in world.alive() if group.place == scenario.BROODER]
    chicks = sum(brood.total for brood in broods)
    if not chicks:
        return
    youngest_d = min(brood.age_d(world.day) for brood in broods)
    if time_of_day == "morning":
        tick(world, "brooder_feed_water", scenario.BROODER, chicks)
        every_d = facts.value("brooding.bedding_interval_d")
        tick_when_due(world, "brooder_bedding", scenario.BROODER, chicks, every_d)
        _read_thermometer(world, youngest_d)
    if time_of_day == "midday":
        for brood in broods:
            _steps_of_a_brood(world, brood)
    if time_of_day == "evening" or youngest_d <= facts.value("brooding.close_watch_until_d"):
        tick(world, "brooder_check", scenario.BROODER, chicks)


def _read_thermometer(world: World, youngest_d: int) -> None:
    """The night's lowest and highest under the heat and in the room, of the last broods."""
    heated_until_d = facts.value("brooding.heat_end_age_d")
    if world.days_before > scenario.WATER_NOTED_FROM or youngest_d > heated_until_d:
        return
    least, most = brooding.heat_range_c(youngest_d)
    lowest, highest = sorted(world.rng.uniform(least, most, 2))
    world.diary.tick(
        kinds.TemperatureSeen,
        place=scenario.BROODER,
        lowest_c=round(float(lowest), 1),
        highest_c=round(float(highest), 1),
        spot="heated",
    )
    world.diary.tick(
        kinds.TemperatureSeen,
        place=scenario.BROODER,
        lowest_c=round(float(world.rng.uniform(*scenario.BROODER_ROOM_C[0])), 1),
        highest_c=round(float(world.rng.uniform(*scenario.BROODER_ROOM_C[1])), 1),
        spot="room",
    )


def _steps_of_a_brood(world: World, brood: Group) -> None:
    """The heat lowered a step each week, and the pebbles out of the drinker."""
    age_d = brood.age_d(world.day)
    if age_d in {facts.value(f"brooding.heat_step_{step}_d") for step in (1, 2, 3)}:
        tick(world, "heat_step", scenario.BROODER, brood.total)
    if age_d == facts.value("brooding.pebbles_until_d"):
        tick(world, "pebbles_out", scenario.BROODER, brood.total, minutes_of="heat_step")


def pen_care(world: World) -> None:
    """The morning walk from pen to pen."""
    for pen in scenario.PENS:
        birds = sum(group.total for group in world.alive() if group.place == pen)
        if not birds:
            continue
        for task in ("feed_water", "drinker_clean", "look_count"):
            tick(world, task, pen, birds)
        tick_when_due(world, "trays", pen, birds, facts.value("care.tray_interval_d"))
        tick_when_due(world, "mesh_check", pen, birds, facts.value("care.mesh_check_interval_d"))
        tick_when_due(world, "wash", pen, birds, world.wash_every_d)
        world.diary.wait()


def bury_the_dead(world: World) -> None:
    """Birds found dead in the morning. These are written down on any day."""
    for group in world.alive():
        young = group.age_d(world.day) <= facts.value("brooding.pebbles_until_d")
        causes = scenario.FOUND_IN_FIRST_WEEK if young else scenario.FOUND_LATER
        for of, dead in die_today(group, world.day, world.rng).items():
            if not dead:
                continue
            found = causes[world.rng.integers(len(causes))]
            if world.days_before <= scenario.NO_CAUSE_FOR_LAST:
                found = "unknown"
            world.diary.write(kinds.BirdsDied, group=group.name, found=found, **{of: dead})
            group.take(of, dead)


def give_feed(world: World) -> None:
    """Feed emptied into the hoppers of each place, written down or not."""
    outside_c, _ = world.weather()
    wanted: dict[tuple[str, str], float] = {}
    for group in world.alive():
        key = (feed_of(group, world), group.place)
        eaten = eat_today_kg(group, world.day, outside_c) * world.eats(group.place)
        wanted[key] = wanted.get(key, 0.0) + eaten
    for (feed, place), exact_kg in wanted.items():
        kg = round(exact_kg, 2)
        world.bins[feed] -= kg * (1.0 + scenario.LOST_IN_STORE)
        if kg and world.from_calendar:
            world.diary.write_undated(kinds.FeedGiven, feed=feed, kg=kg, place=place)
        elif kg and world.writes_today:
            world.diary.tick(kinds.FeedGiven, feed=feed, kg=kg, place=place)
    world.diary.wait()


def fill_water(world: World) -> None:
    """Water filled in at each pen, since the keepers began to note it."""
    if not world.writes_today or world.days_before > scenario.WATER_NOTED_FROM:
        return
    outside_c, _ = world.weather()
    for pen in scenario.PENS:
        groups = [group for group in world.alive() if group.place == pen]
        eaten = sum(eat_today_kg(group, world.day, outside_c) for group in groups)
        if not eaten:
            continue
        drunk = eaten * facts.value("feeding.water_per_feed") * world.drinks(pen)
        litres = round(float(drunk * world.rng.normal(1.0, scenario.WATER_SPREAD)), 1)
        world.diary.tick(kinds.WaterGiven, place=pen, litres=max(0.1, litres))


def buy_feed(world: World) -> None:
    """A bag of each feed whose bin runs low."""
    for feed, stored_kg in world.bins.items():
        if stored_kg < scenario.BUY_BELOW_KG:
            kg = scenario.BAG_KG[feed]
            cost = round(kg * scenario.PRICE_PER_KG[feed], 2)
            mixed_on = world.days_ago(scenario.MIXED_BEFORE_D)
            world.diary.write(kinds.FeedBought, feed=feed, kg=kg, cost=cost, mixed_on=mixed_on)
            world.bins[feed] += kg


def feed_of(group: Group, world: World) -> str:
    """The feed of a group: by its age, and grower for cocks among themselves."""
    stage = feeding.stage(group.age_d(world.day))
    if stage == "layer" and group.name == scenario.BACHELORS:
        stage = "grower"
    return scenario.FEED_OF_STAGE[stage]

"""The sitter's sheet: amounts, clock times, what falls into the absence, and what is refused."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import pytest
from tests.makers import made

from quailwright.exchange.paper_back import week_back
from quailwright.exchange.sitter import MOST_DAYS, SitterSheet, sitter_asked, sitter_sheet
from quailwright.flock.fold import fold
from quailwright.flock.state import Flock
from quailwright.guide import away, wording
from quailwright.guide.cautions import all_cautions
from quailwright.husbandry import facts
from quailwright.husbandry.feeding import intake_of_g_per_day
from quailwright.journal.entries import Entry
from quailwright.journal.findings import BadInput
from quailwright.language import speaking

ON = date(2027, 5, 3)
NOW = datetime(2027, 5, 3, 7, tzinfo=UTC)
HOME = made("holding", "2027-01-01", name="Home", timezone="Europe/Lisbon", units="metric",
            latitude=38.7, longitude=-9.1)  # fmt: skip
PEN = made("place", "2027-01-01", place="pen", role="pen", walk_order=2)
HENS = made("group", "2027-01-01", group="hens", place="pen", hens=15, cocks=3,
            hatched_on="2026-10-01")  # fmt: skip


def flock_of(*entries: Entry, holding: Entry = HOME) -> Flock:
    """A pen of hens, and more."""
    return fold([holding, PEN, HENS, *entries], NOW)


def sheet(flock: Flock, first: str, until: str, **typed: str) -> SitterSheet:
    """The sheet of these days."""
    return sitter_sheet(flock, ON, sitter_asked(flock, ON, first, until, **typed))


def texts(told: SitterSheet, name: str, place: str = "pen") -> list[str]:
    """What a round says at a place, in the first week."""
    return [
        line.text
        for visit in told.weeks[0].visits
        if visit.name == name
        for stop in visit.stops
        if stop.place == place
        for line in stop.lines
    ]


def test_amounts_by_hand() -> None:
    """Fifteen grown hens of 23.24 g a day and three cocks of 15 g eat 393.6 g.

    Of what is offered a tenth is spilt: 437.3 g. Water is 2.5 times what is eaten, and half as much
    again: 1476 ml; in heat 4 times, and half as much again: 2362 ml. All are rounded up.
    """
    # The figures that the sum stands on, by facts/feeding.csv and facts/away.csv.
    assert facts.value("feeding.intake_adult_g_d") == 23.24
    assert facts.value("feeding.intake_adult_cock_g_d") == 15
    assert facts.value("feeding.wastage") == 0.10
    morning = texts(sheet(flock_of(), "2027-05-10", "2027-05-16", scoop="100"), "Morning")
    assert morning == [
        "Feed: 4 and a half scoops (440 g) of layer feed.",
        "Water: wash the drinker, fill in 1500 ml.",
        "Hot day, 28 °C or more: 2400 ml, and shade.",
        "Count 18 birds.",
    ]


def test_amounts_in_ounces_and_cups() -> None:
    """437.3 g are 15.4 ounces (28.3495 g); 1.476 l are 6.2 cups (0.236588 l)."""
    us = made("holding", "2027-01-01", timezone="America/New_York", units="us")
    morning = texts(sheet(flock_of(holding=us), "2027-05-10", "2027-05-16", scoop="4"), "Morning")
    assert morning[0] == "Feed: 4 scoops (16 oz) of layer feed."
    assert morning[1] == "Water: wash the drinker, fill in 7 cups (1.5 litres)."
    assert "Hot day, 82 °F or more" in morning[2]


@pytest.mark.parametrize(
    ("litres", "metric", "us"),
    [
        (0.02, "100 ml", "1 cup (0.0 litres)"),
        (1.0, "1000 ml", "5 cups (1.0 litres)"),
        (3.2, "4 litres", "14 cups (3.2 litres)"),
        (9.0, "9 litres", "10 quarts (9.0 litres)"),
    ],
)
def test_water_is_told_in_whole_numbers(litres: float, metric: str, us: str) -> None:
    assert (wording.filled(litres, "metric"), wording.filled(litres, "us")) == (metric, us)


@pytest.mark.parametrize(
    ("grams", "scoop", "told"),
    [
        (100, 100, "1 scoop"), (101, 100, "1 and a half scoops"), (20, 100, "half a scoop"),
        (200, 100, "2 scoops"),
    ],
)  # fmt: skip
def test_scoops_are_told_to_the_half_above(grams: float, scoop: float, told: str) -> None:
    assert wording.scoops(grams, scoop) == told


def test_what_is_normal_is_what_was_counted_of_late() -> None:
    counts = {"2027-04-30": 12, "2027-05-01": 10, "2027-05-02": 14, "2027-04-10": 2}
    eggs = [made("eggs_collected", day, group="hens", eggs=n) for day, n in counts.items()]
    told = sheet(flock_of(*eggs), "2027-05-10", "2027-05-16")
    assert "Collect and count the eggs: about 12 (10 to 14) a day." in texts(told, "Evening")
    assert "pen: 6 eggs or fewer in a day. Look at the water first." in told.ring_if


def test_too_few_counts_tell_nothing_normal() -> None:
    eggs = made("eggs_collected", "2027-05-02", group="hens", eggs=12)
    told = sheet(flock_of(eggs), "2027-05-10", "2027-05-16")
    assert "Collect and count the eggs." in texts(told, "Evening")
    assert not any("fewer in a day" in line for line in told.ring_if)


def test_the_last_round_is_an_hour_before_dark() -> None:
    # Sunset at Lisbon: 1 December 2027 about 17:15, by the common almanacs (from memory).
    at = away.times_of(flock_of(), [date(2027, 12, 1)], False).evening
    assert time(16, 0) <= at <= time(16, 15)
    # 21 June: sunset about 21:05; no sitter comes after 20:00.
    assert away.times_of(flock_of(), [date(2027, 6, 21)], False).evening == time(20, 0)
    lamp = made("holding", "2027-02-01", lamp_on="05:30", lamp_off="19:00")
    assert away.times_of(flock_of(lamp), [date(2027, 12, 1)], False).evening == time(18, 0)
    by_zone = flock_of(holding=made("holding", "2027-01-01", timezone="Europe/Lisbon"))
    assert away.times_of(by_zone, [date(2027, 12, 1)], False).evening == at
    nowhere = flock_of(holding=made("holding", "2027-01-01", timezone="Etc/UTC"))
    assert away.times_of(nowhere, [date(2027, 12, 1)], False).evening == time(18, 0)


def test_where_the_sun_does_not_set_or_rise_the_usual_hour_holds() -> None:
    # Tromso, 69.65 N: midnight sun from mid May to late July, polar night in December (from
    # memory).
    north = made("holding", "2027-01-01", timezone="Europe/Oslo", latitude=69.65, longitude=18.96)
    for day in (date(2027, 6, 21), date(2027, 12, 15)):
        assert away.times_of(flock_of(holding=north), [day], False).evening == time(18, 0)


def test_a_lamp_of_the_morning_tells_nothing_of_the_evening() -> None:
    lamp = made("holding", "2027-02-01", lamp_on="05:00", lamp_off="08:00")
    nowhere = made("holding", "2027-01-01", timezone="UTC")
    times = away.times_of(flock_of(lamp, holding=nowhere), [date(2027, 12, 1)], True)
    assert (times.midday, times.evening) == (time(13, 0), time(18, 0))


def test_clock_times_across_the_change_of_clocks() -> None:
    # Lisbon's clocks go back on 31 October 2027 (EU rule: the last Sunday of October).
    before, after = (
        away.times_of(flock_of(), [day], False).evening
        for day in (date(2027, 10, 30), date(2027, 10, 31))
    )
    assert before.hour - after.hour == 1
    both = away.times_of(flock_of(), [date(2027, 10, 30), date(2027, 10, 31)], False)
    assert both.evening == after


def test_every_day_stands_once_over_the_change_of_clocks() -> None:
    flock = flock_of()
    on = date(2027, 10, 20)
    told = sitter_sheet(flock, on, sitter_asked(flock, on, "2027-10-28", "2027-11-03"))
    days = [day for week in told.weeks for day in week.days]
    assert days == [date(2027, 10, 28) + timedelta(days=n) for n in range(7)]
    assert [week.monday for week in told.weeks] == [date(2027, 10, 25), date(2027, 11, 1)]


def test_the_keeper_may_say_when() -> None:
    told = sheet(
        flock_of(), "2027-05-10", "2027-05-11", morning="06:45", midday="12:00", evening="19:10"
    )
    assert [visit.at for visit in told.weeks[0].visits] == [time(6, 45), time(12), time(19, 10)]


# Hatches.

BOX = made("place", "2027-01-01", place="box", role="incubator", capacity_eggs=60, walk_order=1)
SET = made("eggs_set", "2027-04-28T20:00+01:00", hatch="may", eggs=24, place="box", source="friend")


def test_steps_of_a_hatch_stand_large_with_their_hour() -> None:
    """Set on 28 April at 20:00: day 14 is 12 May at 20:00, chicks from 16.25 days on."""
    told = sheet(flock_of(BOX, SET), "2027-05-10", "2027-05-23")
    by_task = {step.task.split(";")[0].split(".")[0]: step for step in told.on_sheet}
    stop = by_task["Stop turning"]
    assert stop.at.isoformat() == "2027-05-12T20:00:00+01:00"
    assert stop.critical
    assert by_task["Chicks hatch"].at.isoformat() == "2027-05-15T02:00:00+01:00"
    assert any("Turn the eggs of may until Wed 12 May 20:00" in text
               for text in texts(told, "Midday", "box"))  # fmt: skip
    # The chicks' days end on 19 May at 20:00, four days after 15 May at 20:00.
    assert told.quiet_from == date(2027, 5, 20)
    assert "Leave on or after Thursday 20 May 2027 instead" in told.before[0]


def test_an_absence_after_the_hatch_meets_no_step_that_birds_die_of() -> None:
    told = sheet(flock_of(BOX, SET), "2027-05-20", "2027-05-26")
    assert told.quiet_from is None
    assert [step.task for step in told.on_sheet] == ["Lower the heat to 32.2 °C at chick level"]


def test_feed_of_chicks_that_hatch_meanwhile_is_reckoned_as_if_all_did() -> None:
    """Set on 28 April at 20:00, 17 days to the likely hatch: 15 May at 20:00."""
    told = sheet(flock_of(BOX, SET), "2027-05-10", "2027-05-18")
    starter = next(each for each in told.feeds if each.stage == "starter")
    eaten = sum(24 * intake_of_g_per_day(age, "chick") for age in range(4))
    assert starter.needed_kg == pytest.approx(eaten / 1000 / 0.9)
    assert any("as if all 24 eggs of may hatched" in line for line in told.before)
    before = sheet(flock_of(BOX, SET), "2027-05-10", "2027-05-14")
    assert [each.stage for each in before.feeds] == ["layer"]


def test_what_can_wait_or_be_done_before_is_not_on_the_sheet() -> None:
    told = sheet(flock_of(BOX, SET), "2027-05-07", "2027-05-08")
    kinds = {step.task.partition(":")[0]: step.when for step in told.steps}
    # Candling is due on day 7, 5 May, before the absence. Weighing on day 10, 8 May at 20:00,
    # counts from a day and a half before (7 May) to two days after (10 May): when back, on 9 May.
    assert kinds == {
        "Weigh the eggs together, without the tray, and log how many are on the scale": "after"
    }
    assert told.steps[0].by == date(2027, 5, 9)
    assert told.on_sheet == []


def test_a_planned_set_that_would_hatch_then_is_told_a_better_day() -> None:
    planned = made("set_planned", "2027-05-01", hatch="next", on="2027-05-10", eggs=24,
                   place="box", source="friend")  # fmt: skip
    told = sheet(flock_of(BOX, planned), "2027-05-24", "2027-05-30")
    (one,) = told.sets
    # By the planner: laid down on day 14, chicks from day 16, watched to day 22; none on 24 to 30
    # May. Set on 17 May the eggs are laid down on 31 May; on 3 May the chicks are watched to 25.
    assert one.instead_after == date(2027, 5, 17)
    assert one.instead_before is None
    assert "Set it on or after Mon 17 May instead" in " ".join(told.before)
    moved = replace(sitter_asked(flock_of(), ON, "2027-05-24", "2027-05-30"))
    again = made("set_planned", "2027-05-02", hatch="next", on="2027-05-17", eggs=24,
                 place="box", source="friend")  # fmt: skip
    assert sitter_sheet(flock_of(BOX, planned, again), ON, moved).sets == []


def test_a_set_that_can_begin_sooner_is_told_so() -> None:
    planned = made("set_planned", "2027-05-01", hatch="next", on="2027-05-20", eggs=24,
                   place="box", source="friend")  # fmt: skip
    (one,) = sheet(flock_of(BOX, planned), "2027-06-03", "2027-06-04").sets
    # Set on 20 May they are laid down on 3 June. On 12 to 19 May the chicks of 29 May to 5 June,
    # or the day before them, would need hands; on 11 May they are watched to 2 June. On 21 May
    # they are laid down on 4 June.
    assert one.instead_before == date(2027, 5, 11)
    assert one.instead_after == date(2027, 5, 22)


# What is held, whom to ring, what is in the store.


def test_withheld_eggs_and_quarantine_stand_large() -> None:
    treated = made("treated", "2027-05-01", group="hens", product="as directed",
                   eggs_withheld_until="2027-05-12")  # fmt: skip
    apart = made("quarantine", "2027-05-01", place="pen", until="2027-05-30")
    told = sheet(flock_of(treated, apart), "2027-05-10", "2027-05-16")
    assert told.held == [
        "Eggs of hens laid up to and on Wednesday 12 May 2027: WITHHELD. Do not eat, sell or give "
        "them away, then or later.",
        "pen: QUARANTINE up to and on Sunday 30 May 2027. Go there last; no bird, egg or thing "
        "leaves it.",
    ]
    assert any("WITHHELD, HELD or QUARANTINE" in line for line in told.never)
    assert "WITHHELD to Wed 12 May" in told.weeks[0].visits[0].stops[0].held
    after = sheet(flock_of(treated), "2027-05-13", "2027-05-16")
    assert after.held == []


def test_eggs_are_withheld_on_the_sheet_while_nobody_has_told_until_when() -> None:
    treated = made("treated", "2027-05-01", group="hens", product="as directed")
    told = sheet(flock_of(treated), "2027-06-10", "2027-06-16")
    assert "laid from Saturday 1 May 2027 on: WITHHELD, and nobody has told" in told.held[0]
    for visit in told.weeks[0].visits:
        assert visit.stops[0].held == "EGGS WITHHELD, no end told: keep apart."


def test_what_is_held_in_the_store_stands_on_the_sheet_although_the_days_are_over() -> None:
    """Eggs of 30 April to 1 May, withheld to 2 May, stay withheld after: boxed and loose."""
    kept = [
        made("treated", "2027-04-29", group="hens", product="as directed",
             eggs_withheld_until="2027-05-02"),
        made("eggs_collected", "2027-04-30", group="hens", eggs=10),
        made("eggs_collected", "2027-05-01", group="hens", eggs=9),
        made("eggs_boxed", "2027-05-01", box="A", eggs=6, group="hens", laid_from="2027-04-30",
             laid_to="2027-04-30", force=True),
    ]  # fmt: skip
    flock = flock_of(*kept)
    told = sheet(flock, "2027-05-10", "2027-05-16")
    box, loose = told.held
    assert box.startswith("Box A in the store: HELD, all 6 eggs. Nobody takes it.")
    assert "4 of hens laid 2027-04-30, 9 of hens laid 2027-05-01: HELD" in loose
    assert box in told.before
    assert loose in told.before


def test_orders_that_fall_due_are_named_before_leaving() -> None:
    orders = [
        made("eggs_ordered", "2027-05-01", order="birthday", eggs=24, on="2027-05-12", to="Ann"),
        made("eggs_ordered", "2027-05-01", order="later", eggs=12, on="2027-05-17"),
    ]
    told = " ".join(sheet(flock_of(*orders), "2027-05-10", "2027-05-16").before)
    assert "Order birthday, for Ann: 24 eggs for Wed 12 May. Fill it before you leave" in told
    assert "later" not in told.replace("or later", "")
    none = " ".join(sheet(flock_of(orders[1]), "2027-05-10", "2027-05-16").before)
    assert "No order of eggs is due in these days" in none


def test_rows_to_fill_in_say_what_the_rounds_give() -> None:
    """By `test_amounts_by_hand`: 437.3 g of feed and 1.476 l of water, told as 1500 ml."""
    store = [
        made("feed", "2027-04-01", feed="starter crumb", stage="starter"),
        made("feed_bought", "2027-05-01", feed="starter crumb", kg=3),
        made("feed", "2027-04-01", feed="pellets", stage="layer"),
        made("feed_bought", "2027-05-01", feed="pellets", kg=9),
    ]
    week = sheet(flock_of(*store), "2027-05-10", "2027-05-16").weeks[0]
    assert (week.feeds, week.feeds_usual) == (["pellets"], ["0.44"])
    assert (week.waters, week.waters_usual) == (["pen"], ["1.5"])


def test_a_lamp_that_fails_is_a_reason_to_ring() -> None:
    lamp = made("holding", "2027-02-01", lamp_on="05:30", lamp_off="19:00")
    rings = sheet(flock_of(lamp), "2027-05-10", "2027-05-16").ring_if
    assert "A lamp that is dark between 05:30 and 19:00, or burns at another time." in rings
    none = made("holding", "2027-02-01", lamp_on="00:00", lamp_off="00:00")
    told = sheet(flock_of(none), "2027-05-10", "2027-05-16")
    assert "00:00" not in " ".join([*told.ring_if, *told.before])


def test_hens_are_changed_over_to_layer_feed_on_the_day_that_the_rounds_give_it() -> None:
    """Hatched on 3 April: 42 days old on 15 May, the end of grower feed by facts/feeding.csv."""
    assert facts.value("feeding.grower_until_d") == 42
    young = made("group", "2027-04-03", group="young", place="young pen", hens=10,
                 hatched_on="2027-04-03")  # fmt: skip
    pen = made("place", "2027-01-01", place="young pen", role="pen", walk_order=3)
    told = sheet(flock_of(pen, young), "2027-05-10", "2027-05-23")
    (step,) = told.on_sheet
    assert step.task.startswith("Change the hens over to layer feed")
    assert (step.at, step.critical) == (date(2027, 5, 15), False)
    first, second = (next(line.text for stop in week.visits[0].stops if stop.place == "young pen"
                      for line in stop.lines) for week in told.weeks)  # fmt: skip
    assert first.endswith("grower feed.")
    assert second.endswith("layer feed.")


def test_whom_to_ring_and_who_is_lacking() -> None:
    told = sheet(
        flock_of(
            made("contact", contact="neighbour", role="helper", phone="555 0102"),
            made("contact", contact="Dr. Moss", role="vet", phone="555 0100"),
        ),
        "2027-05-10",
        "2027-05-16",
    )
    assert [one.contact for one in told.contacts] == ["Dr. Moss", "neighbour"]
    assert told.lacking == ["animal_health"]


@pytest.mark.parametrize(("kg", "says"), [(2.0, "BUY 1.1 kg more"), (10.0, "last 22 days")])
def test_feed_is_reckoned_until_back(kg: float, says: str) -> None:
    """0.4373 kg a day for seven days is 3.06 kg, told as 3.1; 10 kg last 22.9 days."""
    label = made("feed", "2027-04-01", feed="pellets", stage="layer")
    bought = made("feed_bought", "2027-05-01", feed="pellets", kg=kg)
    told = sheet(flock_of(label, bought), "2027-05-10", "2027-05-16")
    assert any(says in line for line in told.before)
    assert "of pellets" in texts(told, "Morning")[0]


def test_names_and_order_are_those_of_the_page_that_types_it_back() -> None:
    more = (
        made("place", "2027-01-01", place="a pen", role="pen", walk_order=1),
        made("group", "2027-01-01", group="others", place="a pen", hens=4, hatched_on="2026-10-01"),
        made("feed_bought", "2027-05-01", feed="pellets", kg=9),
    )
    flock = flock_of(*more)
    week = sheet(flock, "2027-05-10", "2027-05-16").weeks[0]
    back = week_back(flock, week.monday, ON)
    assert (week.eggs, week.feeds, week.waters) == (back.groups, back.feeds, back.waters)
    assert week.eggs == ["others", "hens"]
    assert week.waters == ["a pen", "pen"]
    assert week.deaths == ["others: hens", "hens: hens", "hens: cocks"]
    assert len(back.who) == len(week.deaths)


def test_every_hazard_of_the_sheet_is_said_on_it() -> None:
    treated = made("treated", "2027-05-01", group="hens", product="as directed",
                   eggs_withheld_until="2027-05-12")  # fmt: skip
    told = sheet(flock_of(treated), "2027-05-10", "2027-05-16")
    said = " ".join([*told.held, *told.never, *told.ring_if, *told.failing, *told.hands])
    words = {
        "heat_fire": "Fire or smoke: everyone out",
        "electricity_water": "Leave the fuse box alone if it is wet",
        "carbon_monoxide": "the gas kills unseen",
        "zoonoses": "Wash hands with soap",
        "children": "none under five",
        "avian_influenza": "animal-health line",
        "medicines": "Give no medicine",
        "dead_birds": "A dead bird: gloves",
        "withheld": "WITHHELD",
        "letting_free": "Let no bird out",
    }
    assert set(words) == {each.caution for each in all_cautions() if "sheet:away" in each.steps}
    for hazard, text in words.items():
        assert text in said, hazard


def test_an_empty_flock_has_nothing_to_do() -> None:
    flock = fold([], NOW)
    told = sheet(flock, "2027-05-10", "2027-05-16")
    assert told.empty
    assert told.feeds == []


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ({"first": "2027-05-02"}, "is past"),
        ({"first": "soon"}, "is not a day"),
        ({"first": "2027-05-10", "until": "2027-05-09"}, "lies before"),
        ({"first": "2027-05-10", "until": "2027-07-20"}, "at most 60 days"),
        ({"first": "2027-08-10"}, "at most 60 days"),
        ({"first": "9999-12-31"}, "at most 60 days"),
        ({"morning": "25:00"}, "is not a clock time"),
        ({"morning": "18:00", "evening": "07:00"}, "not in the order"),
        ({"scoop": "big"}, "grams"),
        ({"scoop": "nan"}, "grams"),
        ({"scoop": "0"}, "grams"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(typed: dict[str, Any], says: str) -> None:
    wanted = {"first": "2027-05-10", "until": "", **typed}
    with pytest.raises(BadInput, match=says):
        sitter_asked(flock_of(), ON, **wanted)


def test_sixty_days_are_the_most() -> None:
    first = date(2027, 5, 10)
    until = first + timedelta(days=MOST_DAYS - 1)
    told = sheet(flock_of(), first.isoformat(), until.isoformat())
    assert sum(len(week.days) for week in told.weeks) == MOST_DAYS
    with pytest.raises(BadInput):
        sheet(flock_of(), first.isoformat(), (until + timedelta(days=1)).isoformat())


def test_chicks_are_fed_and_warmed_by_their_age() -> None:
    flock = flock_of(
        made("place", "2027-01-01", place="warm box", role="brooder"),
        made("group", "2027-05-01", group="chicks", place="warm box", chicks=20,
             hatched_on="2027-05-01"),
    )  # fmt: skip
    told = sheet(flock, "2027-05-04", "2027-05-16")
    morning = texts(told, "Morning", "warm box")
    assert morning[0].startswith("35 °C at chick level")
    assert "keep the pebbles in" in morning[2]
    assert [visit.name for visit in told.weeks[0].visits] == ["Morning", "Midday", "Evening"]
    second = [
        line.text
        for stop in told.weeks[1].visits[0].stops
        if stop.place == "warm box"
        for line in stop.lines
    ]
    assert second[0].startswith("32.2 °C")
    assert morning[1] != second[1]


def test_it_is_said_in_another_language() -> None:
    with speaking("pt"):
        told = sheet(flock_of(), "2027-05-10", "2027-05-16")
    assert told.weeks[0].visits[0].at == time(7, 30)

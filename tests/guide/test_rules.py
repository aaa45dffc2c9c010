"""The rule table: whole, sourced, readable in both unit systems, and true to the trade."""

import tomllib
from importlib import resources
from typing import Any

import pytest
from tests.guide.rounds import adults, chicks, day, hatch, home, round_on, rules_asked
from tests.makers import made

from quailwright.guide import rules, wording
from quailwright.guide.rules import Rule, printed_rules
from quailwright.husbandry import facts
from quailwright.journal.entries import KINDS, Units

RULES = list(printed_rules().values())
TABLE: list[dict[str, Any]] = tomllib.loads(
    resources.files("quailwright.guide").joinpath("care.toml").read_text(encoding="utf-8")
)["rule"]
PLANNED = {
    "eggs": "48", "whose": "creek", "machine": "box", "hatch": "june", "day": "Tue 1 Jun",
    "stay": "12 hens", "others": "the other hens", "there": "20 hens",
}  # fmt: skip
STATE = {
    "heat": "35 °C",
    "heat_range": "32.2 to 35 °C",
    "surplus": "3",
    "lamp_times": "on 05:30, off 08:00",
} | PLANNED
BOTH: list[Units] = ["metric", "us"]


def texts(rule: Rule) -> tuple[str, ...]:
    return (rule.task, rule.why, rule.caution, rule.instead)


@pytest.mark.parametrize("row", TABLE, ids=lambda row: row["rule"])
def test_rule_says_on_whose_word(row: dict[str, Any]) -> None:
    rule = printed_rules()[row["rule"]]
    if rule.basis():
        assert all(figure.certainty for figure in rule.basis())
    else:
        assert row["certainty"] in ("published", "common practice, no source", "from memory")
        assert row["certainty"] != "published" or row["source"]


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.rule)
def test_rule_is_well_formed(rule: Rule) -> None:
    assert rule.stage in rules.stages()
    assert bool(rule.days) != (rule.every is not None)
    assert rule.days == tuple(sorted(rule.days))
    assert rule.times >= 1
    assert rule.minutes + rule.minutes_each > 0
    assert set(rule.done_by) <= set(KINDS)
    assert rule.task
    assert rule.why
    assert bool(rule.instead) == (rule.too_late is not None)


def test_no_two_rules_share_a_name() -> None:
    names = [row["rule"] for row in TABLE]
    assert len(set(names)) == len(names)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.rule)
def test_every_figure_of_a_rule_exists(rule: Rule) -> None:
    for key in rule.figures:
        assert facts.rows(key)


@pytest.mark.parametrize("units", BOTH)
@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.rule)
def test_every_text_fills_in(rule: Rule, units: Units) -> None:
    for text in texts(rule):
        filled = wording.fill(text, units, STATE)
        assert "{" not in filled
        assert "}" not in filled
    foreign = "°C" if units == "us" else "°F"
    state = dict.fromkeys(STATE, "")
    assert all(foreign not in wording.fill(text, units, state) for text in texts(rule))


def test_every_rule_comes_up_in_the_life_of_a_flock() -> None:
    """From eggs in the post to old hens, with nothing done but what has to be logged."""
    journal = [
        home(),
        made("source", "2027-01-01", source="friend", route="shipped"),
        made("eggs_received", day(-1), source="friend", eggs=60),
        hatch(eggs=24),
        made("feed_bought", day(0), feed="starter", kg=10),
        made("chicks_hatched", day(17), hatch="may", chicks=16),
        *adults(age=150),
    ]
    housed = [
        *journal,
        made("hatch_closed", day(22), hatch="may"),
        made("group", day(18), group="young", place="brooder", hatch="may"),
        made("place", day(18), place="brooder", role="brooder"),
    ]
    moved = [
        *housed,
        made("birds_moved", day(46), group="young", place="big pen"),
        made("place", day(46), place="big pen", role="pen"),
        made("birds_sexed", day(53), group="young", hens=6, cocks=10),
    ]
    seen: set[str] = set()
    for number in range(-1, 23):
        seen |= rules_asked(round_on(journal, day(number)))
    for number in range(18, 46):
        seen |= rules_asked(round_on(housed, day(number)))
    planned = [
        *adults(hens=9),
        *(made("source", day(-1), source=route, route=route)
          for route in ("own", "collected", "shipped")),
        *(made("set_planned", day(-1), hatch=f"of {route}", on=str(day(20)), eggs=9, place="box",
               source=route) for route in ("own", "collected", "shipped")),
        made("cull_planned", day(-1), on=str(day(20)), group="pen birds", keep_hens=4),
    ]  # fmt: skip
    for number in range(5, 22):
        seen |= rules_asked(round_on(planned, day(number)))
    for number in [*range(39, 80), *range(200, 240), *range(300, 340)]:
        seen |= rules_asked(round_on(moved if number >= 46 else housed, day(number)))
    lit = [
        made("holding", "2027-01-01", timezone="Europe/Lisbon", lamp_on="05:30", lamp_off="08:00"),
        *adults(),
        made("outage", day(20), place="pen", minutes=90),
    ]
    for number in range(1, 22):
        seen |= rules_asked(round_on(lit, day(number)))
    assert set(printed_rules()) - seen == set()


# What keepers hold to, as the rules say it in °C and in °F. Each: common practice, no source.
TRADE = [
    ("set_eggs", "rest about 48 h at room temperature", None),
    ("machine_check", "37.5 °C", "99.5 °F"),
    ("machine_check", "keepers set 50 to 60 %", None),
    ("turn_eggs", "Turn the eggs", None),
    ("move_chicks", "About 24 h after hatching", None),
    ("move_chicks", "feed and water must come within 24 h", None),
    ("ready_brooder", "game-bird starter", None),
    ("brooder_feed_water", "High-protein starter", None),
    ("layer_feed", "published 20 %, many keepers feed about 28 %", None),
    ("ready_brooder", "35 °C", "95 °F"),
    ("heat_step", "About 2.8 °C less each week", "About 5 °F less each week"),
    ("move_out", "About 28 to 42 days, longer in winter", None),
    ("move_out", "fully feathered", None),
    ("feed_water", "Daily", None),
    ("brooder_feed_water", "pebbles or marbles in the drinker", None),
    ("trays", "fresh bedding", None),
    ("trays", "Once or twice a week", None),
    ("wash", "60 to 120 minutes with drying", None),
    ("wash", "dry it in the sun", None),
    ("first_eggs", "full lay at about 8 weeks", None),
    ("brooder_check", "In the warm season less heat is needed", None),
]


@pytest.mark.parametrize(("name", "metric", "us"), TRADE)
def test_trade_value_stands_in_its_rule_common_practice(
    name: str, metric: str, us: str | None
) -> None:
    rule = printed_rules()[name]
    for units, wanted in zip(BOTH, (metric, us or metric), strict=True):
        said = " ".join(wording.fill(text, units, STATE) for text in texts(rule))
        assert wanted in said


# Days between one time and the next. Each: common practice, no source.
RHYTHM = [
    ("feed_water", 1),
    ("drinker_clean", 1),
    ("brooder_feed_water", 1),
    ("brooder_bedding", 7),
    ("trays", 3.5),  # once or twice a week
    ("wash", 61),  # about every two months
]


@pytest.mark.parametrize(("name", "every"), RHYTHM)
def test_trade_rhythm_common_practice(name: str, every: float) -> None:
    assert printed_rules()[name].every == every


def test_brooder_heat_drops_five_fahrenheit_a_week_from_95_common_practice() -> None:
    # common practice, no source: starts at 95 °F (35 °C), 5 °F (2.8 °C) less each week
    for week, (celsius, fahrenheit) in enumerate(
        [("35 °C", "95 °F"), ("32.2 °C", "90 °F"), ("29.4 °C", "85 °F"), ("26.6 °C", "80 °F")]
    ):
        for units, wanted in (("metric", celsius), ("us", fahrenheit)):
            the_round = round_on([home(units=units), *chicks()], day(7 * week))
            [check] = [t for p in the_round.places for t in p.tasks if t.rule == "brooder_check"]
            assert f"{wanted} at chick level" in check.task

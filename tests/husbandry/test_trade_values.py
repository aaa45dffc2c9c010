"""What keepers hold to, each marked as common practice, beside what is published."""

import pytest

from quailwright.husbandry import facts

# (key, value, low, high): passed on among keepers, common practice, no source.
TRADE = [
    ("incubation.rest_posted_h", 48, None, None),
    ("incubation.rest_posted_h", 24, None, None),
    ("incubation.temperature", 37.5, None, None),
    ("incubation.humidity_setter", 55, 50, 60),
    ("incubation.turns_per_day", 3, None, None),
    ("incubation.dry_chick_move_h", 24, None, None),
    ("incubation.first_feed_water_h", 24, None, None),
    ("feeding.protein_starter", None, 24, 30),
    ("feeding.protein_layer", 28, None, None),
    ("brooding.heat_start", 35, None, None),
    ("brooding.heat_drop_per_week", 2.8, None, None),
    ("brooding.time_in_brooder_d", 28, 28, 42),
    ("care.feed_water_interval_d", 1, None, None),
    ("care.drinker_clean_interval_d", 1, None, None),
    ("brooding.pebbles_until_d", 7, None, None),
    ("brooding.bedding_interval_d", 7, None, None),
    ("care.tray_interval_d", 3.5, 3.5, 7),
    ("care.wash_interval_d", 61, None, None),
    ("care.wash_minutes", 90, 60, 120),
    ("laying.first_egg_age_d", 56, None, None),
    ("care.minutes_day_adults", 5, None, None),
    ("care.flock_of_minutes", 40, None, None),
    ("care.minutes_day_hatch_and_brooder", 15, None, None),
]


@pytest.mark.parametrize(("key", "value", "low", "high"), TRADE)
def test_trade_value_is_kept_as_common_practice(
    key: str, value: float | None, low: float | None, high: float | None
) -> None:
    practice = [row for row in facts.rows(key) if row.certainty == "common practice, no source"]
    assert (value, low, high) in [(row.value, row.low, row.high) for row in practice]
    assert all(row.source == "" for row in practice)


# Where print and practice differ, both are kept: first egg nearer 6 to 7 weeks (Stein and Bacon
# 1976), adult protein about 20 % (NRC 1994), humidity by weight loss and the 36 % of Romao et al.
# 2009, dry chicks moved after 2 to 6 h (Penn State), warmer incubation (UNESP 2013).
@pytest.mark.parametrize(
    ("key", "published"),
    [
        ("laying.first_egg_age_d", 42.8),
        ("feeding.protein_layer", 20),
        ("incubation.humidity_setter", 36),
        ("incubation.dry_chick_move_h", 4),
        ("incubation.temperature", 38.5),
        ("brooding.heat_drop_per_week", 3.5),
    ],
)
def test_published_value_that_differs_is_kept_beside_the_trade(key: str, published: float) -> None:
    in_print = {row.value for row in facts.rows(key) if row.certainty == "published"}
    practice = {row.value for row in facts.rows(key) if row.certainty.startswith("common")}
    assert published in in_print
    assert practice - {published}


def test_fahrenheit_of_the_trade_is_the_same_temperature() -> None:
    # 99.5 °F in the machine, 95 °F in the brooder, 5 °F a week, to the tenth of a degree.
    assert facts.value("incubation.temperature") == pytest.approx((99.5 - 32) / 1.8, abs=0.05)
    assert facts.value("brooding.heat_start") == pytest.approx((95 - 32) / 1.8, abs=0.05)
    assert facts.value("brooding.heat_drop_per_week") == pytest.approx(5 / 1.8, abs=0.05)


# Keys that rules, forecasts and pages read; renaming one breaks them.
@pytest.mark.parametrize(
    "key",
    [
        "incubation.temperature",
        "incubation.temperature_still_air",
        "incubation.humidity_setter",
        "incubation.humidity_hatcher",
        "incubation.turns_per_day",
        "incubation.turning_interval",
        "incubation.turning_stop_day",
        "incubation.candling_day_first",
        "incubation.candling_day_second",
        "incubation.hatch_day_earliest",
        "incubation.hatch_day_first",
        "incubation.hatch_day_last",
        "incubation.hatch_day_late",
        "incubation.hatch_duration_h",
        "incubation.weight_loss_low",
        "incubation.weight_loss_high",
        "incubation.run_empty_h",
        "incubation.rest_h",
        "incubation.open_unhatched_day",
        "incubation.storage_best_days",
        "incubation.storage_temperature",
        "incubation.fertility",
        "incubation.hatch_of_fertile",
        "incubation.hatch_of_set",
        "incubation.batch_icc",
        "incubation.death_share_early",
        "incubation.death_share_middle",
        "incubation.death_share_late",
        "brooding.heat_floor",
        "brooding.heat_end_age_d",
        "brooding.rough_floor_until_d",
        "brooding.close_watch_until_d",
        "brooding.lamp_clearance_m",
        "brooding.warm_before_h",
        "housing.floor_m2_adult",
        "housing.hens_per_cock",
        "housing.height_low_m",
        "housing.height_high_m",
        "care.mesh_check_interval_d",
        "care.weigh_sample_interval_d",
        "care.quarantine_d",
        "care.sexing_age_d",
        "care.move_out_age_d",
        "care.ammonia",
        "laying.light_full_h",
        "laying.light_none_h",
        "laying.peak_rate",
        "laying.egg_mass_g",
        "growth.hatch_mass_share_of_egg",
        "growth.between_bird_cv",
        "growth.dressed_share",
        "feeding.intake_adult_g_d",
        "feeding.calcium_layer",
        "feeding.water_per_feed",
    ],
)
def test_key_has_a_number(key: str) -> None:
    assert facts.value(key) >= 0


def test_shares_of_embryo_deaths_make_a_whole() -> None:
    shares = [facts.value(f"incubation.death_share_{when}") for when in ("early", "middle", "late")]
    # 10.25, 7.57 and 12.30 % of fertile eggs in the trial behind them.
    deaths = [10.25, 7.57, 12.30]
    assert sum(shares) == pytest.approx(1.0)
    assert shares == pytest.approx([death / sum(deaths) for death in deaths], abs=0.005)


@pytest.mark.parametrize(
    ("mean", "prior"),
    [
        ("incubation.fertility", "incubation.fertility"),
        ("incubation.hatch_of_fertile", "incubation.hatch_of_fertile"),
        ("incubation.hatch_of_set", "incubation.hatch_of_set"),
    ],
)
def test_mean_is_that_of_its_beta_prior(mean: str, prior: str) -> None:
    a, b = facts.value(f"{prior}_beta_a"), facts.value(f"{prior}_beta_b")
    assert facts.value(mean) == pytest.approx(a / (a + b), abs=0.005)

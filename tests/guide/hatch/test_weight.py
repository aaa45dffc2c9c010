"""Shells and hygrometer learnt from weighings, and what to set: against worlds that are known.

Losses are made by `husbandry.egg_water` (itself held to published trials in
tests/husbandry/test_egg_water.py); the statistics are held to scipy and to simulation.
"""

from collections.abc import Sequence

import numpy as np
import pytest
from numpy.random import Generator, default_rng
from scipy import stats  # type: ignore[import-untyped]

from quailwright.guide.hatch.air import Air, Span
from quailwright.guide.hatch.weight import (
    Advice,
    Belief,
    Weighing,
    WeightRecord,
    advise,
    conductance_quantiles,
    learn,
    outlook,
    prior,
)
from quailwright.husbandry import facts
from quailwright.husbandry.egg_water import altitude_factor, loss_pct

STOP = 14.0
CORRIDOR = (10.0, 13.0)
EGGS = 24
GRAMS = 11.0

Stretch = tuple[float, float, float]
"""From a day to a day, the true humidity."""


def air_shown(stretches: Sequence[Stretch], offset: float) -> Air:
    """The log of a hygrometer that shows `offset` points too much."""
    return Air([Span(first, last, 37.5, true + offset) for first, last, true in stretches])


def left(
    stretches: Sequence[Stretch], day: float, shell: float, grams: float, altitude: float
) -> float:
    """Grams left of an egg on a day."""
    lost = sum(
        loss_pct(grams, 37.5, true, first, min(day, last), shell, altitude)
        for first, last, true in stretches
        if first < day
    )
    return grams * (1.0 - lost / 100.0)


def hatch(
    stretches: Sequence[Stretch],
    weighed_on: Sequence[float],
    shell: float = 1.0,
    offset: float = 0.0,
    *,
    name: str = "may",
    machine: str = "box",
    source: str = "friend",
    grams: float = GRAMS,
    altitude: float = 1.0,
    hygrometer: bool = True,
    eggs: int = EGGS,
) -> WeightRecord:
    """A hatch that loses exactly what the physics says."""
    weighings = [
        Weighing(day, eggs, eggs * left(stretches, day, shell, grams, altitude))
        for day in weighed_on
    ]
    air = air_shown(stretches, offset) if hygrometer else Air()
    return WeightRecord(name, machine, frozenset({source}), eggs, weighings, air, altitude)


def steady(true: float, until: float = STOP) -> list[Stretch]:
    return [(0.0, until, true)]


CHANGED: list[Stretch] = [(0.0, 5.0, 80.0), (5.0, 14.0, 20.0)]


def loss_at_stop(record: WeightRecord, belief: Belief, now: float = STOP) -> dict[str, float]:
    shown = record.air.recent_humidity_pct(now)
    return outlook(record, belief, now, STOP, shown).quantiles()


# Known worlds.


@pytest.mark.parametrize("shell", [0.85, 1.0, 1.3, 1.5])
@pytest.mark.parametrize("offset", [-15.0, 0.0, 12.0])
def test_the_loss_is_recovered_whatever_shells_and_hygrometer_are(
    shell: float, offset: float
) -> None:
    record = hatch(steady(50.0), (0, 5, 10, 14), shell, offset)
    told = loss_at_stop(record, learn(record, [], None))
    true = 100.0 * (1.0 - left(steady(50.0), STOP, shell, GRAMS, 1.0) / GRAMS)
    assert told["mean"] == pytest.approx(true, abs=0.15)
    assert told["q05"] < true < told["q95"]
    assert told["q95"] - told["q05"] < 1.5


@pytest.mark.parametrize("shell", [0.85, 1.0, 1.3])
@pytest.mark.parametrize("known", [-15.0, 0.0, 12.0])
def test_a_salt_test_pins_the_hygrometer_and_so_the_shells(shell: float, known: float) -> None:
    record = hatch(steady(50.0), (0, 5, 10, 14), shell, known)
    tested, untested = learn(record, [], known), learn(record, [], None)
    assert tested.offset_pct().mean == pytest.approx(known, abs=2.0)
    assert tested.offset_pct().sd <= 2.0
    assert tested.shell_factor().mean == pytest.approx(shell, rel=0.05)
    assert tested.shell_factor().sd < 0.5 * untested.shell_factor().sd
    scale = 0.432 * GRAMS**0.78  # Ar et al. 1974
    told = conductance_quantiles(record, tested)
    assert told["mean"] == pytest.approx(shell * scale, rel=0.06)


def test_steady_humidity_leaves_shells_and_hygrometer_tied_and_a_change_parts_them() -> None:
    """A change must be great, and the eggs many, for a 1 g scale to part them."""
    tied, parted = (
        learn(hatch(course, (0, 5, 10, 14), 1.0, -10.0, eggs=60), [], None)
        for course in (steady(53.0), CHANGED)
    )
    assert tied.tied() < -0.8
    assert parted.offset_pct().sd < 0.7 * tied.offset_pct().sd
    assert abs(parted.offset_pct().mean + 10.0) < parted.offset_pct().sd


def test_before_any_weighing_it_is_the_prior() -> None:
    record = hatch(steady(45.0), (), 1.0)
    belief = learn(record, [], None)
    assert np.allclose(belief.weights, prior(None, True).weights)
    assert abs(belief.tied()) < 0.01
    told = loss_at_stop(record, belief)
    # Romao et al. 2009, LRRD 21(3): 45 % lies between 36 % (11.96 in 15 d) and 52 % (8.94 in 15 d).
    assert 8.94 * 14 / 15 < told["q50"] < 11.96 * 14 / 15


@pytest.mark.parametrize(("humidity", "lost"), [(36.05, 11.96), (52.25, 8.94), (76.50, 4.89)])
def test_water_loss_romao_2009_from_the_prior_with_a_checked_hygrometer(
    humidity: float, lost: float
) -> None:
    """Romao et al. 2009, LRRD 21(3): per cent in 15 days. Shells may be leakier than the equation
    more easily than denser, so the median lies a little above it."""
    record = hatch(steady(humidity, 15.0), (0,))
    told = outlook(record, learn(record, [], 0.0), 0.0, 15.0, humidity).quantiles()
    assert told["q50"] == pytest.approx(lost, abs=0.6)
    assert told["q10"] < lost < told["q90"]


@pytest.mark.parametrize("grams", [10.0, 11.0, 12.0])
@pytest.mark.parametrize("weighed_on", [(0, 14), (0, 5, 10, 14)])
def test_a_loss_of_6_5_percent_at_a_display_of_45_says_that_it_reads_low(
    grams: float, weighed_on: tuple[float, ...]
) -> None:
    """The equation of Ar et al. 1974 puts such a loss at about 65 % humidity, 20 points above the
    display; denser shells may have a part in it."""
    weighings = [Weighing(day, EGGS, EGGS * grams * (1 - 0.065 * day / 14)) for day in weighed_on]
    air = Air([Span(0.0, 14.0, 37.5, 45.0)])
    record = WeightRecord("may", "box", frozenset({"post"}), EGGS, weighings, air)
    offset = learn(record, [], None).offset_pct()
    assert -25.0 < offset.mean < -12.0
    assert offset.mean - 1.28 * offset.sd < -20.0 < offset.mean + 1.28 * offset.sd


# Weighings as keepers make them.


def test_one_weighing_says_almost_nothing_of_the_shells() -> None:
    for day in (0, 5):
        record = hatch(steady(45.0), (day,), 1.5)
        belief = learn(record, [], None)
        before = prior(None, True)
        assert belief.shell_factor().sd == pytest.approx(before.shell_factor().sd, rel=0.1)
        told = loss_at_stop(record, belief)
        assert told["q90"] - told["q10"] > 3.0


def test_no_weighing_at_setting_still_tells_by_the_later_two() -> None:
    record = hatch(steady(50.0), (5, 10), 1.3)
    told = loss_at_stop(record, learn(record, [], None))
    true = 100.0 * (1.0 - left(steady(50.0), STOP, 1.3, GRAMS, 1.0) / GRAMS)
    assert told["q05"] < true < told["q95"]
    whole = hatch(steady(50.0), (0, 5, 10), 1.3)
    wider = loss_at_stop(whole, learn(whole, [], None))
    assert told["q95"] - told["q05"] > wider["q95"] - wider["q05"]


def test_a_mean_weight_that_was_only_told_counts_for_less() -> None:
    weighed = hatch(steady(50.0), (0, 10), 1.3)
    told = WeightRecord(
        "may", "box", frozenset({"friend"}), EGGS,
        [Weighing(0.0, EGGS, EGGS * GRAMS, 0.05), weighed.weighings[1]], weighed.air,
    )  # fmt: skip
    spreads = [loss_at_stop(r, learn(r, [], None)) for r in (weighed, told)]
    assert spreads[0]["mean"] == pytest.approx(spreads[1]["mean"], abs=0.2)
    assert spreads[0]["q95"] - spreads[0]["q05"] < spreads[1]["q95"] - spreads[1]["q05"]


def test_eggs_taken_out_widen_and_marked_eggs_do_not() -> None:
    """The mean of 24 eggs and that of 18 of them differ by chance; that of 10 marked ones, weighed
    again, does not."""
    means = [left(steady(50.0), day, 1.2, GRAMS, 1.0) for day in (0.0, 10.0)]

    def spread(first: int, second: int) -> float:
        weighings = [
            Weighing(0.0, first, first * means[0]),
            Weighing(10.0, second, second * means[1]),
        ]
        air = air_shown(steady(50.0), 0.0)
        record = WeightRecord("may", "box", frozenset({"friend"}), 24, weighings, air)
        told = loss_at_stop(record, learn(record, [], None))
        return told["q95"] - told["q05"]

    assert spread(24, 18) > 1.2 * spread(24, 24)
    assert spread(24, 6) > spread(24, 18)
    assert spread(10, 10) < spread(24, 18)


def test_altitude_counts_for_eggs_from_the_plain_only() -> None:
    """Juarez-Estrada et al. 2012 lost 14 % in 15 days near 2,240 m, which the altitude explains."""
    high = hatch(steady(43.0), (), altitude=altitude_factor(2240))
    told = outlook(high, learn(high, [], 0.0), 0.0, 15.0, 43.0).quantiles()
    assert told["q10"] < 14.0 < told["q90"]
    low = hatch(steady(43.0), ())
    assert outlook(low, learn(low, [], 0.0), 0.0, 15.0, 43.0).quantiles()["mean"] < 12.0


# Against scipy, and against simulation.


def test_belief_against_sampling_with_scipy() -> None:
    """The same model with continuous priors, by importance sampling and scipy's densities."""
    days, counts = (0.0, 5.0, 10.0), (20, 20, 15)
    means = [left(CHANGED, day, 1.2, 10.5, 1.0) for day in days]
    air = air_shown(CHANGED, -8.0)
    weighings = [Weighing(d, n, n * g) for d, n, g in zip(days, counts, means, strict=True)]
    record = WeightRecord("may", "box", frozenset({"friend"}), 20, weighings, air)
    told = learn(record, [], None)

    rng = default_rng(7)
    draws = 60_000
    down, up = (facts.value(f"egg_water.shell_factor_sd_{way}") for way in ("down", "up"))
    lower = rng.random(draws) < down / (down + up)
    shell = np.where(lower, -1.0, 1.0) * np.abs(rng.normal(0.0, np.where(lower, down, up)))
    offset = rng.normal(0.0, facts.value("egg_water.hygrometer_sd_pct"), draws)
    covariance = np.empty((3, 3))
    noise = (facts.value("egg_water.loss_noise_pct") / 100) ** 2
    for i, (day, n, grams) in enumerate(zip(days, counts, means, strict=True)):
        for j, (other, m) in enumerate(zip(days, counts, strict=True)):
            # Variance of the mean of some drawn from 20 without putting back: s^2 (1/n - 1/20).
            drawn = facts.value("egg_water.egg_mass_cv") ** 2 * (1 / max(n, m) - 1 / 20)
            mass = (facts.value("egg_water.egg_mass_prior_sd_g") / 11.0) ** 2
            covariance[i, j] = mass + drawn + noise * min(day, other)
        covariance[i, i] += (facts.value("egg_water.scale_noise_g") / (n * grams)) ** 2
    torr_days = []
    for day in days:
        parts = [(a, min(day, b), h) for a, b, h in CHANGED if a < day]
        shown = sum((b - a) * loss_pct(10.5, 37.5, min(100.0, h - 8.0), 0, 1) for a, b, h in parts)
        dry = sum(loss_pct(10.5, 37.5, 0.0, a, b) - loss_pct(10.5, 37.5, 0.0, 0, b - a)
                  for a, b, _ in parts)  # fmt: skip
        torr_days.append((shown + dry, sum(b - a for a, b, _ in parts)))
    a_point = loss_pct(10.5, 37.5, 0.0, 0, 1) / 100.0
    expected = np.stack(
        [
            np.log(11.0) + np.log1p(-np.exp(shell) * (lost + offset * a_point * length) / 100.0)
            for lost, length in torr_days
        ],
        axis=1,
    )
    logs = stats.multivariate_normal(np.zeros(3), covariance).logpdf(np.log(means) - expected)
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    assert 1.0 / np.sum(weights**2) > 1000  # enough draws count
    factor = np.exp(shell)
    for values, estimate in ((factor, told.shell_factor()), (offset, told.offset_pct())):
        mean = np.sum(weights * values)
        sd = np.sqrt(np.sum(weights * (values - mean) ** 2))
        assert estimate.mean == pytest.approx(mean, abs=0.15 * sd)
        assert estimate.sd == pytest.approx(sd, rel=0.1)


def simulated(rng: Generator) -> tuple[WeightRecord, float]:
    """A hatch as in a kitchen, and the mean loss of the eggs left at the stop of turning."""
    shell = float(np.exp(rng.normal(0.02, 0.15)))
    offset, true = float(rng.normal(0.0, 12.0)), float(rng.uniform(35.0, 65.0))
    mass = rng.normal(rng.uniform(9.5, 12.5), 0.9, 30)
    own = shell * np.exp(rng.normal(0.0, 0.15, 30))
    alive = np.ones(30, dtype=bool)
    spans, weighings, lost = [], [], np.zeros(30)
    for day in range(14):
        if day in (0, 5, 10):
            grams = float(np.sum((mass * (1 - lost))[alive]))
            weighings.append(Weighing(day, int(alive.sum()), round(grams + rng.normal(0.0, 0.4))))
        if day == 7:
            alive &= rng.random(30) > 0.2
        today = float(np.clip(true + rng.normal(0.0, 3.0), 10.0, 90.0))
        spans.append(Span(day, day + 1, 37.5, today + offset))
        lost += own * loss_pct(11.0, 37.5, today, day, day + 1) / 100.0
    record = WeightRecord("may", "box", frozenset({"friend"}), 30, weighings, Air(spans))
    return record, float(100.0 * np.mean(lost[alive]))


def test_four_of_five_losses_lie_in_the_80_percent_interval() -> None:
    """Simulated hatches weighed on a 1 g scale on days 0, 5 and 10, clear eggs out on day 7."""
    rng = default_rng(20270502)
    held = []
    for _ in range(250):
        record, lost = simulated(rng)
        told = loss_at_stop(record, learn(record, [], None), now=14.0)
        held.append(told["q10"] <= lost <= told["q90"])
    assert 0.72 <= np.mean(held) <= 0.90


# Earlier hatches.


def before(count: int, machine: str = "box", source: str = "friend") -> list[WeightRecord]:
    """Earlier hatches with leaky shells and a hygrometer that reads 12 points low."""
    course, days = steady(57.0), (0, 5, 10, 14)
    return [
        hatch(course, days, 1.3, -12.0, name=f"h{n}", machine=machine, source=source)
        for n in range(count)
    ]


def told_by(earlier: list[WeightRecord], machine: str = "box", source: str = "friend") -> Belief:
    return learn(
        hatch(steady(57.0), (0,), 1.3, -12.0, machine=machine, source=source), earlier, None
    )


def test_earlier_hatches_of_the_same_source_and_machine_tell_of_both() -> None:
    alone = told_by([])
    record = hatch(steady(57.0), (0,), 1.3, -12.0)
    true = 100.0 * (1.0 - left(steady(57.0), STOP, 1.3, GRAMS, 1.0) / GRAMS)
    told = loss_at_stop(record, told_by(before(3)))
    assert told["q50"] == pytest.approx(true, abs=0.5)
    unknowing = loss_at_stop(record, alone)
    assert told["q90"] - told["q10"] < 0.5 * (unknowing["q90"] - unknowing["q10"])
    # What no hatch could tell apart stays tied, and says so.
    assert told_by(before(3)).tied() < -0.7


def test_hatches_that_share_neither_tell_nothing() -> None:
    alone = told_by([])
    other = told_by(before(5, machine="barn", source="hill"))
    assert np.array_equal(alone.weights, other.weights)


def test_the_same_source_elsewhere_tells_of_the_shells_only() -> None:
    record = hatch(CHANGED, (0, 5, 10, 14), 1.3, -12.0, name="h", machine="barn")
    told, alone = told_by([record] * 3), told_by([])
    assert told.shell_factor().sd < 0.8 * alone.shell_factor().sd
    assert told.shell_factor().mean > alone.shell_factor().mean + 0.05
    assert told.offset_pct().mean == pytest.approx(alone.offset_pct().mean, abs=0.5)
    assert told.offset_pct().sd == pytest.approx(alone.offset_pct().sd, rel=0.02)


def test_the_same_machine_with_other_eggs_tells_of_the_hygrometer_only() -> None:
    record = hatch(CHANGED, (0, 5, 10, 14), 1.3, -12.0, name="h", source="hill")
    told, alone = told_by([record] * 3), told_by([])
    assert told.offset_pct().sd < 0.6 * alone.offset_pct().sd
    assert told.offset_pct().mean < alone.offset_pct().mean - 4
    assert told.shell_factor().mean == pytest.approx(alone.shell_factor().mean, abs=0.01)


def test_a_hygrometer_of_another_name_is_another_one() -> None:
    record = hatch(CHANGED, (0, 5, 10, 14), 1.3, -12.0, name="h", source="hill")
    renamed = WeightRecord(
        "h", "box", record.sources, EGGS, record.weighings,
        Air(record.air.spans, hygrometer="new one"),
    )  # fmt: skip
    assert np.array_equal(told_by([renamed]).weights, told_by([]).weights)


def test_thirty_hatches_of_a_source_do_not_pin_the_next_one() -> None:
    """Hatches of a source differ from each other: their number tells of its mean alone."""
    records = [
        hatch(CHANGED, (0, 5, 10, 14), 1.3, 0.0, name=f"h{n}", machine=f"m{n}") for n in range(30)
    ]
    told = learn(hatch(steady(50.0), (0,), 1.3), records, 0.0).shell_factor()
    between = facts.value("egg_water.shell_factor_sd_between")
    assert told.mean == pytest.approx(1.3, abs=0.06)
    assert told.sd > 0.8 * between * told.mean


def test_one_earlier_hatch_tells_of_the_next_one_with_the_spread_of_two() -> None:
    """Both differ from the mean of their source: sd of the second, given the first, by hand."""
    record = hatch(CHANGED, (0, 5, 10, 14), 1.0, 0.0, name="h", machine="barn", eggs=60)
    told = learn(hatch(steady(50.0), (0,)), [record], 0.0).shell_factor()
    between = facts.value("egg_water.shell_factor_sd_between")
    before = facts.value("egg_water.shell_factor_sd_down")
    mean = (1 / before**2 + 1 / between**2) ** -0.5
    assert told.sd > float(np.hypot(mean, between))


def test_other_eggs_of_one_source_do_not_make_the_hygrometer_certain() -> None:
    """Twenty hatches of one other source at a steady humidity share their shells: were those
    denser, the hygrometer would seem to read low in all of them."""
    one, many = (told_by(before(count, source="hill")).offset_pct() for count in (1, 20))
    assert many.sd > 0.7 * one.sd


# What to set.


def advice(
    record: WeightRecord,
    now: float,
    known: float | None = None,
    corridor: tuple[float, float] = CORRIDOR,
) -> Advice:
    return advise(record, learn(record, [], known, any_shell=True), now, STOP, corridor)


def day5(lost: float, shown: float = 45.0, until: float = 5.0) -> WeightRecord:
    """A loss in five days at a steady display."""
    weighings = [Weighing(0.0, EGGS, 264.0), Weighing(5.0, EGGS, 264.0 * (1 - lost / 100))]
    air = Air([Span(0.0, until, 37.5, shown)])
    return WeightRecord("may", "box", frozenset({"friend"}), EGGS, weighings, air)


def test_the_more_was_lost_the_damper_the_advice() -> None:
    settings = [advice(day5(lost), 5.0).shown_pct for lost in (2.5, 3.0, 3.5, 4.0, 4.5, 5.0, 6.0)]
    assert settings == sorted(settings)
    assert settings[0] < 20 < 60 < settings[-1]


def test_a_hatch_on_its_way_is_left_alone() -> None:
    told = advice(day5(4.1), 5.0)
    assert told.leave_it
    assert told.shown_pct == 45.0
    assert told.chance == told.chance_as_now > 0.7


def test_advice_on_the_instruments_own_scale() -> None:
    """Two hygrometers 30 points apart over the same air: so are the settings, and not the air."""
    low, high = day5(3.0, shown=30.0), day5(3.0, shown=60.0)
    tested = advice(low, 5.0, -15.0), advice(high, 5.0, 15.0)
    assert tested[1].shown_pct - tested[0].shown_pct == pytest.approx(30.0, abs=2.0)
    assert tested[1].true_pct == pytest.approx(tested[0].true_pct, abs=2.0)


def test_a_setting_does_what_it_says() -> None:
    """With a tested hygrometer, the physics at the advised humidity lands in the corridor."""
    for shell in (0.9, 1.0, 1.2):
        record = hatch(steady(50.0, 5.0), (0, 5), shell)
        told = advice(record, 5.0, 0.0)
        course = [(0.0, 5.0, 50.0), (5.0, 14.0, told.true_pct)]
        lost = 100.0 * (1.0 - left(course, STOP, shell, GRAMS, 1.0) / GRAMS)
        assert CORRIDOR[0] <= lost <= CORRIDOR[1]


def test_weighing_again_helps_until_there_is_nothing_left_to_weigh() -> None:
    early, late = advice(day5(3.5), 5.0), advice(day5(3.5, until=11.0), 11.0)
    assert (early.weigh_on, late.weigh_on) == (10.0, None)
    assert early.chance_if_weighed >= early.chance
    assert late.chance_if_weighed == late.chance


def test_what_no_setting_reaches_is_brought_as_near_as_may_be() -> None:
    dry, wet = (
        WeightRecord(
            "may", "box", frozenset({"friend"}), EGGS,
            [Weighing(5 * n, EGGS, 264 * (1 - lost)) for n, lost in enumerate((0.0, a, b))],
            Air([Span(0.0, 10.0, 37.5, 45.0)]),
        )
        for a, b in ((0.07, 0.14), (0.015, 0.03))
    )  # fmt: skip
    damped, dried = advice(dry, 10.0), advice(wet, 10.0)
    assert damped.chance < 0.05
    assert damped.shown_pct > 80
    assert dried.chance < 0.05
    assert dried.shown_pct < 15
    assert not damped.leave_it
    assert not dried.leave_it


def test_nothing_to_set_at_the_very_end_is_left_as_it_is() -> None:
    told = advice(day5(2.0, until=14.0), 13.99)
    assert told.leave_it
    assert told.chance < 0.01


def test_chances_are_told_by_the_belief_that_is_given() -> None:
    record = day5(3.5)
    told = learn(record, [], None)
    any_shell = learn(record, [], None, any_shell=True)
    given = advise(record, any_shell, 5.0, STOP, CORRIDOR, told)
    assert given.true_pct == pytest.approx(given.shown_pct - told.offset_pct().mean)
    then = outlook(record, told, 5.0, STOP, given.shown_pct)
    assert given.chance == pytest.approx(then.chance(*CORRIDOR))


# The ends of the grid.


@pytest.mark.parametrize(
    ("first", "second", "shown", "known"),
    [
        (264.0, 264.0, 45.0, None),
        (264.0, 30.0, 45.0, None),
        (264.0, 250.0, 1.0, None),
        (264.0, 250.0, 105.0, None),
        (264.0, 150.0, 99.0, -60.0),
        (264.0, 263.9, 0.0, 60.0),
        (24.0, 23.0, 45.0, None),
        (9000.0, 8500.0, 45.0, None),
        (264.0, 300.0, 45.0, None),
    ],
)
def test_data_beyond_belief_break_nothing(
    first: float, second: float, shown: float, known: float | None
) -> None:
    weighings = [Weighing(0.0, EGGS, first), Weighing(5.0, EGGS, second)]
    record = WeightRecord(
        "may", "box", frozenset({"friend"}), EGGS, weighings, Air([Span(0.0, 5.0, 37.5, shown)])
    )
    belief = learn(record, [record], known)
    assert belief.weights.sum() == pytest.approx(1.0)
    told = loss_at_stop(record, belief, now=5.0)
    quantiles = [told[name] for name in ("q05", "q10", "q25", "q50", "q75", "q90", "q95")]
    assert np.isfinite(quantiles).all()
    assert quantiles == sorted(quantiles)
    advised = advice(record, 5.0, known)
    assert 0 <= advised.shown_pct <= 105
    assert 0 <= advised.true_pct <= 100
    assert 0 <= advised.chance <= 1


def test_one_egg_and_many_weighings_of_a_day() -> None:
    weighings = [Weighing(0.0, 1, 11.0), Weighing(0.0, 1, 11.0), Weighing(5.0, 1, 11.0)]
    record = WeightRecord("may", "box", frozenset({"friend"}), 1, weighings, Air())
    assert np.isfinite(loss_at_stop(record, learn(record, [], None), now=5.0)["mean"])


def test_the_same_record_gives_the_same_answer() -> None:
    first, second = (advice(day5(3.5), 5.0) for _ in range(2))
    assert first == second

"""What is to be said of one hatch: dates, weight loss, what to set, window, evidence."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from quailwright.flock.state import Flock, Hatch
from quailwright.guide.hatch import records, weight
from quailwright.guide.hatch.air import Air
from quailwright.guide.hatch.case import Estimate, HatchCase
from quailwright.guide.hatch.causes import PostMortem, post_mortem
from quailwright.guide.hatch.records import Airs, air_of, days_from_setting
from quailwright.guide.hatch.result import HatchResult, result
from quailwright.guide.hatch.weight import Advice, WeightRecord
from quailwright.guide.hatch.window import (
    TimeRecord,
    Window,
    expected_hours,
    machine_habit,
    mean_spread_h,
    window,
)
from quailwright.guide.occasions import elapsed, ends
from quailwright.guide.round import Step, hatch_steps, units_of
from quailwright.husbandry import facts
from quailwright.husbandry.incubation import outage_delay_h
from quailwright.husbandry.proportion import Pooled, Record, pool

_HOUR = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class LossPoint:
    """A weighing: the loss since setting, % of the mean mass at the first weighing."""

    day: float
    loss_pct: float
    eggs: int


@dataclass(frozen=True, slots=True)
class WeightLoss:
    """Weight loss of a hatch; quantiles are of what is believed, not of single eggs.

    Attributes:
        points: the weighings.
        rate_pct_per_day: mean rate from setting until now.
        loss_at_stop_pct: loss by the stop of turning if the machine runs on as it does.
        corridor_pct: the loss to aim for.
        advice: what to set, or None when turning has stopped.
        display_known: whether humidity was logged, so that the instrument's own scale is known.
        conductance_mg_day_torr: of these eggs' shells, at sea level.
        shell_factor, offset_pct: what is believed of shells and hygrometer.
        tied: how far the two cannot be told apart yet, -1 to 1.
        chance_in_corridor: chance of landing in the corridor if nothing is changed.
        stop_day: day on which turning stops.
    """

    points: list[LossPoint]
    rate_pct_per_day: dict[str, float]
    loss_at_stop_pct: dict[str, float]
    corridor_pct: tuple[float, float]
    advice: Advice | None
    display_known: bool
    conductance_mg_day_torr: dict[str, float]
    shell_factor: Estimate
    offset_pct: Estimate
    tied: float
    chance_in_corridor: float
    stop_day: float


@dataclass(frozen=True, slots=True)
class HatchReport:
    """One hatch, as of a moment."""

    hatch: Hatch
    now: datetime
    day: float
    stop_day: float
    steps: list[Step]
    weight: WeightLoss
    window: Window
    likely_chicks: float
    give_up_at: datetime
    case: HatchCase
    result: HatchResult | None
    usual: Pooled
    post_mortem: PostMortem | None
    said: list[str]


def hatch_report(flock: Flock, hatch: Hatch, airs: Airs, now: datetime) -> HatchReport:
    """What is to be said of a hatch. `flock` is folded up to `now`; `airs` likewise."""
    day = max(0.0, days_from_setting(hatch, now))
    air = air_of(airs, hatch)
    before = records.earlier_hatches(flock, hatch)
    loss, record = _weight_loss(flock, hatch, airs, day, before)
    time = records.time_record(flock, hatch, air)
    earlier = [records.time_record(flock, other, air_of(airs, other)) for other in before]
    expected = window(time, earlier, day)
    case = _case(flock, hatch, airs, loss)
    usual = _usual_hatch_of_set(before, hatch)
    chicks = _likely_chicks(hatch, usual)
    give_up = expected.last_of(chicks) + timedelta(
        hours=facts.value("incubation.wait_after_last_h") + expected.mean_sd_h
    )
    said = [
        *_of_instruments(loss, len(record.weighings) > 1, case.offset_checked),
        *_of_time(time, earlier, day),
        *_of_gaps(air, min(day, days_from_setting(hatch, ends(hatch)))),
    ]
    return HatchReport(
        hatch,
        now,
        day,
        records.stop_day(hatch),
        hatch_steps(flock, hatch, now.date()),
        loss,
        expected,
        chicks,
        give_up,
        case,
        result(case),
        usual,
        post_mortem(case, usual, units_of(flock)),
        said,
    )


def _usual_hatch_of_set(before: Sequence[Hatch], hatch: Hatch) -> Pooled:
    """Usual hatch of set of such eggs, by earlier hatches and published figures."""
    closed = [other for other in before if other.closed_at is not None]
    kept = [Record(_source(o), o.hatched, o.eggs_set + o.found) for o in closed]
    published = (
        facts.value("incubation.hatch_of_set_beta_a"),
        facts.value("incubation.hatch_of_set_beta_b"),
    )
    pooled = pool(kept, published, facts.value("incubation.batch_icc"))
    return pooled.sources.get(_source(hatch), pooled.new_source)


def _source(hatch: Hatch) -> str:
    return ", ".join(sorted(records.sources_of(hatch)))


def _weight_loss(
    flock: Flock, hatch: Hatch, airs: Airs, day: float, before: Sequence[Hatch]
) -> tuple[WeightLoss, WeightRecord]:
    record = records.weight_record(flock, hatch, air_of(airs, hatch))
    earlier = [records.weight_record(flock, other, air_of(airs, other)) for other in before]
    instrument = records.instrument_at(flock, hatch.set_in)
    known = instrument.humidity_offset_pct if instrument is not None else None
    belief = weight.learn(record, earlier, known)
    for_advice = weight.learn(record, earlier, known, any_shell=True)
    stop = records.stop_day(hatch)
    corridor = records.corridor()
    as_now = record.air.recent_humidity_pct(min(day, stop))
    at_stop = weight.outlook(record, belief, min(day, stop), stop, as_now)
    turning = hatch.turning_stopped_at is None and hatch.closed_at is None and day < stop
    until = min(max(day, 1.0), stop)
    so_far = weight.outlook(record, belief, min(day, until), until, as_now)
    return (
        WeightLoss(
            _points(record),
            {name: value / until for name, value in so_far.quantiles().items()},
            at_stop.quantiles(),
            corridor,
            weight.advise(record, for_advice, day, stop, corridor) if turning else None,
            record.air.has_humidity,
            weight.conductance_quantiles(record, belief),
            belief.shell_factor(),
            belief.offset_pct(),
            belief.tied(),
            at_stop.chance(*corridor),
            stop,
        ),
        record,
    )


def _points(record: WeightRecord) -> list[LossPoint]:
    if not record.weighings:
        return []
    first = record.weighings[0]
    start = first.total_g / first.eggs
    return [
        LossPoint(w.day, 100.0 * (1.0 - w.total_g / w.eggs / start), w.eggs)
        for w in record.weighings
    ]


def _case(flock: Flock, hatch: Hatch, airs: Airs, loss: WeightLoss | None) -> HatchCase:
    """A hatch as evidence, with what its own weighings and times say."""
    air = air_of(airs, hatch)
    end_day = days_from_setting(hatch, ends(hatch))
    if loss is None:
        loss, _ = _weight_loss(flock, hatch, airs, end_day, ())
    quantiles = loss.loss_at_stop_pct
    weighed = len(loss.points) > 1
    believed = Estimate(quantiles["mean"], _spread(quantiles)) if weighed else None
    told = weighed and loss.display_known
    return records.hatch_case(
        flock,
        hatch,
        air,
        believed,
        loss.offset_pct if told else None,
        _hours_late(flock, hatch, air),
        records.clashes(flock, hatch),
    )


def _spread(quantiles: dict[str, float]) -> float:
    """Standard deviation of a normal with these 5 and 95 % quantiles."""
    return (quantiles["q95"] - quantiles["q05"]) / _FROM_5_TO_95_PCT


_FROM_5_TO_95_PCT = 3.2897


def _hours_late(flock: Flock, hatch: Hatch, air: Air) -> Estimate | None:
    """Mean time of the chicks logged against what the logged temperature makes expect."""
    time = records.time_record(flock, hatch, air)
    if time.hatched_hours is None:
        return None
    days = time.hatched_hours / _HOURS_A_DAY
    return Estimate(time.hatched_hours - expected_hours(time, days), mean_spread_h(time, days))


_HOURS_A_DAY = 24.0


def _likely_chicks(hatch: Hatch, usual: Pooled) -> float:
    """Chicks to expect: those out already, or the usual share of the eggs that are left."""
    if hatch.closed_at is not None or hatch.hatched:
        return float(max(1, hatch.hatched))
    if hatch.candled:
        return max(1.0, hatch.alive * facts.value("incubation.hatch_of_fertile"))
    return max(1.0, hatch.alive * usual.mean)


# What is to be said in words.


def _of_instruments(loss: WeightLoss, weighed: bool, checked: bool) -> list[str]:
    said = []
    offset = loss.offset_pct
    if loss.display_known and weighed and abs(offset.mean) > _SURE * offset.sd:
        low, high = abs(offset.mean) - offset.sd, abs(offset.mean) + offset.sd
        way = "low" if offset.mean < 0 else "high"
        said.append(
            f"By the weighings the hygrometer reads {way} by about {abs(offset.mean):.0f} points "
            f"(likely {max(0.0, low):.0f} to {high:.0f}): when it shows 45 %, the air is nearer "
            f"{45 - offset.mean:.0f} %."
        )
    if not checked and loss.display_known and offset.sd > _UNSURE_POINTS:
        shells = "dense" if offset.mean < 0 else "open"
        tied = weighed and loss.tied < -_TIED
        why = (
            f"{shells} shells would look the same in these weighings" if tied else "it is unchecked"
        )
        said.append(
            f"How far the hygrometer is off is not settled: {why}. A salt test (75 % over wet "
            "table salt) or a second, checked instrument would tell; log it as an `instrument`."
        )
    if not weighed:
        said.append("Two weighings tell more than any hygrometer: weigh at setting, days 5 and 10.")
    return said


_SURE = 1.3
_UNSURE_POINTS = 5.0
_TIED = 0.5


def _of_time(time: TimeRecord, earlier: Sequence[TimeRecord], day: float) -> list[str]:
    said = []
    habit = machine_habit(earlier, time.machine, time.thermometer_checked)
    hatches = sum(1 for r in earlier if r.machine == time.machine and r.hatched_hours is not None)
    if hatches >= _HABIT_FROM and abs(habit.mean) > 2.0 * habit.sd:
        way, why = ("early", "hot") if habit.mean < 0 else ("late", "cool")
        said.append(
            f"{time.machine} has hatched about {abs(habit.mean):.0f} h {way} in {hatches} hatches: "
            f"it most likely runs {why}. Check its thermometer against a clinical one."
        )
    for outage in time.outages:
        delay = outage_delay_h(outage.hours, outage.lowest_c)
        said.append(
            f"Outage of {outage.hours:g} h on day {outage.day:.0f}: about {delay:.0f} h later. "
            f"{_cost_of_outage(outage.hours)} Do not throw eggs out yet: candle again in "
            f"{facts.figure('incubation.recandle_after_outage_d').low:g} to "
            f"{facts.figure('incubation.recandle_after_outage_d').high:g} days."
        )
    return said


_HABIT_FROM = 2


def _cost_of_outage(hours: float) -> str:
    long_outage = facts.rows("incubation.outage_survived_h")[1]
    if hours * 2 < (long_outage.value or hours):
        return "Embryos bear short cooling well."
    return f"What is known: {long_outage.conditions} ({long_outage.source})."


def _of_gaps(air: Air, until_day: float) -> list[str]:
    if not air.spans:
        return []
    gap = air.longest_gap_h(until_day)
    if gap <= _GAP_TOLD_H:
        return []
    return [
        f"No reading for up to {gap:.0f} h: the window is wider for it. A gap is not taken as fine."
    ]


_GAP_TOLD_H = 12.0


def step_times(report: HatchReport) -> dict[str, datetime]:
    """The dates of a hatch by name: turning stop, first chick, pull-out, when to stop waiting."""
    first = report.window.first_of(report.likely_chicks)["q50"]
    return {
        "stop_turning": elapsed(report.hatch.set_at, report.stop_day),
        "first_pip": first - timedelta(hours=facts.value("incubation.pip_before_hatch_h")),
        "first_chick": first,
        "pull_out": report.window.last_of(report.likely_chicks),
        "stop_waiting": report.give_up_at,
    }

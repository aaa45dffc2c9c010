"""What is to be said of one hatch: dates, weight loss, what to set, window, evidence."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import pairwise
from math import hypot

from quailwright.flock.state import Flock, Hatch
from quailwright.guide import wording
from quailwright.guide.hatch import records, weight
from quailwright.guide.hatch.air import Air
from quailwright.guide.hatch.case import Estimate, HatchCase
from quailwright.guide.hatch.causes import PostMortem, post_mortem
from quailwright.guide.hatch.records import Airs, air_of, days_from_setting
from quailwright.guide.hatch.result import HatchResult, result
from quailwright.guide.hatch.weight import Advice, Weighing, WeightRecord
from quailwright.guide.hatch.window import (
    HeatLoss,
    TimeRecord,
    Window,
    beyond_habit,
    later,
    machine_habit,
    mean_spread_h,
    whole_minutes,
    window,
)
from quailwright.guide.occasions import ends, misdated_hatchings, misdated_words, turns_until
from quailwright.guide.round import Step, hatch_steps, units_of
from quailwright.husbandry import facts
from quailwright.husbandry.egg_water import loss_pct, storage_loss_pct, wet_bulb_c
from quailwright.husbandry.incubation import outage_delay_h
from quailwright.husbandry.proportion import Pooled, Record, pool
from quailwright.journal.entries import Units
from quailwright.language import mark, say, say_many


@dataclass(frozen=True, slots=True)
class LossPoint:
    """A weighing: the loss since setting, % of the mass when set.

    Where the first weighing came later, the loss up to it is not weighed but reckoned.
    """

    day: float
    loss_pct: float
    eggs: int


@dataclass(frozen=True, slots=True)
class WeightLoss:
    """Weight loss of a hatch; quantiles are of what is believed, not of single eggs.

    Attributes:
        points: the weighings.
        rate_pct_per_day: mean rate from setting until now, or until the stop of turning.
        loss_at_stop_pct: loss by the stop of turning if the machine runs on as it does.
        corridor_pct: the loss to aim for.
        advice: what to set, or None when turning has stopped.
        display_known: whether humidity was logged, so that the instrument's own scale is known.
        conductance_mg_day_torr: of these eggs' shells, at sea level.
        shell_factor, offset_pct: what is believed of shells and hygrometer.
        tied: how far the two cannot be told apart yet, -1 to 1.
        chance_in_corridor: chance of landing in the corridor if nothing is changed.
        stop_day: day on which turning stops.
        beyond_reach: whether no setting brings it into the corridor any more.
        wet_bulb_c: what a wet-bulb thermometer shows at the humidity advised; None without advice,
            or in a machine that is not warm.
        weighed_at_setting: whether the first of `points` is of the eggs as set.
        doubt: why the weighings cannot be, or "". Then nothing is advised or learnt from them, and
            the quantiles are those of eggs that nobody weighed.
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
    beyond_reach: bool
    wet_bulb_c: float | None
    weighed_at_setting: bool
    doubt: str


@dataclass(frozen=True, slots=True)
class HatchReport:
    """One hatch, as of a moment.

    `give_up_at` is when to stop waiting and open what is left, by the window and by the rule of
    care, whichever is later. `wait_is_over` says that it has come and the hatch is not closed.
    """

    hatch: Hatch
    now: datetime
    day: float
    stop_day: float
    steps: list[Step]
    weight: WeightLoss
    window: Window
    likely_chicks: float
    give_up_at: datetime
    wait_is_over: bool
    case: HatchCase
    result: HatchResult | None
    usual: Pooled
    post_mortem: PostMortem | None
    how: list[str]
    said: list[str]


def hatch_report(flock: Flock, hatch: Hatch, airs: Airs, now: datetime) -> HatchReport:
    """What is to be said of a hatch. `flock` is folded up to `now`; `airs` likewise."""
    day = max(0.0, days_from_setting(hatch, now))
    air = air_of(airs, hatch)
    telling = records.telling_hatches(flock, hatch)
    loss, record = _weight_loss(flock, hatch, airs, day, telling)
    time = records.time_record(flock, hatch, air)
    earlier = [records.time_record(flock, other, air_of(airs, other)) for other in telling]
    expected = window(time, earlier, day)
    usual = _usual_hatch_of_set(records.earlier_hatches(flock, hatch), hatch)
    chicks = _likely_chicks(hatch, usual)
    steps = hatch_steps(flock, hatch, now.date())
    give_up = _stop_waiting_at(expected, chicks, steps)
    wait_is_over = hatch.closed_at is None and now >= give_up
    if wait_is_over:
        chicks = float(hatch.hatched)
    case = _case(flock, hatch, air, loss, time, not wait_is_over)
    units = units_of(flock)
    over = hatch.closed_at is not None or now >= ends(hatch)
    said = [
        *([_wait_is_over(hatch, give_up)] if wait_is_over else []),
        *_of_counts(hatch),
        *_of_dates(hatch, time),
        *_of_instruments(loss, record, case.offset_checked),
        *_of_storage(case, units),
        *_of_habit(time, earlier),
        *([] if over else _of_outages(time, day, units)),
        *([] if over else _of_gaps(air, day)),
        *([] if over or wait_is_over else _of_lateness(steps, give_up)),
    ]
    return HatchReport(
        hatch,
        now,
        day,
        records.stop_day(hatch),
        _opened_at(steps, give_up),
        loss,
        expected,
        chicks,
        give_up,
        wait_is_over,
        case,
        result(case),
        usual,
        post_mortem(case, usual, units),
        how_to(loss, units),
        said,
    )


_OPENING = "open_eggs"


def _stop_waiting_at(expected: Window, chicks: float, steps: Sequence[Step]) -> datetime:
    """When no more is to be awaited: never before the rule of care has the eggs opened."""
    by_window = later(
        expected.last_of(chicks),
        facts.value("incubation.wait_after_last_h") + expected.mean_sd_h,
    )
    return whole_minutes(max([by_window, *(step.at for step in steps if step.rule == _OPENING)]))


def _opened_at(steps: Sequence[Step], give_up: datetime) -> list[Step]:
    """The steps, with the opening of the eggs when the wait is over."""
    moved = [replace(step, at=give_up) if step.rule == _OPENING else step for step in steps]
    return sorted(moved, key=lambda step: step.at)


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
    weighed = records.weight_record(flock, hatch, air_of(airs, hatch))
    doubt = _of_weighings(weighed)
    record = replace(weighed, weighings=[]) if doubt else weighed
    others = [records.weight_record(flock, other, air_of(airs, other)) for other in before]
    earlier = [other for other in others if not _of_weighings(other)]
    known = record.air.humidity_offset_pct
    belief = weight.learn(record, earlier, known)
    for_advice = weight.learn(record, earlier, known, any_shell=True)
    stop = records.stop_day(hatch)
    corridor = records.corridor()
    as_now = record.air.recent_humidity_pct(min(day, stop))
    at_stop = weight.outlook(record, belief, min(day, stop), stop, as_now)
    turning = hatch.turning_stopped_at is None and hatch.closed_at is None and day < stop
    advising = turning and not doubt
    until = min(max(day, 1.0), stop)
    so_far = weight.outlook(record, belief, min(day, until), until, as_now)
    advice = weight.advise(record, for_advice, day, stop, corridor, belief) if advising else None
    return (
        WeightLoss(
            _points(weighed, belief),
            {name: value / until for name, value in so_far.quantiles().items()},
            at_stop.quantiles(),
            corridor,
            advice,
            record.air.has_humidity,
            weight.conductance_quantiles(record, belief),
            belief.shell_factor(),
            belief.offset_pct(),
            belief.tied(),
            at_stop.chance(*corridor),
            stop,
            advice is not None and max(advice.chance, advice.chance_if_weighed) < _BEYOND_REACH,
            _wet_bulb_c(record.air, advice) if advice is not None else None,
            bool(weighed.weighings) and weighed.weighings[0].day <= records.AT_SETTING_DAYS,
            doubt,
        ),
        record,
    )


_BEYOND_REACH = 0.05


def _wet_bulb_c(air: Air, advice: Advice) -> float | None:
    warm = facts.figure("sensors.unit_machine")
    if not (warm.low or 0.0) <= air.usual_c <= (warm.high or 0.0):
        return None
    return wet_bulb_c(air.usual_c, max(1.0, advice.true_pct))


def _points(record: WeightRecord, belief: weight.Belief) -> list[LossPoint]:
    if not record.weighings:
        return []
    first = record.weighings[0]
    before = 0.0
    if first.day > 0:
        shown = record.air.recent_humidity_pct(first.day)
        before = weight.outlook(record, belief, first.day, first.day, shown).quantiles()["mean"]
    start = first.total_g / first.eggs / (1.0 - before / 100.0)
    return [
        LossPoint(w.day, 100.0 * (1.0 - w.total_g / w.eggs / start), w.eggs)
        for w in record.weighings
    ]


def _case(
    flock: Flock, hatch: Hatch, air: Air, loss: WeightLoss, time: TimeRecord, awaited: bool
) -> HatchCase:
    """A hatch as evidence, with what its own weighings and times say."""
    quantiles = loss.loss_at_stop_pct
    weighed = len(loss.points) > 1 and not loss.doubt
    believed = Estimate(quantiles["mean"], _spread(quantiles)) if weighed else None
    told = weighed and loss.display_known
    return records.hatch_case(
        flock,
        hatch,
        air,
        believed,
        loss.offset_pct if told else None,
        _hours_late(time),
        records.clashes(flock, hatch),
        awaited,
    )


def _spread(quantiles: dict[str, float]) -> float:
    """Standard deviation of a normal with these 5 and 95 % quantiles."""
    return (quantiles["q95"] - quantiles["q05"]) / _FROM_5_TO_95_PCT


_FROM_5_TO_95_PCT = 3.2897


def _hours_late(time: TimeRecord) -> Estimate | None:
    """Mean time of the chicks logged against what the logged temperature makes expect."""
    if time.hatched_hours is None:
        return None
    spread = mean_spread_h(time, time.hatched_hours / _HOURS_A_DAY)
    return Estimate(time.hatched_hours - time.hours_at_hatching, spread)


_HOURS_A_DAY = 24.0


def _likely_chicks(hatch: Hatch, usual: Pooled) -> float:
    """Chicks that came, of a closed hatch; else the usual share of the eggs that may still hatch.

    Once clear eggs are out, the rest do better by as much as fertile eggs do than eggs set.
    """
    if hatch.closed_at is not None:
        return float(hatch.hatched)
    share = usual.mean
    if hatch.candled:
        of_fertile, of_set = (
            facts.value(f"incubation.hatch_of_{eggs}") for eggs in ("fertile", "set")
        )
        share = min(1.0, share * of_fertile / of_set)
    return max(float(hatch.hatched), share * (max(0, hatch.alive) + hatch.hatched))


# What is to be said in words.


def _wait_is_over(hatch: Hatch, give_up: datetime) -> str:
    left = max(0, hatch.alive - hatch.opened.total())
    over = wording.clock(give_up)
    if not left:
        return say(
            "The wait was over on {when}: nothing more will come. Now log hatch_closed.", when=over
        )
    return say_many(
        "The wait was over on {when}: nothing more will come. Now open the {n} egg that did not "
        "hatch and log eggs_opened, then log hatch_closed.",
        "The wait was over on {when}: nothing more will come. Now open the {n} eggs that did not "
        "hatch and log eggs_opened, then log hatch_closed.",
        left,
        when=over,
    )


def _of_counts(hatch: Hatch) -> list[str]:
    """Whether more eggs are accounted for than were set."""
    if hatch.found <= 0:
        return []
    return [
        say(
            "The record does not add up: {told} eggs are accounted for, {set} were set. The shares "
            "below count {told}; mend the wrong entry.",
            told=hatch.eggs_set + hatch.found,
            set=hatch.eggs_set,
        )
    ]


def _of_dates(hatch: Hatch, time: TimeRecord) -> list[str]:
    """Whether chicks can have come when they were logged."""
    misdated = [
        say(
            "Chicks logged on day {day} of {hatch}; Coturnix hatch on day {first} to {last}: mend "
            "the date. No forecast learns from it.",
            **misdated_words(hatch, at),
        )
        for at in misdated_hatchings(hatch)
    ]
    if not beyond_habit(time):
        return misdated
    late = (time.hatched_hours or 0.0) - time.hours_at_hatching
    text = _FAR_LATE if late > 0 else _FAR_EARLY
    return [*misdated, say(text, hours=abs(late))]


_FAR_LATE = mark(
    "The chicks came {hours:.0f} h late against what was read, more than any machine's habit: no "
    "forecast learns from it. Look at the dates, and at the thermometer."
)
_FAR_EARLY = mark(
    "The chicks came {hours:.0f} h early against what was read, more than any machine's habit: no "
    "forecast learns from it. Look at the dates, and at the thermometer."
)


def _of_weighings(record: WeightRecord) -> str:
    """Why the weights cannot be, or "": eggs lose only so fast, and never nothing for days."""
    for before, after in pairwise(record.weighings):
        grams = before.total_g / before.eggs
        lost = 100.0 * (1.0 - after.total_g / after.eggs / grams)
        fewer = max(0.0, 1.0 / min(before.eggs, after.eggs) - 1.0 / max(before.eggs, after.eggs))
        chosen = 100.0 * facts.value("egg_water.egg_mass_cv") * _BEYOND_CHANCE * fewer**0.5
        most = _could_lose(record, before, after, 0.0, "open")
        if lost > most + chosen + _ROUNDING_PCT:
            return say(
                "From day {first:.0f} to day {last:.0f} the mean egg lost {lost:.0f} %; no shell "
                "loses more than about {most:.0f} %. Was a tray weighed with them once, or the "
                "eggs miscounted? Until that is mended nothing is advised, and nothing is learnt "
                "from these weights.",
                first=before.day,
                last=after.day,
                lost=lost,
                most=most,
            )
        ordinary, dampest = (
            _could_lose(record, before, after, humidity_pct, "dense")
            for humidity_pct in (
                facts.value("egg_water.room_dampest_pct"),
                facts.figure("egg_water.room_dampest_pct").high or 100.0,
            )
        )
        unsure = chosen + _LIKELY_NOISE * _weighing_noise_pct(before, after)
        if lost < dampest - unsure or (lost <= 0.0 and ordinary > unsure):
            text = _LOST_NOTHING if lost < _LEAST_TOLD_PCT else _LOST_LITTLE
            return say(
                text,
                first=before.day,
                last=after.day,
                lost=lost,
                ordinary=ordinary,
            )
    return ""


_LOST_NOTHING = mark(
    "From day {first:.0f} to day {last:.0f} the mean egg lost nothing; even dense shells in damp "
    "air lose about {ordinary:.1f} %. Was the same weight typed twice, or a tray weighed with "
    "them? Until that is mended nothing is advised, and nothing is learnt from these weights."
)
_LOST_LITTLE = mark(
    "From day {first:.0f} to day {last:.0f} the mean egg lost only {lost:.1f} %; even dense shells "
    "in damp air lose about {ordinary:.1f} %. Was the same weight typed twice, or a tray weighed "
    "with them? Until that is mended nothing is advised, and nothing is learnt from these weights."
)
_BEYOND_CHANCE = 4.0
_LIKELY_NOISE = 2.0
_LEAST_TOLD_PCT = 0.05
_ROUNDING_PCT = 1.0


def _could_lose(
    record: WeightRecord, before: Weighing, after: Weighing, humidity_pct: float, shells: str
) -> float:
    """What eggs of open or of dense shells lose between two weighings at that humidity, %."""
    factor = facts.figure("egg_water.shell_factor")
    return record.altitude * loss_pct(
        before.total_g / before.eggs,
        record.air.usual_c,
        humidity_pct,
        before.day,
        after.day,
        (factor.high if shells == "open" else factor.low) or 1.0,
    )


def _weighing_noise_pct(before: Weighing, after: Weighing) -> float:
    """Standard deviation of a loss between two weighings by the scale alone, %."""
    scale = facts.value("egg_water.scale_noise_g")
    told = before.mean_sd_g * before.eggs / before.total_g
    return 100.0 * hypot(scale / before.total_g, scale / after.total_g, told)


def _of_instruments(loss: WeightLoss, record: WeightRecord, checked: bool) -> list[str]:
    said = []
    offset = loss.offset_pct
    weighed = len(record.weighings) > 1
    name = record.air.hygrometer or say("the hygrometer")
    if loss.display_known and weighed and abs(offset.mean) > _SURE * offset.sd:
        shown = record.air.usual_humidity_pct
        text = _READS_LOW if offset.mean < 0 else _READS_HIGH
        said.append(
            say(
                text,
                hygrometer=name,
                points=abs(offset.mean),
                low=abs(offset.mean) - _SURE * offset.sd,
                high=abs(offset.mean) + _SURE * offset.sd,
                shown=shown,
                true=min(100.0, max(0.0, shown - offset.mean)),
            )
        )
    if not checked and loss.display_known and offset.sd > _UNSURE_POINTS:
        tied = weighed and loss.tied < -_TIED
        by_shells = _TIED_TO_DENSE if offset.mean < 0 else _TIED_TO_OPEN
        text = by_shells if tied else _UNCHECKED
        why = say(text, hygrometer=name)
        command = (
            f'quailwright log instrument instrument="{record.air.hygrometer or "own hygrometer"}" '
            f'place="{record.machine}" humidity_offset_pct=...'
        )
        how = say(
            "A salt test (75 % over wet table salt) or a second, checked one beside it would tell. "
            "Log how many points the machine's own shows too much (too little is negative): "
            "`{command}`.",
            command=command,
        )
        said.append(f"{why} {how}")
    if not weighed and not loss.doubt:
        said.append(
            say("Two weighings tell more than any hygrometer: weigh at setting, days 5 and 10.")
        )
    return said


_READS_LOW = mark(
    "By the weighings {hygrometer} reads low by about {points:.0f} points (likely {low:.0f} to "
    "{high:.0f}): when it shows {shown:.0f} %, the air is nearer {true:.0f} %."
)
_READS_HIGH = mark(
    "By the weighings {hygrometer} reads high by about {points:.0f} points (likely {low:.0f} to "
    "{high:.0f}): when it shows {shown:.0f} %, the air is nearer {true:.0f} %."
)
_TIED_TO_DENSE = mark(
    "How far {hygrometer} is off is not settled: dense shells would look the same in these "
    "weighings."
)
_TIED_TO_OPEN = mark(
    "How far {hygrometer} is off is not settled: open shells would look the same in these "
    "weighings."
)
_UNCHECKED = mark("How far {hygrometer} is off is not settled: it is unchecked.")
_SURE = 1.28
"""Standard deviations on either side that hold 80 %, as every "likely" here."""
_UNSURE_POINTS = 5.0
_TIED = 0.5


def how_to(loss: WeightLoss, units: Units) -> list[str]:
    """How to come to the humidity advised: on a wet bulb, and with water or without."""
    advice = loss.advice
    if advice is None or loss.wet_bulb_c is None or advice.leave_it:
        return []
    shown = wording.temperature(loss.wet_bulb_c, units)
    said = [say("A wet-bulb thermometer shows {temperature} then.", temperature=shown)]
    if advice.true_pct < facts.value("egg_water.room_driest_pct"):
        said.append(
            say("Few machines come down to that: no water at all, vents open, a drier room.")
        )
    elif advice.true_pct > facts.value("egg_water.room_dampest_pct"):
        said.append(say("Few machines come up to that: a wider water surface, never shut vents."))
    return said


def _of_storage(case: HatchCase, units: Units) -> list[str]:
    if not case.storage_days or case.storage_c is None:
        return []
    return [
        say(
            "In about {days:.0f} days of storage at {temperature} they had lost some {lost:.1f} % "
            "before: that is not counted here.",
            days=case.storage_days,
            temperature=wording.temperature(case.storage_c, units),
            lost=storage_loss_pct(case.storage_days, case.storage_c),
        )
    ]


def _of_habit(time: TimeRecord, earlier: Sequence[TimeRecord]) -> list[str]:
    habit = machine_habit(earlier, time.machine, time.thermometer_checked)
    hatches = sum(
        1
        for record in earlier
        if record.machine == time.machine
        and record.hatched_hours is not None
        and not beyond_habit(record)
    )
    if hatches < _HABIT_FROM or abs(habit.mean) <= _SURE_HABIT * habit.sd:
        return []
    text = _RUNS_HOT if habit.mean < 0 else _RUNS_COOL
    return [
        say(
            text,
            machine=time.machine,
            hours=abs(habit.mean),
            hatches=hatches,
        )
    ]


_RUNS_HOT = mark(
    "{machine} has hatched about {hours:.0f} h early in {hatches} hatches, against what was "
    "logged: most likely it runs hot and its thermometer reads low. The window allows for it. "
    "Check it against a clinical thermometer."
)
_RUNS_COOL = mark(
    "{machine} has hatched about {hours:.0f} h late in {hatches} hatches, against what was "
    "logged: most likely it runs cool and its thermometer reads high. The window allows for it. "
    "Check it against a clinical thermometer."
)
_HABIT_FROM = 2
_SURE_HABIT = 2.0


def _of_outages(time: TimeRecord, day: float, units: Units) -> list[str]:
    return [
        _of_outage(outage, day, units)
        for outage in time.outages
        if outage_delay_h(outage.hours, outage.lowest_c) >= _DELAY_TOLD_H
    ]


_DELAY_TOLD_H = 1.0


def _of_outage(outage: HeatLoss, day_of_hatch: float, units: Units) -> str:
    delay = outage_delay_h(outage.hours, outage.lowest_c)
    day = int(outage.day)
    if outage.lowest_c is None:
        happened = say(
            "Outage of {hours:g} h on day {day}, how cold is not logged: chicks come about "
            "{delay:.0f} h later.",
            hours=outage.hours,
            day=day,
            delay=delay,
        )
    else:
        happened = say(
            "Outage of {hours:g} h on day {day} down to {lowest}: chicks come about {delay:.0f} h "
            "later.",
            hours=outage.hours,
            day=day,
            lowest=wording.temperature(outage.lowest_c, units),
            delay=delay,
        )
    said = f"{happened} {_cost_of_outage(outage, units)}"
    again = facts.figure("incubation.recandle_after_outage_d")
    if day_of_hatch > outage.day + (again.high or again.low or 0.0):
        return said
    candle = say(
        "Do not throw eggs out yet: candle again {low:g} to {high:g} days after it.",
        low=again.low,
        high=again.high,
    )
    return f"{said} {candle}"


def _cost_of_outage(outage: HeatLoss, units: Units) -> str:
    """What is published of coolings at least as hard as this one, or nearest to it."""
    mild_h = facts.figure("incubation.cooling_harmless_h")
    mild_c = facts.value("incubation.cooling_harmless_c")
    gentle = outage.lowest_c is not None and outage.lowest_c >= mild_c
    if gentle and outage.hours <= (mild_h.value or 0.0):
        return say("Little harm is to be feared: {published}.", published=_cited(mild_h, units))
    chickens, quail = facts.rows("incubation.outage_survived_h")
    return say(
        "Known of long ones: {of_quail}; {hours:g} h {of_chickens}. A shorter or milder one costs "
        "less.",
        of_quail=_cited(quail, units),
        hours=chickens.value,
        of_chickens=_cited(chickens, units),
    )


def _cited(figure: facts.Figure, units: Units) -> str:
    """What a figure says, with temperatures in the keeper's unit."""
    return f"{wording.temperatures_in(say(figure.conditions), units)} ({figure.source})"


def _of_gaps(air: Air, until_day: float) -> list[str]:
    longest = max((end - start for start, end in air.gaps(until_day)), default=0.0)
    if longest * _HOURS_A_DAY <= _GAP_TOLD_H:
        return []
    return [
        say(
            "No temperature was read for {hours:.0f} h on end: an outage may hide there, so the "
            "window is later and wider for it. If there was one, log it as `outage`.",
            hours=longest * _HOURS_A_DAY,
        )
    ]


_GAP_TOLD_H = 12.0


def _of_lateness(steps: Sequence[Step], give_up: datetime) -> list[str]:
    """Whether chicks may come after the day from which the round has the eggs opened."""
    asked = [step.at for step in steps if step.rule == _OPENING]
    if not asked or give_up - asked[0] < _LATENESS_TOLD:
        return []
    return [
        say(
            "Chicks may come late: wait with opening the eggs until {until}, though the round asks "
            "for it from {asked}.",
            until=wording.clock(give_up),
            asked=wording.clock(asked[0]),
        )
    ]


_LATENESS_TOLD = timedelta(hours=6)


def step_times(report: HatchReport) -> dict[str, datetime]:
    """The dates of a hatch by name: turning stop, first chick, pull-out, when to stop waiting."""
    first = report.window.first_of(report.likely_chicks)["q50"]
    pip = later(first, -facts.value("incubation.pip_before_hatch_h"))
    return {
        "stop_turning": whole_minutes(turns_until(report.hatch)),
        "first_pip": pip,
        "first_chick": first,
        "pull_out": report.window.last_of(report.likely_chicks),
        "stop_waiting": report.give_up_at,
    }

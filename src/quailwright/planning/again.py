"""A plan made again after things went otherwise: what changed in it, and why."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial

import numpy as np
from numpy.random import Generator

from quailwright.flock.planned import set_progress, sets_in
from quailwright.flock.state import Flock, SetToDo
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.language import figure, later, later_many, mark, say, say_many
from quailwright.outlook.forecast import Question, forecast, learn
from quailwright.outlook.planned import planned_of
from quailwright.outlook.report import Rate, rates_table
from quailwright.planning.as_read import AsRead
from quailwright.planning.plan import Plan, Situation
from quailwright.planning.problem import Set

_MOVED_D = 10
"""A set of the same source within so many days of a planned one is that one, moved."""
_TELLING = 0.4
"""A rate that moved by so much of its former spread (half of the middle 90 %) is told."""
_DRAWS = 400


@dataclass(frozen=True, slots=True)
class Change:
    """How a set of the accepted plan stands in the new one; None where it is not in it."""

    before: SetToDo | None
    after: Set | None

    @property
    def words(self) -> str:
        """The change in words; '' where there is none."""
        if self.before is None and self.after is not None:
            return say(
                "new: {eggs} eggs of {whose} on {day}",
                eggs=self.after.eggs,
                whose=self.after.source,
                day=self.after.on,
            )
        if self.before is None:
            return ""
        before = {
            "eggs": self.before.eggs,
            "whose": self.before.whose,
            "day": self.before.on,
        }
        if self.after is None:
            return say("no more: {eggs} eggs of {whose} on {day}", **before)
        said = []
        if self.after.on != self.before.on:
            said.append(say("on {day}", day=self.after.on))
        if self.after.eggs != self.before.eggs:
            said.append(say_many("{n} egg", "{n} eggs", self.after.eggs))
        if self.after.source != self.before.whose:
            said.append(say("from {whose}", whose=self.after.source))
        if not said:
            return ""
        return say("{eggs} eggs of {whose} on {day}: now {then}", **before, then=", ".join(said))


@dataclass(frozen=True)
class Again:
    """An accepted plan made again: when it was accepted, what changed, and why, in sentences."""

    accepted_on: date
    changes: list[Change]
    why: list[str]


def planned_again(situation: Situation, plan: Plan, then: Flock, rng: Generator) -> Again | None:
    """What a new plan changes of the accepted one; None where none was accepted.

    Args:
        then: the flock as it stood when the plan was accepted, what was planned among it.
    """
    accepted = situation.flock.plan
    if accepted is None:
        return None
    on = plan.problem.on
    return Again(
        accepted.accepted_at.date(),
        changes(situation.flock, plan),
        why(situation.flock, then, situation, on, rng),
    )


def changes(flock: Flock, plan: Plan) -> list[Change]:
    """Sets of the accepted plan that are still to come beside those of a new plan, by day."""
    before = list(sets_in(flock, plan.problem.on, "ahead", "due"))
    after = list(plan.draft.sets)
    found: list[Change] = []
    for nearness in (0, _MOVED_D):
        for one in list(before):
            match = _nearest(one, after, nearness)
            if match is not None:
                before.remove(one)
                after.remove(match)
                found.append(Change(one, match))
    found += [Change(one, None) for one in before]
    found += [Change(None, one) for one in after]
    return sorted(found, key=_day)


def _day(change: Change) -> date:
    if change.before is not None:
        return change.before.on
    assert change.after is not None
    return change.after.on


def _nearest(one: SetToDo, among: Sequence[Set], within_d: int) -> Set | None:
    near = [other for other in among if abs((other.on - one.on).days) <= within_d]
    return min(
        near,
        key=lambda other: (other.source != one.whose, abs((other.on - one.on).days)),
        default=None,
    )


def why(flock: Flock, then: Flock, situation: Situation, on: date, rng: Generator) -> list[str]:
    """What went otherwise since a plan was accepted, in sentences.

    Args:
        flock: as it stands on the day `on`, with the accepted plan.
        then: as it stood when the plan was accepted, planned sets and all.
        situation: what is believed now.
    """
    if flock.plan is None:
        return []
    accepted_on = flock.plan.accepted_at.date()
    said = list(_of_sets(flock, on))
    before = learn(then, accepted_on)
    weeks = (on - accepted_on).days // DAYS_A_WEEK
    if weeks >= 1:
        question = Question(planned=planned_of(then, accepted_on, weeks))
        ahead = forecast(
            then, accepted_on, rng=rng, weeks=weeks, draws=_DRAWS, question=question, rates=before
        )
        hens = sum(group.alive.hens for group in flock.groups_alive())
        said += _of_hens(hens, ahead.samples["hens"][:, -1])
    said += _of_rates(rates_table(before, rng), rates_table(situation.rates, rng))
    return said


def _of_sets(flock: Flock, on: date) -> Iterator[str]:
    for one in flock.planned_sets.values():
        progress = set_progress(one, on)
        if progress == "lapsed":
            yield later(
                "The set of {eggs} eggs of {whose} on {day} was not done.",
                eggs=one.eggs,
                whose=one.whose,
                day=one.on,
            )
        elif progress == "due":
            yield later(
                "The set of {eggs} eggs of {whose} on {day} is due and not done yet.",
                eggs=one.eggs,
                whose=one.whose,
                day=one.on,
            )
        hatch = flock.hatches.get(one.set_as or "")
        if hatch is None:
            continue
        late = (hatch.set_at.date() - one.on).days
        if late > 0:
            yield later_many(
                "{hatch} was set a day late.",
                "{hatch} was set {n} days late.",
                late,
                hatch=hatch.name,
            )
        elif late:
            yield later_many(
                "{hatch} was set a day early.",
                "{hatch} was set {n} days early.",
                -late,
                hatch=hatch.name,
            )
        if hatch.eggs_set != one.eggs:
            yield later(
                "{hatch} was set with {eggs} eggs, not {planned}.",
                hatch=hatch.name,
                eggs=hatch.eggs_set,
                planned=one.eggs,
            )


def _of_hens(hens: int, reckoned: "np.ndarray[tuple[int], np.dtype[np.float64]]") -> Iterator[str]:
    low, middle, high = np.quantile(reckoned, (0.1, 0.5, 0.9))
    if abs(hens - middle) >= 1.0:
        text = _AS_MAY_BE if low <= hens <= high else _MORE_THAN_LUCK
        yield later(text, hens=hens, middle=float(middle), low=float(low), high=float(high))


_AS_MAY_BE = mark(
    "There are {hens} grown hens; the plan reckoned with {middle:.0f} "
    "(likely {low:.0f} to {high:.0f}): as may well be."
)
_MORE_THAN_LUCK = mark(
    "There are {hens} grown hens; the plan reckoned with {middle:.0f} "
    "(likely {low:.0f} to {high:.0f}): more than luck."
)


_IN_WORDS: Mapping[str, str] = {
    "hatch_of_set": mark("hatch of the eggs set"),
    "deaths_a_week_week_1": mark("deaths of chicks in their first week"),
    "deaths_a_week_week_2": mark("deaths of chicks in their second week"),
    "deaths_a_week_week_3": mark("deaths of chicks in their third week"),
    "deaths_a_week_grower": mark("deaths of growers in a week"),
    "deaths_a_week_adult": mark("deaths of grown birds in a week"),
    "lay": mark("lay of a grown hen in full light"),
    "feed_used_over_eaten": mark("feed used over what birds of that age eat"),
    "weight_over_usual": mark("weight over the usual"),
}


def _of_rates(before: Sequence[Rate], now: Sequence[Rate]) -> Iterator[str]:
    """Rates that moved, the farthest first, three at most."""
    former = {(one.name, one.of): one for one in before}
    moved = []
    for one in now:
        was = former.get((one.name, one.of)) or former.get((one.name, ""))
        if was is None or one.records <= (was.records if was.of == one.of else 0):
            continue
        spread = (was.q95 - was.q05) / 2.0
        if spread > 0 and abs(one.mean - was.mean) > _TELLING * spread:
            moved.append((abs(one.mean - was.mean) / spread, was, one))
    for _, was, one in sorted(moved, key=lambda item: -item[0])[:3]:
        yield later(
            "{rate}: held to be {now} now, not {before}.",
            rate=AsRead(partial(_rate_named, one)),
            now=_told(one),
            before=_told(was),
        )


def _rate_named(rate: Rate) -> str:
    name = say(_IN_WORDS.get(rate.name, rate.name.replace("_", " ")))
    whose = f" ({rate.of})" if rate.of else ""
    return f"{name[0].upper()}{name[1:]}{whose}"


def _told(rate: Rate) -> AsRead:
    return AsRead(lambda: figure(rate.mean, ".0%" if rate.q95 <= 1.0 else ".3g"))

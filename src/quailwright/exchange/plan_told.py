"""A plan as both faces ask for it, what is said of it, and taking it on."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import TypeVar

import msgspec

from quailwright.exchange.json_types import PlanAcceptance, PlanRequest
from quailwright.exchange.record import Recorded, record
from quailwright.exchange.typed import local
from quailwright.flock.fold import fold
from quailwright.flock.state import Flock
from quailwright.guide.wording import full_day
from quailwright.journal.entries import LONGEST_BRIEF, Entry
from quailwright.journal.findings import BadInput
from quailwright.journal.store import Store
from quailwright.language import mark, say
from quailwright.outlook.hatching import HatchTime
from quailwright.planning.accept import entries_of
from quailwright.planning.answer import Answer, Progress, answered
from quailwright.planning.asked import pose
from quailwright.planning.choices import NAMES, hatches
from quailwright.planning.plan import Plan

AS_ASKED = NAMES[0]


@dataclass(frozen=True, slots=True)
class PlanAsked:
    """What the planner is asked.

    Attributes:
        name: of the brief, for what is said of it; None for the accepted one.
        brief: TOML; not read where `name` is None.
        anew: as if no plan had been accepted.
    """

    name: str | None
    brief: bytes = b""
    seed: int = 1
    choice: str = AS_ASKED
    what_if: tuple[str, ...] = ()
    with_ways: bool = True
    with_choices: bool = False
    anew: bool = False


@dataclass(frozen=True, slots=True)
class PlanFrom:
    """What stands on the day of planning: the entries, folded up to then, and its hatches."""

    entries: Sequence[Entry]
    flock: Flock
    day: date
    times: Mapping[str, HatchTime]


def plan_requested(body: bytes) -> PlanAsked:
    """What a JSON body asks of the planner. Raises BadInput."""
    asked = _decoded(body, PlanRequest)
    return PlanAsked(
        None if asked.brief is None else mark("The brief"),
        (asked.brief or "").encode("utf-8", "replace"),
        asked.seed,
        asked.choice,
        tuple(asked.what_if),
        with_ways=asked.ways_out,
        with_choices=asked.choices,
        anew=asked.anew,
    )


def acceptance_requested(body: bytes) -> PlanAcceptance:
    """Which plan a JSON body takes on. Raises BadInput."""
    return _decoded(body, PlanAcceptance)


Asked = TypeVar("Asked", PlanRequest, PlanAcceptance)


def _decoded(body: bytes, kind: type[Asked]) -> Asked:
    try:
        return msgspec.json.decode(body, type=kind)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise BadInput(
            say("The body is not as asked for ({why}). Nothing was written.", why=str(error))
        ) from None


def brief_of(asked: PlanAsked, flock: Flock) -> bytes:
    """The brief that is meant. Raises BadInput where no plan has been accepted."""
    if asked.name is not None:
        return asked.brief
    if flock.plan is None:
        raise BadInput(say("No plan has been accepted yet: there is none to make again."))
    return flock.plan.brief.encode()


def answer_to(asked: PlanAsked, stands: PlanFrom, progress: Progress | None = None) -> Answer:
    """The plan, and what was asked beside it.

    Raises:
        BadInput: the brief cannot be planned for, there is no such choice, or the search was
            stopped before there was any plan.
    """
    flock, day, times = stands.flock, stands.day, stands.times
    name, data = asked.name or mark("The accepted brief"), brief_of(asked, flock)
    posed = pose(name, data, flock, day, times, accepted=not asked.anew)
    other = None
    if asked.what_if:
        changed = pose(name, data, flock, day, times, asked.what_if, accepted=not asked.anew)
        other = asked.what_if, changed
    then = None
    if flock.plan is not None and not asked.anew:
        then = fold(stands.entries, flock.plan.accepted_at)
    try:
        return answered(
            posed,
            asked.seed,
            choice=asked.choice,
            with_ways=asked.with_ways,
            with_choices=asked.with_choices,
            what_if=other,
            then=then,
            progress=progress,
        )
    except ValueError as error:
        raise BadInput(f"choice: {error}") from None
    except KeyboardInterrupt:
        raise BadInput(say("Stopped before any plan was made; nothing was written.")) from None


def take_on(
    store: Store,
    answer: Answer,
    brief: bytes,
    flock: Flock,
    moment: datetime,
    now: datetime,
    fresh_id: Callable[[], str],
    by: str = "",
) -> Recorded:
    """Writes the entries that take a plan on, all or none.

    Args:
        flock: as it stands, for names that are taken.
        moment: when it is taken on.
        by: who takes it on.

    Raises BadInput and its kin; then nothing was written.
    """
    text = brief.decode("utf-8-sig").replace("\r\n", "\n")
    if len(text) > LONGEST_BRIEF:
        raise BadInput(
            say(
                "The brief has {characters} characters; {most} can be kept.",
                characters=len(text),
                most=LONGEST_BRIEF,
            )
        )
    zone = answer.posed.situation.flock.zone
    at = local(moment, zone).isoformat(timespec="seconds")
    entries = entries_of(answer.plan, answer.posed.brief, text, flock, at, fresh_id)
    if by:
        entries = [msgspec.structs.replace(entry, by=by) for entry in entries]
    return record(store, entries, now)


def without_draws(answer: Answer, plan: Plan) -> Answer:
    """What taking on a plan of an answer needs, without the draws, which take much room."""
    ahead = replace(plan.ahead, samples={}, hatches=(), eggs_by_group={}, flights=())
    bare = replace(plan, ahead=ahead)
    return replace(answer, plan=bare, ways=[], choices=[], what_if=None)


_STATUS = {
    "met": mark("This meets the goal."),
    "best_effort": mark("This does not meet the goal as surely as asked; it comes nearest."),
    "infeasible": mark("No: at times too few {lacking} are in reach. This comes nearest."),
}


def status_words(plan: Plan) -> str:
    """Whether the goal is met, in a sentence."""
    lacking = say(" and ").join(say(name) for name in plan.out_of_reach or ("eggs",))
    return say(_STATUS[plan.status], lacking=lacking)


def chances(plan: Plan) -> Iterator[str]:
    """How sure it is, in sentences."""
    asked = plan.problem.wanted.certainty
    if plan.weeks_asked:
        yield say(
            "A week of the goal is met with {chance:.0%} on the mean (asked: {asked:.0%}); all "
            "{weeks} weeks together with {together:.0%}.",
            chance=plan.chance_overall,
            asked=asked,
            weeks=plan.weeks_asked,
            together=plan.chance_every_week,
        )
    if plan.table_met is not None:
        yield say(
            "A month has birds enough for the table with {chance:.0%} (asked: {asked:.0%}).",
            chance=plan.table_met,
            asked=asked,
        )


PARTS = {
    "hatching_eggs": mark("hatching eggs"),
    "postage": mark("postage"),
    "feed": mark("feed"),
    "power_and_bedding": mark("power and bedding"),
    "light": mark("light"),
    "time": mark("your time"),
}
"""What a plan's costs are of."""


def most_and_longest(plan: Plan) -> str:
    """What it fills at most, and its longest day."""
    peak, (busiest, minutes) = plan.peak, plan.busiest_day
    return say(
        "At most {eggs:.0f} eggs in machines, {chicks:.0f} chicks, {birds:.0f} grown birds. The "
        "longest day is {day} with {minutes:.0f} minutes.",
        eggs=peak["incubator"],
        chicks=peak["brooder"],
        birds=peak["pen"],
        day=full_day(busiest),
        minutes=minutes,
    )


@dataclass(frozen=True, slots=True)
class Beside:
    """A plan in the figures by which it is picked; `chance` is of a week on the mean."""

    chance: float
    every_week: float
    cost: float
    hatches: int
    minutes: float
    birds: float


def beside(plan: Plan) -> Beside:
    """A plan to lay beside others."""
    return Beside(
        plan.chance_overall,
        plan.chance_every_week,
        float(plan.cost.mean()),
        hatches(plan),
        float(plan.minutes_by_day.mean()),
        plan.peak["pen"],
    )

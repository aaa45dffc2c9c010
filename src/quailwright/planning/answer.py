"""All that is answered to a brief: the plan, why it falls short, and what else there is to pick."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from quailwright.flock.state import Flock
from quailwright.language import later
from quailwright.planning.again import Again, planned_again
from quailwright.planning.asked import Posed
from quailwright.planning.choices import Choice, choices, plan_of
from quailwright.planning.plan import Plan
from quailwright.planning.ways_out import WayOut, reasons, ways_out

Progress = Callable[[str, float], None]


@dataclass(frozen=True)
class Answer:
    """A plan and what belongs to it.

    Attributes:
        choice: which of `choices.NAMES` the plan is.
        reasons: why the goal is not met, in sentences.
        ways: what would have to give.
        choices: other plans to pick from, the plan among them; empty where none were asked for.
        what_if: what was told otherwise, and the plan then; None where nothing was.
        again: what changed against the accepted plan, and why; None where none was accepted.
        said: what is taken for granted.
    """

    posed: Posed
    plan: Plan
    choice: str
    reasons: list[str]
    ways: list[WayOut]
    choices: list[Choice]
    what_if: tuple[Sequence[str], Plan] | None
    again: Again | None
    said: list[str]


def answered(
    posed: Posed,
    seed: int,
    *,
    choice: str = "as asked",
    with_ways: bool = True,
    with_choices: bool = False,
    what_if: tuple[Sequence[str], Posed] | None = None,
    then: Flock | None = None,
    progress: Progress | None = None,
) -> Answer:
    """The plan for a brief, and what was asked beside it.

    Args:
        seed: the same number gives the same answer.
        choice: of `choices.NAMES`.
        with_ways: whether ways out are looked for where the goal is not met.
        what_if: what is told otherwise, and the brief with it.
        then: the flock as it stood when the accepted plan was taken on.
        progress: called with what is being done and how far it is (0 to 1).

    Raises:
        ValueError: there is no such choice.
        KeyboardInterrupt: Ctrl-C before any draft was made.
    """
    rng = np.random.default_rng(seed)
    own, of_ways, of_choices, of_other, of_again = rng.spawn(5)
    situation, problem = posed.situation, posed.problem
    plan = plan_of(situation, problem, choice, own, progress)
    ways: list[WayOut] = []
    others: list[Choice] = []
    other: tuple[Sequence[str], Plan] | None = None
    stopped = plan.stopped
    try:
        if with_ways and not stopped and plan.status != "met":
            ways = ways_out(situation, plan, of_ways, progress)
        if with_choices and not stopped:
            others = choices(situation, plan, of_choices, progress)
        if what_if is not None and not stopped:
            told, changed = what_if
            other = told, plan_of(changed.situation, changed.problem, choice, of_other, progress)
    except KeyboardInterrupt:  # the plan is made: what was asked beside it is left out
        stopped = True
    again = None if then is None else planned_again(situation, plan, then, of_again)
    return Answer(
        posed,
        plan,
        choice,
        reasons(situation, plan, ways),
        ways,
        others,
        other,
        again,
        [*posed.said, *_said_of(plan, stopped)],
    )


def _said_of(plan: Plan, stopped: bool) -> list[str]:
    said: list[str] = []
    if plan.stopped:
        said.append(later("The search was stopped: this is the best plan so far."))
    elif stopped:
        said.append(
            later("Stopped while other plans were tried: this plan is whole, they are left out.")
        )
    if plan.problem.lamp_h:
        said.append(
            later(
                "The plan counts on a lamp that makes each day {hours:g} h long from tomorrow. "
                "When it hangs, log a holding with light_target_h, so that the outlook knows.",
                hours=plan.problem.lamp_h,
            )
        )
    return said

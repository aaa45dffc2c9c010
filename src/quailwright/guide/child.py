"""The round as a child sees it: collecting, counting and looking after birds, and no more.

No slaughter, no letting go of birds, no money, no heat and no machine. A rule says in `care.toml`
whether it is fit (`child`); one whose words the keeper has changed is left to the keeper.
"""

from dataclasses import replace

from quailwright.flock.state import Flock
from quailwright.guide.round import Held, PlaceRound, Round, Task
from quailwright.guide.rules import printed_rules
from quailwright.language import mark, say

CHILDS_KINDS = ("eggs_collected", "birds_counted", "feed_given", "water_given", "care")
"""Kinds of entry that a child may write.

Water is filled by whoever feeds. A temperature is read beside a heater, and stays with a grown-up.
"""
_HELD_FROM_A_CHILD = ("eggs", "birds")

ALWAYS = (
    mark("Wash your hands with soap after the birds, their eggs and their things."),
    mark("A bird that looks unwell, is hurt or does not move: leave it, and fetch a grown-up."),
)
"""What a child is told first. Common practice, no source."""


def childs_round(whole: Round, flock: Flock) -> Round:
    """What a child may do of a round; the minutes are of what is left."""
    changed = {
        change.rule
        for change in flock.care_rules.values()
        if change.task is not None or change.why is not None or change.caution is not None
    }
    fit = {name for name, rule in printed_rules().items() if rule.child} - changed
    places = tuple(
        PlaceRound(each.place, tasks)
        for each in whole.places
        if (tasks := tuple(_for_a_child(task) for task in each.tasks if task.rule in fit))
    )
    minutes = sum(task.minutes for each in places for task in each.tasks if not task.apart)
    return Round(
        on=whole.on,
        minutes=round(minutes, 1),
        minutes_apart=0.0,
        places=places,
        missed=(),
        coming=(),
        signs=(),
        withheld=tuple(
            _without_reason(held) for held in whole.withheld if held.what in _HELD_FROM_A_CHILD
        ),
    )


def _for_a_child(task: Task) -> Task:
    """Cautions and sources speak to grown-ups; `ALWAYS` stands in the cautions' stead."""
    return replace(task, caution="", figures=())


def _without_reason(held: Held) -> Held:
    return replace(held, because=say("ask a grown-up"))

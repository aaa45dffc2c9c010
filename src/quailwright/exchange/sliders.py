"""What-if on sliders: what may be slid on a plan's page, how far, and what was asked by it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from quailwright.husbandry import facts
from quailwright.journal.findings import BadInput
from quailwright.language import figure, mark, say
from quailwright.planning.brief import Brief

MACHINE = "machine"
"""The name of the slider of what the one incubator holds."""

_FEWEST_BIRDS = 10
_FEWEST_EGGS = 20
_ROOM_ABOVE = 2.5
"""Sliders reach so many times above what was asked: our judgement."""
_LAMP_STEP_H = 0.5
_LEAST_SURE_PCT, _MOST_SURE_PCT = 50, 99


@dataclass(frozen=True, slots=True)
class Slider:
    """One thing to slide.

    Attributes:
        name: of the question; `label` in words.
        low, high, step, value: as an input of type range takes them.
        says: the words beside it, with {n} for the value.
        at_low, at_high: what is said at an end instead; "" where it is a value like others.
        untouched: what is said where it was left alone, "" for `says`.
        low_is, high_is: what the answer is at that end; None for the value itself.
        per: the answer is the value divided by this.
    """

    name: str
    label: str
    low: float
    high: float
    step: float
    value: float
    says: str
    at_low: str = ""
    at_high: str = ""
    untouched: str = ""
    low_is: str | None = None
    high_is: str | None = None
    per: int = 1

    @property
    def words(self) -> str:
        """Where it stands, in words."""
        if self.untouched:
            return say(self.untouched)
        if self.at_low and self.value <= self.low:
            return say(self.at_low)
        if self.at_high and self.value >= self.high:
            return say(self.at_high)
        return self.told(figure(self.value, "g"))

    def told(self, number: str) -> str:
        """The words beside it, of a number already written."""
        return say(self.says).replace("{n}", number)

    def answer(self, value: float) -> str:
        """What a value asks, as text for a brief."""
        if self.low_is is not None and value <= self.low:
            return self.low_is
        if self.high_is is not None and value >= self.high:
            return self.high_is
        return f"{value / self.per:g}"


def sliders(brief: Brief, lamp_h: float | None, certainty: float, birds: float) -> list[Slider]:
    """The sliders of a plan.

    Args:
        brief: complete.
        lamp_h: hours that the plan's lamp makes of a day, 0 for none, None for as things are.
        certainty: asked of a week, 0.5 to 0.99.
        birds: the most grown birds that the plan comes to.
    """
    found = []
    eggs = brief.goal.eggs_per_week
    if eggs is not None:
        top = max(_FEWEST_EGGS, round(_ROOM_ABOVE * eggs))
        found.append(
            Slider(
                "goal.eggs_per_week", mark("eggs a week"), min(2, round(eggs)), top, 1, round(eggs),
                mark("{n} eggs a week"),
            )
        )  # fmt: skip
    found.append(
        Slider(
            "goal.certainty", mark("how sure"), _LEAST_SURE_PCT, _MOST_SURE_PCT, 1,
            round(100 * certainty), mark("{n} % of the weeks"), per=100,
        )
    )  # fmt: skip
    most = brief.limits.max_birds
    top = max(2 * _FEWEST_BIRDS, round(_ROOM_ABOVE * max(birds, most or 0)))
    found.append(
        Slider(
            "limits.max_birds", mark("most birds"), min(2, most or 2), top, 1,
            top if most is None else most,
            mark("at most {n} birds"), at_high=mark("no limit"), high_is="",
        )
    )  # fmt: skip
    found.append(_lamp(brief, lamp_h))
    machines = brief.places_for("incubator")
    if len(machines) == 1 and machines[0].capacity_eggs:
        holds = machines[0].capacity_eggs
        found.append(
            Slider(
                MACHINE, mark("eggs in the machine"), min(2, holds),
                max(_FEWEST_EGGS, round(_ROOM_ABOVE * holds)), 1, holds,
                mark("it holds {n} eggs"),
            )
        )  # fmt: skip
    return found


def _lamp(brief: Brief, lamp_h: float | None) -> Slider:
    dark_h = facts.value("laying.light_none_h")
    longest_h = facts.figure("laying.light_target_h").high or dark_h
    now = brief.holding.light_target_h if brief.holding is not None else None
    stands = lamp_h if lamp_h is not None else now
    value = dark_h if not stands else max(dark_h, round(stands / _LAMP_STEP_H) * _LAMP_STEP_H)
    high = max(longest_h, value)
    return Slider(
        "limits.lamp", mark("lamp"), dark_h, high, _LAMP_STEP_H, value,
        mark("a lamp to {n} hours a day"), at_low=mark("no lamp"), low_is="0",
        untouched=mark("as it is now") if lamp_h is None else "",
    )  # fmt: skip


def slid(
    offered: Sequence[Slider], limits: Mapping[str, str], typed: Mapping[str, str]
) -> tuple[dict[str, str], str]:
    """What the sliders ask: answers by the names of the questions, and eggs in the machine or "".

    Args:
        limits: the answers that the page stands on; they stay where a slider was left alone.
        typed: the sliders' values as text, by name; what is missing was left alone.

    Raises:
        BadInput: a value that the slider cannot have.
    """
    answers, machine = dict(limits), ""
    for one in offered:
        text = typed.get(one.name, "")
        if not text:
            continue
        try:
            value = float(text)
        except ValueError:
            value = float("nan")
        if not one.low <= value <= one.high:
            raise BadInput(
                say(
                    "{what}: from {low:g} to {high:g}, not '{text}'.",
                    what=say(one.label), low=one.low, high=one.high, text=text[:20],
                )
            )  # fmt: skip
        if value == one.value:
            continue
        if one.name == MACHINE:
            machine = one.answer(value)
        else:
            answers[one.name] = one.answer(value)
    return answers, machine

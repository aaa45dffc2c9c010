"""What is to be said of a hatch's weight loss and result, in sentences that both faces show."""

from collections.abc import Iterator

from quailwright.guide.hatch.report import WeightLoss
from quailwright.guide.hatch.result import HatchResult
from quailwright.guide.hatch.weight import Advice
from quailwright.language import figure, mark, say


def landing(loss: WeightLoss) -> str:
    """Where the loss comes out by the stop of turning, and the chance that this is right."""
    low, high = loss.corridor_pct
    at_stop = loss.loss_at_stop_pct
    text = _LANDING if loss.advice is not None else _LANDED
    return say(
        text,
        loss=at_stop["q50"],
        likely_low=at_stop["q10"],
        likely_high=at_stop["q90"],
        low=low,
        high=high,
        chance=loss.chance_in_corridor,
    )


_LANDING = mark(
    "As it runs now, {loss:.1f} % by the stop of turning (likely {likely_low:.1f} to "
    "{likely_high:.1f}); aim for {low:g} to {high:g}. Chance to land: {chance:.0%}."
)
_LANDED = mark(
    "As far as it is known, {loss:.1f} % by the stop of turning (likely {likely_low:.1f} to "
    "{likely_high:.1f}); aim for {low:g} to {high:g}. Chance that it landed: {chance:.0%}."
)


def advised(loss: WeightLoss, advice: Advice) -> str:
    """What to set, in a sentence or three."""
    if advice.leave_it and loss.beyond_reach:
        return say("No setting brings it into the corridor any more: leave the humidity as it is.")
    if advice.leave_it:
        text = _LEAVE_DISPLAY if loss.display_known else _LEAVE
        return say(
            text,
            shown=advice.shown_pct,
            chance=_chance(advice),
        )
    known = loss.display_known
    if loss.beyond_reach:
        text = _NEAREST_BY_DISPLAY if known else _NEAREST
    else:
        text = _SET_BY_DISPLAY if known else _SET
    return say(text, shown=advice.shown_pct, true=advice.true_pct, chance=_chance(advice))


def _chance(advice: Advice) -> str:
    chance, mended = _sure(advice.chance), _sure(advice.chance_if_weighed)
    if advice.weigh_on is None or mended == chance:
        return figure(chance, ".0%")
    return say(
        "{chance:.0%}, {mended:.0%} if you weigh on day {day:.0f} and mend the setting",
        chance=chance,
        mended=mended,
        day=advice.weigh_on,
    )


def _sure(chance: float) -> float:
    """In whole per cent, and neither quite sure nor quite lost."""
    return min(0.99, max(0.01, round(chance, 2)))


_LEAVE = mark("Leave the humidity as it is: chance to land {chance}.")
_LEAVE_DISPLAY = mark(
    "Leave the humidity as it is, at {shown:.0f} % on your display: chance to land {chance}."
)
_SET = mark("From now on: true humidity {true:.0f} %. Chance to land then {chance}.")
_SET_BY_DISPLAY = mark(
    "From now on set yours to read {shown:.0f} % (true humidity most likely {true:.0f} %). Chance "
    "to land then {chance}."
)
_NEAREST = mark(
    "From now on: true humidity {true:.0f} %: it will hardly land any more, but that brings it "
    "nearest."
)
_NEAREST_BY_DISPLAY = mark(
    "From now on set yours to read {shown:.0f} % (true humidity most likely {true:.0f} %): it will "
    "hardly land any more, but that brings it nearest."
)


def shares(result: HatchResult) -> Iterator[tuple[str, str]]:
    """Fertility and hatch, each with its 95 % interval: what it is, and the figure."""
    for name, label, reckoned, share in (
        ("fertility", mark("fertility"), mark("fertility, reckoned"), result.fertility),
        (
            "hatch_of_set",
            mark("hatch of set"),
            mark("hatch of set, reckoned"),
            result.hatch_of_set,
        ),
        (
            "hatch_of_fertile",
            mark("hatch of fertile"),
            mark("hatch of fertile, reckoned"),
            result.hatch_of_fertile,
        ),
    ):
        if share is not None:
            interval = say(
                "{share:.0%} (95 % interval {low:.0%} to {high:.0%})",
                share=share.value,
                low=share.low95,
                high=share.high95,
            )
            text = reckoned if name in result.reckoned else label
            yield say(text), interval


_STAGES = {
    "clear": mark("clear"),
    "dead_at_candling": mark("dead at candling"),
    "early": mark("early"),
    "middle": mark("middle"),
    "late": mark("late"),
    "pipped": mark("pipped"),
    "contaminated": mark("contaminated"),
    "unopened": mark("unopened"),
}


def losses(result: HatchResult) -> Iterator[tuple[str, str]]:
    """Eggs lost at each stage that could be seen: the stage, and how many of how many."""
    unsure = "hatch_of_fertile" in result.reckoned
    for stage, lost in result.losses.items():
        if lost.of == "set":
            of = say("{lost} of {eggs} set", lost=lost.eggs, eggs=lost.share.n)
        elif unsure:
            of = say("{lost} of about {eggs} fertile", lost=lost.eggs, eggs=lost.share.n)
        else:
            of = say("{lost} of {eggs} fertile", lost=lost.eggs, eggs=lost.share.n)
        yield say(_STAGES[stage]), of

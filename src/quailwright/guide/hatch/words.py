"""What is to be said of a hatch's weight loss and result, in sentences that both faces show."""

from collections.abc import Iterator

from quailwright.guide.hatch.report import WeightLoss
from quailwright.guide.hatch.result import HatchResult
from quailwright.guide.hatch.weight import Advice


def landing(loss: WeightLoss) -> str:
    """Where the loss comes out by the stop of turning, and the chance that this is right."""
    low, high = loss.corridor_pct
    at_stop = loss.loss_at_stop_pct
    turning = loss.advice is not None
    when = "As it runs now" if turning else "As far as it is known"
    chance = "Chance to land" if turning else "Chance that it landed"
    return (
        f"{when}, {at_stop['q50']:.1f} % by the stop of turning (likely "
        f"{at_stop['q10']:.1f} to {at_stop['q90']:.1f}); aim for {low:g} to {high:g}. "
        f"{chance}: {loss.chance_in_corridor:.0%}."
    )


def advised(loss: WeightLoss, advice: Advice) -> str:
    """What to set, in a sentence or three."""
    again = ""
    if advice.weigh_on is not None:
        again = (
            f", {advice.chance_if_weighed:.0%} if you weigh on day {advice.weigh_on:.0f} and mend "
            "the setting"
        )
    if advice.leave_it and loss.beyond_reach:
        return "No setting brings it into the corridor any more: leave the humidity as it is."
    if advice.leave_it:
        shown = f", at {advice.shown_pct:.0f} % on your display" if loss.display_known else ""
        return f"Leave the humidity as it is{shown}: chance to land {advice.chance:.0%}{again}."
    if loss.display_known:
        said = (
            f"From now on set yours to read {advice.shown_pct:.0f} % (true humidity most likely "
            f"{advice.true_pct:.0f} %)"
        )
    else:
        said = f"From now on: true humidity {advice.true_pct:.0f} %"
    if loss.beyond_reach:
        return f"{said}: it will hardly land any more, but that brings it nearest."
    return f"{said}. Chance to land then {advice.chance:.0%}{again}."


def shares(result: HatchResult) -> Iterator[tuple[str, str]]:
    """Fertility and hatch, each with its 95 % interval: what it is, and the figure."""
    for name, share in (
        ("fertility", result.fertility),
        ("hatch_of_set", result.hatch_of_set),
        ("hatch_of_fertile", result.hatch_of_fertile),
    ):
        if share is not None:
            label = f"{name.replace('_', ' ')}{', reckoned' if name in result.reckoned else ''}"
            interval = f"95 % interval {share.low95:.0%} to {share.high95:.0%}"
            yield label, f"{share.value:.0%} ({interval})"


def losses(result: HatchResult) -> Iterator[tuple[str, str]]:
    """Eggs lost at each stage that could be seen: the stage, and how many of how many."""
    about = "about " if "hatch_of_fertile" in result.reckoned else ""
    for stage, lost in result.losses.items():
        of = f"{about if lost.of == 'fertile' else ''}{lost.share.n} {lost.of}"
        yield stage.replace("_", " "), f"{lost.eggs} of {of}"

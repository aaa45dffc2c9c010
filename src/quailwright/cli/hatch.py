"""`hatch`: one hatch, with its weight loss, window, result and causes."""

from typing import TYPE_CHECKING, Annotated

import typer

from quailwright.cli import show
from quailwright.cli.options import FlockOption, JsonOption, OnOption, moment_asked, opened
from quailwright.flock.fold import fold, newest_zone
from quailwright.flock.state import Flock
from quailwright.guide import wording
from quailwright.language import figure, mark, say

if TYPE_CHECKING:
    from quailwright.guide.hatch.report import HatchReport, WeightLoss
    from quailwright.guide.hatch.result import HatchResult

EXAMPLES = """Examples:

\b
  quailwright hatch
  quailwright hatch may-1
  quailwright hatch may-1 --on 2027-05-12 --json

The first lists the hatches. Weigh eggs with `quailwright log eggs_weighed hatch=may-1 eggs=22
total_g=240`; readings come with `quailwright readings import`."""


def hatch(
    ctx: typer.Context,
    name: Annotated[str | None, typer.Argument(help="Which hatch; left out, a list.")] = None,
    flock_file: FlockOption = None,
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """One hatch: what to set, when chicks come, and why it went so."""
    with opened(ctx, flock_file) as store:
        entries = store.entries()
        asked = moment_asked(on, newest_zone(entries))
        flock = fold(entries, asked)
        if name is None:
            _list(flock, as_json)
            return
        from quailwright.exchange.hatch_told import hatch_told

        report = hatch_told(store, flock, name, asked)
    if as_json:
        from quailwright.exchange.hatch_shape import hatch_shape

        show.json_document(hatch_shape(report))
        return
    _show(report)


def _list(flock: Flock, as_json: bool) -> None:
    if as_json:
        show.json_document([hatch.name for hatch in flock.hatches.values()])
        return
    if not flock.hatches:
        print(say("No hatch is recorded up to then. Begin with: quailwright log eggs_set"))
        return
    show.table(
        (
            say("hatch"),
            say("place"),
            say("set"),
            say("eggs"),
            say("taken out"),
            say("hatched"),
            "",
        ),
        [
            (
                h.name,
                h.place,
                wording.weekday(h.set_at),
                h.eggs_set,
                h.removed,
                h.hatched,
                say("closed") if h.closed_at else "",
            )
            for h in flock.hatches.values()
        ],
    )


def _show(report: "HatchReport") -> None:
    from quailwright.guide.hatch.report import step_times

    hatch = report.hatch
    stands = say("closed") if hatch.closed_at else wording.both_counts(int(report.day))
    print(
        say(
            "{hatch} in {machine}: {eggs} eggs set {when}; {stands}.",
            hatch=hatch.name,
            machine=hatch.place,
            eggs=hatch.eggs_set,
            when=wording.clock(hatch.set_at),
            stands=stands,
        )
    )
    text = _UNHATCHED if hatch.closed_at else _LEFT
    print(
        say(
            text,
            removed=hatch.removed,
            hatched=hatch.hatched,
            left=max(0, hatch.alive),
        )
    )
    if hatch.closed_at is None and not report.wait_is_over:
        window = report.window.quantiles()
        print(
            say(
                "Chicks: likely {first} to {last}; about {chicks:.0f} of them.",
                first=wording.clock(window["q10"]),
                last=wording.clock(window["q90"]),
                chicks=report.likely_chicks,
            )
        )
    _show_loss(report)
    if report.said:
        show.heading(say("To know"))
        for sentence in report.said:
            print(f"  {sentence}")
    over = hatch.closed_at is not None or report.wait_is_over
    show.heading(say("Dates, as they were to be expected") if over else say("Dates"))
    dates = step_times(report)
    labels = {
        "stop_turning": say("Stop turning"),
        "first_pip": say("First pip, about"),
        "first_chick": say("First chick, about"),
        "pull_out": say("Chicks out by"),
        "stop_waiting": say("Stop waiting"),
    }
    width = max(_LABEL_WIDTH, *map(len, labels.values()))
    for key, label in labels.items():
        print(f"  {label:{width}} {wording.clock(dates[key])}")
    if report.result is not None:
        _show_result(report.result)
    _show_causes(report)


_LABEL_WIDTH = 20
_LEFT = mark("{removed} taken out, {hatched} hatched, {left} left.")
_UNHATCHED = mark("{removed} taken out, {hatched} hatched, {left} unhatched.")


def _show_loss(report: "HatchReport") -> None:
    from quailwright.guide.hatch import words

    loss = report.weight
    show.heading(say("Weight loss: does it land in the corridor?"))
    if loss.doubt:
        print(f"  {loss.doubt}")
        _show_weighings(loss)
        return
    print(f"  {words.landing(loss)}")
    if loss.advice is not None:
        print(f"  {words.advised(loss, loss.advice)}")
    for sentence in report.how:
        print(f"  {sentence}")
    _show_weighings(loss)


def _show_weighings(loss: "WeightLoss") -> None:
    if len(loss.points) > 1:
        show.table(
            (say("day"), say("lost, %"), say("eggs")),
            [(figure(p.day, ".1f"), figure(p.loss_pct, ".1f"), p.eggs) for p in loss.points],
        )
        show.corridor_plot(loss.points, loss.corridor_pct, loss.stop_day)
        if not loss.weighed_at_setting:
            unweighed = say(
                "Not weighed at setting: the loss up to the first weighing is reckoned."
            )
            print(f"  {unweighed}")


def _show_result(result: "HatchResult") -> None:
    from quailwright.guide.hatch import words

    show.heading(say("Result") if result.closed else say("Result so far"))
    for label, amount in (*words.shares(result), *words.losses(result)):
        print(f"  {label}: {amount}")
    for sentence in result.says:
        print(f"  {sentence}")


def _show_causes(report: "HatchReport") -> None:
    judged = report.post_mortem
    if judged is None:
        return
    show.heading(
        say("Why: what the record points to") if judged.blames else say("Why: nothing to blame")
    )
    for cause in judged.causes:
        if f"{cause.weight:.0%}" == "0%":
            continue
        print(f"  {say(cause.cause)} ({cause.weight:.0%})")
        for sentence in cause.because:
            print(f"      {sentence}")
        if cause.check:
            print("      " + say("Check: {check}", check=cause.check))
    if judged.best_check is not None:
        best = judged.best_check.says
        print("  " + say("The one check that would tell most: {check}", check=best))

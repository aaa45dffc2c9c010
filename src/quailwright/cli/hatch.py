"""`hatch`: one hatch, with its weight loss, window, result and causes."""

from typing import TYPE_CHECKING, Annotated

import typer

from quailwright.cli import show
from quailwright.cli.options import FlockOption, JsonOption, OnOption, moment_asked, opened
from quailwright.flock.fold import fold, newest_zone
from quailwright.flock.state import Flock
from quailwright.guide import wording
from quailwright.journal.findings import BadInput
from quailwright.journal.moments import until

if TYPE_CHECKING:
    from quailwright.guide.hatch.report import HatchReport, WeightLoss
    from quailwright.guide.hatch.result import HatchResult
    from quailwright.guide.hatch.weight import Advice

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
        if name not in flock.hatches:
            raise BadInput(f"There is no hatch {name!r}. `quailwright hatch` lists them.")
        from quailwright.exchange.hatch_air import hatch_airs
        from quailwright.guide.hatch.report import hatch_report

        moment = until(asked, flock.zone).moment(flock.zone)
        airs = hatch_airs(store, flock, flock.hatches[name], moment)
    report = hatch_report(flock, flock.hatches[name], airs, moment)
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
        print("No hatch is recorded up to then. Begin with: quailwright log eggs_set")
        return
    show.table(
        ("hatch", "place", "set", "eggs", "taken out", "hatched", ""),
        [
            (
                h.name,
                h.place,
                wording.weekday(h.set_at),
                h.eggs_set,
                h.removed,
                h.hatched,
                "closed" if h.closed_at else "",
            )
            for h in flock.hatches.values()
        ],
    )


def _show(report: "HatchReport") -> None:
    from quailwright.guide.hatch.report import step_times

    hatch = report.hatch
    stands = "closed" if hatch.closed_at else wording.both_counts(int(report.day))
    print(
        f"{hatch.name} in {hatch.place}: {hatch.eggs_set} eggs set {wording.clock(hatch.set_at)}; "
        f"{stands}."
    )
    left = "unhatched" if hatch.closed_at else "left"
    print(f"{hatch.removed} taken out, {hatch.hatched} hatched, {max(0, hatch.alive)} {left}.")
    if hatch.closed_at is None and not report.wait_is_over:
        window = report.window.quantiles()
        print(
            f"Chicks: likely {wording.clock(window['q10'])} to {wording.clock(window['q90'])}; "
            f"about {report.likely_chicks:.0f} of them."
        )
    _show_loss(report)
    if report.said:
        show.heading("To know")
        for sentence in report.said:
            print(f"  {sentence}")
    over = hatch.closed_at is not None or report.wait_is_over
    show.heading("Dates, as they were to be expected" if over else "Dates")
    dates = step_times(report)
    for label, key in (
        ("Stop turning", "stop_turning"),
        ("First pip, about", "first_pip"),
        ("First chick, about", "first_chick"),
        ("Chicks out by", "pull_out"),
        ("Stop waiting", "stop_waiting"),
    ):
        print(f"  {label:20} {wording.clock(dates[key])}")
    if report.result is not None:
        _show_result(report.result)
    _show_causes(report)


def _show_loss(report: "HatchReport") -> None:
    loss = report.weight
    low, high = loss.corridor_pct
    at_stop = loss.loss_at_stop_pct
    show.heading("Weight loss: does it land in the corridor?")
    if loss.doubt:
        print(f"  {loss.doubt}")
        _show_weighings(loss)
        return
    turning = loss.advice is not None
    when = "As it runs now" if turning else "As far as it is known"
    landing = "Chance to land" if turning else "Chance that it landed"
    print(
        f"  {when}, {at_stop['q50']:.1f} % by the stop of turning (likely "
        f"{at_stop['q10']:.1f} to {at_stop['q90']:.1f}); aim for {low:g} to {high:g}. "
        f"{landing}: {loss.chance_in_corridor:.0%}."
    )
    if loss.advice is not None:
        print(f"  {_advised(loss, loss.advice)}")
    for sentence in report.how:
        print(f"  {sentence}")
    _show_weighings(loss)


def _show_weighings(loss: "WeightLoss") -> None:
    if len(loss.points) > 1:
        show.table(
            ("day", "lost, %", "eggs"),
            [(f"{p.day:.1f}", f"{p.loss_pct:.1f}", p.eggs) for p in loss.points],
        )
        show.corridor_plot(loss.points, loss.corridor_pct, loss.stop_day)
        if not loss.weighed_at_setting:
            print("  Not weighed at setting: the loss up to the first weighing is reckoned.")


def _advised(loss: "WeightLoss", advice: "Advice") -> str:
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


def _show_result(result: "HatchResult") -> None:
    show.heading("Result" if result.closed else "Result so far")
    rows = [
        ("fertility", result.fertility),
        ("hatch_of_set", result.hatch_of_set),
        ("hatch_of_fertile", result.hatch_of_fertile),
    ]
    for name, share in rows:
        if share is not None:
            label = f"{name.replace('_', ' ')}{', reckoned' if name in result.reckoned else ''}"
            interval = f"95 % interval {share.low95:.0%} to {share.high95:.0%}"
            print(f"  {label}: {share.value:.0%} ({interval})")
    about = "about " if "hatch_of_fertile" in result.reckoned else ""
    for stage, lost in result.losses.items():
        of = f"{about if lost.of == 'fertile' else ''}{lost.share.n} {lost.of}"
        print(f"  {stage.replace('_', ' ')}: {lost.eggs} of {of}")
    for sentence in result.says:
        print(f"  {sentence}")


def _show_causes(report: "HatchReport") -> None:
    judged = report.post_mortem
    if judged is None:
        return
    show.heading("Why: what the record points to" if judged.blames else "Why: nothing to blame")
    for cause in judged.causes:
        if f"{cause.weight:.0%}" == "0%":
            continue
        print(f"  {cause.cause} ({cause.weight:.0%})")
        for sentence in cause.because:
            print(f"      {sentence}")
        if cause.check:
            print(f"      Check: {cause.check}")
    if judged.best_check is not None:
        print(f"  The one check that would tell most: {judged.best_check.says}")

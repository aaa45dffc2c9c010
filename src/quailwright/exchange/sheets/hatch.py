"""The report of a hatch on a page: how it went, and why, with what to check."""

from typing import Any

from quailwright.exchange.hatch_told import hatch_told
from quailwright.exchange.loss_chart import HEIGHT, WIDTH, loss_chart
from quailwright.exchange.sheets.press import Press, day_and_clock, pdf
from quailwright.guide import wording
from quailwright.guide.hatch import words
from quailwright.guide.hatch.causes import PostMortem
from quailwright.guide.hatch.report import HatchReport, step_times
from quailwright.language import figure, mark, say, say_many

_MOST_CAUSES = 3


def hatch_pdf(press: Press, name: str) -> bytes:
    """The report of that hatch. Raises BadInput where there is none of that name."""
    report = hatch_told(press.store, press.flock, name, press.asked)
    hatch, result = report.hatch, report.result
    over = hatch.closed_at is not None
    title = say("Hatch {name}", name=name)
    says = [
        say_many(
            "{n} egg set in {place} on {when}.",
            "{n} eggs set in {place} on {when}.",
            hatch.eggs_set,
            place=hatch.set_in,
            when=day_and_clock(hatch.set_at),
        ),
        say(
            _UNHATCHED if over else _LEFT,
            removed=hatch.removed,
            hatched=hatch.hatched,
            left=max(0, hatch.alive),
        ),
    ]
    if not over:
        says.append(say("Still under way: {day}.", day=wording.both_counts(int(report.day))))
    chart = loss_chart(report.weight, report.day)
    return pdf(
        press,
        "hatch",
        title,
        {
            "name": title,
            "says": says,
            "result_heading": say("Result") if over else say("Result so far"),
            "result": []
            if result is None
            else [[label, amount] for label, amount in words.shares(result)],
            "no_result": say("Nothing has come of it yet that could be reckoned.")
            if result is None
            else "",
            "losses_heading": say("Eggs lost, by stage"),
            "losses": []
            if result is None
            else [[label, amount] for label, amount in words.losses(result)],
            "result_says": [] if result is None else list(result.says),
            "causes_heading": _causes_heading(report.post_mortem),
            "causes": _causes(report.post_mortem),
            "best": _best(report.post_mortem),
            "chart_heading": say("Weight loss: did it land in the corridor?"),
            "landing": report.weight.doubt or words.landing(report.weight),
            "chart": _chart(chart) if chart.points else None,
            "axis": say("days from setting, across; % of the weight lost, up"),
            "key": say("Grey: the way that is aimed for. Line with dots: weighed."),
            "weighings": chart.weighings,
            "dates_heading": say("Dates"),
            "dates": _dates(report),
            "know_heading": say("To know"),
            "know": report.said[:_MOST_SAID],
        },
    )


_MOST_SAID = 3
_LEFT = mark("{removed} taken out, {hatched} hatched, {left} left.")
_UNHATCHED = mark("{removed} taken out, {hatched} hatched, {left} unhatched.")


def _causes_heading(judged: PostMortem | None) -> str:
    if judged is None:
        return ""
    if not judged.blames:
        return say("Why: nothing to blame")
    return say("Why: what the record points to")


def _causes(judged: PostMortem | None) -> list[dict[str, Any]]:
    if judged is None:
        return []
    return [
        {
            "cause": say(cause.cause),
            "weight": figure(cause.weight, ".0%"),
            "because": list(cause.because),
            "check": say("Check: {check}", check=cause.check) if cause.check else "",
        }
        for cause in judged.causes[:_MOST_CAUSES]
        if f"{cause.weight:.0%}" != "0%"
    ]


def _best(judged: PostMortem | None) -> str:
    if judged is None or judged.best_check is None:
        return ""
    return say("The one check that would tell most: {check}", check=judged.best_check.says)


def _dates(report: HatchReport) -> list[list[str]]:
    labels = {
        "stop_turning": say("Stop turning"),
        "first_pip": say("First pip, about"),
        "first_chick": say("First chick, about"),
        "pull_out": say("Chicks out by"),
        "stop_waiting": say("Stop waiting"),
    }
    dates = step_times(report)
    return [[label, wording.clock(dates[key])] for key, label in labels.items()]


def _chart(chart: Any) -> dict[str, Any]:
    """Where each mark comes, as numbers."""

    def corners(text: str) -> list[list[float]]:
        return [[float(end) for end in pair.split(",")] for pair in text.split()]

    def marks(found: Any) -> list[dict[str, Any]]:
        return [{"x": mark.x, "y": mark.y, "says": mark.says} for mark in found]

    return {
        "width": WIDTH,
        "height": HEIGHT,
        "corridor": corners(chart.corridor),
        "likely": corners(chart.likely),
        "weighed": corners(chart.weighed),
        "points": marks(chart.points),
        "days": marks(chart.days),
        "shares": marks(chart.shares),
    }

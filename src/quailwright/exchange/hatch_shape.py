"""The JSON shape of `hatch NAME` (apart, so that the round does not wait for the hatch models)."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from msgspec import convert, to_builtins

from quailwright.exchange.json_types import HatchShape, LossShape, Quantiles, QuantileTimes
from quailwright.guide.hatch.report import HatchReport, WeightLoss, step_times
from quailwright.guide.hatch.result import HatchResult


def hatch_shape(report: HatchReport) -> HatchShape:
    """`hatch NAME --json`."""
    hatch, outcome, judged = report.hatch, report.result, report.post_mortem
    return {
        "hatch": hatch.name,
        "place": hatch.place,
        "set_at": hatch.set_at.isoformat(),
        "now": report.now.isoformat(),
        "day": int(report.day),
        "eggs": {
            "set": hatch.eggs_set,
            "removed": hatch.removed,
            "alive": max(0, hatch.alive),
            "hatched": hatch.hatched,
        },
        "steps": [
            {"what": step.what, "at": step.at.isoformat(), "done": step.done, "rule": step.rule}
            for step in report.steps
        ],
        "dates": {name: at.isoformat() for name, at in step_times(report).items()},
        "weight_loss": _weight_loss_shape(report.weight),
        "window": _times(report.window.quantiles()),
        "first_hatch_at": _times(report.window.first_of(report.likely_chicks)),
        "expected_chicks": round(report.likely_chicks, 1),
        "result": _result_shape(outcome) if outcome is not None else None,
        "usual_hatch_of_set": to_builtins(report.usual),
        "causes": [to_builtins(cause) for cause in judged.causes] if judged is not None else [],
        "best_check": to_builtins(judged.best_check) if judged is not None else None,
        "blames": judged.blames if judged is not None else None,
        "said": [*filter(None, [report.weight.doubt]), *report.how, *report.said],
    }


def _weight_loss_shape(loss: WeightLoss) -> LossShape:
    advice = loss.advice
    display_known = loss.display_known and not loss.doubt
    return {
        "weighing_doubtful": bool(loss.doubt),
        "points": [
            {"day": round(p.day, 3), "loss_pct": round(p.loss_pct, 3), "eggs": p.eggs}
            for p in loss.points
        ],
        "rate_pct_per_day": convert(loss.rate_pct_per_day, Quantiles),
        "loss_at_stop_pct": convert(loss.loss_at_stop_pct, Quantiles),
        "corridor_pct": list(loss.corridor_pct),
        "humidity_to_set_pct": round(advice.true_pct, 1) if advice is not None else None,
        "humidity_display_pct": (
            round(advice.shown_pct, 1) if advice is not None and display_known else None
        ),
        "wet_bulb_c": round(loss.wet_bulb_c, 1) if loss.wet_bulb_c is not None else None,
        "leave_it": advice.leave_it if advice is not None else None,
        "chance_in_corridor": round(loss.chance_in_corridor, 3),
        "chance_if_set": round(advice.chance, 3) if advice is not None else None,
        "chance_if_weighed_again": (
            round(advice.chance_if_weighed, 3) if advice is not None else None
        ),
        "conductance_mg_day_torr": convert(loss.conductance_mg_day_torr, Quantiles),
        "shell_factor": to_builtins(loss.shell_factor),
        "hygrometer_offset_pct": to_builtins(loss.offset_pct) if display_known else None,
    }


def _result_shape(outcome: HatchResult) -> dict[str, Any]:
    return {
        "closed": outcome.closed,
        "fertility": to_builtins(outcome.fertility),
        "hatch_of_set": to_builtins(outcome.hatch_of_set),
        "hatch_of_fertile": to_builtins(outcome.hatch_of_fertile),
        "reckoned": list(outcome.reckoned),
        "losses": to_builtins(outcome.losses),
        "says": list(outcome.says),
    }


def _times(quantiles: Mapping[str, datetime]) -> QuantileTimes:
    return convert({name: at.isoformat() for name, at in quantiles.items()}, QuantileTimes)

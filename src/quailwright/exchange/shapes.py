"""The JSON shapes of docs/contract: what scripts and outside checks read."""

from collections.abc import Iterable, Sequence
from typing import Any

import msgspec

from quailwright.exchange.json_types import SignsShape, TaskShape, TodayShape
from quailwright.flock.standing import Standing
from quailwright.guide.round import Round, Task
from quailwright.guide.rules import ShownRule
from quailwright.guide.signs.report import SignsReport
from quailwright.journal.findings import Finding
from quailwright.language import said_plainly


def round_shape(today: Round) -> TodayShape:
    """`today --json`."""
    return {
        "on": today.on.isoformat(),
        "minutes": today.minutes,
        "minutes_apart": today.minutes_apart,
        "places": [
            {"place": place.place, "tasks": [_task(task) for task in place.tasks]}
            for place in today.places
        ],
        "signs": _plain(today.signs),
        "withheld": _plain(today.withheld),
        "missed": _plain(today.missed),
        "coming": [_task(task) for task in today.coming],
    }


def signs_shape(told: SignsReport) -> SignsShape:
    """`signs --json`."""
    shape: SignsShape = _plain(told)
    return shape


def _task(task: Task) -> TaskShape:
    return {
        "task": task.task,
        "rule": task.rule,
        "why": task.why,
        "minutes": task.minutes,
        "due": task.due.isoformat(),
        "overdue_days": task.overdue_days,
        "caution": task.caution,
        "place": task.place,
        "subject": task.subject,
        "count": task.count,
        "times_left": task.times_left,
        "once": task.once,
        "apart": task.apart,
        "certainty": task.certainty,
        "figures": sorted({figure.key for figure in task.figures}),
        "printed": task.printed,
        "tick": task.tick,
    }


def standing_shape(standing: Standing) -> dict[str, Any]:
    """`flock --json`."""
    shape: dict[str, Any] = _plain(standing)
    return shape


def rule_shape(shown: ShownRule) -> dict[str, Any]:
    """`rules --json`: one rule with every source that it stands on, and where it holds."""
    shape: dict[str, Any] = _plain(shown.rule)
    shape["basis"] = [figure.cite() for figure in shown.rule.basis()]
    shape["place"] = shown.place
    shape["silenced"] = shown.silenced
    return shape


def findings_shape(findings: Iterable[Finding]) -> list[dict[str, Any]]:
    """Findings with the sentence that a keeper reads."""
    return [{**_plain(finding), "sentence": finding.sentence} for finding in findings]


def check_shape(findings: Sequence[Finding]) -> dict[str, Any]:
    """`journal check --json`."""
    wrong = any(not finding.forced for finding in findings)
    return {"ok": not wrong, "findings": findings_shape(findings)}


def _plain(value: Any) -> Any:
    """Dataclasses and dates as plain JSON values."""
    return msgspec.to_builtins(value, enc_hook=said_plainly)

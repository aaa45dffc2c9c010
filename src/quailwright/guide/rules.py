"""The rules of care: what is to be done, when, why, how long it takes, and on whose word.

The rules are data, in `care.toml`. A keeper's `care_rule` entry changes or silences one, or adds
another; the printed rule stays readable beside it (`Rule.original`).
"""

import difflib
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache, reduce
from importlib import resources
from typing import Any, get_args

from quailwright.guide.cautions import cautions_for
from quailwright.husbandry import facts
from quailwright.husbandry.facts import Certainty, Figure
from quailwright.journal.entries import CareRule, CareStage
from quailwright.journal.findings import Finding
from quailwright.language import later

REST = "rest"
"""As a rule's `day`: when the received eggs have rested (longer when posted)."""
HOURS_A_DAY = 24.0


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule of care.

    Attributes:
        rule: its name, which a `care` entry ticks off.
        stage: what it belongs to: a `planned_set` or `planned_cull` (days from its own), `received`
            eggs, a `hatch` (days from setting), a `machine` with eggs in it, hatched `chicks` not
            housed yet, a `brooder`, a group by age (`grower`), a `pen`, or the `holding`.
        task, why: texts; {c:KEY}, {n:KEY}, {r:KEY} stand for figures, others for the state.
        every: days from one time to the next; None for a step done once on `days`.
        times: times a day, for a rule of every day (a keeper's `every_days=0.5` makes it two).
        days: day of the hatch, or age in days, of a step done once.
        start, until: days (as above) between which a recurring rule holds.
        early: days before its day from which doing it counts.
        too_late: days after its day when it is no use any more, and `instead` holds.
        instead_until: the last day (as above) on which `instead` can be done; `instead_after` holds
            then, or nothing.
        moot_by: kinds of entry after which neither holds.
        when: a condition on what stands, by name (see `conditions`).
        minutes, minutes_each: for the place, and for each bird or egg there.
        sample: at most this many birds are handled; None for all.
        apart: a bigger job, not counted in the minutes of the daily round.
        done_by: kinds of entry that also count as done.
        caution, caution_grown: where harm can happen; the second for birds past `young_until` days.
        figures: keys of the figures that it stands on.
        child: whether a child may do it by themselves.
        source, certainty: of the rule itself where no figure carries them.
        original: the printed rule, when the keeper has changed it.
    """

    rule: str
    stage: CareStage
    task: str
    why: str
    every: float | None = None
    times: int = 1
    days: tuple[float, ...] = ()
    start: float | None = None
    until: float | None = None
    early: float = 1.0
    too_late: float | None = None
    instead: str = ""
    instead_until: float | None = None
    instead_after: str = ""
    moot_by: tuple[str, ...] = ()
    when: str = ""
    minutes: float = 0.0
    minutes_each: float = 0.0
    sample: float | None = None
    apart: bool = False
    done_by: tuple[str, ...] = ()
    caution: str = ""
    caution_grown: str = ""
    young_until: float | None = None
    figures: tuple[str, ...] = ()
    child: bool = False
    source: str = ""
    certainty: Certainty = "common practice, no source"
    original: "Rule | None" = field(default=None)

    @property
    def yours(self) -> bool:
        """Whether the keeper has changed it, or made it."""
        return self.original is not None or self.rule not in printed_rules()

    def basis(self) -> tuple[Figure, ...]:
        """Every figure that the rule stands on, with all that sources say of it."""
        return tuple(row for key in self.figures for row in facts.rows(key))

    def minutes_for(self, count: int) -> float:
        """Minutes that it takes once, with `count` birds or eggs there."""
        handled = count if self.sample is None else min(count, self.sample)
        return self.minutes + self.minutes_each * handled

    def caution_at(self, age_days: float) -> str:
        """What to beware of with birds of that age."""
        grown = self.young_until is not None and age_days > self.young_until
        return self.caution_grown if grown else self.caution


@cache
def printed_rules() -> Mapping[str, Rule]:
    """The rules as they are printed, by name, in the order of `care.toml`."""
    text = resources.files(__package__).joinpath("care.toml").read_text(encoding="utf-8")
    return {row["rule"]: _rule(row) for row in tomllib.loads(text)["rule"]}


_MAY_NAME_FIGURES = (
    "day", "every", "times", "from", "until", "young_until", "instead_until", "sample",
)  # fmt: skip


def _rule(row: dict[str, Any]) -> Rule:
    cited = dict.fromkeys(row.pop("figures", ()))
    for name in _MAY_NAME_FIGURES:
        values = row.get(name)
        for value in values if isinstance(values, list) else [values]:
            if isinstance(value, str) and value != REST:
                cited[_key(value)] = None
    day = row.pop("day", None)
    minutes = row.pop("minutes")
    said_of_it = cautions_for(f"rule:{row['rule']}")
    caution = row.pop("caution", said_of_it[0].text if said_of_it else "")
    before = _days(row.pop("before", 0))
    days = () if day is None else tuple(day) if isinstance(day, list) else (day,)
    return Rule(
        days=tuple(_REST_DAY if d == REST else _days(d) - before for d in days),
        every=None if "every" not in row else _days(row.pop("every")),
        times=int(_days(row.pop("times", 1))),
        start=None if "from" not in row else _days(row.pop("from")),
        until=None if "until" not in row else _days(row.pop("until")),
        young_until=None if "young_until" not in row else _days(row.pop("young_until")),
        too_late=None if "too_late" not in row else _days(row.pop("too_late")),
        sample=None if "sample" not in row else _days(row.pop("sample")),
        minutes=facts.value(f"care.min_{minutes}"),
        minutes_each=facts.value(f"care.min_{minutes}_bird"),
        instead_until=None if "instead_until" not in row else _days(row.pop("instead_until")),
        done_by=tuple(row.pop("done_by", ())),
        moot_by=tuple(row.pop("moot_by", ())),
        figures=tuple(cited),
        caution=caution,
        **row,
    )


_REST_DAY = float("-inf")


def rests(rule: Rule) -> bool:
    """Whether the rule's day is when received eggs have rested."""
    return rule.days == (_REST_DAY,)


def _key(reference: str) -> str:
    return reference.removesuffix(".low").removesuffix(".high")


def number(reference: str) -> float:
    """The figure of a key; with `.low` or `.high`, that end of its range."""
    figure = facts.figure(_key(reference))
    if reference.endswith(".low"):
        found = figure.low
    elif reference.endswith(".high"):
        found = figure.high
    else:
        found = figure.value
    if found is None:
        raise facts.UnknownFigure(f"{reference} has no such number.")
    return found


def _days(value: float | str) -> float:
    """A number, or the figure of a key; hours are turned into days."""
    if not isinstance(value, str):
        return float(value)
    hours = facts.figure(_key(value)).unit == "h"
    return number(value) / HOURS_A_DAY if hours else number(value)


# The keeper's own changes.


Changes = Mapping[tuple[str, str | None], CareRule]


def rules_at(place: str, changes: Changes) -> list[Rule]:
    """The rules that hold at a place: printed, changed, silenced or added by the keeper."""
    held = []
    for name in dict.fromkeys((*printed_rules(), *(rule for rule, _ in changes))):
        rule = printed_rules().get(name)
        for where in (None, place):
            change = changes.get((name, where))
            if change is not None:
                rule = _changed(rule, change)
        if rule is not None:
            held.append(rule)
    return held


@dataclass(frozen=True, slots=True)
class ShownRule:
    """A rule as a keeper looks it up: as it holds everywhere, or (with `place`) at one place."""

    rule: Rule
    place: str = ""
    silenced: bool = False


def all_rules(changes: Changes) -> list[ShownRule]:
    """Every rule there is, printed or the keeper's own, silenced ones too, and where it differs."""
    everywhere = {rule.rule: rule for rule in rules_at("", changes)}
    shown = []
    for name in dict.fromkeys((*printed_rules(), *(rule for rule, _ in changes))):
        known = everywhere.get(name) or printed_rules().get(name)
        if known is not None:
            shown.append(ShownRule(known, "", name not in everywhere))
        for place in [place for rule, place in changes if rule == name and place is not None]:
            here = next((rule for rule in rules_at(place, changes) if rule.rule == name), None)
            at_place = here or known
            if at_place is not None:
                shown.append(ShownRule(at_place, place, here is None))
    return shown


def _changed(rule: Rule | None, change: CareRule) -> Rule | None:
    """The rule as the keeper wants it, or None when it is silenced or cannot be made."""
    if change.silenced:
        return None
    if problems(change):
        return rule
    rule = rule or printed_rules().get(change.rule)
    if rule is None:
        rule = Rule(change.rule, change.stage or "holding", change.task or "", change.why or "")
    said: dict[str, Any] = {
        name: getattr(change, name)
        for name in ("stage", "task", "why", "minutes", "caution")
        if getattr(change, name) is not None
    }
    if change.caution is not None:
        said["young_until"] = None
    if change.minutes is not None:
        said["minutes_each"] = 0.0
    if change.every_days is not None:
        times = max(1, round(1 / change.every_days))
        said |= {"every": max(1.0, change.every_days), "times": times, "days": ()}
    if change.day is not None:
        said |= {"days": (change.day,), "every": None, "times": 1}
    original = rule.original or printed_rules().get(rule.rule)
    return replace(rule, original=original, **said)


def problems(change: CareRule) -> list[Finding]:
    """What keeps a `care_rule` entry from making sense: sentences, or none."""
    if change.silenced:
        return []
    if change.every_days is not None and change.day is not None:
        return [
            Finding(
                "shape",
                later("a rule comes again and again, or once on its day, not both."),
                later("Give every_days or day."),
                entry=change.id,
                field="day",
            )
        ]
    if change.task is not None and not change.task.strip():
        return [
            Finding(
                "shape",
                later("it says nothing."),
                later("Say what to do; silenced=true takes a rule away."),
                entry=change.id,
                field="task",
            )
        ]
    if change.rule in printed_rules():
        return []
    missing: list[str] = [name for name in ("stage", "task") if getattr(change, name) is None]
    if change.every_days is None and change.day is None:
        missing.append(later("every_days or day"))
    if not missing:
        return []
    near = difflib.get_close_matches(change.rule, printed_rules(), 1)
    mend = later("`quailwright rules` lists the printed ones.")
    return [
        Finding(
            "shape",
            later(
                "there is no printed rule {rule!r}, and a rule of your own needs {missing}.",
                rule=change.rule,
                missing=reduce(
                    lambda some, one: later("{first}, {rest}", first=some, rest=one), missing
                ),
            ),
            later("Did you mean {name}? {mend}", name=near[0], mend=mend) if near else mend,
            entry=change.id,
            field="rule",
        )
    ]


def stages() -> Iterable[str]:
    """What a rule can belong to."""
    return get_args(CareStage)

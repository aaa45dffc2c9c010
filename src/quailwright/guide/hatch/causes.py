"""Why a hatch went as it did: causes weighed by the table in `causes.toml`. See docs/causes.md."""

import math
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from itertools import combinations
from statistics import NormalDist
from typing import Any

import numpy as np
from numpy.typing import NDArray

from quailwright.guide import wording
from quailwright.guide.hatch.case import Estimate, HatchCase
from quailwright.guide.hatch.result import Fates, HatchResult, fates, result
from quailwright.husbandry import facts
from quailwright.husbandry.incubation import storage_loss_points
from quailwright.husbandry.proportion import Interval, Pooled
from quailwright.journal.entries import Units
from quailwright.language import figure, mark, say, say_many

Grid = NDArray[np.float64]

LOST = ("clear", "early", "middle", "contaminated", "late", "pipped")
"""What takes an egg, in the order in which it can."""


@dataclass(frozen=True, slots=True)
class Cause:
    """One cause of how a hatch went.

    Attributes:
        cause: its name.
        weight: chance, 0 to 1, that it took a noticeable share of the eggs. Several causes may
            have been at work, so weights need not add to 1; that of "nothing unusual" is the chance
            that none was.
        because: the evidence, a sentence each, with how much it moved this cause taken alone.
        check: what to check first.
    """

    cause: str
    weight: float
    because: tuple[str, ...]
    check: str


@dataclass(frozen=True, slots=True)
class BestCheck:
    """The single check that would best tell the causes apart.

    Attributes:
        check, says, takes: its name, what to do, and how long it takes.
        tells: the expected part, 0 to 1, of the present uncertainty about the causes that its
            outcome would remove.
    """

    check: str
    says: str
    takes: str
    tells: float


@dataclass(frozen=True, slots=True)
class PostMortem:
    """What is believed of a closed hatch.

    Attributes:
        causes: likeliest first.
        best_check: None when nothing is blamed, or when no check would tell.
        blames: False when the hatch may well be a normal one: then only that is said.
    """

    causes: tuple[Cause, ...]
    best_check: BestCheck | None
    blames: bool


# The table.


@dataclass(frozen=True, slots=True)
class Evidence:
    """Something that can be known of a hatch, parted into outcomes."""

    name: str
    says: tuple[str, ...]
    edges: tuple[float, ...]
    values: tuple[str, ...]
    normal: Grid
    by_readings: bool
    unknown: str | None
    began_sd: float | None


@dataclass(frozen=True, slots=True)
class Suspect:
    """A cause as the table has it: `takes` by stage, `given` by evidence."""

    cause: str
    prior: float
    check: str
    takes: Mapping[str, float]
    given: Mapping[str, Grid]


@dataclass(frozen=True, slots=True)
class Check:
    """A test that would show an evidence's outcome; `eggs` opens what is left."""

    check: str
    evidence: str
    says: str
    takes: str
    ease: float
    routes: tuple[str, ...]
    unless: str | None


@dataclass(frozen=True, slots=True)
class Normal:
    """A normal hatch by route: shares of eggs set, and the ranges that count as normal."""

    fates: Mapping[str, float]
    usual: Mapping[str, tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Table:
    """`causes.toml`, and every set of causes weighed together (`sets`: sets x causes, 0 or 1)."""

    settings: Mapping[str, Any]
    normals: Mapping[str, Normal]
    evidence: Mapping[str, Evidence]
    suspects: tuple[Suspect, ...]
    checks: tuple[Check, ...]
    nothing: Mapping[str, str]
    sets: Grid
    log_prior: Grid


@cache
def table() -> Table:
    """The table of causes, read once."""
    text = resources.files(__package__).joinpath("causes.toml").read_text(encoding="utf-8")
    read = tomllib.loads(text)
    evidence = {name: _evidence(name, row) for name, row in read["evidence"].items()}
    suspects = tuple(_suspect(row) for row in read["cause"])
    indices = range(len(suspects))
    chosen = [
        members
        for size in range(read["settings"]["at_once"] + 1)
        for members in combinations(indices, size)
    ]
    sets = np.array([[float(i in members) for i in indices] for members in chosen])
    prior = np.array([suspect.prior for suspect in suspects])
    return Table(
        settings=read["settings"],
        normals={
            route: Normal(row["fates"], {k: (low, high) for k, (low, high) in row["usual"].items()})
            for route, row in read["normal"].items()
        },
        evidence=evidence,
        suspects=suspects,
        checks=tuple(
            Check(
                row["check"],
                row["evidence"],
                row["says"],
                row["takes"],
                row["ease"],
                tuple(row.get("routes", ())),
                row.get("unless"),
            )
            for row in read["check"]
        ),
        nothing=read["nothing"],
        sets=sets,
        log_prior=sets @ np.log(prior) + (1 - sets) @ np.log1p(-prior),
    )


def _evidence(name: str, row: Mapping[str, Any]) -> Evidence:
    normal = np.array(row["normal"])
    says = row["says"]
    return Evidence(
        name=name,
        says=tuple(says) if isinstance(says, list) else (says,) * len(normal),
        edges=tuple(row.get("edges", ())),
        values=tuple(row.get("values", ())),
        normal=normal,
        by_readings=row.get("by_readings", False),
        unknown=row.get("unknown"),
        began_sd=facts.value(row["began_sd"]) if "began_sd" in row else None,
    )


def _suspect(row: Mapping[str, Any]) -> Suspect:
    return Suspect(
        cause=row["cause"],
        prior=row["prior"],
        check=row["check"],
        takes=row["takes"],
        given={line["evidence"]: np.array(line["given"]) for line in row.get("row", ())},
    )


# What was observed.


Observed = float | str | bool | Estimate | None


def _storage_points(case: HatchCase) -> Observed:
    if case.storage_days is None or case.storage_c is None:
        return None
    if not (math.isfinite(case.storage_days) and math.isfinite(case.storage_c)):
        return None
    coldest, warmest = facts.value("storage.cold_c"), facts.value("storage.warm_high_c")
    return storage_loss_points(
        max(0.0, case.storage_days), min(max(case.storage_c, coldest), warmest)
    )


def _storage_days(case: HatchCase) -> Observed:
    return None if _storage_points(case) is not None else case.storage_days


def _loss_off_corridor(case: HatchCase) -> Observed:
    loss = case.loss_at_stop_pct
    if loss is None:
        return None
    low, high = _corridor(case)
    off = loss.mean - min(max(loss.mean, low), high)
    return Estimate(off, loss.sd)


def _corridor(case: HatchCase) -> tuple[float, float]:
    low, high = case.corridor_pct
    if 0 < low < high:
        return low, high
    return facts.value("incubation.weight_loss_low"), facts.value("incubation.weight_loss_high")


_DERIVED: dict[str, Callable[[HatchCase], Observed]] = {
    "storage_points": _storage_points,
    "storage_days": _storage_days,
    "loss_off_corridor": _loss_off_corridor,
}


def _observed(case: HatchCase, evidence: Evidence) -> Observed:
    derive = _DERIVED.get(evidence.name)
    seen: Observed = derive(case) if derive else getattr(case, evidence.name, None)
    if isinstance(seen, bool):
        seen = str(seen)
    if isinstance(seen, str):
        return None if seen == evidence.unknown or seen not in evidence.values else seen
    if isinstance(seen, Estimate):
        return seen if math.isfinite(seen.mean) and 0 <= seen.sd < math.inf else None
    return seen if seen is not None and math.isfinite(seen) else None


def _chances(seen: float | str | Estimate, evidence: Evidence) -> Grid:
    """Chance of each outcome by what was observed alone; one of them is 1 where it is certain."""
    if isinstance(seen, Estimate) and seen.sd > 0:
        around = NormalDist(seen.mean, seen.sd)
        below = np.array([0.0, *(around.cdf(edge) for edge in evidence.edges), 1.0])
        chances: Grid = np.diff(below)
        return chances
    chances = np.zeros(len(evidence.normal))
    chances[_outcome(seen, evidence)] = 1.0
    return chances


def _outcome(seen: float | str | Estimate, evidence: Evidence) -> int:
    if isinstance(seen, str):
        return evidence.values.index(seen)
    number = seen.mean if isinstance(seen, Estimate) else seen
    return int(np.searchsorted(evidence.edges, number, side="right"))


# The weighing.


@cache
def _outcomes_by_set(name: str) -> Grid:
    """Chance of each outcome under each set of causes (sets x outcomes).

    One cause: its row. Several: their ratios to the normal hatch are multiplied and brought back
    to a sum of 1, so that causes that pull the same way add up and opposite ones cancel.
    """
    evidence = table().evidence[name]
    ratios = np.array(
        [
            np.log(suspect.given.get(name, evidence.normal) / evidence.normal)
            for suspect in table().suspects
        ]
    )
    chances = np.exp(np.log(evidence.normal) + table().sets @ ratios)
    by_set: Grid = chances / chances.sum(1, keepdims=True)
    return by_set


def _log_evidence(case: HatchCase, evidence: Evidence, seen: float | str | Estimate) -> Grid:
    """How much commoner the observation is under each set than in a normal hatch, as a log.

    An observation that is itself unsure is averaged over its outcomes, each divided by how often
    it is met in any hatch, or by how it stood before anything was observed: one that says no more
    than was known before moves nothing.
    """
    logs = np.log(_outcomes_by_set(evidence.name) @ _told(seen, evidence))
    moved: Grid = logs - logs[0]
    return moved * (case.readings_share if evidence.by_readings else 1.0)


def _told(seen: float | str | Estimate, evidence: Evidence) -> Grid:
    before = _softmax(table().log_prior) @ _outcomes_by_set(evidence.name)
    if evidence.began_sd is not None and isinstance(seen, Estimate):
        before = _chances(Estimate(0.0, evidence.began_sd), evidence)
    told: Grid = _chances(seen, evidence) / before
    return told


def _fates_by_set(normal: Normal, usual: Pooled | None) -> Grid:
    """Share of eggs lost at each of `LOST`, then hatched, under each set (sets x 7).

    Each cause takes its share of the eggs that reach a stage; what several leave is multiplied.
    """
    shares = np.array([normal.fates[stage] for stage in LOST])
    if usual is not None and usual.mean > 1 - shares.sum():
        shares *= (1 - usual.mean) / shares.sum()
    reached = 1 - np.concatenate(([0.0], np.cumsum(shares)[:-1]))
    takes = np.array(
        [[suspect.takes.get(stage, 0.0) for stage in LOST] for suspect in table().suspects]
    )
    left = np.exp(np.log1p(-shares / reached) + table().sets @ np.log1p(-takes))
    reaching = np.concatenate((np.ones((len(left), 1)), np.cumprod(left, axis=1)), axis=1)
    by_set: Grid = np.concatenate((-np.diff(reaching, axis=1), reaching[:, -1:]), axis=1)
    return by_set


def _groups(fate: Fates) -> list[tuple[int, list[int]]]:
    """Counts of eggs, each with the places in `_fates_by_set` where they may belong."""
    known = {"clear": fate.clear, **fate.stages}
    groups = [(known[stage], [place]) for place, stage in enumerate(LOST)]
    groups.append((fate.hatched, [len(LOST)]))
    groups.append((fate.dead, [LOST.index("early"), LOST.index("middle")]))
    groups.append((fate.unopened, _unopened_places(fate)))
    return [(eggs, places) for eggs, places in groups if eggs]


def _unopened_places(fate: Fates) -> list[int]:
    return list(range(1 if fate.candled else 0, len(LOST)))


def _eggs_count_as(fate: Fates, usual: Pooled | None) -> float:
    """How much of an independent witness each egg is: eggs of one hatch share luck and machine.

    However many eggs, they count as no more than about as many as the published spread between
    hatches of strangers is worth (beta-binomial), or as the keeper's own record has shown.
    """
    strength = facts.value("incubation.hatch_of_set_beta_a") + facts.value(
        "incubation.hatch_of_set_beta_b"
    )
    if usual is not None:
        strength = max(strength, sum(usual.next_hatch()))
    return (1 + strength) / (fate.eggs + strength)


def _log_fates(fate: Fates, by_set: Grid, counts_as: float) -> Grid:
    logs = np.zeros(len(by_set))
    for eggs, places in _groups(fate):
        logs += eggs * np.log(by_set[:, places].sum(1))
    moved: Grid = counts_as * (logs - logs[0])
    return moved


def _softmax(logs: Grid) -> Grid:
    raised = np.exp(logs - logs.max())
    chances: Grid = raised / raised.sum()
    return chances


def post_mortem(
    case: HatchCase, usual: Pooled | None = None, units: Units = "metric"
) -> PostMortem | None:
    """Causes of how a hatch went, likeliest first, or None while it is not over.

    Args:
        case: the evidence; what is None moves nothing.
        usual: the usual hatch of set of these sources by the keeper's other hatches
            (`proportion.pool`). It raises what counts as normal, and makes the counts weigh more;
            a poor record never lowers it below the published figure, or a lasting fault would hide.
        units: for the sentences.

    Source: the likelihoods of `causes.toml`, each with its source or as our judgement; weighed by
    Bayes' rule over every set of at most three causes. Certainty: inferred.
    """
    outcome = result(case) if case.closed else None
    if outcome is None:
        return None
    fate = fates(case)
    normal = table().normals.get(case.route or "unknown", table().normals["unknown"])
    fate_by_set = _fates_by_set(normal, usual)
    counts_as = _eggs_count_as(fate, usual)
    seen = {
        name: observation
        for name, evidence in table().evidence.items()
        if (observation := _observed(case, evidence)) is not None
        and not (evidence.by_readings and case.readings_share <= 0)
    }
    moved = {
        name: _log_evidence(case, table().evidence[name], observation)
        for name, observation in seen.items()
    }
    eggs = _log_fates(fate, fate_by_set, counts_as)
    belief = _softmax(table().log_prior + eggs + sum(moved.values(), np.zeros(len(eggs))))
    weights = belief @ table().sets
    # Sets 1 to the number of suspects hold one cause each, in their order.
    alone = slice(1, len(table().suspects) + 1)
    together = eggs[alone] + sum((m[alone] for m in moved.values()), np.zeros(len(weights)))
    blames = not _may_be_normal(outcome, normal, usual) or bool(
        (together >= math.log(table().settings["strong"])).any()
    )
    unblamed = table().nothing
    nothing = Cause(
        unblamed["cause"],
        float(belief[0]),
        (_against_normal(case, outcome, normal, usual),),
        wording.fill(unblamed["check"], units, {}),
    )
    if not blames:
        return PostMortem((nothing,), None, blames=False)
    causes = [nothing]
    for place, suspect in enumerate(table().suspects):
        if not _raised(float(weights[place]), suspect):
            continue
        factors = {name: float(m[1 + place]) for name, m in moved.items()}
        told = [
            (abs(log), _sentence(_says(case, name, seen[name], units), log))
            for name, log in factors.items()
            if suspect.given.get(name) is not None and _is_told(log)
        ]
        if _is_told(eggs[1 + place]):
            told.append((abs(eggs[1 + place]), _sentence(_tally(fate), eggs[1 + place])))
        told.sort(key=lambda line: -line[0])
        causes.append(
            Cause(
                suspect.cause,
                float(weights[place]),
                tuple(sentence for _, sentence in told),
                wording.fill(suspect.check, units, {}),
            )
        )
    causes.sort(key=lambda cause: -cause.weight)
    best = _best_check(case, fate, belief, seen, fate_by_set, counts_as)
    return PostMortem(tuple(causes), best, blames=True)


def _raised(weight: float, suspect: Suspect) -> bool:
    """Whether the record speaks for the cause at all: one that nothing has raised is not shown."""
    settings = table().settings
    return bool(weight >= max(settings["shown"], settings["raised"] * suspect.prior))


def _is_told(log: float) -> bool:
    return abs(log) >= math.log(table().settings["told"])


# Normal or not.


def _usual_low(name: str, normal: Normal, usual: Pooled | None) -> float:
    low = normal.usual[name][0]
    if name != "hatch_of_set" or usual is None:
        return low
    a, b = usual.next_hatch()
    mean = a / (a + b)
    return max(low, mean - math.sqrt(mean * (1 - mean) / (a + b + 1)))


def _may_be_normal(outcome: HatchResult, normal: Normal, usual: Pooled | None) -> bool:
    """Whether every share's interval reaches the range of a normal hatch, or lies above."""
    shares: dict[str, Interval | None] = {
        "fertility": outcome.fertility,
        "hatch_of_set": outcome.hatch_of_set,
        "hatch_of_fertile": outcome.hatch_of_fertile,
    }
    return all(
        share is None or share.high95 >= _usual_low(name, normal, usual)
        for name, share in shares.items()
    )


_EGGS = {
    "own": mark("home-laid eggs"),
    "collected": mark("collected eggs"),
    "shipped": mark("posted eggs"),
}


def _against_normal(
    case: HatchCase, outcome: HatchResult, normal: Normal, usual: Pooled | None
) -> str:
    share = outcome.hatch_of_set
    low = _usual_low("hatch_of_set", normal, usual)
    high = max(normal.usual["hatch_of_set"][1], low)
    return say(
        "{hatched} of {set} hatched: {share:.0f} %, by this count anything from {low:.0f} to "
        "{high:.0f} %; a normal hatch of {eggs} is {normal_low:.0f} to {normal_high:.0f} %.",
        hatched=outcome.hatched,
        set=outcome.eggs_set,
        share=100 * share.value,
        low=100 * share.low95,
        high=100 * share.high95,
        eggs=say(_EGGS.get(case.route or "", mark("eggs of any route"))),
        normal_low=100 * low,
        normal_high=100 * high,
    )


# Words.


def _sentence(what: str, log: float) -> str:
    times = math.exp(abs(log))
    spec = ".1f" if times < 3 and not f"{times:.1f}".endswith(".0") else ".0f"
    text = _OFTENER if log > 0 else _SELDOMER
    return say(
        text,
        what=f"{what[0].upper()}{what[1:]}",
        times=figure(min(times, 1000), spec),
    )


_OFTENER = mark("{what}; met {times} times as often with this fault as in a normal hatch.")
_SELDOMER = mark("{what}; met {times} times less often with this fault than in a normal hatch.")


def _tally(fate: Fates) -> str:
    counts = {"clear": fate.clear, **fate.stages, "dead": fate.dead, "unopened": fate.unopened}
    parts = [say(_TALLIED[name], n=eggs) for name, eggs in counts.items() if eggs]
    parts.append(say("{n} hatched", n=fate.hatched))
    return say_many("of {n} egg {parts}", "of {n} eggs {parts}", fate.eggs, parts=", ".join(parts))


_TALLIED = {
    "clear": mark("{n} clear"),
    "early": mark("{n} early"),
    "middle": mark("{n} middle"),
    "late": mark("{n} late"),
    "pipped": mark("{n} pipped"),
    "contaminated": mark("{n} contaminated"),
    "dead": mark("{n} dead at candling"),
    "unopened": mark("{n} not opened"),
}


def _says(case: HatchCase, name: str, seen: float | str | Estimate, units: Units) -> str:
    evidence = table().evidence[name]
    words: dict[str, Any] = {"x": seen}
    if not isinstance(seen, str):
        mean = seen.mean if isinstance(seen, Estimate) else seen
        sd = seen.sd if isinstance(seen, Estimate) else 0.0
        words = {
            "x": mean,
            "off": abs(mean),
            "off_t": wording.degrees(round(abs(mean), 1), units),
            "diff": wording.degrees(round(mean, 1), units),
            "temp": wording.temperature(mean, units),
            "hours": abs(mean),
            "percent": 100 * mean,
            "cock_weeks": mean / 7,
            "low": max(0.0, mean - _LIKELY * sd),
            "high": min(100.0, mean + _LIKELY * sd),
            "sure": f" (± {figure(2 * sd, '.0f')})" if sd else "",
            "sure_h": f" (± {figure(2 * sd, '.0f')})" if sd else "",
        }
    words["known_by"] = say(case.hatcher_known_by)
    if case.storage_days is not None:
        words["storage_days"] = case.storage_days
    if case.storage_c is not None:
        words["storage_c"] = wording.temperature(case.storage_c, units)
    if case.loss_at_stop_pct is not None:
        low, high = _corridor(case)
        words["loss"] = f"{figure(case.loss_at_stop_pct.mean, '.1f')} %"
        words["corridor"] = say("{low:g} to {high:g} %", low=low, high=high)
    day = case.outage_day
    words["on_day"] = ""
    if day is not None and math.isfinite(day):
        words["on_day"] = " " + say("on day {day:.0f}", day=day)
    return say(evidence.says[_outcome(seen, evidence)], **words)


_LIKELY = 1.28
"""Standard deviations on either side that hold 80 %."""


# The check that would tell most.


def _best_check(
    case: HatchCase,
    fate: Fates,
    belief: Grid,
    seen: Mapping[str, float | str | Estimate],
    fate_by_set: Grid,
    counts_as: float,
) -> BestCheck | None:
    """The check that is expected to remove most uncertainty about which leading causes hold."""
    views = _leading_views(belief)
    unsure = _entropy(views @ belief)
    best: tuple[float, BestCheck] | None = None
    for check in table().checks:
        if check.routes and case.route not in (None, *check.routes):
            continue
        if check.unless is not None and getattr(case, check.unless) is not None:
            continue
        if check.evidence == "eggs":
            gain = _gain_of_opening(fate, belief, views, fate_by_set, counts_as)
        else:
            evidence = table().evidence[check.evidence]
            gain = _gain(evidence, belief, views, seen.get(check.evidence))
        worth = gain * check.ease
        if unsure > 0 and worth > (best[0] if best else table().settings["tells"] * unsure):
            best = (
                worth,
                BestCheck(check.check, say(check.says), say(check.takes), min(1.0, gain / unsure)),
            )
    return best[1] if best else None


def _leading_views(belief: Grid) -> Grid:
    """Which of the sets agree on every leading cause (views x sets, 0 or 1)."""
    weights = belief @ table().sets
    raised = [_raised(float(w), s) for w, s in zip(weights, table().suspects, strict=True)]
    leads = np.array(raised) & (weights >= table().settings["leading"] * weights.max())
    leads[weights.argmax()] = True
    _, view = np.unique(table().sets[:, leads], axis=0, return_inverse=True)
    views: Grid = (np.arange(view.max() + 1)[:, None] == view.ravel()).astype(float)
    return views


def _entropy(chances: Grid) -> float:
    held = chances[chances > 0]
    return float(-(held * np.log(held)).sum())


def _gain(
    evidence: Evidence, belief: Grid, views: Grid, seen: float | str | Estimate | None
) -> float:
    """Mutual information of an outcome and the view that holds."""
    by_set = _outcomes_by_set(evidence.name)
    if seen is not None:
        by_set = by_set * _told(seen, evidence)
        by_set = by_set / by_set.sum(1, keepdims=True)
    joint = (views * belief) @ by_set
    return _entropy(joint.sum(0)) + _entropy(joint.sum(1)) - _entropy(joint)


_SETS_TRIED = 200
"""The likeliest sets of causes, which hold nearly all of the belief."""
_TINY = float(np.finfo(float).tiny)


def _gain_of_opening(
    fate: Fates, belief: Grid, views: Grid, fate_by_set: Grid, counts_as: float
) -> float:
    """As `_gain`, for the stages of the eggs left.

    For each set of causes in turn the eggs are taken to show just the stages that it makes likely,
    and the belief that this would leave is averaged over the sets: a little too hopeful, as luck
    is left out.
    """
    if not fate.unopened + fate.dead:
        return 0.0
    likely = np.argsort(-belief)[:_SETS_TRIED]
    belief, views = belief[likely] / belief[likely].sum(), views[:, likely]
    logs = np.log(np.maximum(belief, _TINY))[None, :]
    for eggs, places in (
        (fate.unopened, _unopened_places(fate)),
        (fate.dead, [LOST.index("early"), LOST.index("middle")]),
    ):
        split = fate_by_set[likely][:, places]
        split = split / split.sum(1, keepdims=True)
        logs = logs + counts_as * eggs * split @ np.log(split).T
    after = np.exp(logs - logs.max(1, keepdims=True))
    after = (after / after.sum(1, keepdims=True)) @ views.T
    left = -(after * np.log(np.maximum(after, _TINY))).sum(1)
    return max(0.0, _entropy(views @ belief) - float(belief @ left))

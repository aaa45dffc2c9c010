"""Scores the outlook against simulated flocks whose future is known.

For each flock of `simulated_flocks` the forecast is asked once, from the journal up to its day, and
then judged by what came in the 26 weeks after: how often its central intervals held, and its CRPS
of weekly eggs beside those of a rule of thumb, the last month, and exponential smoothing.

Run from the root: `PYTHONPATH=src python -m studies.outlook_scores --flocks 300 --draws 1000`.
The same seed gives the same figures, whatever `--jobs` is. See studies/README.md.
"""

import argparse
import json
import time
from collections.abc import Callable, Collection, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from datetime import date, timedelta
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np
from numpy.random import Generator, default_rng
from studies.egg_references import (
    exponential_smoothing,
    last_month,
    logged_weeks,
    rule_of_thumb,
)
from studies.forecast_scores import (
    Bools,
    Floats,
    Numbers,
    crps,
    held,
    histogram,
    pit,
    ratio_interval,
    share_interval,
    within,
)
from studies.simulated_flocks import TROUBLES, SimulatedFlock, simulate
from studies.simulated_nature import WEEKS_AHEAD

from quailwright.flock.fold import fold
from quailwright.journal.entries import Entry

QUANTITIES = ("eggs", "hens", "cocks", "chicks", "deaths", "feed_kg")
HORIZONS = (1, 4, 12, 26)
LEVELS = (0.5, 0.8, 0.9)
REFERENCES = ("rule of thumb", "last month", "smoothing")


@dataclass(frozen=True)
class Forecast:
    """Draws of each quantity, (draws, weeks), and of the chicks of each hatch, (draws,)."""

    samples: dict[str, Numbers]
    hatches: dict[str, Numbers]


Forecaster = Callable[[Sequence[Entry], date, int, Generator], Forecast]


def outlook_forecast(
    entries: Sequence[Entry], today: date, draws: int, rng: Generator
) -> Forecast:  # fmt: skip
    """The outlook's answer: the one place where this study meets what it checks."""
    from quailwright.outlook.forecast import forecast

    outlook = forecast(fold(entries, today), today, weeks=WEEKS_AHEAD, draws=draws, rng=rng)
    return Forecast(
        {name: outlook.samples[name] for name in QUANTITIES},
        {hatch.hatch: hatch.chicks_samples for hatch in outlook.hatches},
    )


def plain_forecast(
    entries: Sequence[Entry], today: date, draws: int, rng: Generator
) -> Forecast:  # fmt: skip
    """The last month's eggs go on with chance alone, one bird in 200 dies a week, nothing hatches
    or is sexed, a bird eats 25 g a day: tries this study out, and shows what little is worth."""
    flock = fold(entries, today)
    weeks = np.arange(1, WEEKS_AHEAD + 1)
    standing = {
        name: sum(getattr(group.alive, name) for group in flock.groups_alive())
        for name in ("hens", "cocks", "chicks")
    }
    samples: dict[str, Numbers] = {
        name: rng.binomial(number, 0.995**weeks, (draws, WEEKS_AHEAD))
        for name, number in standing.items()
    }
    eggs = logged_weeks(flock, today).eggs
    samples["eggs"] = rng.poisson(eggs[-4:].mean() if eggs.size else 0.0, (draws, WEEKS_AHEAD))
    total = sum(standing.values())
    samples["deaths"] = rng.binomial(total, 0.005, (draws, WEEKS_AHEAD))
    samples["feed_kg"] = 0.175 * total * np.exp(rng.normal(0.0, 0.1, (draws, WEEKS_AHEAD)))
    hatches: dict[str, Numbers] = {
        hatch.name: rng.binomial(max(0, hatch.alive), 0.65, draws) + hatch.hatched
        for hatch in flock.hatches_open()
    }
    return Forecast(samples, hatches)


FORECASTS: dict[str, Forecaster] = {"outlook": outlook_forecast, "plain": plain_forecast}


def flock_of(seed: int, number: int, without: Collection[str] = ()) -> SimulatedFlock:
    """The flock of that number under that seed, with a day of its own in two years."""
    rng = default_rng([seed, number, 0])
    return simulate(rng, date(2027, 1, 1) + timedelta(days=int(rng.integers(0, 730))), without)


@dataclass(frozen=True)
class HatchScore:
    """A hatch that the journal leaves open. Where the forecast does not speak of it, only
    `told` says so."""

    under_way: bool
    told: bool
    stands: float
    crps: float
    held: tuple[bool, ...]


@dataclass(frozen=True)
class FlockScore:
    """Scores of one flock; arrays have one item a week. A quantity does not `count` in a week in
    which all draws and the truth are nothing."""

    number: int
    groups: dict[str, str]
    crps: dict[str, Floats]
    references: dict[str, Floats]
    stands: dict[str, Floats]
    held: dict[str, dict[float, Bools]]
    counts: dict[str, Bools]
    hatches: list[HatchScore]
    seconds: tuple[float, float]


def score_flock(
    number: int, seed: int, draws: int, forecaster: str, without: Collection[str] = ()
) -> FlockScore:  # fmt: skip
    """Simulates, forecasts and scores one flock."""
    started = time.perf_counter()
    flock = flock_of(seed, number, without)
    simulated = time.perf_counter()
    try:
        told = FORECASTS[forecaster](
            flock.entries, flock.today, draws, default_rng([seed, number, 1])
        )
    except Exception as trouble:
        trouble.add_note(f"In flock_of({seed}, {number}, {without}).")
        raise
    forecast = time.perf_counter()
    rng = default_rng([seed, number, 2])
    truth = flock.truth
    stands, holds, counts, scores = {}, {}, {}, {}
    for name in QUANTITIES:
        drawn, came = told.samples[name], getattr(truth, name)
        if drawn.shape != (draws, WEEKS_AHEAD):
            raise ValueError(f"{name} has draws of shape {drawn.shape}, in flock {number}.")
        stands[name] = pit(drawn, came, rng)
        holds[name] = {level: held(drawn, came, level) for level in LEVELS}
        counts[name] = (drawn != 0).any(axis=0) | (came != 0)
        scores[name] = crps(drawn, came)
    return FlockScore(
        number,
        _circumstances(flock),
        scores,
        _references(flock, draws, default_rng([seed, number, 3])),
        stands,
        holds,
        counts,
        _hatches(flock, told, rng),
        (simulated - started, forecast - simulated),
    )


def _references(flock: SimulatedFlock, draws: int, rng: Generator) -> dict[str, Floats]:
    known = fold(flock.entries, flock.today)
    logged = logged_weeks(known, flock.today)
    came = flock.truth.eggs
    drawn = (
        rule_of_thumb(known, flock.today, WEEKS_AHEAD)[None, :],
        last_month(logged, WEEKS_AHEAD, draws, rng),
        exponential_smoothing(logged, WEEKS_AHEAD, draws, rng),
    )
    return {name: crps(each, came) for name, each in zip(REFERENCES, drawn, strict=True)}


def _hatches(flock: SimulatedFlock, told: Forecast, rng: Generator) -> list[HatchScore]:
    scored = []
    for hatch in flock.truth.hatches:
        drawn = told.hatches.get(hatch.hatch)
        if drawn is None:
            scored.append(HatchScore(hatch.under_way, False, 0.5, 0.0, ()))
            continue
        came = np.array(hatch.chicks)
        held_at = tuple(bool(held(drawn, came, level)) for level in LEVELS)
        place, score = float(pit(drawn, came, rng)), float(crps(drawn, came))
        scored.append(HatchScore(hatch.under_way, True, place, score, held_at))
    return scored


HISTORY_DAYS = (
    (28, "under 4 weeks"),
    (91, "4 to 13 weeks"),
    (365, "13 to 52 weeks"),
    (9999, "over 52 weeks"),
)
HENS = ((0, "none"), (3, "1 to 3"), (15, "4 to 15"), (9999, "over 15"))
IN_ORDER = [name for _, name in HISTORY_DAYS + HENS]


def _circumstances(flock: SimulatedFlock) -> dict[str, str]:
    """What the breakdown goes by."""
    keeper = flock.keeper
    hatches = sum(hatch.under_way for hatch in flock.truth.hatches)
    hens = flock.truth.standing[0]
    return {
        "history": next(name for until, name in HISTORY_DAYS if flock.history_days < until),
        "hatches under way": str(hatches) if hatches < 2 else "2",
        "light": flock.site.light,
        "hemisphere": "north" if flock.site.latitude >= 0 else "south",
        "eggs logged": keeper.eggs_told,
        "deaths logged": "nearly all" if keeper.deaths_told >= 0.95 else "some never",
        "feed logged": keeper.feed,
        "hens today": next(name for most, name in HENS if hens <= most),
    }


def run(
    flocks: int, draws: int, seed: int, jobs: int, forecaster: str, without: Collection[str] = ()
) -> list[FlockScore]:  # fmt: skip
    """Scores flocks 0 to `flocks` - 1, in order."""
    score = partial(score_flock, seed=seed, draws=draws, forecaster=forecaster, without=without)
    if jobs == 1:
        return [score(number) for number in range(flocks)]
    with ProcessPoolExecutor(jobs, get_context("spawn")) as pool:
        return list(pool.map(score, range(flocks), chunksize=4))


# --- what is made of the scores ------------------------------------------------------------------

Row = dict[str, Any]


def coverage(scores: Sequence[FlockScore]) -> list[Row]:
    """How often intervals held, for each quantity and horizon: `fair` by the randomised place,
    `shown` as an interval with both ends counted (too often by design where numbers are small)."""
    rows = []
    for name in QUANTITIES:
        for weeks in HORIZONS:
            chosen = [s for s in scores if s.counts[name][weeks - 1]]
            places = np.array([s.stands[name][weeks - 1] for s in chosen])
            shown = [
                float(np.mean([s.held[name][level][weeks - 1] for s in chosen])) if chosen else None
                for level in LEVELS
            ]
            rows.append(_coverage_row(name, weeks, places, shown))
    for under_way, name in ((True, "chicks of a hatch"), (False, "of one left open")):
        told = [h for s in scores for h in s.hatches if h.told and h.under_way == under_way]
        shown = [
            float(np.mean([hatch.held[number] for hatch in told])) if told else None
            for number in range(len(LEVELS))
        ]
        rows.append(_coverage_row(name, None, np.array([h.stands for h in told]), shown))
    return rows


def _coverage_row(
    name: str, weeks: int | None, places: Floats, shown: list[float | None]
) -> Row:  # fmt: skip
    fair = [float(within(places, level).mean()) if places.size else None for level in LEVELS]
    mean = float(places.mean()) if places.size else None
    return {
        "quantity": name,
        "weeks_ahead": weeks,
        "n": int(places.size),
        "fair": dict(zip(map(str, LEVELS), fair, strict=True)),
        "shown": dict(zip(map(str, LEVELS), shown, strict=True)),
        "mean_place": mean,
    }


def egg_scores(scores: Sequence[FlockScore], seed: int) -> list[Row]:
    """Mean CRPS of weekly eggs at each horizon and over all weeks, beside the references."""
    rows = []
    for weeks in (*HORIZONS, None):
        mine, others = _of_weeks(scores, weeks)
        rows.append({"weeks_ahead": weeks, **_against(mine, others, default_rng(seed))})
    return rows


def _of_weeks(
    scores: Sequence[FlockScore], weeks: int | None
) -> tuple[Floats, dict[str, Floats]]:  # fmt: skip
    def of(each: Floats) -> float:
        return float(each.mean() if weeks is None else each[weeks - 1])

    mine = np.array([of(s.crps["eggs"]) for s in scores])
    return mine, {name: np.array([of(s.references[name]) for s in scores]) for name in REFERENCES}


def _against(mine: Floats, others: dict[str, Floats], rng: Generator) -> Row:
    beside = {}
    for name, other in others.items():
        ratio, low, high = ratio_interval(mine, other, rng)
        beside[name] = {
            "crps": float(other.mean()),
            "ratio": ratio,
            "low95": low,
            "high95": high,
            "better_in": float((mine < other).mean()),
        }
    return {"n": mine.size, "crps": float(mine.mean()), "beside": beside}


def breakdown(scores: Sequence[FlockScore], seed: int) -> list[Row]:
    """Weekly eggs over all 26 weeks by circumstance: CRPS beside the references, how often the
    80 % interval held (mean over the horizons, with its bootstrap interval), and the mean place."""
    rows = []
    places = [week - 1 for week in HORIZONS]
    for by in scores[0].groups:
        for value in sorted({s.groups[by] for s in scores}, key=_rank):
            chosen = [s for s in scores if s.groups[by] == value]
            mine, others = _of_weeks(chosen, None)
            stands = np.array([s.stands["eggs"][places] for s in chosen])
            inside, low, high = share_interval(within(stands, 0.8), default_rng(seed))
            rows.append(
                {
                    "by": by,
                    "value": value,
                    **_against(mine, others, default_rng(seed)),
                    "held_80": {"share": inside, "low95": low, "high95": high},
                    "held_80_at": {
                        str(week): float(within(stands[:, number], 0.8).mean())
                        for number, week in enumerate(HORIZONS)
                    },
                    "mean_place": float(stands.mean()),
                }
            )
    return rows


def _rank(value: str) -> tuple[int, str]:
    return (IN_ORDER.index(value) if value in IN_ORDER else 0, value)


def places(scores: Sequence[FlockScore]) -> list[Row]:
    """Counts of the places of the truth among the draws, in tenths, over the four horizons."""
    rows = []
    weeks = [week - 1 for week in HORIZONS]
    for name in QUANTITIES:
        stands = [s.stands[name][weeks][s.counts[name][weeks]] for s in scores]
        rows.append({"quantity": name, "counts": histogram(np.concatenate(stands))})
    hatches = [h.stands for s in scores for h in s.hatches if h.told and h.under_way]
    rows.append({"quantity": "chicks of a hatch", "counts": histogram(np.array(hatches))})
    return rows


WORST = 8


def worst(scores: Sequence[FlockScore]) -> list[Row]:
    """The flocks in which the forecast of eggs lost most to the best of the references."""

    def lost(score: FlockScore) -> float:
        best = min(float(score.references[name].mean()) for name in REFERENCES)
        return float(score.crps["eggs"].mean()) - best

    ranked = sorted(scores, key=lost, reverse=True)[:WORST]
    return [{"flock": s.number, "lost": lost(s), **s.groups} for s in ranked]


def summary(scores: Sequence[FlockScore], seed: int) -> Row:
    """All tables."""
    hatches = [hatch for s in scores for hatch in s.hatches]
    return {
        "coverage": coverage(scores),
        "eggs": egg_scores(scores, seed),
        "crps": {n: float(np.mean([s.crps[n].mean() for s in scores])) for n in QUANTITIES},
        "hatches": {
            "under_way": sum(h.under_way for h in hatches),
            "under_way_not_told": sum(h.under_way and not h.told for h in hatches),
            "left_open": sum(not h.under_way for h in hatches),
            "left_open_not_told": sum(not h.under_way and not h.told for h in hatches),
            "crps": float(np.mean([h.crps for h in hatches if h.told and h.under_way] or [0.0])),
        },
        "breakdown": breakdown(scores, seed),
        "places": places(scores),
        "worst": worst(scores),
        "seconds": {
            "simulating": float(np.mean([s.seconds[0] for s in scores])),
            "forecasting": float(np.mean([s.seconds[1] for s in scores])),
        },
    }


# --- printing ------------------------------------------------------------------------------------


def _pct(share: float | None) -> str:
    return "   -" if share is None else f"{100 * share:4.0f}"


def _ratio(beside: Row) -> str:
    return f"{beside['ratio']:5.2f} ({beside['low95']:.2f}-{beside['high95']:.2f})"


def print_summary(told: Row) -> None:
    """The tables as plain text."""
    _print_coverage(told["coverage"])
    hatches = told["hatches"]
    print(
        f"Hatches under way: {hatches['under_way']}, the forecast is silent on "
        f"{hatches['under_way_not_told']}; left open by mistake: {hatches['left_open']}, silent on "
        f"{hatches['left_open_not_told']}. CRPS of chicks of a hatch: {hatches['crps']:.2f}"
    )
    _print_eggs(told["eggs"])
    print("CRPS over all weeks: " + ", ".join(f"{n} {v:.2f}" for n, v in told["crps"].items()))
    _print_breakdown(told["breakdown"])
    weeks = ", ".join(map(str, HORIZONS))
    print(f"\nPlace of the truth among the draws, in tenths; even is due; weeks {weeks}")
    for row in told["places"]:
        _print_histogram(row["quantity"], row["counts"])
    print("\nFlocks in which eggs lost most to the best reference (CRPS):")
    for row in told["worst"]:
        rest = ", ".join(f"{k} {v}" for k, v in row.items() if k not in ("flock", "lost"))
        print(f"  {row['flock']:>4}: {row['lost']:6.1f}  {rest}")
    seconds = told["seconds"]
    print(
        f"\nSeconds a flock: {seconds['simulating']:.3f} simulating, "
        f"{seconds['forecasting']:.3f} forecasting"
    )


def _print_coverage(rows: Sequence[Row]) -> None:
    print("\nHow often central intervals held, % (due: 50, 80, 90; mean place due: 0.50)")
    print(f"{'':18} {'week':>4} {'n':>5}  | fair  50   80   90 | shown 50   80   90 | place")
    for row in rows:
        fair = " ".join(_pct(row["fair"][str(level)]) for level in LEVELS)
        shown = " ".join(_pct(row["shown"][str(level)]) for level in LEVELS)
        place = "-" if row["mean_place"] is None else f"{row['mean_place']:.2f}"
        week = row["weeks_ahead"] or ""
        print(
            f"{row['quantity']:18} {week:>4} {row['n']:>5}  |    {fair} |     {shown} | {place:>5}"
        )


def _print_eggs(rows: Sequence[Row]) -> None:
    print("\nCRPS of weekly eggs, then that of each reference and the ratio to it with its 95 %")
    print("interval (below 1: the forecast is better)")
    print(f"{'week':>5} {'n':>5} {'crps':>7}" + "".join(f"  | {name:>24}" for name in REFERENCES))
    for row in rows:
        beside = [row["beside"][name] for name in REFERENCES]
        each = "".join(f"  | {b['crps']:6.1f} {_ratio(b):>17}" for b in beside)
        print(f"{row['weeks_ahead'] or 'all':>5} {row['n']:>5} {row['crps']:7.2f}{each}")
    better = [
        f"{_pct(rows[-1]['beside'][name]['better_in']).strip()} % against {name}"
        for name in REFERENCES
    ]
    print(f"Flocks in which the forecast was better over all weeks: {', '.join(better)}.")


def _print_breakdown(rows: Sequence[Row]) -> None:
    print(
        "\nWeekly eggs over all weeks by circumstance: CRPS, its ratio to each reference, how often"
    )
    print(
        "the 80 % interval held, %, (mean of weeks 1, 4, 12, 26, with 95 %; then each), mean place"
    )
    heads = " ".join(f"{name:>17}" for name in REFERENCES)
    print(f"{'':27} {'n':>4} {'crps':>6} {heads} | held          at  1    4   12   26 | place")
    by = ""
    for row in rows:
        if row["by"] != by:
            by = row["by"]
            print(f" {by}")
        ratios = " ".join(f"{_ratio(row['beside'][name]):>17}" for name in REFERENCES)
        inside = row["held_80"]
        bounds = f"({_pct(inside['low95']).strip()}-{_pct(inside['high95']).strip()})"
        at = " ".join(_pct(row["held_80_at"][str(week)]) for week in HORIZONS)
        print(
            f"  {row['value']:25} {row['n']:>4} {row['crps']:6.1f} {ratios} "
            f"| {_pct(inside['share'])} {bounds:8} {at} | {row['mean_place']:5.2f}"
        )


def _print_histogram(name: str, counts: Sequence[int]) -> None:
    due = sum(counts) / len(counts)
    print(f" {name} (n {sum(counts)}, due {due:.0f} each)")
    for tenth, number in enumerate(counts):
        bar = "#" * round(20 * number / due) if due else ""
        print(f"   {tenth / 10:.1f} {number:>5} {bar}")


def print_flock(
    number: int, seed: int, draws: int, forecaster: str, without: Collection[str] = ()
) -> None:  # fmt: skip
    """One flock: its circumstances, and the forecast beside the truth."""
    flock = flock_of(seed, number, without)
    told = FORECASTS[forecaster](flock.entries, flock.today, draws, default_rng([seed, number, 1]))
    for each in (flock.site, flock.nature, flock.keeper):
        print(asdict(each))
    print(f"today {flock.today}, {flock.history_days} days of record, {len(flock.entries)} entries")
    print(f"hens, cocks, chicks today: {flock.truth.standing}")
    print(f"true eggs of the last weeks: {_weekly(flock.truth.eggs_before)}")
    print(f"eggs logged in them: {logged_weeks(fold(flock.entries), flock.today).eggs[-8:]}")
    for name in QUANTITIES:
        low, middle, high = np.quantile(told.samples[name], (0.1, 0.5, 0.9), axis=0)
        print(f"{name}: week, truth, 10 % / 50 % / 90 %")
        for week in (1, 2, 4, 8, 12, 18, 26):
            came = getattr(flock.truth, name)[week - 1]
            at = week - 1
            print(f"  {week:>2} {came:8.1f} {low[at]:8.1f} {middle[at]:8.1f} {high[at]:8.1f}")
    for hatch in flock.truth.hatches:
        drawn = told.hatches.get(hatch.hatch)
        said = "not told" if drawn is None else np.quantile(drawn, (0.1, 0.5, 0.9))
        print(f"{hatch}: {said}")


def _weekly(daily: Numbers) -> list[int]:
    weeks = min(8, daily.size // 7)
    return [int(n) for n in daily[daily.size - 7 * weeks :].reshape(weeks, 7).sum(axis=1)]


def main(arguments: Sequence[str] | None = None) -> None:
    """Reads the options, scores, and prints."""
    reader = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    reader.add_argument("--flocks", type=int, default=300, help="how many flocks")
    reader.add_argument("--draws", type=int, default=1000, help="draws of each forecast")
    reader.add_argument("--seed", type=int, default=1)
    reader.add_argument("--jobs", type=int, default=1, help="processes at work")
    reader.add_argument("--forecast", choices=sorted(FORECASTS), default="outlook")
    reader.add_argument("--json", type=Path, help="also write the tables to this file")
    reader.add_argument("--only", type=int, metavar="N", help="show flock N in full instead")
    reader.add_argument(
        "--without", nargs="*", choices=TROUBLES, default=[], help="troubles to take out"
    )
    chosen = reader.parse_args(arguments)
    draws, seed, without = chosen.draws, chosen.seed, tuple(chosen.without)
    if chosen.only is not None:
        print_flock(chosen.only, seed, draws, chosen.forecast, without)
        return
    scores = run(chosen.flocks, draws, seed, chosen.jobs, chosen.forecast, without)
    told = summary(scores, seed)
    taken_out = f", without {' and '.join(without)}" if without else ""
    print(f"{chosen.forecast}: {chosen.flocks} flocks, {draws} draws, seed {seed}{taken_out}")
    print_summary(told)
    if chosen.json is not None:
        chosen.json.write_text(json.dumps(_plain(told), indent=1) + "\n", encoding="utf-8")


def _plain(value: Any) -> Any:
    """For JSON, which has no NaN."""
    if isinstance(value, dict):
        return {key: _plain(each) for key, each in value.items()}
    if isinstance(value, list):
        return [_plain(each) for each in value]
    return None if isinstance(value, float) and np.isnan(value) else value


if __name__ == "__main__":
    main()

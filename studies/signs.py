"""How soon the program's signs see injected faults, and how often they cry for nothing.

`PYTHONPATH=src python -m studies.signs --flocks 60 --seed 1 --jobs 2`; see studies/README.md.
"""

import argparse
import json
import math
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from datetime import date, timedelta
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from numpy.random import default_rng
from studies.signs_faults import FAULTS, QUIET, draw_flock
from studies.signs_keeper import BROODER, CHICKS, Habits, draw_habits, keep
from studies.signs_rules import LAY_RULES, RULES, TOGETHER, scores, sheet, stand_in
from studies.signs_scores import (
    Alarm,
    Row,
    Run,
    by_size,
    fault_row,
    first_seen,
    holiday_row,
    of_birds,
    quiet_row,
    rule_rate,
    rule_row,
    tuned,
)
from studies.signs_world import Effects, Life, Setting, live

from quailwright.flock.fold import Record
from quailwright.flock.state import Flock
from quailwright.guide.signs import Sign, signs
from quailwright.journal.entries import Entry

Detector = Callable[[Flock, date], Iterable[Sign]]
DETECTORS: dict[str, Detector] = {"signs": signs, "stand-in": stand_in}

OF_THE_RECORD = (
    "two hatches clash",
    "machine too full",
    "hatch not closed",
    "hatching misdated",
    "birds in a machine",
    "crowded",
    "many cocks",
    "count differs",
    "kept against the record",
    "record contradicts itself",
)
"""Signs of what stands in the record, not of how things run on: they are not scored here."""

LOOK_BACK_D = 8
"""Days before the fault on which signs are asked for too: what stands then is no news."""


def simulate(
    kind: str, number: int, seed: int, pens: int | None = None
) -> tuple[Setting, Effects, Life, Habits, list[list[Entry]]]:
    """Flock `number` of a kind: circumstances, what is injected, what happens, and the record.

    Each part has a generator of its own, so that what is injected moves no other chance.
    """
    rng = [default_rng([seed, number, part]) for part in range(4)]
    setting, effects = draw_flock(rng[0], kind, pens)
    life = live(rng[1], setting, effects)
    habits = draw_habits(rng[2], kind)
    return setting, effects, life, habits, keep(rng[3], setting, effects, life, habits)


def watch(kind: str, number: int, seed: int, detector: str, pens: int | None = None) -> Run:
    """One flock, with the signs of each evening and the rules' scores."""
    setting, effects, _, habits, days = simulate(kind, number, seed, pens)
    names = [pen.name for pen in setting.pens]
    groups = [pen.group for pen in setting.pens]
    return Run(
        kind,
        number,
        len(names),
        setting.onset,
        setting.days,
        effects.places,
        effects.told,
        _written(habits),
        _light(setting, habits),
        tuple(pen.hens for pen in setting.pens),
        effects.silent,
        tuple(alarms(days, setting, DETECTORS[detector])),
        scores(sheet(days, names, groups)),
    )


def _written(habits: Habits) -> str:
    """What the record holds, for the breakdown."""
    if habits.water:
        return "water"
    return "feed by pen and day" if habits.feed == "pen daily" else "neither"


def _light(setting: Setting, habits: Habits) -> str:
    if habits.tells_lamp:
        return "lamp, told"
    return "lamp, not told" if setting.lamp else "no lamp"


def alarms(days: Sequence[Sequence[Entry]], setting: Setting, detector: Detector) -> list[Alarm]:
    """Signs as they begin. One that stands on the next day too is the same one."""
    places = {pen.name: row for row, pen in enumerate(setting.pens)}
    places |= {pen.group: row for row, pen in enumerate(setting.pens)}
    places |= {BROODER: len(setting.pens), CHICKS: len(setting.pens)}
    from_day = setting.onset - LOOK_BACK_D
    record = Record([entry for written in days[: max(from_day, 0)] for entry in written])
    begun: list[Alarm] = []
    standing: dict[tuple[str, frozenset[int]], int] = {}
    for day in range(max(from_day, 0), len(days)):
        record.add(days[day])
        seen: dict[tuple[str, frozenset[int]], int] = {}
        for sign in detector(record.flock, setting.first + timedelta(days=day)):
            named = (places.get(where) for where in sign.where.split(", "))
            key = (sign.sign, frozenset(row for row in named if row is not None))
            if sign.sign in OF_THE_RECORD or key in seen:
                continue
            if key in standing:
                index = standing[key]
                begun[index] = replace(begun[index], until=day)
            else:
                index = len(begun)
                then = " ".join(map(str, sign.then))
                texts = (str(sign.check), then, str(sign.ring), str(sign.evidence))
                begun.append(Alarm(day, day, sign.sign, key[1], *texts))
            seen[key] = index
        standing = seen
    return begun


def _one(job: tuple[str, int, int | None], seed: int, detector: str) -> Run:
    kind, number, pens = job
    return watch(kind, number, seed, detector, pens)


def run(
    kinds: Sequence[str], flocks: int, seed: int, jobs: int, detector: str
) -> dict[str, list[Run]]:
    """All flocks of each kind, in order. Those in which nothing is wrong have four pens."""
    work = [(kind, n, 4 if kind in QUIET else None) for kind in kinds for n in range(flocks)]
    score = partial(_one, seed=seed, detector=detector)
    if jobs == 1:
        runs = [score(job) for job in work]
    else:
        with ProcessPoolExecutor(jobs, get_context("spawn")) as pool:
            runs = list(pool.map(score, work, chunksize=4))
    return {kind: [each for each in runs if each.kind == kind] for kind in kinds}


def summary(runs: dict[str, list[Run]]) -> Row:
    """All tables."""
    quiet = {kind: each for kind, each in runs.items() if kind in QUIET}
    faults = {kind: each for kind, each in runs.items() if kind in FAULTS}
    told: Row = {"quiet": {kind: quiet_row(each) for kind, each in quiet.items()}}
    told["plain_by"] = _plain_by(quiet.get("plain", []))
    told["quiet_rules"] = {
        rule: {kind: rule_rate(each, rule) for kind, each in quiet.items()} for rule in RULES
    }
    factors: dict[str, float] = {}
    if "plain" in quiet:
        rate = told["quiet"]["plain"]["per_flock_quarter"]
        for rule in (*LAY_RULES, *TOGETHER):
            factors[rule] = tuned(quiet["plain"], rule, rate)
    told["factors"] = factors
    told["faults"] = {kind: fault_row(each) for kind, each in faults.items()}
    told["rules"] = {
        kind: {
            rule: {
                "plain": rule_row(each, rule),
                "tuned": rule_row(each, rule, factors.get(rule, 1.0)),
            }
            for rule in RULES
        }
        for kind, each in faults.items()
    }
    told["by_record"] = {
        kind: {
            value: fault_row([r for r in each if value in (r.record, r.light)])
            for value in sorted({r.record for r in each} | {r.light for r in each})
        }
        for kind, each in faults.items()
        if kind in ("water", "timer", "heat", "deaths", "nothing")
    }
    if "holiday" in quiet:
        told["holiday"] = holiday_row(quiet["holiday"])
    told["worst"] = {"false": _worst_false(quiet), "late": _latest(faults)}
    return told


def _plain_by(runs: Sequence[Run]) -> Row:
    """False alarms where nothing is wrong by what is told, and by the size of the pen."""
    told: Row = {}
    for name in ("light", "record"):
        for value in sorted({getattr(each, name) for each in runs}):
            told[value] = quiet_row([r for r in runs if getattr(r, name) == value])
    return {"told": told, "size": by_size(runs) if runs else {}}


MOST_SHOWN = 12


def _worst_false(quiet: dict[str, list[Run]]) -> list[Row]:
    """Flocks in which nothing is wrong with the most alarms."""
    every = [(len(of_birds(r)), r) for each in quiet.values() for r in each]
    every.sort(key=lambda pair: -pair[0])
    return [
        {
            "kind": r.kind,
            "flock": r.number,
            "alarms": count,
            "said": [f"day {a.day} {_where(a)} {a.sign}" for a in of_birds(r)[:6]],
        }
        for count, r in every[:MOST_SHOWN]
        if count
    ]


def _where(alarm: Alarm) -> str:
    return "".join("ABCDEF-"[place] for place in sorted(alarm.places)) or "flock"


def _latest(faults: dict[str, list[Run]]) -> list[Row]:
    """Faults that were seen last, or never."""
    rows = []
    for kind, each in faults.items():
        found = [(r, first_seen(r)) for r in each]
        found.sort(key=lambda pair: -(pair[1].day - pair[0].onset if pair[1] else 999))
        rows += [
            {
                "kind": kind,
                "flock": r.number,
                "pen": "ABCDEF"[r.places[0]] if r.places else "chicks",
                "record": r.record,
                "delay": a.day - r.onset if a else None,
                "told": r.told,
            }
            for r, a in found[:3]
        ]
    return rows


# --- printing ------------------------------------------------------------------------------------


def _d(value: float) -> str:
    return "never" if math.isinf(value) else "-" if math.isnan(value) else f"{value:.0f}"


def _pct(value: float) -> str:
    return "-" if math.isnan(value) else f"{100 * value:.0f}"


def print_summary(told: Row) -> None:
    """The tables as plain text."""
    print("\nFalse alarms a quarter, flocks of four pens in which nothing is wrong;")
    print(
        "flocks with none at all; pen-days on which one stands; what reminds of the record, which"
    )
    print("is not counted before; all by sign")
    heads = ("flocks", "a flock", "a pen", "none, %", "days, %", "reminders")
    print(f"{'':10} {heads[0]:>6} " + " ".join(f"{head:>8}" for head in heads[1:]) + "  by sign")
    for kind, row in told["quiet"].items():
        by = ", ".join(f"{sign} {rate:.2f}" for sign, rate in row["by_sign"].items())
        print(
            f"{kind:10} {row['flocks']:>6} {row['per_flock_quarter']:>8.2f} "
            f"{row['per_pen_quarter']:>8.2f} {_pct(row['none_at_all']):>8} "
            f"{100 * row['pen_days']:>8.1f} {row['reminders']:>9.2f}  {by}"
        )
    for name, row in told["plain_by"]["told"].items():
        print(f"plain, {name}: {row['per_flock_quarter']:.2f} a flock (n {row['flocks']})")
    for name, rate in told["plain_by"]["size"].items():
        print(f"plain, pens of {name}: {rate:.2f} a pen")
    print("\nThe same of the rules")
    for rule, rates in told["quiet_rules"].items():
        each = ", ".join(f"{kind} {rate:.2f}" for kind, rate in rates.items())
        tuning = ""
        if rule in told["factors"]:
            tuning = f"; threshold x {told['factors'][rule]:.2f} for as many as the program"
        print(f"{rule:36} {each}{tuning}")
    if "holiday" in told:
        row = told["holiday"]
        print(
            f"\nHolidays: {row['days']:.0f} days without a record bring {row['inside']:.2f} alarms "
            f"in them and {row['week_after']:.2f} in the week after, a flock"
        )
    print("\nDays from the fault to the first sign at its place: median, 90 %; % not in 14 days;")
    print("% of first signs with the right first check, and with the right one among all of it;")
    print("then to the first sign with the right first check;")
    print("% of flocks with a sign at another pen in those 14 days")
    for kind, row in told["faults"].items():
        _print_fault(kind, row)
    print("\nThe same by what is written")
    for kind, rows in told["by_record"].items():
        for record, row in rows.items():
            _print_fault(f"{kind}, {record}", row)
    print("\nRules: days (median, 90 %, % not in 14 days), then with as many false alarms as ours")
    for kind, rules in told["rules"].items():
        print(f" {kind}")
        for rule, row in rules.items():
            plain, fair = row["plain"], row["tuned"]
            if plain["unseen"] < 1.0:
                also = f" | {_three(fair)}" if rule in told["factors"] else ""
                print(f"   {rule:36} {_three(plain)}{also}")
    print("\nMost false alarms (kind, flock):")
    for row in told["worst"]["false"]:
        print(f"  {row['kind']} {row['flock']}: {row['alarms']}: {'; '.join(row['said'])}")
    print("Slowest:")
    for row in told["worst"]["late"]:
        print(
            f"  {row['kind']} {row['flock']}: {row['pen']}, {row['record']}: "
            f"{row['delay']} days; {row['told']}"
        )


def _three(row: Row) -> str:
    return f"{_d(row['median']):>5} {_d(row['ninety']):>5} {_pct(row['unseen']):>4}"


def _print_fault(name: str, row: Row) -> None:
    right = row["right"]
    checked = f"{_pct(row['first_check_right']):>4} {_pct(row['named']):>4}"
    firsts = ", ".join(f"{sign} {number}" for sign, number in row["first_signs"].items())
    print(
        f"{name:28} n {row['n']:>4} {_d(row['median']):>5} {_d(row['ninety']):>5} "
        f"{_pct(row['unseen']):>4} | right {checked} | "
        f"{_d(right['median']):>5} {_d(right['ninety']):>5} {_pct(right['unseen']):>4} | "
        f"elsewhere {_pct(row['elsewhere']):>3} | {firsts}"
    )


def print_flock(kind: str, number: int, seed: int, detector: str) -> None:
    """One flock: circumstances, the record round the fault, and the signs."""
    pens = 4 if kind in QUIET else None
    setting, effects, life, habits, days = simulate(kind, number, seed, pens)
    print(setting, habits, f"places {effects.places}, {effects.told}", sep="\n")
    record = sheet(days, [p.name for p in setting.pens], [p.group for p in setting.pens])
    seen = alarms(days, setting, DETECTORS[detector])
    shown = range(max(0, setting.onset - 14), setting.days)
    for place, pen in enumerate(setting.pens):
        print(f"{pen.name}: {pen.hens} hens; day: laid, logged / hens, feed g, water l, gone")
        for day in shown:
            row = (
                f"{life.laid[place, day]:>3} {record.eggs[place, day]:>4.0f} /"
                f"{record.hens[place, day]:>3.0f} {record.feed_g[place, day]:>6.0f} "
                f"{record.water_l[place, day]:>5.1f} {record.gone[place, day]:>2.0f}"
            )
            said = "; ".join(
                f"{a.sign}: {a.evidence} -> {a.check}"
                for a in seen
                if a.day == day and (place in a.places or not a.places)
            )
            mark = "*" if day == setting.onset else " "
            print(f"  {day:>4}{mark} {row}  {said}")


def main(arguments: Sequence[str] | None = None) -> None:
    """Reads the options, watches the flocks, and prints."""
    reader = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    reader.add_argument("--flocks", type=int, default=60, help="flocks of each kind")
    reader.add_argument("--seed", type=int, default=1)
    reader.add_argument("--jobs", type=int, default=1, help="processes at work")
    reader.add_argument("--quick", action="store_true", help="8 flocks of each kind")
    reader.add_argument("--detector", choices=sorted(DETECTORS), default="signs")
    reader.add_argument("--only", nargs="+", choices=(*QUIET, *FAULTS), help="these kinds alone")
    reader.add_argument("--show", type=int, metavar="N", help="show flock N of --only in full")
    reader.add_argument("--json", type=Path, help="also write the tables to this file")
    chosen = reader.parse_args(arguments)
    kinds = tuple(chosen.only or (*QUIET, *FAULTS))
    if chosen.show is not None:
        print_flock(kinds[0], chosen.show, chosen.seed, chosen.detector)
        return
    flocks = 8 if chosen.quick else chosen.flocks
    told = summary(run(kinds, flocks, chosen.seed, chosen.jobs, chosen.detector))
    print(f"{chosen.detector}: {flocks} flocks of each kind, seed {chosen.seed}")
    print_summary(told)
    if chosen.json is not None:
        chosen.json.write_text(json.dumps(_plain(told), indent=1) + "\n", encoding="utf-8")


def _plain(value: Any) -> Any:
    """For JSON, which has no NaN and no infinity."""
    if isinstance(value, dict):
        return {str(key): _plain(each) for key, each in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(each) for each in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


if __name__ == "__main__":
    main()

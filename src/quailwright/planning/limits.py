"""Rows of a programme for what is limited: machines, floors, birds, hands and money."""

from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.planning.columns import Columns, per_week, split
from quailwright.planning.given import Asked, at, candidates_of
from quailwright.planning.hands import a_bird, jobs, watched_until, watching
from quailwright.planning.problem import Candidate, Machine, is_free
from quailwright.planning.program import Program

Array = NDArray[np.float64]


def machines(program: Program, columns: Columns, asked: Asked) -> None:
    """Eggs in machines by day. Incubators beside a hatcher are as one: eggs of any day may be
    turned together. Without one, eggs hatch where they are turned, each machine by itself."""
    problem, room = asked.problem, asked.problem.room
    if not room.hatchers:
        for machine in room.incubators:
            _machine(program, columns, asked, machine)
        for day in columns.days:
            into = [(columns.loads[day, machine.name][1], -1.0) for machine in room.incubators]
            eggs = [(columns.eggs[n], 1.0) for n in candidates_of(asked, day)]
            program.row(f"eggs of {day} in machines", [*eggs, *into], lower=0.0, upper=0.0)
        return
    turning = float(sum(machine.eggs for machine in room.incubators))
    hatching = float(sum(machine.eggs for machine in room.hatchers))
    turned = [asked.turned[name] for name in asked.turned]
    for day in columns.days:
        inside = [
            (columns.eggs[n], 1.0)
            for n, one in enumerate(asked.candidates)
            if one.day <= day < one.stops_turning
        ]
        there = sum(at(by_day, problem, day) for by_day in turned)
        program.row(f"eggs in the incubator on {day}", inside, upper=max(0.0, turning - there))
    for day in dict.fromkeys(one.stops_turning for one in asked.candidates):
        inside = [
            (columns.eggs[n], 1.0)
            for n, one in enumerate(asked.candidates)
            if one.stops_turning <= day <= one.cleared
        ]
        there = at(asked.still, problem, day)
        program.row(f"eggs in the hatcher on {day}", inside, upper=max(0.0, hatching - there))


def _machine(program: Program, columns: Columns, asked: Asked, machine: Machine) -> None:
    """No set into a machine while another lies still in it, unless they lie down together."""
    stop = facts.figure("incubation.turning_stop_day")
    together = timedelta(days=int((stop.high or 0.0) - (stop.low or 0.0)))
    under_way = asked.turned.get(machine.name, np.zeros(0))
    for day in columns.days:
        one = Candidate(day, 0)
        filled, eggs = columns.loads[day, machine.name]
        room = max(0.0, machine.eggs - at(under_way, asked.problem, day))
        if not is_free(asked.busy.get(machine.name, ()), one):
            program.upper[filled] = program.upper[eggs] = 0.0
        program.row(
            f"{machine.name} filled on {day}", [(eggs, 1.0), (filled, -machine.eggs)], upper=0.0
        )
        others = [other for other in columns.days if other <= day <= Candidate(other, 0).cleared]
        inside = [(columns.loads[other, machine.name][1], 1.0) for other in others]
        program.row(f"eggs in the incubator {machine.name} on {day}", inside, upper=room)
        for other in columns.days:
            if day + together < other <= one.cleared:
                program.row(
                    f"one machine: {machine.name} on {day} or {other}",
                    [(filled, 1.0), (columns.loads[other, machine.name][0], 1.0)],
                    upper=1.0,
                )


def floors(program: Program, columns: Columns, asked: Asked) -> None:
    problem, room = asked.problem, asked.problem.room
    for name, limit in (("brooder_m2", room.brooder_m2), ("pen_m2", room.pen_m2)):
        if not np.isfinite(limit):
            continue
        label = "the brooder" if name == "brooder_m2" else "the pens"
        for week, terms in enumerate(per_week(asked, columns, name, name, many=True)):
            chosen, fixed = split(terms)
            if chosen:
                program.row(
                    f"floor of {label} in the week of {problem.first_day(week)}",
                    chosen,
                    upper=max(0.0, limit - fixed),
                )
    if np.isfinite(room.most_birds):
        for week, terms in enumerate(per_week(asked, columns, "one", "one", many=True)):
            chosen, fixed = split(terms)
            program.row(
                f"birds in all in the week of {problem.first_day(week)}",
                chosen,
                upper=max(0.0, room.most_birds - fixed),
            )


def hands(
    program: Program, columns: Columns, asked: Asked, birds: list[list[tuple[int, float]]]
) -> None:
    """Care of every day fits the shortest day of a week; jobs fit the day they fall on."""
    problem = asked.problem
    limits = problem.prices.minutes_by_weekday
    tended = _days_set(program, columns, asked)
    daily = []
    for week, terms in enumerate(birds):
        chosen, fixed = split([(column, a_bird() * each) for column, each in terms])
        first = problem.first_day(week)
        last = first + timedelta(days=DAYS_A_WEEK - 1)
        chosen += [
            (column, watching())
            for day, column in tended.items()
            if day <= last and watched_until(day) >= first
        ]
        care = program.column(f"care of every day in the week of {first}")
        program.row(f"care in the week of {first}", [*chosen, (care, -1.0)], upper=-fixed)
        program.row(
            f"minutes a day in the week of {first}",
            [(care, 1.0)],
            upper=max(min(limits), fixed),
        )
        daily.append((care, fixed))
    by_day: dict[date, list[tuple[int, float]]] = {}
    by_week: dict[int, list[tuple[int, float]]] = {}
    for set_on, column in tended.items():
        eggs = [columns.eggs[n] for n in candidates_of(asked, set_on)]
        for job in jobs():
            day = set_on + timedelta(days=job.after_d)
            terms = [(column, job.minutes), *((egg, job.per_egg) for egg in eggs)]
            by_week.setdefault(problem.week_of(day), []).extend(terms)
            if not job.waits:
                by_day.setdefault(day, []).extend(terms)
    for day, terms in sorted(by_day.items()):
        limit, week = limits[day.weekday()], problem.week_of(day)
        if problem.on < day and week < problem.weeks and np.isfinite(limit):
            care, fixed = daily[week]
            program.row(f"minutes of the day {day}", [*terms, (care, 1.0)], upper=max(limit, fixed))
    if not np.isfinite(limits).all():
        return
    for week, terms in sorted(by_week.items()):
        if 0 <= week < problem.weeks:
            care, fixed = daily[week]
            program.row(
                f"minutes of the week of {problem.first_day(week)}",
                [*terms, (care, float(DAYS_A_WEEK))],
                upper=max(sum(limits), DAYS_A_WEEK * fixed),
            )


def _days_set(program: Program, columns: Columns, asked: Asked) -> dict[date, int]:
    """A column for each day, 1 if anything is set on it, from whatever source."""
    found = {}
    for day in columns.days:
        sets = [columns.is_set[n] for n in candidates_of(asked, day)]
        found[day] = sets[0] if len(sets) == 1 else program.column(f"any set {day}", upper=1.0)
        if len(sets) > 1:
            for column in sets:
                program.row(f"a set on {day}", [(column, 1.0), (found[day], -1.0)], upper=0.0)
    return found


def budget(
    program: Program, columns: Columns, asked: Asked, feed: list[list[tuple[int, float]]]
) -> None:
    problem, prices = asked.problem, asked.problem.prices
    spent: dict[tuple[int, int], list[tuple[int, float]]] = {}
    for week, terms in enumerate(feed):
        day = problem.first_day(week)
        spent.setdefault((day.year, day.month), []).extend(terms)
    for n, one in enumerate(asked.candidates):
        source = problem.sources[one.source]
        month = spent.setdefault((one.day.year, one.day.month), [])
        month.append((columns.eggs[n], source.price))
        month.append((columns.is_set[n], source.postage + prices.hatch))
    for month_key, terms in spent.items():
        chosen, fixed = split(terms)
        program.row(
            f"money in {month_key[0]}-{month_key[1]:02d}",
            chosen,
            upper=max(0.0, prices.budget_per_month - fixed),
        )

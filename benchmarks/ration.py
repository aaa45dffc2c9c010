"""A ration against bare HiGHS: `python -m benchmarks.ration [--rounds N]`.

Run from the project's folder with the Python of `.venv-check`. See docs/benchmarks.md for what each
row means. Nothing here is asserted.
"""

import argparse
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from unittest.mock import patch

import highspy
import numpy as np
from benchmarks.measure import Ratio, seconds, side_by_side
from benchmarks.rows import Row, row_of

from quailwright.husbandry.feeding import Stage
from quailwright.husbandry.ingredients import BY_THE_GRAM, ingredients
from quailwright.husbandry.nutrients import NUTRIENTS
from quailwright.husbandry.requirements import requirements_of
from quailwright.planning import ration_mix, ration_scoops
from quailwright.planning.program import Program
from quailwright.planning.ration import answer
from quailwright.planning.ration_mix import Choice, Need, Question, least_cost
from quailwright.planning.ration_scoops import in_scoops
from quailwright.planning.solver import Solution, as_model, solve

STAGE: Stage = "layer"
INGREDIENTS, NEEDS = 40, 30
SCOOP_KG, GRAM_KG = 0.25, 0.001
CERTAINTY = 0.8


def main() -> int:
    """Runs every benchmark and prints its figures."""
    parser = argparse.ArgumentParser(description="A ration against bare HiGHS side by side.")
    parser.add_argument("--rounds", type=int, default=5, help="rounds of each pair (default 5)")
    told = parser.parse_args()
    asked = question()
    print(
        f"{len(asked.choices)} ingredients, {len(asked.needs)} needs, "
        f"{asked.batch_kg:g} kg in scoops of {SCOOP_KG:g} kg and grams, certainty {CERTAINTY:.0%}"
    )
    found = answer(asked)
    took = seconds(lambda: answer(asked))
    print(f"the whole answer: {took:.2f} s, {found.status}, whole scoops: {found.whole}")
    if found.exact is not None and found.mix is not None:
        print(f"  exact {found.exact.cost:.5f} a kg, in scoops {found.mix.cost:.5f} a kg")
    for certainty in (0.5, CERTAINTY):
        one = replace(asked, certainty=certainty)
        _compared(f"exact mix, certainty {certainty:.0%}", one, _exact, told.rounds)
        _compared(f"whole scoops, certainty {certainty:.0%}", one, _whole, told.rounds)
    return 0


def rows(quick: bool) -> Iterator[Row]:
    """For the page of all benchmarks."""
    asked = question()
    for certainty in (0.5, CERTAINTY):
        one, sure = replace(asked, certainty=certainty), f"certainty {certainty:.0%}"
        rounds = 1 if quick else 7
        yield row_of("rations", _pair(f"exact mix, {sure}", one, _exact, rounds)[0])
        if not quick:
            yield row_of("rations", _pair(f"whole scoops, {sure}", one, _whole, 3)[0])


def question() -> Question:
    """A layer ration: the table's ingredients and invented ones, with needs that the table does not
    tell (invented amounts about what feeds hold), until there are enough of both."""
    rng = np.random.default_rng(1)
    rows = [row for row in ingredients().values() if row.category != "complete feed"]
    told = set(rows[0].composition)
    base = [row for row in requirements_of(STAGE, "base") if row.nutrient in told]
    more = [row for row in requirements_of(STAGE, "base") if row.nutrient not in told]
    more = more[: NEEDS - len(base)]
    usual = {row.nutrient: (row.least or 0.0) for row in more}
    choices: list[Choice] = []
    while len(choices) < INGREDIENTS:
        row = rows[len(choices) % len(rows)]
        own = len(choices) >= len(rows)
        vary = rng.uniform(0.95, 1.05) if own else 1.0
        contents = {code: value * vary for code, value in row.composition.items()}
        contents |= {code: need * float(rng.uniform(0.6, 2.5)) for code, need in usual.items()}
        premix = row.category == "premix"
        choices.append(
            Choice(
                f"{row.code} {len(choices)}",
                row.name,
                contents,
                float(rng.uniform(0.2, 1.0) if row.category not in BY_THE_GRAM else 2.0),
                0.005 if premix else 0.0,
                0.005 if premix else 1.0,
                row.most[STAGE] / 100,
                None,
                GRAM_KG if row.category in BY_THE_GRAM else SCOOP_KG,
                row.protein_cv,
                row.category,
            )
        )
    most = {"calcium": 4.0, "sodium": 0.25}
    needs = tuple(
        Need(
            row.nutrient,
            row.least,
            most.get(row.nutrient),
            NUTRIENTS[row.nutrient].kind != "energy",
        )
        for row in [*base, *more]
    )
    return Question(STAGE, 20.0, tuple(choices), needs, CERTAINTY)


def _exact(asked: Question) -> object:
    return least_cost(asked)


def _whole(asked: Question) -> object:
    exact = least_cost(asked)
    assert exact is not None
    return in_scoops(asked, exact)


def _compared(what: str, asked: Question, work: Callable[[Question], object], rounds: int) -> None:
    _show(*_pair(what, asked, work, rounds))


def _pair(
    what: str, asked: Question, work: Callable[[Question], object], rounds: int
) -> tuple[Ratio, Program]:
    """Ours against HiGHS alone on every programme that ours came to, read from files."""
    programs: list[tuple[Program, dict[str, object]]] = []

    def kept(program: Program, **options: object) -> Solution:
        programs.append((program, options))
        return solve(program, **options)  # type: ignore[arg-type]

    with patch.object(ration_mix, "solve", kept), patch.object(ration_scoops, "solve", kept):
        work(asked)
    with tempfile.TemporaryDirectory(prefix="benchmarks-") as folder:
        files = []
        for number, (program, _) in enumerate(programs):
            files.append(Path(folder) / f"{number}.mps")
            _exported(program, files[-1])
        whole = [options for _, options in programs]

        def bare() -> None:
            for file, options in zip(files, whole, strict=True):
                _solved(file, options)

        row = side_by_side(
            what,
            lambda: seconds(lambda: work(asked)),
            f"bare HiGHS on the same {len(files)} programmes",
            lambda: seconds(bare),
            rounds,
        )
    return row, programs[-1][0]


def _exported(program: Program, file: Path) -> None:
    highs = highspy.Highs()  # type: ignore[no-untyped-call]
    highs.silent()
    highs.passModel(as_model(program))
    highs.writeModel(str(file))


def _solved(file: Path, options: dict[str, object]) -> None:
    highs = highspy.Highs()  # type: ignore[no-untyped-call]
    highs.silent()
    names = {"gap": "mip_rel_gap", "nodes": "mip_max_nodes", "seconds": "time_limit"}
    for name, value in options.items():
        highs.setOptionValue(names[name], value)  # type: ignore[arg-type]
    highs.setOptionValue("random_seed", 1)
    highs.readModel(str(file))
    highs.run()


def _show(row: Ratio, last: Program) -> None:
    low, high = row.spread
    print(
        f"{row.what} ({len(last.cost)} columns, {sum(last.whole)} whole, {len(last.row_names)} "
        f"rows): {row.seconds:.3f} s; {row.against}: {row.reference_seconds:.3f} s; ratio "
        f"{row.ratio:.2f} ({low:.2f} to {high:.2f})",
        flush=True,
    )


if __name__ == "__main__":
    raise SystemExit(main())

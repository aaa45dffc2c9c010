"""The outlook against references run side by side: `python -m benchmarks.outlook [--rounds N]`.

Run from the project's folder with the Python of `.venv-check`, which has simpy. See
docs/benchmarks.md for what each row means. Nothing here is asserted.
"""

import argparse
import os
import sys
import tempfile
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from random import Random
from typing import Any, NamedTuple

import msgspec
import numpy as np
from benchmarks.agents import believed, live
from benchmarks.journals import LARGE, SMALL, invented_journal
from benchmarks.measure import Ratio, Timed, in_fresh_process, process, seconds, side_by_side
from benchmarks.rows import Row, row_of
from numpy.random import Generator
from numpy.typing import NDArray

from quailwright.flock.fold import fold
from quailwright.flock.light import Light, light_of
from quailwright.journal.entries import AnyEntry, Entry, encode
from quailwright.journal.store import open_store
from quailwright.outlook.forecast import learn
from quailwright.outlook.rates import RateDraws, draw_rates
from quailwright.outlook.simulate import Flight, simulate

ROOT = Path(__file__).resolve().parent.parent
DRAWS, WEEKS, GROUPS, HENS, COCKS = 10_000, 104, 30, 12, 4
YOUNGEST_D, APART_D = 20, 7
ON = date(2027, 5, 2)
WRITTEN = datetime(2027, 5, 2, 12, tzinfo=UTC)
AGENT_DRAWS, AGREEING_DRAWS = 5, 500


def main() -> int:
    """Runs every benchmark and prints the table, then whether both ways of simulating agree."""
    parser = argparse.ArgumentParser(description="The outlook against references side by side.")
    parser.add_argument("--rounds", type=int, default=5, help="rounds of each pair (default 5)")
    rounds = parser.parse_args().rounds
    print(f"{'measured':44} {'s':>9}  {'against':32} {'s':>9} {'ratio':>9} {'range':>17}  aim")
    with tempfile.TemporaryDirectory(prefix="benchmarks-") as folder:
        for row, aim in _benchmarks(Path(folder), rounds):
            _show(row, aim)
    print()
    _show_agreement()
    return 0


def rows(quick: bool) -> Iterator[Row]:
    """For the page of all benchmarks."""
    rounds, draws = (1, 100) if quick else (3, DRAWS)
    ratios = [_against_binomials(rounds, draws), _against_agents(rounds, draws)]
    yield from (row_of("outlook", ratio) for ratio in ratios)
    if not quick:
        for pens in (SMALL, LARGE):
            learnt = _learning(invented_journal(pens), rounds)
            yield from (row_of("outlook", ratio) for ratio, _ in learnt)


def _show(row: Ratio, aim: str) -> None:
    low, high = row.spread
    print(
        f"{row.what:44} {row.seconds:9.3g}  {row.against:32} {row.reference_seconds:9.3g} "
        f"{row.ratio:9.3g} {f'{low:.3g}..{high:.3g}':>17}  {aim}",
        flush=True,
    )


def _benchmarks(folder: Path, rounds: int) -> Iterator[tuple[Ratio, str]]:
    yield _against_binomials(rounds), "2 times"
    yield _against_agents(rounds), ""
    for pens in (SMALL, LARGE):
        yield from _learning(invented_journal(pens), rounds)
    yield from _whole_command(folder, rounds)


class Setting(NamedTuple):
    """What both ways of simulating begin with."""

    flights: list[Flight]
    draws: RateDraws
    light: Light


def _setting(draws: int) -> Setting:
    """Groups of a holding that has told where it lives and has no record yet."""
    plain = {"kind": "holding", "id": "", "at": "2027-01-01", "timezone": "UTC", "latitude": 38.7}
    holding: Entry = msgspec.convert(plain, AnyEntry)
    flock = fold([holding])
    none = np.zeros(draws, dtype=np.int64)
    ages = range(YOUNGEST_D, YOUNGEST_D + GROUPS * APART_D, APART_D)
    flights = [
        Flight(f"pen-{age}", ON - timedelta(days=age), none + HENS, none + COCKS, none)
        for age in ages
    ]
    rates = learn(flock, ON)
    light = light_of(flock, rates.light.first, ON + timedelta(weeks=WEEKS + 1))
    return Setting(flights, draw_rates(rates, draws, np.random.default_rng(1)), light)


# Each of these runs in a process of its own and prepares its input there, outside the clock.


def _simulating(draws: int) -> Timed:
    def simulating() -> float:
        setting, rng = _setting(draws), np.random.default_rng(2)
        return seconds(lambda: simulate(*setting, ON, WEEKS, rng))

    return in_fresh_process(simulating)


class _Noting(Generator):
    """A generator that keeps what its binomials were drawn from."""

    noted: list[tuple[NDArray[np.int32], NDArray[np.float32]]]

    def spawn(self, n_children: int) -> "list[Generator]":
        children = [_Noting(bits) for bits in self.bit_generator.spawn(n_children)]
        for child in children:
            child.noted = self.noted
        return list(children)

    def binomial(self, n: Any, p: Any, size: Any = None) -> Any:
        self.noted.append((np.asarray(n, dtype=np.int32), np.asarray(p, dtype=np.float32)))
        return super().binomial(n, p, size)


def _against_binomials(rounds: int, draws: int = DRAWS) -> Ratio:
    def drawing() -> float:
        noting = _Noting(np.random.PCG64(2))
        noting.noted = []
        simulate(*_setting(draws), ON, WEEKS, noting)
        rng = np.random.default_rng(3)

        def only_draw() -> None:
            for n, p in noting.noted:
                rng.binomial(n, p)

        return seconds(only_draw)

    return side_by_side(
        f"simulate {draws:,} draws, {WEEKS} weeks, {GROUPS} groups",
        _simulating(draws),
        "NumPy, the same binomials alone",
        in_fresh_process(drawing),
        rounds,
    )


def _against_agents(rounds: int, draws: int = DRAWS) -> Ratio:
    """Time of one draw."""
    simulating = _simulating(draws)

    def by_agents() -> float:
        lives = _agents(_setting(AGENT_DRAWS))
        return seconds(lives) / AGENT_DRAWS

    return side_by_side(
        f"simulate, each of {draws:,} draws",
        lambda: simulating() / draws,
        f"simpy, each of {AGENT_DRAWS} draws",
        in_fresh_process(by_agents),
        rounds,
    )


def _agents(setting: Setting) -> Callable[[], list[tuple[int, int, int]]]:
    flights, draws, light = setting
    every = believed(flights, draws, light, ON, WEEKS, np.random.default_rng(4))
    chance = Random(4)

    def lives() -> list[tuple[int, int, int]]:
        found = [live(flights, n, rates, ON, WEEKS, chance) for n, rates in enumerate(every)]
        return [(one.eggs, one.hens, one.deaths) for one in found]

    return lives


def _show_agreement() -> None:
    """Means of both ways from the same draws of the rates, and how far apart for their error."""
    setting = _setting(AGREEING_DRAWS)
    weeks = simulate(*setting, ON, WEEKS, np.random.default_rng(5)).weeks
    ours = np.array([weeks["eggs"].sum(1), weeks["hens"][:, -1], weeks["deaths"].sum(1)])
    theirs = np.array(_agents(setting)(), dtype=float).T
    apart = theirs - ours
    error = apart.std(1, ddof=1) / AGREEING_DRAWS**0.5
    print(f"means of {AGREEING_DRAWS} draws, the same rates in both")
    print(f"{'':32} {'simulate':>10} {'simpy':>10} {'apart':>8} {'error':>8} {'errors apart':>13}")
    names = (f"eggs in {WEEKS} weeks", "hens at the end", f"deaths in {WEEKS} weeks")
    for n, name in enumerate(names):
        mean = apart[n].mean()
        print(
            f"{name:32} {ours[n].mean():10.1f} {theirs[n].mean():10.1f} {mean:8.1f} "
            f"{error[n]:8.1f} {mean / error[n]:13.2f}"
        )


def _learning(journal: list[Entry], rounds: int) -> Iterator[tuple[Ratio, str]]:
    """Ten years of records: learning by itself, again in the same process, and with folding."""
    lines = [encode(entry) for entry in journal]
    day = date.fromisoformat(journal[-1].at[:10])
    decode = msgspec.json.Decoder(AnyEntry).decode

    def folding() -> float:
        entries = [decode(line) for line in lines]
        return seconds(lambda: fold(entries))

    def learning() -> float:
        flock = fold([decode(line) for line in lines])
        return seconds(lambda: learn(flock, day))

    def learning_again() -> float:
        flock = fold([decode(line) for line in lines])
        learn(flock, day)
        return seconds(lambda: learn(flock, day))

    def both() -> float:
        entries = [decode(line) for line in lines]
        return seconds(lambda: learn(fold(entries), day))

    for what, timed, aim in (
        ("learn", learning, "0.3 s"),
        ("learn, the second time", learning_again, "0.3 s"),
        ("fold and learn", both, ""),
    ):
        measured, reference = in_fresh_process(timed), in_fresh_process(folding)
        what = f"{what}, {len(lines):,} entries"
        yield side_by_side(what, measured, "folding them", reference, rounds), aim


def _whole_command(folder: Path, rounds: int) -> Iterator[tuple[Ratio, str]]:
    environment = {**os.environ, "PYTHONPYCACHEPREFIX": str(folder / "byte-code")}
    environment.pop("PYTHONDONTWRITEBYTECODE", None)
    environment["PYTHONPATH"] = str(ROOT / "src")
    python = [sys.executable, "-P"]
    reference = process([*python, "-c", "import numpy"], environment)
    for pens in (SMALL, LARGE):
        journal = invented_journal(pens)
        path = folder / f"flock-{pens}.sqlite"
        with open_store(str(path), create=True) as store, store.writing() as writer:
            writer.append(journal, WRITTEN)
        words = ["outlook", "--weeks", "26", "--flock", str(path), "--on", journal[-1].at[:10]]
        measured = process([*python, "-m", "quailwright", *words], environment)
        measured()
        what = f"outlook --weeks 26, {len(journal):,} entries"
        yield side_by_side(what, measured, 'python -c "import numpy"', reference, rounds), ""


if __name__ == "__main__":
    sys.exit(main())

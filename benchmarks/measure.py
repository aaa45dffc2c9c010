"""Timing two things side by side: in turns, several rounds, medians, and their ratio."""

import os
import subprocess
import time
import traceback
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import median


@dataclass(frozen=True)
class Ratio:
    """What was measured against what, in seconds (medians), and the aim if there is one."""

    what: str
    against: str
    seconds: float
    reference_seconds: float
    spread: tuple[float, float]
    aim: float | None = None
    rounds: int = 1

    @property
    def ratio(self) -> float:
        """How many times as long as the reference."""
        return self.seconds / self.reference_seconds


Timed = Callable[[], float]
"""Does its work once and gives the seconds that the part to be measured took."""


def side_by_side(
    what: str,
    measured: Timed,
    against: str,
    reference: Timed,
    rounds: int,
    aim: float | None = None,
) -> Ratio:
    """Medians of both, run in turns. `spread` is the least and greatest ratio of one round."""
    pairs = [(measured(), reference()) for _ in range(rounds)]
    ratios = [one / other for one, other in pairs]
    return Ratio(
        what,
        against,
        median(one for one, _ in pairs),
        median(other for _, other in pairs),
        (min(ratios), max(ratios)),
        aim,
        rounds,
    )


def seconds(work: Callable[[], object]) -> float:
    """How long one call takes."""
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def in_fresh_process(timed: Timed) -> Timed:
    """The same, in a fork of its own: what it caches and leaves behind does not help the next."""

    def forked() -> float:
        reading, writing = os.pipe()
        child = os.fork()
        if not child:
            try:
                os.write(writing, repr(timed()).encode())
                os._exit(0)
            finally:
                traceback.print_exc()
                os._exit(1)
        os.close(writing)
        with os.fdopen(reading) as stream:
            took = stream.read()
        _, status = os.waitpid(child, 0)
        if status:
            raise RuntimeError("a benchmark failed; its traceback stands above")
        return float(took)

    return forked


def process(words: Sequence[str], environment: dict[str, str]) -> Timed:
    """A whole process, from its start to its end; it must end well."""

    def timed() -> float:
        return seconds(
            lambda: subprocess.run(
                words,
                env=environment,
                check=True,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
            )
        )

    return timed

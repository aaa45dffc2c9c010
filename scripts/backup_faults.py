"""Faults against backups: a backup that has its name is whole, a restore is all or nothing.

`backup_faults.py ROUNDS [--seed N]`. Each round draws one fault and what is done when it strikes (a
backup, or a restore in the place of another flock), in a process of its own: a limit on how large a
file may grow, the same twice at once, a garbled backup. Then it looks: every
file with the name of a backup restores to one moment's state, the flock file is the old one or the
new one, sound, and nothing is left after the next run. The first failure ends the run with exit
code 1 and leaves the files to look at. Kills are `kill_faults.py`'s.
"""

import argparse
import os
import resource
import shutil
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from random import Random

from scripts.kill_faults import Failure, cares, flock

from quailwright.exchange import backups
from quailwright.journal.findings import QuailwrightError
from quailwright.journal.store import open_store

NOW = datetime(2027, 5, 2, 20, 0, tzinfo=UTC)
REFUSED, CRASHED = 1, 99
READINGS = 3_000


def apart(work: Callable[[], object]) -> int:
    """Does the work in a process of its own; gives its exit code."""
    child = os.fork()
    if child == 0:
        code = CRASHED
        try:
            work()
            code = 0
        except QuailwrightError:
            code = REFUSED
        finally:
            os._exit(code)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


class Run:
    """The files of a run, and what happened."""

    def __init__(self, folder: Path, rng: Random) -> None:
        self.folder, self.rng = folder, rng
        self.counts: Counter[str] = Counter()
        self.old, self.new = cares(0, 50, rng), cares(1000, 400, rng)
        flock(folder / "old.sqlite", self.old, 10)
        flock(folder / "new.sqlite", self.new, READINGS)
        with open_store(str(folder / "new.sqlite")) as store:
            self.good = backups.back_up(store, folder / "good.zip", NOW).path
        self.into, self.target = folder / "into", folder / "target" / "flock.sqlite"

    def back_up(self) -> None:
        """A backup into the folder."""
        with open_store(str(self.folder / "new.sqlite")) as store:
            backups.back_up(store, self.into, datetime.now(UTC))

    def restore(self) -> None:
        """A restore in the place of the old flock."""
        backups.restore(self.good, str(self.target), replace=True, now=NOW)

    def round(self) -> None:
        """One fault. Raises Failure."""
        for place in (self.into, self.target.parent):
            shutil.rmtree(place, ignore_errors=True)
            place.mkdir()
        shutil.copy(self.folder / "old.sqlite", self.target)
        if self.rng.random() < 0.5:  # with a log of its own beside it, as after a kill
            apart(self._leave_a_log)
        what, work = self.rng.choice([("backup", self.back_up), ("restore", self.restore)])
        fault = self.rng.choice(["full", "two", "garbled"])
        if fault == "garbled":
            self._garbled()
        else:
            self._struck(fault, what, work)
        self._look(f"{fault} {what}")

    def _leave_a_log(self) -> None:
        store = open_store(str(self.target))
        with store.household(writes=True):
            pass
        with store.writing() as writer:
            writer.append([], NOW)
            writer.append_readings("pen", "", [1], [20.0], [50.0])
        os._exit(0)

    def _struck(self, fault: str, what: str, work: Callable[[], object]) -> None:
        room = self.rng.choice([2_000, 30_000, 100_000, 200_000])

        def cramped() -> None:
            resource.setrlimit(resource.RLIMIT_FSIZE, (room, room))
            work()

        def beside() -> None:
            other = os.fork()
            try:
                work()
            finally:
                if other:
                    os.waitpid(other, 0)

        code = apart(cramped if fault == "full" else beside)
        ended = {0: "done", REFUSED: "refused"}.get(code, "crashed")
        self.counts[f"{fault} {what}: {ended}"] += 1
        if ended == "crashed":
            raise Failure(f"{fault} {what} ended with {code}")

    def _garbled(self) -> None:
        data, bad = bytearray(self.good.read_bytes()), self.folder / "bad.zip"
        for _ in range(self.rng.randrange(1, 20)):
            data[self.rng.randrange(len(data))] = self.rng.randrange(256)
        if self.rng.random() < 0.3:
            del data[self.rng.randrange(len(data)) :]
        bad.write_bytes(data)
        code = apart(lambda: backups.restore(bad, str(self.target), replace=True, now=NOW))
        if code not in (0, REFUSED):
            raise Failure(f"a garbled backup ended with {code}")
        self.counts[f"garbled: {'taken whole' if code == 0 else 'refused'}"] += 1

    def _look(self, what: str) -> None:
        for path in self.into.glob("*.zip"):
            backups.check(path)
            self.counts["backups restored and found equal"] += 1
        with open_store(str(self.target)) as store:
            stands = store.entries()
            if store.damage():
                raise Failure(f"after {what} the flock file is damaged")
        if stands not in (self.old, self.new):
            raise Failure(f"after {what} neither the old nor the new flock stands")
        self.counts["the new one stands" if stands == self.new else "the old one stands"] += 1
        self.back_up()
        self.restore()
        left = [*self.into.glob(".*"), *self.target.parent.glob(".*")]
        if left:
            raise Failure(f"after {what} these were left: {left}")


def main() -> int:
    """Runs the rounds, and tells what happened."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rounds", type=int)
    parser.add_argument("--seed", type=int, default=time.time_ns() % 2**32)
    asked = parser.parse_args()
    folder, began = Path(tempfile.mkdtemp(prefix="backup-faults-")), time.monotonic()
    run = Run(folder, Random(asked.seed))
    for number in range(asked.rounds):
        try:
            run.round()
        except (Failure, QuailwrightError) as error:
            print(f"round {number} of seed {asked.seed}: {error}; the files are in {folder}")
            return 1
    for what, count in sorted(run.counts.items()):
        print(f"{count:6,}  {what}")
    print(f"{asked.rounds} rounds, seed {asked.seed}, {time.monotonic() - began:.0f} s: no failure")
    shutil.rmtree(folder)
    return 0


if __name__ == "__main__":
    sys.exit(main())

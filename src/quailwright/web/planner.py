"""Plans in the making: one at a time for a flock, in a thread of its own, and the last few made."""

import os
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import copy_context
from dataclasses import dataclass, field
from typing import Any

from quailwright.journal.findings import BadInput, QuailwrightError
from quailwright.language import say

MOST_KEPT = 4
"""Plans that are kept to look at and to take on; older ones are made again."""

Tell = Callable[[str, float], None]


class Busy(Exception):
    """A plan is being made already."""

    def __init__(self, job: "Job") -> None:
        super().__init__(say("A plan is being made already."))
        self.job = job


@dataclass(slots=True)
class Job:
    """A plan in the making, or made.

    Attributes:
        id: what its page is asked by.
        by: who asked for it.
        about: what was asked, for whoever begins it.
        words, part: the best so far, and how far the search is (0 to 1).
        made: what the work gave; `refused` or `broke` where it gave nothing.
        taken: whether it was taken on.
    """

    id: str
    by: str
    about: Any
    words: str = ""
    part: float = 0.0
    made: Any = None
    refused: QuailwrightError | None = None
    broke: str = ""
    taken: bool = False
    taking: threading.Lock = field(default_factory=threading.Lock)
    _stopped: threading.Event = field(default_factory=threading.Event)
    _over: threading.Event = field(default_factory=threading.Event)

    @property
    def runs(self) -> bool:
        """Whether it is still being made."""
        return not self._over.is_set()

    @property
    def told(self) -> str:
        """The best so far, in words; what is being done before there is any."""
        return say(self.words) if self.words else say("looking at your record")

    @property
    def stopping(self) -> bool:
        """Whether it was asked to stop."""
        return self._stopped.is_set()

    def stop(self) -> None:
        """Ends the search with the best so far, when it next tells how far it is."""
        self._stopped.set()

    def wait(self, seconds: float | None = None) -> bool:
        """Returns when it is over, or after so many seconds; whether it is."""
        return self._over.wait(seconds)

    def run(self, work: Callable[[Tell], Any]) -> None:
        """Does the work; whatever comes of it is kept here."""
        try:
            self.made = work(self._tell)
        except QuailwrightError as error:
            self.refused = error
        except KeyboardInterrupt:
            self.refused = BadInput(say("Stopped before any plan was made; nothing was written."))
        except Exception as error:
            self.broke = type(error).__name__
            if os.environ.get("QUAILWRIGHT_TRACEBACK"):
                raise
        finally:
            self._over.set()

    def _tell(self, words: str, part: float) -> None:
        self.words, self.part = words, part
        if self._stopped.is_set() and part < 1.0:  # at 1 there is nothing left to stop
            raise KeyboardInterrupt


@dataclass(slots=True)
class Planner:
    """Makes plans for one flock."""

    _jobs: dict[str, Job] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def begin(self, job: Job, work: Callable[[Tell], Any], beside: Job | None = None) -> Job:
        """Begins to make a plan, in the language of who asks. Raises Busy.

        With `beside`, a plan that is kept: of those kept it goes last.
        """
        with self._lock:
            running = self._running()
            if running is not None:
                raise Busy(running)
            if beside is not None and self._jobs.pop(beside.id, None) is not None:
                self._jobs[beside.id] = beside
            self._jobs[job.id] = job
            for old in list(self._jobs)[:-MOST_KEPT]:
                del self._jobs[old]
        asked_in = copy_context()
        threading.Thread(
            target=asked_in.run, args=(job.run, work), name="planner", daemon=True
        ).start()
        return job

    @contextmanager
    def taking(self, job: Job) -> Iterator[bool]:
        """Whether a plan was taken on before; it was, once the block ends without an error."""
        with job.taking:
            yield job.taken
            job.taken = True

    def job(self, job_id: str) -> Job | None:
        """A plan that is kept."""
        return self._jobs.get(job_id)

    def running(self) -> Job | None:
        """The one that is being made."""
        with self._lock:
            return self._running()

    def newest(self) -> Job | None:
        """The last, where it was made and not taken on."""
        with self._lock:
            last = next(reversed(self._jobs.values()), None)
            return last if last is not None and last.made is not None and not last.taken else None

    def _running(self) -> Job | None:
        return next((job for job in self._jobs.values() if job.runs), None)

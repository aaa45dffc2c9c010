"""Plans in the making where several server processes answer: each knows of those of all others.

The process that was asked makes the plan, and passes on how far it is and what came of it. While it
does it holds a number of the database's (an advisory lock): when it is killed, the number is free,
and the plan is known to be over.
"""

import logging
import re
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import copy_context
from dataclasses import dataclass, replace
from typing import Any

from quailwright.exchange.shared import AmongProcesses
from quailwright.journal.findings import BadInput, QuailwrightError
from quailwright.language import say
from quailwright.web.planner import MOST_KEPT, Busy, Job, Planner, Tell

MOST_AT_ONCE = 4
"""Plans that one process makes at once, of all flocks: searching takes a processor each."""

_JOB, _MADE = "plan", "plan made"
_PASSED_ON_EVERY_S = 0.5
_ASKED_EVERY_S = 0.2
_NUMBER_DIGITS = 15
"""Of the random id of a plan, in hexadecimal: below 2**63."""
_log = logging.getLogger("uvicorn.error")
_at_work = threading.BoundedSemaphore(MOST_AT_ONCE)


@dataclass(frozen=True, slots=True)
class _Passed:
    """How a plan stands, as it is passed on; what was made is passed on beside it."""

    id: str
    by: str
    about: Any
    words: str = ""
    part: float = 0.0
    refused: QuailwrightError | None = None
    broke: str = ""
    made: bool = False
    taken: bool = False
    over: bool = False
    stopping: bool = False
    turn: int = 0


class _Elsewhere(Job):
    """A plan of another process, as it stood when it was looked at."""

    def __init__(self, planner: "SharedPlanner", passed: _Passed, made: Any) -> None:
        super().__init__(
            passed.id, passed.by, passed.about, passed.words, passed.part, made, passed.refused,
            passed.broke, passed.taken,
        )  # fmt: skip
        self._planner = planner
        if passed.over:
            self._over.set()
        if passed.stopping:
            self._stopped.set()

    def stop(self) -> None:
        super().stop()
        self._planner.ask_to_stop(self.id)

    def wait(self, seconds: float | None = None) -> bool:
        until = None if seconds is None else time.monotonic() + seconds
        while self.runs and (until is None or time.monotonic() < until):
            time.sleep(_ASKED_EVERY_S)
            if self._planner.is_over(self.id):
                self._over.set()
        return not self.runs


class SharedPlanner(Planner):
    """Makes plans for one flock, one at a time in all processes."""

    def __init__(self, shared: AmongProcesses) -> None:
        super().__init__()
        self._shared = shared

    def begin(self, job: Job, work: Callable[[Tell], Any], beside: Job | None = None) -> Job:
        """See `Planner`. Raises Busy, and BadInput where too many are made for others."""
        if not _at_work.acquire(blocking=False):
            raise BadInput(say("Too many plans are being made just now. Try again in a minute."))
        try:
            let_go = self._shared.living(_number(job.id))
            try:
                self._enter(job, beside)
            except BaseException:
                let_go()
                raise
        except BaseException:
            _at_work.release()
            raise
        with self._lock:
            self._jobs[job.id] = job
        asked_in = copy_context()
        threading.Thread(
            target=asked_in.run, args=(self._run, job, work, let_go), name="planner", daemon=True
        ).start()
        return job

    def _enter(self, job: Job, beside: Job | None) -> None:
        with self._shared.turn(_JOB) as held:
            known = _in_turn(held.every())
            for one in known:
                if self._runs(one):
                    raise Busy(self._elsewhere(one))
            if beside is not None:
                known.sort(key=lambda one: one.id == beside.id)
            after = known[-1].turn + 1 if known else 0
            if beside is not None and known and known[-1].id == beside.id:
                held.put(beside.id, replace(known[-1], turn=after))
                after += 1
            held.put(job.id, _Passed(job.id, job.by, job.about, turn=after))
            gone = [one.id for one in known[: -(MOST_KEPT - 1)]]
            for old in gone:
                held.drop(old)
        with self._shared.turn(_MADE) as held:
            for old in gone:
                held.drop(old)
        with self._lock:
            for old in gone:
                self._jobs.pop(old, None)

    def _run(self, job: Job, work: Callable[[Tell], Any], let_go: Callable[[], None]) -> None:
        passed_on = 0.0

        def watched(tell: Tell) -> Any:
            def told(words: str, part: float) -> None:
                nonlocal passed_on
                if time.monotonic() - passed_on >= _PASSED_ON_EVERY_S:
                    passed_on = time.monotonic()
                    if self._pass_on(job.id, words=words, part=part).stopping:
                        job.stop()
                tell(words, part)

            return work(told)

        try:
            job.run(watched)
            if job.made is not None:
                with self._shared.turn(_MADE) as held:
                    held.put(job.id, job.made)
            self._pass_on(
                job.id, words=job.words, part=job.part, refused=job.refused, broke=job.broke,
                made=job.made is not None, over=True,
            )  # fmt: skip
        except QuailwrightError as error:
            # It is here, and nowhere else.
            _log.error("%s", error.sentence)
        else:
            # The pages have it from the database now: it takes no room here.
            with self._lock:
                self._jobs.pop(job.id, None)
        finally:
            _at_work.release()
            let_go()

    def _pass_on(self, job_id: str, **changed: Any) -> _Passed:
        with self._shared.turn(_JOB) as held:
            known: _Passed | None = held.get(job_id)
            if known is None:
                return _Passed(job_id, "", None, stopping=True)
            after = replace(known, **changed)
            held.put(job_id, after)
            return after

    def ask_to_stop(self, job_id: str) -> None:
        """Ends the search of another process when it next tells how far it is."""
        self._pass_on(job_id, stopping=True)

    def is_over(self, job_id: str) -> bool:
        """Whether a plan of any process is over."""
        known: _Passed | None = self._shared.look(_JOB, job_id)
        return known is None or not self._runs(known)

    @contextmanager
    def taking(self, job: Job) -> Iterator[bool]:
        """See `Planner`; one process at a time."""
        with self._shared.turn(_JOB) as held:
            known: _Passed | None = held.get(job.id)
            yield known is None or known.taken
            if known is not None:
                held.put(job.id, replace(known, taken=True))

    def job(self, job_id: str) -> Job | None:
        """See `Planner`."""
        known: _Passed | None = None
        if re.fullmatch(r"[0-9a-f]{24}", job_id):
            known = self._shared.look(_JOB, job_id)
        own = self._jobs.get(job_id)
        if known is None:
            return None
        if own is None:
            return self._elsewhere(known)
        own.taken = known.taken
        return own

    def running(self) -> Job | None:
        """See `Planner`."""
        known = _in_turn(self._shared.every(_JOB))
        return next((self._elsewhere(one) for one in known if self._runs(one)), None)

    def newest(self) -> Job | None:
        """See `Planner`."""
        known = _in_turn(self._shared.every(_JOB))
        if not known or not known[-1].made or known[-1].taken:
            return None
        return self._elsewhere(known[-1])

    def _runs(self, known: _Passed) -> bool:
        return not known.over and self._shared.lives(_number(known.id))

    def _elsewhere(self, known: _Passed) -> Job:
        own = self._jobs.get(known.id)
        if own is not None:
            return own
        made = self._shared.look(_MADE, known.id) if known.made else None
        if not known.over and not self._runs(known):
            ended = BadInput(say("The search was cut off before any plan was made. Begin it anew."))
            known = replace(known, over=True, refused=ended)
        return _Elsewhere(self, known, made)


def _in_turn(known: dict[str, _Passed]) -> list[_Passed]:
    return sorted(known.values(), key=lambda one: one.turn)


def _number(job_id: str) -> int:
    return int(job_id[:_NUMBER_DIGITS], 16)

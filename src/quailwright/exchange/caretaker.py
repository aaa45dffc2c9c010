"""What falls due by itself while the pages are served: notices, backups, a broker listened to.

One process of a flock file does it, whichever comes first; when that one ends, however it ends, the
next takes over. Each chore has a thread of its own, so that a slow one (a backup) holds up no
urgent one (an incubator that cools).
"""

import logging
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta

from quailwright.exchange.desk import Desk
from quailwright.journal.findings import QuailwrightError
from quailwright.language import later

_LOOKED_AT_EVERY_S = 1.0
_ENDS_WITHIN_S = 10.0
"""So long the end waits for chores that are being done. One that goes on (a backup of millions of
readings) is left: each can be killed at any instant."""
_log = logging.getLogger("uvicorn.error")


def _nothing() -> None:
    pass


@dataclass(frozen=True, slots=True)
class Chore:
    """Something done every so often.

    Attributes:
        name: a short code, unique.
        every: how long from the beginning of one time to that of the next.
        do: does it, as of an instant (aware), and says in a sentence what came of it ("": nothing
            to say). It may raise a QuailwrightError, whose sentence is kept for the pages.
        end: lets go of what it holds (a connection) when the caretaker ends.
        shows: gives what the pages show of it beside the sentence.
    """

    name: str
    every: timedelta
    do: Callable[[Desk, datetime], str]
    end: Callable[[], None] = _nothing
    shows: Callable[[], object] = _nothing


@dataclass(frozen=True, slots=True)
class ChoreTold:
    """What came of a chore the last time: when it began, its sentence, whether it failed."""

    at: datetime
    sentence: str
    failed: bool


class Caretaker:
    """Does the chores of a flock as they fall due. Use `working` while the pages are served."""

    def __init__(self, desk: Desk, chores: Sequence[Chore], clock: Callable[[], datetime]) -> None:
        self._desk = desk
        self._chores = tuple(chores)
        self._clock = clock
        self._began: dict[str, datetime] = {}
        self._told: dict[str, ChoreTold] = {}
        self._at_work: dict[str, threading.Thread] = {}

    def told(self, name: str) -> ChoreTold | None:
        """What came of a chore the last time, in this process; None: it has not been done."""
        return self._told.get(name)

    def shown(self, name: str) -> object:
        """What a chore shows beside its sentence, in this process; None where it shows nothing."""
        return next((chore.shows() for chore in self._chores if chore.name == name), None)

    def do_due(self, now: datetime) -> None:
        """Does, one after another, every chore that is due at `now`."""
        for chore in self._due(now):
            self._do(chore, now)

    @contextmanager
    def working(self, every_s: float = _LOOKED_AT_EVERY_S) -> Iterator[None]:
        """Does chores as they fall due, in threads of its own, until the block ends."""
        over = threading.Event()
        thread = threading.Thread(target=self._work, args=(over, every_s), daemon=True)
        thread.start()
        try:
            yield
        finally:
            over.set()
            thread.join()

    def _work(self, over: threading.Event, every_s: float) -> None:
        while not over.is_set():
            try:
                with self._desk.store.sole_caretaker() as mine:
                    try:
                        while mine() and not over.wait(every_s):
                            self._begin_due()
                    finally:
                        # Before the lock is let go: whoever takes over finds nothing at work.
                        self._end()
            except QuailwrightError as error:
                _log.error("%s", error.sentence)
            except Exception:
                # Without this thread nothing would be watched any more, and nobody told.
                _log.exception("A fault of our own in the caretaker")
            over.wait(every_s)

    def _begin_due(self) -> None:
        now = self._clock()
        for chore in self._due(now):
            at_work = self._at_work.get(chore.name)
            if at_work is not None and at_work.is_alive():
                continue
            thread = threading.Thread(target=self._do, args=(chore, now), daemon=True)
            self._at_work[chore.name] = thread
            thread.start()

    def _end(self) -> None:
        until = time.monotonic() + _ENDS_WITHIN_S
        for thread in self._at_work.values():
            thread.join(max(0.0, until - time.monotonic()))
        # What is still at work is not begun a second time beside itself.
        self._at_work = {name: one for name, one in self._at_work.items() if one.is_alive()}
        for chore in self._chores:
            try:
                chore.end()
            except Exception:
                _log.exception("A fault of our own at the end of the chore %s", chore.name)

    def _due(self, now: datetime) -> list[Chore]:
        """Those whose time has come; a clock that was set back makes all due."""
        due = []
        for chore in self._chores:
            began = self._began.get(chore.name)
            if began is None or not began <= now < began + chore.every:
                due.append(chore)
        return due

    def _do(self, chore: Chore, now: datetime) -> None:
        self._began[chore.name] = now
        try:
            sentence, failed = chore.do(self._desk, now), False
        except QuailwrightError as error:
            sentence, failed = error.sentence, True
        except Exception as error:
            # The thread must outlive any fault of one chore; the pages tell it.
            _log.exception("A fault of our own in the chore %s", chore.name)
            sentence = later("A fault of quailwright's own ({fault}).", fault=type(error).__name__)
            failed = True
        self._told[chore.name] = ChoreTold(now, sentence, failed)

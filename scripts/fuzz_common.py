"""What the targets of scripts/fuzz share.

A target takes one input and gives True where it was taken, False where it was refused with a
sentence. Anything else that it raises is a fault.
"""

import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any, NamedTuple

from tests.makers import made
from tests.web.conftest import SMALL_FLOCK

from quailwright.journal.findings import QuailwrightError

NOW = datetime(2027, 5, 3, 7, 30, tzinfo=UTC)
ON = date(2027, 5, 3)
FLOCK = (
    *SMALL_FLOCK,
    made("feed", "2027-01-01", feed="layer", protein_pct=17, calcium_pct=3.5, price_per_kg=0.9),
    made("feed", "2027-01-01", feed="starter", protein_pct=26, calcium_pct=1.1, price_per_kg=1.2),
    made("instrument", "2027-01-01", instrument="probe", place="box", temperature_offset_c=0.2),
)


class Target(NamedTuple):
    """A way in.

    Attributes:
        seeds: what it begins with.
        ready: makes what it needs and gives the function that takes an input.
        covers: modules of quailwright whose lines are counted.
    """

    seeds: Callable[[], Iterator[bytes]]
    ready: Callable[[], Callable[[bytes], bool]]
    covers: tuple[str, ...]


class NotSaid(Exception):
    """A refusal that says nothing."""


def refused(error: QuailwrightError) -> bool:
    for said in (error.sentence, *(finding.sentence for finding in error.findings)):
        if not said.strip():
            raise NotSaid(repr(error))
    return False


def or_sentence(take: Callable[[bytes], bool]) -> Callable[[bytes], bool]:
    def taken(data: bytes) -> bool:
        try:
            return take(data)
        except QuailwrightError as error:
            return refused(error)

    return taken


def outcome(read: Any, findings: Any) -> bool:
    """Of readers that give what they read, or None, and findings."""
    if read is None:
        assert findings, "nothing was read, and nothing says why"
        return refused(QuailwrightError("Not right.", tuple(findings)))
    return True


def scratch() -> Path:
    memory = Path("/dev/shm")
    return Path(tempfile.mkdtemp(prefix="quail-fuzz-", dir=memory if memory.is_dir() else None))


@contextmanager
def as_file(folder: Path, data: bytes, ending: str) -> Iterator[Path]:
    path = folder / f"input{ending}"
    path.write_bytes(data)
    yield path

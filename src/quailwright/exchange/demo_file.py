"""The demo's flock file: built anew each time, never over a keeper's own record."""

from datetime import date, datetime
from pathlib import Path
from secrets import token_bytes

from quailwright.exchange.record import record
from quailwright.exchange.sensor_payload import How
from quailwright.exchange.sensor_settings import Sensors
from quailwright.journal.damage import NOTE
from quailwright.journal.entries import Entry, Holding
from quailwright.journal.findings import FlockUnusable
from quailwright.journal.store import open_store
from quailwright.language import say

INVENTED = "Invented flock for the demo"
"""How the note of a demo's holding begins; a file without it is not overwritten."""
_KEY_BYTES = 32


def build_demo(location: str, on: date, seed: int, now: datetime) -> list[Entry]:
    """Writes an invented flock that ends on `on` to the file, and gives its entries.

    Its sensors have told until `now` where that is about the day `on`, else to the end of it.

    Raises FlockUnusable when the file holds a record that is not a demo's.
    """
    from numpy.random import default_rng

    from quailwright.exchange.demo import invented

    if "://" in location:
        raise FlockUnusable(say("The demo is a file. Give --flock a path, not a database."))
    path = Path(location).expanduser()
    if path.exists() and not _is_demo(location):
        raise FlockUnusable(
            say("{path} is not a demo flock; it is left as it is. Name another file.", path=path)
        )
    draft = path.with_name(path.name + ".new")
    _remove(draft)
    about = abs((now.date() - on).days) <= 1
    entries, readings = invented(on, default_rng(seed), now if about else None)
    with open_store(str(draft), create=True) as store:
        record(store, entries, now)
        with store.writing() as writer:
            for one in readings:
                writer.append_readings(
                    one.place, one.instrument, one.at_ms, one.temperature_c, one.humidity_pct
                )
        known = Sensors(store)
        for one in readings:
            name = one.instrument
            # Nobody is told the key.
            known.add_device(name, one.place, name, How("senml"), now, token_bytes(_KEY_BYTES))
    _remove(path)
    draft.replace(path)
    _remove(draft)
    return entries


def _is_demo(location: str) -> bool:
    with open_store(location) as store:
        return any(
            isinstance(entry, Holding) and entry.note.startswith(INVENTED)
            for entry in store.entries()
        )


def _remove(path: Path) -> None:
    for name in (path.name, *(path.name + end for end in ("-wal", "-shm", NOTE))):
        path.with_name(name).unlink(missing_ok=True)

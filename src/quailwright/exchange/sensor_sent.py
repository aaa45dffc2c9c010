"""What a device with a key sends over HTTP: kept, and told in an answer that it can act on."""

from dataclasses import dataclass
from datetime import datetime

from quailwright.exchange.json_types import SentShape
from quailwright.exchange.sensor_keep import Arrived, Instants, keep
from quailwright.exchange.sensor_payload import Measured, Payload, read_payload
from quailwright.exchange.sensor_settings import Keyed
from quailwright.exchange.shared import OwnMemory, Shared
from quailwright.journal.readings import Kept
from quailwright.journal.store import Store
from quailwright.language import say


@dataclass(frozen=True, slots=True)
class Sent:
    """What a device sent last: when, how it began, and what came of it."""

    at: datetime
    payload: bytes
    found: Payload
    kept: Kept

    @property
    def last(self) -> Measured | None:
        """The newest reading in it."""
        return max(self.found.readings, key=lambda one: one.at_ms, default=None)


_SHOWN_BYTES = 2_000
_OF_DEVICES = "device"


class SentLast:
    """What each device sent last, by the device; remembered for a while."""

    def __init__(self, shared: Shared | None = None) -> None:
        self._shared = shared or OwnMemory()

    def note(self, device: int, sent: Sent) -> None:
        """Remembers what a device sent."""
        with self._shared.turn(_OF_DEVICES) as held:
            held.put(str(device), sent)

    def every(self) -> dict[int, Sent]:
        """What is remembered."""
        return {int(device): sent for device, sent in self._shared.every(_OF_DEVICES).items()}


def take_sent(store: Store, device: Keyed, body: bytes, now: datetime) -> Sent:
    """Keeps the readings of a body, those that are right; a repeat is harmless.

    Raises FlockUnusable; then nothing was kept.
    """
    found = read_payload(body, device.how, now)
    arrived = Instants().apart(Arrived(device.place, device.instrument, found.readings))
    kept = keep(store, [[arrived]]) if found.readings else Kept()
    return Sent(now, body[:_SHOWN_BYTES], found, kept)


def sent_shape(sent: Sent) -> SentShape:
    """The answer to a device."""
    return {
        "kept": sent.kept.written,
        "already": sent.kept.already,
        "differing": sent.kept.differing,
        "refused": [{"sentence": say(each)} for each in sent.found.refused],
    }

"""Ids for new entries: UUIDs of version 7 (RFC 9562, section 5.7), which sort by time of making."""

import uuid
from datetime import datetime

_MILLISECOND_BITS = 48
NOISE_BYTES = 10


def new_id(now: datetime, noise: bytes) -> str:
    """A UUID of version 7 made at `now` (aware) from ten random bytes."""
    milliseconds = int(now.timestamp() * 1000) & ((1 << _MILLISECOND_BITS) - 1)
    value = (milliseconds << (8 * NOISE_BYTES)) | int.from_bytes(noise[:NOISE_BYTES], "big")
    value = value & ~(0xF << 76) | (7 << 76)
    value = value & ~(0x3 << 62) | (2 << 62)
    return str(uuid.UUID(int=value))

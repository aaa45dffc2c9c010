"""A digest of what stands: two flocks have the same one when they are equal.

It does not depend on the order in which things came into a dictionary or a set, nor on the
computer; it may change with the version of quailwright, as the fold does.
"""

import hashlib
from dataclasses import fields, is_dataclass
from datetime import date

import msgspec

from quailwright.flock.state import Flock


def digest(flock: Flock) -> str:
    """The SHA-256 of all that two flocks are compared by, in hexadecimal."""
    return hashlib.sha256(_told(flock)).hexdigest()


def _told(value: object) -> bytes:
    """A value as bytes that tell it from every value that is not equal to it."""
    told: bytes
    match value:
        case None | bool() | int() | float():
            told = _number(value)
        case str():
            told = str(value).encode()
        case date():
            told = value.isoformat().encode()
        case msgspec.Struct():
            told = msgspec.json.encode(value, order="deterministic")
        case dict():
            told = b"".join(sorted(_told(key) + _told(one) for key, one in value.items()))
        case set() | frozenset():
            told = b"".join(sorted(map(_told, value)))
        case list() | tuple():
            told = b"".join(map(_told, value))
        case _ if is_dataclass(value):
            told = b"".join(_told(getattr(value, f.name)) for f in fields(value) if f.compare)
        case _:
            raise TypeError(type(value))
    return b"%s %d " % (_kind(value), len(told)) + told


def _number(value: float | None) -> bytes:
    """Equal numbers alike, whole or not: 2 and 2.0."""
    whole = isinstance(value, float) and value.is_integer()
    return repr(int(value) if whole and value is not None else value).encode()


def _kind(value: object) -> bytes:
    match value:
        case bool() | int() | float():
            return b"number"
        case str():
            return b"text"
        case dict():
            return b"dict"
        case list() | tuple():
            return b"list"
    return type(value).__name__.encode()

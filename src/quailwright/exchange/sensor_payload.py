"""What a device sent, made readings: a bare number, JSON, or SenML (RFC 8428).

A pure function of the bytes, of how they are to be read, and of the instant at which they came.
Whatever comes, the answer is readings or sentences that say why not.
"""

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any, Literal, NamedTuple

import msgspec

from quailwright.husbandry import facts
from quailwright.journal.readings import humidity_problem, temperature_problem, to_ms
from quailwright.language import later, say

Form = Literal["number", "json", "senml"]
"""How a message is written: a number and nothing else; JSON; SenML in JSON."""
TemperatureUnit = Literal["Cel", "degF", "K"]
HumidityUnit = Literal["%RH", "/"]
"""In the codes of SenML; it has none for °F."""
Quantity = Literal["temperature", "humidity"]

LONGEST_PAYLOAD = 64 * 1024
MOST_READINGS = 1_000
"""Of one message."""
LONGEST_POINTER = 200
MOST_AHEAD = timedelta(days=1)
_RELATIVE_BELOW_S = 2**28
"""SenML times below this are relative to the present (RFC 8428, section 4.5.3)."""
_MILLISECONDS_FROM = 1e11
"""A number of this size as seconds would be the year 5138; as milliseconds it is 1973."""
_CLOCK_NOT_SET_BEFORE_S = 946_684_800.0
"""The year 2000: a device that does not know the time counts from 1970 or from its start."""
_SENML_VERSION = 10
_SENML_KNOWN = frozenset(
    ("bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t", "ut")
)
_NUMBER = re.compile(r"[+-]?\d{1,20}(?:[.,]\d{1,20})?(?:[eE][+-]?\d{1,2})?")
_SHOWN = 40


class How(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """How the messages of a device or topic are read.

    Attributes:
        form: how they are written.
        shows: what a bare number is.
        temperature, humidity, time: where in JSON they stand, as JSON Pointers (RFC 6901); for
            SenML the end of the name of the record (time: not used). None: not there.
        temperature_unit, humidity_unit: units of a bare number and of JSON; SenML says its own.
    """

    form: Form = "json"
    shows: Quantity = "temperature"
    temperature: str | None = None
    humidity: str | None = None
    time: str | None = None
    temperature_unit: TemperatureUnit = "Cel"
    humidity_unit: HumidityUnit = "%RH"


USUAL = How("json", temperature="/temperature", humidity="/humidity", time="/time")
"""How a device with a key sends, unless told otherwise."""


class Measured(NamedTuple):
    """One reading out of a message. `own_time`: the message said when it was."""

    at_ms: int
    temperature_c: float | None
    humidity_pct: float | None
    own_time: bool


class Payload(NamedTuple):
    """What a message came to: readings, and a sentence for each part that gave none."""

    readings: tuple[Measured, ...] = ()
    refused: tuple[str, ...] = ()


class _No(Exception):
    """Why a part of a message gives no reading, kept to be said later."""

    def __init__(self, sentence: str) -> None:
        super().__init__(sentence)
        self.sentence = sentence


def read_payload(payload: bytes, how: How, now: datetime) -> Payload:
    """The readings of a message that came at `now` (aware), each within what is possible.

    Without a time of its own a reading is of `now`. Sentences are kept (`later`): say them. A list
    gives a reading for each of its parts that is right. It never raises, whatever the bytes.
    """
    if len(payload) > LONGEST_PAYLOAD:
        return Payload(
            refused=(later("The message is too long: at most {most:,} bytes are read.",
                           most=LONGEST_PAYLOAD),)
        )  # fmt: skip
    try:
        if how.form == "number":
            shown = _bare(payload)
            return Payload((_measured({how.shows: shown}, None, how, now),))
        document = _json(payload)
        if how.form == "senml" or is_senml(document):
            named = how if how.form == "senml" else How("senml")
            return _of_senml(document, named, now)
        return _of_json(document, how, now)
    except _No as no:
        return Payload(refused=(no.sentence,))


# The forms.


def _bare(payload: bytes) -> float:
    try:
        text = payload.decode().strip()
    except UnicodeDecodeError:
        raise _No(later("It is no text, and a bare number is expected.")) from None
    return _number(text)


def _json(payload: bytes) -> Any:
    try:
        return msgspec.json.decode(payload)
    except (msgspec.DecodeError, RecursionError, ValueError, OverflowError):
        raise _No(
            later(
                "It is not JSON (RFC 8259), and JSON is expected: {sample}", sample=_some(payload)
            )
        ) from None


def _some(payload: bytes) -> str:
    """The beginning of a message, to be shown: one line, whatever the bytes."""
    text = payload[: 2 * _SHOWN].decode(errors="replace")
    plain = "".join(each if each.isprintable() else " " for each in text)
    return plain[:_SHOWN] + ("…" if len(plain) > _SHOWN or len(payload) > 2 * _SHOWN else "")


def _of_json(document: Any, how: How, now: datetime) -> Payload:
    parts = document if isinstance(document, list) and not _looks_into_lists(how) else [document]
    if not parts:
        raise _No(later("The list is empty."))
    _refuse_many(len(parts))
    return _each((_json_reading, (part, how, now)) for part in parts)


def _looks_into_lists(how: How) -> bool:
    """Whether a pointer begins with a place in a list: then the list is one reading."""
    pointers = [each for each in (how.temperature, how.humidity) if each]
    return any(re.match(r"/\d+(/|\Z)", each) for each in pointers)


def _each(parts: Iterator[tuple[Any, tuple[Any, ...]]]) -> Payload:
    made: list[Measured] = []
    refused: list[str] = []
    for function, arguments in parts:
        try:
            made.append(function(*arguments))
        except _No as no:
            refused.append(no.sentence)
    return Payload(tuple(made), tuple(refused))


def _json_reading(document: Any, how: How, now: datetime) -> Measured:
    shown = {}
    for quantity, pointer in (("temperature", how.temperature), ("humidity", how.humidity)):
        if pointer is not None:
            found = _pointed(document, pointer)
            if found is not None:
                shown[quantity] = _number(found)
    if not shown:
        sought = [each for each in (how.temperature, how.humidity) if each is not None]
        raise _No(
            later("There is no value at {pointers}.", pointers=", ".join(sought) or '""')
        )  # fmt: skip
    at = None if how.time is None else _pointed(document, how.time)
    return _measured(shown, None if at is None else _instant_ms(at, now), how, now)


def _pointed(document: Any, pointer: str) -> Any:
    """What a JSON Pointer leads to (RFC 6901, section 4); None where there is nothing, or null."""
    found = document
    for part in pointer.split("/")[1:]:
        name = part.replace("~1", "/").replace("~0", "~")
        if isinstance(found, dict):
            found = found.get(name)
        elif isinstance(found, list) and re.fullmatch(r"0|[1-9]\d{0,5}", name):
            found = found[int(name)] if int(name) < len(found) else None
        else:
            return None
    return found


def pointer_problem(pointer: str) -> str:
    """What is wrong with a JSON Pointer, in a sentence; "" where nothing is."""
    if len(pointer) > LONGEST_POINTER:
        return say("A JSON Pointer may have {most} characters.", most=LONGEST_POINTER)
    if pointer and not pointer.startswith("/"):
        return say("{pointer} does not begin with /. Write it like /temperature.", pointer=pointer)
    if re.search(r"~(?![01])", pointer):
        return say("In {pointer}, ~ must be written ~0, and / in a name ~1.", pointer=pointer)
    return ""


# SenML.


def is_senml(document: Any) -> bool:
    """Whether JSON is a SenML pack: a list of records by their short names."""
    return (
        isinstance(document, list)
        and bool(document)
        and all(isinstance(each, dict) for each in document)
        and all(_SENML_KNOWN.issuperset(each) for each in document)
        and any({"v", "bv"} & set(each) for each in document)
    )


_SENML_UNITS = {"temperature": ("Cel", "K"), "humidity": ("%RH",)}
_SENML_RATIOS = ("/", "%", "/100")
"""By the registry of RFC 8428 and RFC 8798; a ratio is a humidity only where one is named."""


class _Record(NamedTuple):
    """A SenML record resolved, as far as it is used here."""

    name: str
    unit: str
    value: float
    time_s: float


def _of_senml(document: Any, how: How, now: datetime) -> Payload:
    if not isinstance(document, list) or not all(isinstance(each, dict) for each in document):
        raise _No(later("SenML (RFC 8428) is a list of records."))
    _refuse_many(len(document))
    warm: dict[float, float] = {}
    damp: dict[float, float] = {}
    names: dict[str, set[str]] = {"temperature": set(), "humidity": set()}
    for record in _resolved(document):
        for quantity, chosen, found in (
            ("temperature", how.temperature, warm), ("humidity", how.humidity, damp),
        ):  # fmt: skip
            ratios = _SENML_RATIOS if chosen and quantity == "humidity" else ()
            units = _SENML_UNITS[quantity] + ratios
            if record.unit in units and record.name.endswith(chosen or ""):
                names[quantity].add(record.name)
                found[record.time_s] = _from_senml(record)
    for several in names.values():
        if len(several) > 1:
            raise _No(
                later(
                    "It tells several of one kind ({names}): choose one by the end of its name.",
                    names=", ".join(sorted(several))[:200],
                )
            )
    times = sorted({*warm, *damp})
    if not times:
        raise _No(later("There is no temperature (Cel, K) and no humidity (%RH) in it."))
    return _each(
        (_senml_reading, (time_s, warm.get(time_s), damp.get(time_s), now)) for time_s in times
    )


def _from_senml(record: _Record) -> float:
    if record.unit == "K":
        return record.value - _ZERO_CELSIUS_K
    return record.value * 100 if record.unit == "/" else record.value


def _resolved(records: Sequence[Mapping[str, Any]]) -> Iterator[_Record]:
    """Records that have a number, with the base fields before them put in (section 4.6)."""
    name, unit, time_s, value = "", "", 0.0, 0.0
    for record in records:
        for field in record:
            if field.endswith("_") and field not in _SENML_KNOWN:
                raise _No(later("It needs {field}, which is not known here.", field=field[:_SHOWN]))
        version = record.get("bver", _SENML_VERSION)
        if not isinstance(version, int | float) or version > _SENML_VERSION:
            raise _No(later("It is of a newer SenML than {version}.", version=_SENML_VERSION))
        name = _text_of(record, "bn", name)
        unit = _text_of(record, "bu", unit)
        time_s = _number_of(record, "bt", time_s)
        value = _number_of(record, "bv", value)
        if "v" in record:
            yield _Record(
                name + _text_of(record, "n", ""),
                _text_of(record, "u", unit),
                value + _number_of(record, "v", 0.0),
                time_s + _number_of(record, "t", 0.0),
            )


def _text_of(record: Mapping[str, Any], field: str, otherwise: str) -> str:
    found = record.get(field, otherwise)
    if not isinstance(found, str):
        raise _No(later("{field} must be a text.", field=field))
    return found


def _number_of(record: Mapping[str, Any], field: str, otherwise: float) -> float:
    found = record.get(field, otherwise)
    if isinstance(found, bool) or not isinstance(found, int | float):
        raise _No(later("{field} must be a number.", field=field))
    return _finite(found)


def _senml_reading(
    time_s: float, celsius: float | None, percent: float | None, now: datetime
) -> Measured:
    own = time_s >= _RELATIVE_BELOW_S
    if not math.isfinite(time_s * 1000):
        raise _No(later("A number in it is too large."))
    at_ms = round(time_s * 1000) if own else to_ms(now) + round(time_s * 1000)
    return _possible(celsius, percent, at_ms, now, own)


# Figures, units and times.

_ZERO_CELSIUS_K = 273.15


def _celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32) / 1.8


def _number(found: Any) -> float:
    """A figure, which many devices send as a text. Raises _No."""
    if isinstance(found, str) and _NUMBER.fullmatch(found.strip()):
        return _finite(float(found.strip().replace(",", ".")))
    if isinstance(found, int | float) and not isinstance(found, bool):
        return _finite(found)
    raise _No(later("{found} is not a number.", found=repr(_some(str(found).encode()))))


def _finite(found: float) -> float:
    try:
        number = float(found)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise _No(later("A number in it is too large."))
    return number


def _measured(shown: Mapping[str, float], at_ms: int | None, how: How, now: datetime) -> Measured:
    """A reading from figures in the units of the device. Raises _No."""
    celsius, percent = shown.get("temperature"), shown.get("humidity")
    if celsius is not None and how.temperature_unit == "degF":
        celsius = _celsius(celsius)
    elif celsius is not None and how.temperature_unit == "K":
        celsius -= _ZERO_CELSIUS_K
    if percent is not None and how.humidity_unit == "/":
        percent *= 100
    return _possible(
        celsius, percent, to_ms(now) if at_ms is None else at_ms, now, at_ms is not None
    )


def _possible(
    celsius: float | None, percent: float | None, at_ms: int, now: datetime, own_time: bool
) -> Measured:
    if celsius is not None and temperature_problem(celsius) is not None:
        low, high = facts.spread("sensors.temperature_possible")
        raise _No(
            later(
                "{celsius:g} °C is not possible: it must be {low:g} to {high:g} °C.",
                celsius=celsius,
                low=low,
                high=high,
            )
        )
    if percent is not None and humidity_problem(percent) is not None:
        low, high = facts.spread("sensors.humidity_possible")
        raise _No(
            later(
                "a relative humidity of {percent:g} % is not possible: "
                "it must be {low:g} to {high:g} %.",
                percent=percent,
                low=low,
                high=high,
            )
        )
    if at_ms > to_ms(now + MOST_AHEAD):
        raise _No(later("Its time is more than a day ahead. Is the device's clock right?"))
    if at_ms < _CLOCK_NOT_SET_BEFORE_S * 1000:
        raise _No(
            later("Its time is before the year 2000: the device's clock is not set. Set it, or "
                  "send no time.")
        )  # fmt: skip
    # Figures a thousand times finer than any sensor: changed units leave no 37.50000000000001.
    return Measured(
        at_ms,
        None if celsius is None else round(celsius, 6),
        None if percent is None else round(percent, 6),
        own_time,
    )


def _instant_ms(found: Any, now: datetime) -> int:
    """A time as a device writes it. Raises _No."""
    if isinstance(found, str) and not _NUMBER.fullmatch(found.strip()):
        try:
            moment = datetime.fromisoformat(found.strip())
            if moment.tzinfo is None:
                raise _No(
                    later("The time {time} has no offset: write it like 2027-05-02T20:00:00Z.",
                          time=_some(found.encode()))
                )  # fmt: skip
            return to_ms(moment)
        except (ValueError, OverflowError):
            raise _No(
                later("{time} is no time: write it by ISO 8601, like 2027-05-02T20:00:00Z, or as "
                      "seconds since 1970.", time=_some(found.encode()))
            ) from None  # fmt: skip
    number = _number(found)
    at_ms = number if abs(number) >= _MILLISECONDS_FROM else number * 1000
    if at_ms > to_ms(now + MOST_AHEAD):
        raise _No(later("Its time is more than a day ahead. Is the device's clock right?"))
    return round(at_ms)


def _refuse_many(count: int) -> None:
    if count > MOST_READINGS:
        raise _No(
            later("It holds more than {most:,} parts: send fewer at once.", most=MOST_READINGS)
        )

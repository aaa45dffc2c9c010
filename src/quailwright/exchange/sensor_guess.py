"""A guess of how a message is to be read, from one that came, for the keeper to look at."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import msgspec

from quailwright.exchange.sensor_payload import (
    LONGEST_POINTER,
    How,
    Measured,
    TemperatureUnit,
    is_senml,
    read_payload,
)
from quailwright.husbandry import facts
from quailwright.language import say

_MOST_LEAVES = 200
_DEEPEST = 8
_WARM = re.compile(r"temp|celsius|fahrenheit|°|\A(t|tc|tf|deg_?[cf])\Z", re.IGNORECASE)
_DAMP = re.compile(r"hum|moist|\A(h|rh|hr)\Z", re.IGNORECASE)
_WHEN = re.compile(r"time|date|stamp|\A(ts|at|when|epoch)\Z", re.IGNORECASE)
_FAHRENHEIT = re.compile(r"fahrenheit|(\A|[_\W])f\Z|(?<=[a-z])F\Z|°f\Z|\Atf\Z")
_UNIT_BY_ROLE = {
    "incubator": "sensors.unit_machine",
    "hatcher": "sensors.unit_machine",
    "brooder": "sensors.unit_brooder",
    "egg_store": "sensors.unit_egg_store",
}


@dataclass(frozen=True, slots=True)
class Guess:
    """How a message may be read, what it then says, and that in words; `how` None: no guess."""

    how: How | None
    measured: Measured | None = None
    words: str = ""


def guess(payload: bytes, topic: str, now: datetime, role: str | None = None) -> Guess:
    """The likeliest way to read a message of that topic ("" for none), at a place of that role."""
    how = _guessed(payload, topic, role)
    if how is None:
        return Guess(None, None, say("This does not look like a temperature or a humidity."))
    found = read_payload(payload, how, now)
    if not found.readings:
        why = say(found.refused[0]) if found.refused else ""
        return Guess(how, None, why)
    return Guess(how, found.readings[-1], _words(how, found.readings[-1]))


def _words(how: How, found: Measured) -> str:
    unit = {"Cel": "°C", "degF": "°F", "K": "K"}[how.temperature_unit]
    said = []
    if found.temperature_c is not None:
        said.append(
            say(
                "This looks like a temperature in {unit}: {celsius:.1f} °C.",
                unit=unit if how.form != "senml" else "°C",
                celsius=found.temperature_c,
            )
        )
    if found.humidity_pct is not None:
        said.append(say("This looks like a humidity: {percent:.0f} %.", percent=found.humidity_pct))
    said.append(
        say("It says when it was measured.")
        if found.own_time
        else say("It does not say when it was measured: it counts as of when it comes.")
    )
    return " ".join(said)


def _guessed(payload: bytes, topic: str, role: str | None) -> How | None:
    last = topic.rsplit("/", 1)[-1]
    try:
        document = msgspec.json.decode(payload)
    except (msgspec.DecodeError, RecursionError, ValueError, OverflowError):
        return _of_number(payload.decode(errors="replace"), last, role)
    if is_senml(document):
        return How("senml")
    if isinstance(document, int | float | str):
        return _of_number(str(document), last, role)
    return _of_leaves(list(_leaves(document)), role)


def _of_number(text: str, name: str, role: str | None) -> How | None:
    number = _as_number(text)
    if number is None:
        return None
    if _DAMP.search(name):
        return How("number", shows="humidity", humidity_unit=_damp_unit(number))
    return How("number", temperature_unit=_warm_unit(number, name, role))


def _of_leaves(leaves: list[tuple[str, str, Any]], role: str | None) -> How | None:
    """From the values in JSON: pointer, name and value of each."""
    warm = damp = when = None
    unit: TemperatureUnit = "Cel"
    damp_value = 0.0
    for pointer, name, value in leaves:
        number = _as_number(str(value)) if not isinstance(value, bool) else None
        if when is None and _WHEN.search(name) and isinstance(value, int | float | str):
            when = pointer
        elif warm is None and number is not None and _WARM.search(name):
            warm, unit = pointer, _warm_unit(number, name, role)
        elif damp is None and number is not None and _DAMP.search(name):
            damp, damp_value = pointer, number
    if warm is None and damp is None:
        return None
    return How(
        "json", temperature=warm, humidity=damp, time=when, temperature_unit=unit,
        humidity_unit=_damp_unit(damp_value),
    )  # fmt: skip


def _leaves(document: Any, pointer: str = "", name: str = "", depth: int = 0) -> Iterator[Any]:
    if depth > _DEEPEST or len(pointer) > LONGEST_POINTER:
        return
    if isinstance(document, dict):
        for key, value in list(document.items())[:_MOST_LEAVES]:
            part = key.replace("~", "~0").replace("/", "~1")
            yield from _leaves(value, f"{pointer}/{part}", key, depth + 1)
    elif isinstance(document, list):
        for number, value in enumerate(document[:_MOST_LEAVES]):
            yield from _leaves(value, f"{pointer}/{number}", name, depth + 1)
    else:
        yield pointer, name, document


def _as_number(text: str) -> float | None:
    try:
        number = float(text.strip().replace(",", "."))
    except ValueError:
        return None
    return number if abs(number) < 1e6 else None


def _warm_unit(number: float, name: str, role: str | None) -> TemperatureUnit:
    """The unit in which a figure is a temperature of such a place."""
    if _FAHRENHEIT.search(name):
        return "degF"
    low, high = facts.spread(_UNIT_BY_ROLE.get(role or "", "sensors.unit_pen"))
    if low <= number <= high:
        return "Cel"
    if low <= (number - 32) / 1.8 <= high:
        return "degF"
    return "K" if low <= number - 273.15 <= high else "Cel"


def _damp_unit(number: float) -> Any:
    return "/" if 0 < number <= facts.value("sensors.humidity_as_share") else "%RH"

"""The settings of sensors, said: which devices and topics there are, and whether they work now."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from quailwright.exchange.mqtt import Heard, ListenerShown
from quailwright.exchange.now_shown import ago
from quailwright.exchange.sensor_guess import Guess, guess
from quailwright.exchange.sensor_payload import (
    LONGEST_POINTER,
    USUAL,
    How,
    Measured,
    Payload,
    read_payload,
)
from quailwright.exchange.sensor_sent import Sent
from quailwright.exchange.sensor_settings import Keyed, Listening, Mapped
from quailwright.flock.state import Flock
from quailwright.guide import wording
from quailwright.husbandry import facts
from quailwright.journal.entries import Units
from quailwright.journal.findings import BadInput
from quailwright.journal.moments import utc_text
from quailwright.journal.readings import Latest
from quailwright.language import mark, say, say_many

FORMS: Mapping[str, str] = {
    "json": mark("JSON"),
    "number": mark("a number and nothing else"),
    "senml": mark("SenML (RFC 8428)"),
}
QUANTITIES: Mapping[str, str] = {
    "temperature": mark("a temperature"),
    "humidity": mark("a humidity"),
}
TEMPERATURE_UNITS: Mapping[str, str] = {"Cel": "°C", "degF": "°F", "K": "K"}
HUMIDITY_UNITS: Mapping[str, str] = {"%RH": mark("% (0 to 100)"), "/": mark("a share (0 to 1)")}
_SAMPLE = 160
_SILENT = timedelta(minutes=facts.value("notices.silent_min"))


@dataclass(frozen=True, slots=True)
class Row:
    """A device or topic: its number and name, of what it tells, how it is read, how it stands."""

    id: int
    name: str
    whose: str
    how: str
    state: str
    works: bool


@dataclass(frozen=True, slots=True)
class Unknown:
    """A topic that nobody takes: its last message, when, and how it may be read."""

    topic: str
    sample: str
    state: str
    guess: Guess


@dataclass(frozen=True, slots=True)
class SensorsPage:
    """All that the page of sensors says. `broker` is the address, "" for none."""

    summary: str
    devices: tuple[Row, ...]
    broker: str
    user: str
    has_password: bool
    broker_state: str
    broker_works: bool
    topics: tuple[Row, ...]
    exploring: bool
    unknown: tuple[Unknown, ...]
    refused: tuple[str, ...]


def sensors_page(
    devices: Sequence[Keyed],
    listening: Listening,
    shown: ListenerShown | None,
    sent: Mapping[int, Sent],
    latest: Sequence[Latest],
    flock: Flock,
    units: Units,
    now: datetime,
) -> SensorsPage:
    """How it stands with the sensors at `now`; `shown` None: another process listens, or none."""
    told = shown or ListenerShown()
    by_sensor = {(each.place, each.instrument): each for each in latest}
    keyed = tuple(_device(each, sent.get(each.id), by_sensor, units, now) for each in devices)
    topics = tuple(_topic(each, told, by_sensor, units, now) for each in listening.topics)
    broker = listening.broker
    state, works = _broker_state(listening, shown, now)
    summary = (
        say("Nothing sends readings yet. Give a device a key, or listen to a broker.")
        if not keyed and not topics
        else say("Last reading {ago}.", ago=ago(now - max(each.at for each in latest)))
        if latest
        else say("No reading has come yet.")
    )
    return SensorsPage(
        summary,
        keyed,
        "" if broker is None else broker.address,
        "" if broker is None else broker.user,
        broker is not None and bool(broker.password),
        state,
        works,
        topics,
        bool(listening.explore_until) and utc_text(now) < listening.explore_until,
        tuple(_unknown(topic, heard, now) for topic, heard in reversed(list(told.unknown.items()))),
        tuple(
            say(
                "{topic}, {ago}: {why}",
                topic=each.topic,
                ago=ago(now - each.at),
                why=say(each.sentence),
            )
            for each in told.refused
        ),
    )


def _whose(place: str, instrument: str) -> str:
    return f"{place}, {instrument}" if instrument else place


def _device(
    device: Keyed,
    sent: Sent | None,
    latest: Mapping[tuple[str, str], Latest],
    units: Units,
    now: datetime,
) -> Row:
    last = latest.get((device.place, device.instrument))
    if last is not None and utc_text(last.at) < device.made:
        last = None  # It came before the device had its key: from another, or from a file.
    works = _is_fresh(last, now)
    if sent is not None:
        state = say("Sent {ago}: {what}", ago=ago(now - sent.at), what=_came_to(sent.found, units))
        works = bool(sent.found.readings) and now - sent.at <= _SILENT
    elif last is not None:
        state = say("Last reading {ago}.", ago=ago(now - last.at))
    else:
        state = say("Nothing yet. Send a value now: it is shown here within seconds.")
    whose = _whose(device.place, device.instrument)
    return Row(device.id, device.name, whose, how_words(device.how), state, works)


def _topic(
    topic: Mapped,
    told: ListenerShown,
    latest: Mapping[tuple[str, str], Latest],
    units: Units,
    now: datetime,
) -> Row:
    from paho.mqtt.client import topic_matches_sub

    heard = [each for name, each in told.topics.items() if topic_matches_sub(topic.filter, name)]
    newest = max(heard, key=lambda each: each.at, default=None)
    if newest is not None:
        found = read_payload(newest.payload, topic.how, newest.at)
        state = say("Heard {ago}: {what}", ago=ago(now - newest.at), what=_came_to(found, units))
        works = bool(found.readings) and now - newest.at <= _SILENT
    else:
        last = latest.get((topic.place, topic.instrument))
        works = _is_fresh(last, now)
        state = (
            say("Nothing yet. It is shown here once the device sends.")
            if last is None
            else say("Last reading {ago}.", ago=ago(now - last.at))
        )
    whose = _whose(topic.place, topic.instrument)
    if topic.instrument_level is not None:
        whose = say(
            "{place}; the instrument is part {number} of the topic",
            place=topic.place,
            number=topic.instrument_level,
        )
    return Row(topic.id, topic.filter, whose, how_words(topic.how), state, works)


def _is_fresh(last: Latest | None, now: datetime) -> bool:
    """Whether a reading came of late: what worked once may be dead since."""
    return last is not None and now - last.at <= _SILENT


def _came_to(found: Payload, units: Units) -> str:
    if found.readings:
        said = values_words(found.readings[-1], units)
        if len(found.readings) > 1:
            said = say_many(
                "{value}, and {n} before it", "{value}, and {n} before it",
                len(found.readings) - 1, value=said,
            )  # fmt: skip
        return said
    return say(found.refused[0]) if found.refused else ""


def values_words(measured: Measured, units: Units) -> str:
    """`37.5 °C, 45 %`."""
    said = []
    if measured.temperature_c is not None:
        said.append(wording.temperature(measured.temperature_c, units))
    if measured.humidity_pct is not None:
        said.append(say("{percent:.0f} %", percent=measured.humidity_pct))
    return ", ".join(said)


def _broker_state(
    listening: Listening, shown: ListenerShown | None, now: datetime
) -> tuple[str, bool]:
    if listening.broker is None:
        return say("No broker is set. None is needed for devices with a key."), True
    if shown is None:
        return (
            say("This quailwright does not listen itself: another that serves this flock does."),
            True,
        )
    if shown.trouble:
        return say(shown.trouble), False
    if shown.connected_since is None:
        return say("It begins to listen within seconds."), True
    said = [
        say("Connected {ago} by {protocol}.", ago=ago(now - shown.connected_since),
            protocol=shown.protocol)
    ]  # fmt: skip
    if shown.messages:
        said.append(
            say(
                "Since then messages: {messages:,}, readings kept: {kept:,}.",
                messages=shown.messages,
                kept=shown.kept,
            )
        )
    if shown.already:
        said.append(say("There already: {n:,}.", n=shown.already))
    return " ".join(said), True


def _unknown(topic: str, heard: Heard, now: datetime) -> Unknown:
    text = heard.payload.decode(errors="replace")
    plain = "".join(each if each.isprintable() else " " for each in text)
    return Unknown(
        topic,
        plain[:_SAMPLE] + ("…" if len(plain) > _SAMPLE else ""),
        ago(now - heard.at),
        guess(heard.payload, topic, now),
    )


def how_words(how: How) -> str:
    """How messages are read, in a line."""
    unit, damp_unit = (
        TEMPERATURE_UNITS[how.temperature_unit],
        say(HUMIDITY_UNITS[how.humidity_unit]),
    )
    if how.form == "number":
        if how.shows == "humidity":
            return say("a bare number: humidity, {unit}", unit=damp_unit)
        return say("a bare number: temperature in {unit}", unit=unit)
    if how.form == "senml":
        return say("SenML (RFC 8428)")
    said = []
    if how.temperature is not None:
        said.append(say("{pointer} temperature in {unit}", pointer=how.temperature, unit=unit))
    if how.humidity is not None:
        said.append(say("{pointer} humidity, {unit}", pointer=how.humidity, unit=damp_unit))
    if how.time is not None:
        said.append(say("{pointer} time", pointer=how.time))
    return "; ".join(said)


def how_of(typed: Mapping[str, str]) -> How:
    """How messages are read, as a form says it. Raises BadInput."""
    chosen = {
        "form": FORMS, "shows": QUANTITIES, "temperature_unit": TEMPERATURE_UNITS,
        "humidity_unit": HUMIDITY_UNITS,
    }  # fmt: skip
    values: dict[str, str | None] = {}
    for field, choices in chosen.items():
        value = typed.get(field) or next(iter(choices))
        if value not in choices:
            raise BadInput(say("Choose how the device writes from the list."))
        values[field] = value
    for field in ("temperature", "humidity", "time"):
        pointer = typed.get(field, "").strip()
        if len(pointer) > LONGEST_POINTER:
            raise BadInput(say("A JSON Pointer may have {most} characters.", most=LONGEST_POINTER))
        values[field] = pointer or None
    if values["form"] == "number":
        values |= {"temperature": None, "humidity": None, "time": None}
    return How(**values)  # type: ignore[arg-type]


def request_text(host: str, key: str, how: How) -> str:
    """What a device sends over plain HTTP, whole: lines end in CR LF on the wire."""
    body, kind = _example(how)
    lines = (
        "POST /api/readings/sent HTTP/1.1",
        f"Host: {host}",
        f"Authorization: Bearer {key}",
        f"Content-Type: {kind}",
        f"Content-Length: {len(body)}",
        "Connection: close",
        "",
        body,
    )
    return "\n".join(lines)


def _example(how: How) -> tuple[str, str]:
    if how.form == "number":
        return ("45" if how.shows == "humidity" else "37.6"), "text/plain"
    if how.form == "senml":
        return '[{"n":"t","u":"Cel","v":37.6},{"n":"h","u":"%RH","v":45}]', "application/senml+json"
    if how == USUAL:
        return '{"temperature":37.6,"humidity":45}', "application/json"
    document: dict[str, object] = {}
    for pointer, value in ((how.temperature, 37.6), (how.humidity, 45)):
        parts = [] if pointer is None else pointer.split("/")[1:]
        at = document
        for part in parts[:-1]:
            inner = at.setdefault(part, {})
            at = inner if isinstance(inner, dict) else {}
        if parts:
            at[parts[-1]] = value
    import json

    return json.dumps(document, separators=(",", ":")), "application/json"

"""Which devices and topics give readings of which place, as a keeper sets it; who holds a key."""

import hashlib
import re
from base64 import urlsafe_b64encode
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import NamedTuple

import msgspec

from quailwright.exchange.sensor_payload import USUAL, How, pointer_problem
from quailwright.journal import devices, options
from quailwright.journal.entries import NAME
from quailwright.journal.findings import BadInput
from quailwright.journal.moments import utc_text
from quailwright.journal.store import Store
from quailwright.language import say

KEY_BYTES = 32
LONGEST_NAME, LONGEST_FILTER, LONGEST_ADDRESS = 80, 200, 200
EXPLORES_FOR = timedelta(minutes=10)
_BROKER, _EXPLORE = "sensors.broker", "sensors.explore_until"
_ADDRESS = re.compile(
    r"(?:(?P<scheme>mqtts?)://)?(?P<host>[A-Za-z0-9._-]+|\[[0-9A-Fa-f:]+\])(?::(?P<port>\d{1,5}))?/?"
)
_PORTS = {"mqtt": 1883, "mqtts": 8883}
_LARGEST_PORT = 65_535
_MOST_LEVELS = 30


class Broker(msgspec.Struct, frozen=True):
    """An MQTT broker: where it is, whether by TLS, and as whom quailwright comes to it."""

    host: str
    port: int
    tls: bool = False
    user: str = ""
    password: str = ""

    @property
    def address(self) -> str:
        """As it is typed and shown: no secret in it."""
        return f"{'mqtts' if self.tls else 'mqtt'}://{self.host}:{self.port}"


class _OfTopic(msgspec.Struct, frozen=True):
    """What is kept of how a topic is read."""

    how: How
    instrument_level: int | None = None


class Keyed(NamedTuple):
    """A device with a key, how what it sends is read, and since when (UTC) it has the key."""

    id: int
    name: str
    place: str
    instrument: str
    how: How
    made: str


class Mapped(NamedTuple):
    """Topics of a filter, and how what comes on them is read.

    `instrument_level`: the level of the topic, counted from 1, that names the instrument; None: it
    is `instrument`.
    """

    id: int
    filter: str
    place: str
    instrument: str
    how: How
    instrument_level: int | None = None

    def instrument_of(self, topic: str) -> str:
        """The instrument that a message of that topic comes from."""
        if self.instrument_level is None:
            return self.instrument
        levels = topic.split("/")
        name = levels[self.instrument_level - 1] if self.instrument_level <= len(levels) else ""
        name = name.strip()[:LONGEST_NAME].strip()
        return name if _fits(name) else self.instrument


class Listening(NamedTuple):
    """All that a listener goes by."""

    broker: Broker | None
    topics: tuple[Mapped, ...]
    explore_until: str


@dataclass(frozen=True, slots=True)
class Sensors:
    """The devices, the broker and the topics of one flock file. All may raise FlockUnusable."""

    store: Store

    def devices(self) -> list[Keyed]:
        """Devices with a key, in the order in which they came."""
        with self.store.household() as connection:
            return [_keyed(each) for each in devices.devices(connection)]

    def holder(self, key: str) -> Keyed | None:
        """The device that holds a key; None where none does."""
        with self.store.household() as connection:
            found = devices.device_of(connection, _hash_of(key))
        return None if found is None else _keyed(found)

    def add_device(
        self, name: str, place: str, instrument: str, how: How, now: datetime, noise: bytes
    ) -> str:
        """Takes in a device and gives its key, made from `noise`: it is kept nowhere.

        Raises BadInput.
        """
        _check_name(name)
        _check_place(place)
        _check_instrument(instrument)
        _check_how(how)
        key = urlsafe_b64encode(noise).decode().rstrip("=")
        with self.store.household(writes=True) as connection:
            if any(one.name.casefold() == name.casefold() for one in devices.devices(connection)):
                raise BadInput(say("There is a {name} already. Give another name.", name=name))
            settings = msgspec.json.encode(how).decode()
            devices.add_device(connection, name, _hash_of(key), place, instrument, settings, now)
        return key

    def remove_device(self, device: int) -> None:
        """Takes a device off: its key opens nothing from now on."""
        with self.store.household(writes=True) as connection:
            devices.remove_device(connection, device)

    def listening(self) -> Listening:
        """What there is to listen to."""
        with self.store.household() as connection:
            kept = options.get(connection, _BROKER)
            explore = options.get(connection, _EXPLORE)
            topics = tuple(_mapped(each) for each in devices.topics(connection))
        broker = None if kept is None else msgspec.json.decode(kept, type=Broker)
        until = "" if explore is None else msgspec.json.decode(explore, type=str)
        return Listening(broker, topics, until)

    def set_broker(self, address: str, user: str, password: str, keep: bool) -> None:
        """Goes to the broker at that address, "" to none; `keep`: by the password kept so far.

        A password is kept for the broker and the user that it was typed for: told to another
        address, it would be told to whoever listens there. Raises BadInput.
        """
        broker = parsed_address(address) if address else None
        with self.store.household(writes=True) as connection:
            before = options.get(connection, _BROKER)
            if broker is None:
                options.put(connection, _BROKER, None)
                return
            if keep and before is not None and user:
                known = msgspec.json.decode(before, type=Broker)
                same = msgspec.structs.replace(known, password="")
                if known.password and same != msgspec.structs.replace(broker, user=user):
                    raise BadInput(
                        say(
                            "Type the password again: it was given for {user} at {address}, and "
                            "is told to nobody else.",
                            user=known.user,
                            address=known.address,
                        )
                    )
                password = known.password
            if max(len(user), len(password)) > LONGEST_ADDRESS:
                raise BadInput(
                    say("User and password may have {most} characters.", most=LONGEST_ADDRESS)
                )
            told = msgspec.structs.replace(broker, user=user, password=password)
            options.put(connection, _BROKER, msgspec.json.encode(told).decode())

    def add_topic(
        self,
        topic_filter: str,
        place: str,
        instrument: str,
        how: How,
        instrument_level: int | None,
        now: datetime,
    ) -> None:
        """Takes what comes on topics of that filter as readings of a place. Raises BadInput."""
        _check_filter(topic_filter)
        _check_place(place)
        _check_instrument(instrument)
        _check_how(how)
        levels = len(topic_filter.split("/"))
        if instrument_level is not None and not 1 <= instrument_level <= _MOST_LEVELS:
            raise BadInput(
                say("The instrument's name is one of the {levels} parts between / in the topic.",
                    levels=levels)
            )  # fmt: skip
        of = _OfTopic(how, instrument_level)
        with self.store.household(writes=True) as connection:
            for other in devices.topics(connection):
                if other.filter != topic_filter and overlap(other.filter, topic_filter):
                    raise BadInput(
                        say(
                            "{topic} and {other} would both take the same messages. Take {other} "
                            "off first, or name the topic more closely.",
                            topic=topic_filter,
                            other=other.filter,
                        )
                    )
                known = _mapped(other)
                if (known.filter, known.place, known.instrument, known.how) == (
                    topic_filter, place, instrument, how,
                ):  # fmt: skip
                    raise BadInput(say("That is listened to already."))
            settings = msgspec.json.encode(of).decode()
            devices.add_topic(connection, topic_filter, place, instrument, settings, now)

    def remove_topic(self, topic: int) -> None:
        """Listens to it no more; its readings stay."""
        with self.store.household(writes=True) as connection:
            devices.remove_topic(connection, topic)

    def explore(self, now: datetime) -> None:
        """Listens for some minutes to all that the broker tells, to find topics."""
        with self.store.household(writes=True) as connection:
            until = msgspec.json.encode(utc_text(now + EXPLORES_FOR)).decode()
            options.put(connection, _EXPLORE, until)


def subscribed(store: Store) -> tuple[str, ...]:
    """The filters that the session with the broker knows of, as far as was noted."""
    with store.household() as connection:
        kept = options.get(connection, _SUBSCRIBED)
    return () if kept is None else msgspec.json.decode(kept, type=tuple[str, ...])


def note_subscribed(store: Store, filters: Sequence[str]) -> None:
    """Notes which filters the session with the broker knows of."""
    with store.household(writes=True) as connection:
        options.put(connection, _SUBSCRIBED, msgspec.json.encode(list(filters)).decode())


_SUBSCRIBED = "sensors.subscribed"


def _hash_of(key: str) -> str:
    """A key has as many random bits as its hash: no slow hash is needed."""
    return hashlib.sha256(key.encode()).hexdigest()


def _keyed(device: devices.Device) -> Keyed:
    how = _how_or_usual(device.settings)
    return Keyed(device.id, device.name, device.place, device.instrument, how, device.made)


def _how_or_usual(settings: str) -> How:
    return msgspec.json.decode(settings, type=How) if settings else USUAL


def _mapped(topic: devices.Topic) -> Mapped:
    of = msgspec.json.decode(topic.settings, type=_OfTopic)
    return Mapped(
        topic.id, topic.filter, topic.place, topic.instrument, of.how, of.instrument_level
    )


# What may be set.


def parsed_address(address: str) -> Broker:
    """The broker at `mqtt://192.0.2.7:1883`, `mqtts://home` or `home`. Raises BadInput."""
    found = _ADDRESS.fullmatch(address.strip()) if len(address) <= LONGEST_ADDRESS else None
    if found is None or not _is_a_name(found["host"]):
        raise BadInput(
            say("{address} is no address of a broker. Write it like mqtt://192.0.2.7:1883.",
                address=address.strip()[:LONGEST_ADDRESS])
        )  # fmt: skip
    scheme = found["scheme"] or "mqtt"
    port = int(found["port"] or _PORTS[scheme])
    if not 1 <= port <= _LARGEST_PORT:
        raise BadInput(say("A port is a number from 1 to {most}.", most=str(_LARGEST_PORT)))
    return Broker(found["host"].strip("[]"), port, scheme == "mqtts")


def _is_a_name(host: str) -> bool:
    """Whether it can be looked up at all: `home..lan` would be no name, but a fault."""
    try:
        host.encode("idna")
    except UnicodeError:
        return False
    return True


def _fits(name: str) -> bool:
    return 1 <= len(name) <= LONGEST_NAME and re.match(NAME, name) is not None


def _check_name(name: str) -> None:
    if not _fits(name):
        raise BadInput(say("The device needs a name of 1 to {most} characters.", most=LONGEST_NAME))


def _check_place(place: str) -> None:
    if not _fits(place):
        raise BadInput(say("A place has a name of 1 to {most} characters.", most=LONGEST_NAME))


def _check_instrument(instrument: str) -> None:
    if instrument and not _fits(instrument):
        raise BadInput(
            say("An instrument has a name of 1 to {most} characters.", most=LONGEST_NAME)
        )


def _check_how(how: How) -> None:
    if how.form == "json":
        if how.temperature is None and how.humidity is None:
            raise BadInput(
                say("Say where in the message the temperature stands, or the humidity, or both.")
            )
        for pointer in (how.temperature, how.humidity, how.time):
            problem = pointer_problem(pointer) if pointer is not None else ""
            if problem:
                raise BadInput(problem)


def _check_filter(topic_filter: str) -> None:
    """Raises BadInput where it is no topic filter (MQTT 5.0, section 4.7.1)."""
    levels = topic_filter.split("/")
    wild = any(
        ("#" in level and (level != "#" or number < len(levels))) or ("+" in level and level != "+")
        for number, level in enumerate(levels, 1)
    )
    if wild:
        raise BadInput(
            say("In {topic}, + stands for one whole part between /, and # for all that follow, at "
                "the end.", topic=topic_filter[:LONGEST_FILTER])
        )  # fmt: skip
    if (
        not 1 <= len(topic_filter) <= LONGEST_FILTER
        or len(levels) > _MOST_LEVELS
        or not topic_filter.isprintable()
    ):
        raise BadInput(
            say("A topic has 1 to {most} characters, such as shed/incubator.", most=LONGEST_FILTER)
        )
    if topic_filter == "#" or topic_filter.startswith("$share/"):
        raise BadInput(say("That is too wide: name the topic more closely."))


def overlap(one: str, other: str) -> bool:
    """Whether some topic fits both filters."""
    return _overlap(one.split("/"), other.split("/"))


def _overlap(one: list[str], other: list[str]) -> bool:
    # `a/#` fits `a` too: # stands for no level as well.
    if one[:1] == ["#"] or other[:1] == ["#"]:
        return True
    if not one or not other:
        return one == other
    first, second = one[0], other[0]
    return (first == second or "+" in (first, second)) and _overlap(one[1:], other[1:])

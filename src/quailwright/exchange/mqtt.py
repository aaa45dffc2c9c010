"""Listens to an MQTT broker (OASIS MQTT 5.0, else 3.1.1) and keeps what its sensors tell.

The session is persistent and every message is acknowledged only once its reading is on the disk:
what is sent while quailwright is down, killed or out of room comes again. Messages that come close
together are kept in one transaction.
"""

import hashlib
import logging
import queue
import threading
import time
from abc import ABC, abstractmethod
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any, NamedTuple

from quailwright.exchange.desk import Desk
from quailwright.exchange.sensor_keep import Arrived, Instants, keep
from quailwright.exchange.sensor_payload import LONGEST_PAYLOAD, read_payload
from quailwright.exchange.sensor_settings import (
    Broker,
    Listening,
    Mapped,
    Sensors,
    note_subscribed,
    subscribed,
)
from quailwright.journal.devices import Taken
from quailwright.journal.findings import FlockUnusable, QuailwrightError
from quailwright.journal.moments import utc_text
from quailwright.journal.readings import Kept
from quailwright.language import later

if TYPE_CHECKING:
    from paho.mqtt.client import Client

SESSION_KEPT_FOR = timedelta(days=7)
"""How long the broker is asked to keep what comes while nobody listens."""
GATHERED_FOR_S = 0.25
"""How long after a message others are waited for, to be kept in one transaction with it."""
_ENOUGH = 20
"""So many are not waited for: many a broker sends no more before some are acknowledged."""
_MOST_AT_ONCE = 500
_MOST_WAITING = 20_000
"""Messages not asked to be acknowledged (QoS 0) are dropped beyond this."""
_KEEPALIVE_S = 30
_RETRIED_AFTER_S = (1.0, 30.0)
_ENDS_WITHIN_S = 5.0
"""So long the end waits for a thread: one may hang in asking for a name, or for a file in use."""
_MOST_TOPICS, _MOST_REFUSED = 100, 8
_LONGEST_SAMPLE = 2_000
_MOST_INSTRUMENTS = 100
"""By one topic whose parts name them, while it is listened to: each is looked at again and again,
and a device that writes another name each time would fill the file with them."""
_UNSUPPORTED_VERSION, _NOT_AUTHORISED, _TAKEN_OVER = 132, (134, 135), 142
"""Reason codes of MQTT 5.0, section 2.4."""
_REFUSED_CODES_FROM = 128
_FALLS_BACK_AFTER = 3
"""Connections that a broker cut before it answered: one that knows no MQTT 5 may do so."""
_log = logging.getLogger("uvicorn.error")


class Refused(NamedTuple):
    """A message that gave no reading: when, on which topic, and why (kept to be said later)."""

    at: datetime
    topic: str
    sentence: str


class Heard(NamedTuple):
    """The last message of a topic: when, how it began, how many came so far."""

    at: datetime
    payload: bytes
    messages: int


@dataclass(frozen=True, slots=True)
class ListenerShown:
    """How it stands with the listener, for the pages.

    Attributes:
        connected_since: None while it is not connected; then `trouble` says why.
        protocol: "MQTT 5" or "MQTT 3.1.1".
        trouble: what is wrong, in a sentence kept to be said later; "" for nothing.
        topics: the last message of each topic that is taken; `unknown`: of those that are not.
        refused: the last that gave no reading, newest first.
        messages, kept, already: since it began to listen.
        waiting: messages that are not on the disk yet.
    """

    connected_since: datetime | None = None
    protocol: str = ""
    trouble: str = ""
    topics: dict[str, Heard] = field(default_factory=dict)
    unknown: dict[str, Heard] = field(default_factory=dict)
    refused: tuple[Refused, ...] = ()
    messages: int = 0
    kept: int = 0
    already: int = 0
    waiting: int = 0


class _Message(NamedTuple):
    topic: str
    payload: bytes
    qos: int
    packet: int
    again: bool
    retained: bool
    at: datetime
    connection: int


def _present() -> datetime:
    return datetime.now(UTC)


class Listener:
    """Listens as the settings say. `tick` is called every few seconds, `end` once at the end."""

    def __init__(self, clock: Callable[[], datetime] = _present) -> None:
        self._clock = clock
        self._session: _Session | None = None
        self._explorer: _Explorer | None = None
        self._old_protocol: set[tuple[str, int]] = set()

    def tick(self, desk: Desk, now: datetime) -> str:
        """Goes by the settings as they are now, and says how it stands. Raises FlockUnusable."""
        wanted = Sensors(desk.store).listening()
        mark = desk.mark()
        broker = wanted.broker if mark else None
        session = self._session
        if session is not None and session.falls_back:
            self._old_protocol.add((session.broker.host, session.broker.port))
        if broker is None or not wanted.topics:
            self._end_session()
        elif (
            session is None
            or session.falls_back
            or session.broken
            or not session.fits(broker, wanted.topics)
        ):
            self._end_session()
            old = (broker.host, broker.port) in self._old_protocol
            session = _Session(desk, broker, wanted.topics, _client_id(mark), old, self._clock)
            self._session = session
            session.begin()
        self._explore(wanted, broker, mark, now)
        return self._sentence(broker, wanted)

    def _sentence(self, broker: Broker | None, wanted: Listening) -> str:
        if broker is None:
            return ""
        shown = self.shown()
        if shown.trouble:
            return shown.trouble
        if not wanted.topics:
            return later("Nothing is taken from the broker yet: no topic is mapped.")
        return later("Listens to {broker}.", broker=broker.address)

    def _explore(self, wanted: Listening, broker: Broker | None, mark: str, now: datetime) -> None:
        asked = bool(wanted.explore_until) and utc_text(now) < wanted.explore_until
        exploring = broker is not None and (asked or not wanted.topics)
        explorer = self._explorer
        if explorer is not None and not (
            exploring and explorer.broker == broker and not explorer.broken
        ):
            explorer.end()
            self._explorer = explorer = None
        if exploring and explorer is None and broker is not None:
            old = (broker.host, broker.port) in self._old_protocol
            self._explorer = explorer = _Explorer(broker, _client_id(mark), old, self._clock)
            explorer.begin()
        if explorer is not None and explorer.falls_back and broker is not None:
            self._old_protocol.add((broker.host, broker.port))
            explorer.end()
            self._explorer = None

    def shown(self) -> ListenerShown:
        """How it stands."""
        session, explorer = self._session, self._explorer
        shown = session.shown() if session is not None else ListenerShown()
        if explorer is not None:
            told = explorer.shown()
            unknown = {
                topic: heard
                for topic, heard in told.unknown.items()
                if session is None or not session.takes(topic)
            }
            if session is None:
                return told
            return replace(shown, unknown=unknown)
        return shown

    def end(self) -> None:
        """Lets go of the broker; the session there stays."""
        self._end_session()
        if self._explorer is not None:
            self._explorer.end()
            self._explorer = None

    def _end_session(self) -> None:
        if self._session is not None:
            self._session.end()
            self._session = None


def _client_id(mark: str) -> str:
    """The same whenever this flock is served. Every broker takes 23 letters and digits."""
    return f"quail{mark.replace('-', '')[-16:]}"


class _Connection(ABC):
    """A client that connects, again and again, and notes how it stands."""

    def __init__(
        self, broker: Broker, client_id: str, old: bool, clock: Callable[[], datetime]
    ) -> None:
        self.broker = broker
        self.falls_back = False
        self._old = old
        self._clock = clock
        self._client_id = client_id
        self._lock = threading.Lock()
        self._since: datetime | None = None
        self._trouble: str = ""
        self._connections = 0
        self._answered = self._turned_away = False
        self._cut = 0
        self._client: Client | None = None
        self._begun = False

    def _connect(self, lasts: bool) -> None:
        """Begins to connect, in a thread of the client's own; `lasts`: with a lasting session."""
        from paho.mqtt.client import Client
        from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
        from paho.mqtt.packettypes import PacketTypes
        from paho.mqtt.properties import Properties

        five = not self._old
        client = Client(
            CallbackAPIVersion.VERSION2,
            client_id=self._client_id,
            clean_session=None if five else not lasts,
            protocol=MQTTProtocolVersion.MQTTv5 if five else MQTTProtocolVersion.MQTTv311,
            manual_ack=lasts,
        )
        if self.broker.user:
            client.username_pw_set(self.broker.user, self.broker.password or None)
        client.on_connect = self._on_connect
        client.on_connect_fail = self._on_connect_fail
        client.on_disconnect = self._on_disconnect
        client.on_message = self._on_message
        client.on_subscribe = self._on_subscribe
        client.reconnect_delay_set(*(int(each) for each in _RETRIED_AFTER_S))
        self._client = client
        self._trouble = later("Not connected yet to {broker}.", broker=self.broker.address)
        try:
            if self.broker.tls:
                client.tls_set()
            if five:
                properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
                properties.ReceiveMaximum = _MOST_AT_ONCE
                properties.MaximumPacketSize = 4 * LONGEST_PAYLOAD
                if lasts:
                    properties.SessionExpiryInterval = int(SESSION_KEPT_FOR.total_seconds())
                client.connect_async(
                    self.broker.host, self.broker.port, _KEEPALIVE_S, clean_start=not lasts,
                    properties=properties,
                )  # fmt: skip
            else:
                client.connect_async(self.broker.host, self.broker.port, _KEEPALIVE_S)
        except (OSError, ValueError) as error:
            self._trouble = later(
                "{broker} cannot be reached ({why}).", broker=self.broker.address, why=str(error)
            )
            return
        client.loop_start()
        self._begun = True

    @property
    def broken(self) -> bool:
        """Whether the thread of the client ended by itself, by a fault: nothing would come any
        more, and nobody say so."""
        thread = getattr(self._client, "_thread", threading.main_thread())
        return self._begun and (thread is None or not thread.is_alive())

    def end(self) -> None:
        """Says goodbye; a lasting session stays at the broker."""
        self._begun = False
        client = self._client
        if client is not None:
            client.disconnect()
            stopping = threading.Thread(target=client.loop_stop, daemon=True)
            stopping.start()
            stopping.join(_ENDS_WITHIN_S)

    def _on_connect(self, client: "Client", _: Any, flags: Any, code: Any, __: Any) -> None:
        with self._lock:
            if code.is_failure:
                self._since, self._turned_away = None, True
                if code.value == _UNSUPPORTED_VERSION and not self._old:
                    self.falls_back = True
                self._trouble = (
                    later("{broker} does not let quailwright in: user or password is wrong.",
                          broker=self.broker.address)
                    if code.value in _NOT_AUTHORISED
                    else later("{broker} does not let quailwright in ({why}).",
                               broker=self.broker.address, why=str(code))
                )  # fmt: skip
                return
            self._answered, self._cut = True, 0
            self._connections += 1
        self._subscribe(client)

    @abstractmethod
    def _subscribe(self, client: "Client") -> None: ...

    def _on_connect_fail(self, *_: Any) -> None:
        with self._lock:
            self._since = None
            self._trouble = later(
                "{broker} does not answer. Is the broker running, and the address right?",
                broker=self.broker.address,
            )

    def _on_disconnect(self, _: Any, __: Any, ___: Any, code: Any, ____: Any) -> None:
        with self._lock:
            answered, self._answered, self._since = self._answered, False, None
            if self._turned_away:
                # It said why, which stays said.
                self._turned_away = False
            elif not answered:
                self._cut += 1
                self.falls_back = self.falls_back or (
                    not self._old and self._cut >= _FALLS_BACK_AFTER
                )
            elif code.value == _TAKEN_OVER:
                self._trouble = later(
                    "Another quailwright with a copy of this flock file listens to the same "
                    "broker. Stop one of them."
                )
            else:
                self._trouble = later(
                    "The connection to {broker} was lost; it is tried again.",
                    broker=self.broker.address,
                )

    def _on_subscribe(self, _: Any, __: Any, ___: Any, codes: Sequence[Any], ____: Any) -> None:
        refused = any(code.value >= _REFUSED_CODES_FROM for code in codes)
        with self._lock:
            self._since = self._clock()
            self._trouble = (
                later("The broker does not let this user read one of the topics. Give it leave to.")
                if refused
                else ""
            )

    @abstractmethod
    def _on_message(self, client: Any, _: Any, message: Any) -> None: ...


class _Explorer(_Connection):
    """Hears all that a broker tells, for a while, to find topics: nothing of it is kept."""

    def __init__(
        self, broker: Broker, client_id: str, old: bool, clock: Callable[[], datetime]
    ) -> None:
        super().__init__(broker, f"{client_id}x", old, clock)
        self._unknown: dict[str, Heard] = {}

    def begin(self) -> None:
        """Begins to listen."""
        self._connect(lasts=False)

    def _subscribe(self, client: "Client") -> None:
        client.subscribe("#", 0)

    def _on_message(self, client: Any, _: Any, message: Any) -> None:
        try:
            topic = message.topic
        except UnicodeDecodeError:
            return
        with self._lock:
            _hear(self._unknown, topic, bytes(message.payload), self._clock())

    def shown(self) -> ListenerShown:
        """How it stands."""
        with self._lock:
            return ListenerShown(
                self._since, "MQTT 3.1.1" if self._old else "MQTT 5", self._trouble,
                unknown=dict(self._unknown),
            )  # fmt: skip


def _hear(heard: dict[str, Heard], topic: str, payload: bytes, at: datetime) -> None:
    """Notes a message, the last heard last; of too many topics the longest silent is dropped."""
    before = heard.pop(topic, None)
    heard[topic] = Heard(
        at, payload[:_LONGEST_SAMPLE], 1 if before is None else before.messages + 1
    )
    if len(heard) > _MOST_TOPICS:
        del heard[next(iter(heard))]


class _Session(_Connection):
    """A lasting session with a broker, and the thread that keeps what comes."""

    def __init__(
        self,
        desk: Desk,
        broker: Broker,
        topics: tuple[Mapped, ...],
        client_id: str,
        old: bool,
        clock: Callable[[], datetime],
    ) -> None:
        super().__init__(broker, client_id, old, clock)
        self._desk = desk
        self._topics = topics
        self._filters = tuple(dict.fromkeys(each.filter for each in topics))
        self._waiting: queue.Queue[_Message] = queue.Queue()
        self._over = threading.Event()
        self._worker = threading.Thread(target=self._work, daemon=True)
        self._instants = Instants()
        self._named: dict[int, set[str]] = {}
        self._heard: dict[str, Heard] = {}
        self._refused: deque[Refused] = deque(maxlen=_MOST_REFUSED)
        self._messages = self._kept = self._already = self._in_hand = 0
        self._unkept: str = ""

    def fits(self, broker: Broker, topics: tuple[Mapped, ...]) -> bool:
        """Whether it goes by these settings."""
        return broker == self.broker and topics == self._topics

    def takes(self, topic: str) -> bool:
        """Whether it takes messages of that topic."""
        from paho.mqtt.client import topic_matches_sub

        return any(topic_matches_sub(each, topic) for each in self._filters)

    def begin(self) -> None:
        """Begins to listen."""
        self._worker.start()
        self._connect(lasts=True)

    def end(self) -> None:
        """Ends; what is not on the disk was not acknowledged, and comes again."""
        super().end()
        self._over.set()
        self._worker.join(_ENDS_WITHIN_S)

    def shown(self) -> ListenerShown:
        """How it stands."""
        with self._lock:
            return ListenerShown(
                self._since,
                "MQTT 3.1.1" if self._old else "MQTT 5",
                self._unkept or self._trouble,
                dict(self._heard),
                {},
                tuple(reversed(self._refused)),
                self._messages,
                self._kept,
                self._already,
                self._waiting.qsize() + self._in_hand,
            )

    def _subscribe(self, client: "Client") -> None:
        try:
            before = subscribed(self._desk.store)
            dropped = [each for each in before if each not in self._filters]
            if dropped:
                client.unsubscribe(dropped)
            client.subscribe([(each, 1) for each in self._filters])
            if set(before) != set(self._filters):
                note_subscribed(self._desk.store, self._filters)
        except Exception as error:
            # Raised in the client's thread, it would end it.
            client.subscribe([(each, 1) for each in self._filters])
            with self._lock:
                self._unkept = _in_a_sentence(error)

    def _on_message(self, client: Any, _: Any, message: Any) -> None:
        try:
            topic = message.topic
        except UnicodeDecodeError:
            client.ack(message.mid, message.qos)
            return
        if message.qos == 0 and self._waiting.qsize() > _MOST_WAITING:
            return
        self._waiting.put(
            _Message(
                topic, bytes(message.payload[: LONGEST_PAYLOAD + 1]), message.qos, message.mid,
                bool(message.dup), bool(message.retain), self._clock(), self._connections,
            )
        )  # fmt: skip

    # The thread that keeps.

    def _work(self) -> None:
        while not self._over.is_set():
            batch = self._gathered()
            if not batch:
                continue
            with self._lock:
                self._in_hand = len(batch)
            wait_s = _RETRIED_AFTER_S[0]
            while not self._take(batch):
                if self._over.wait(wait_s):
                    return
                wait_s = min(2 * wait_s, _RETRIED_AFTER_S[1])
            with self._lock:
                self._in_hand = 0

    def _gathered(self) -> list[_Message]:
        """What has come, and what comes within moments of it."""
        try:
            batch = [self._waiting.get(timeout=GATHERED_FOR_S)]
        except queue.Empty:
            return []
        until = time.monotonic() + GATHERED_FOR_S
        while len(batch) < _ENOUGH and (left_s := until - time.monotonic()) > 0:
            try:
                batch.append(self._waiting.get(timeout=left_s))
            except queue.Empty:
                break
        while len(batch) < _MOST_AT_ONCE:
            try:
                batch.append(self._waiting.get_nowait())
            except queue.Empty:
                break
        return batch

    def _take(self, batch: list[_Message]) -> bool:
        """Keeps what a batch tells and acknowledges it; False where it could not be kept."""
        told, messages, refused = [], [], []
        for message in batch:
            try:
                arrived, why = self._told(message)
            except Exception as error:
                # One message that we have a fault with must not hold up all others for good.
                _log.exception("A fault of our own in a message of %s", message.topic)
                arrived, why = [], _in_a_sentence(error)
            told.append(arrived)
            messages.append(_taken(message, arrived))
            if why:
                refused.append(Refused(message.at, message.topic, why))
        try:
            kept = keep(self._desk.store, told, messages)
        except FlockUnusable as error:
            with self._lock:
                self._unkept = error.sentence
            return False
        except Exception as error:
            _log.exception("A fault of our own in keeping %d messages", len(batch))
            if len(batch) > 1:
                # One of them must not hold up the others.
                while batch and self._take(batch[:1]):
                    del batch[0]
                return not batch
            kept = Kept()
            refused = [Refused(batch[0].at, batch[0].topic, _in_a_sentence(error))]
        with self._lock:
            self._unkept = ""
            self._refused.extend(refused)
            self._messages += len(batch)
            self._kept += kept.written
            self._already += kept.already + kept.differing
            for message in batch:
                _hear(self._heard, message.topic, message.payload, message.at)
        self._acknowledge(batch)
        return True

    def _acknowledge(self, batch: list[_Message]) -> None:
        """Of an earlier connection nothing is: its messages come again, marked so."""
        client = self._client
        for message in batch:
            if client is not None and message.qos and message.connection == self._connections:
                client.ack(message.packet, message.qos)

    def _told(self, message: _Message) -> tuple[list[Arrived], str]:
        """What a message tells of each sensor, and a sentence where it tells nothing or less."""
        from paho.mqtt.client import topic_matches_sub

        arrived, why, taken = [], "", False
        for mapped in self._topics:
            if not topic_matches_sub(mapped.filter, message.topic):
                continue
            taken = True
            found = read_payload(message.payload, mapped.how, message.at)
            readings = found.readings
            if message.retained and not all(one.own_time for one in readings):
                readings = tuple(one for one in readings if one.own_time)
                why = why or later(
                    "The broker kept it from before, and it does not say when it was measured: it "
                    "does not count."
                )
            if found.refused:
                why = why or found.refused[0]
            instrument = mapped.instrument_of(message.topic)
            if readings and not self._may_name(mapped.id, instrument):
                why = why or later(
                    "By this topic more than {most} instruments have come: the part of it that "
                    "names them seems to be another each time. Its new names do not count.",
                    most=_MOST_INSTRUMENTS,
                )
            elif readings:
                one = Arrived(mapped.place, instrument, readings)
                arrived.append(self._instants.apart(one))
        if not taken:
            # Of a filter that the session at the broker still had from before.
            return [], ""
        return arrived, why

    def _may_name(self, topic: int, instrument: str) -> bool:
        """Whether one more instrument may come by a topic that names them; those known may."""
        names = self._named.setdefault(topic, set())
        if instrument not in names and len(names) >= _MOST_INSTRUMENTS:
            return False
        names.add(instrument)
        return True


def _in_a_sentence(error: Exception) -> str:
    if isinstance(error, QuailwrightError):
        return error.sentence
    return later("A fault of quailwright's own ({fault}).", fault=type(error).__name__)


def _taken(message: _Message, arrived: list[Arrived]) -> Taken | None:
    """How the message is known again, where its readings do not say it themselves."""
    timed = all(one.own_time for each in arrived for one in each.measured)
    if timed or not message.qos:
        return None
    whole = message.topic.encode() + b"\0" + message.payload
    return Taken(message.packet, hashlib.sha256(whole).hexdigest(), message.again)

"""Listening to a broker: what is acknowledged to a sensor is kept, once, whoever is restarted.

The broker is mosquitto itself, so the protocol is held by a program of others.
"""

import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from tests.conftest import Broker
from tests.makers import made

from quailwright.exchange.desk import Desk
from quailwright.exchange.mqtt import Listener
from quailwright.exchange.sensor_keep import keep
from quailwright.exchange.sensor_payload import How
from quailwright.exchange.sensor_settings import Sensors
from quailwright.journal.findings import FlockUnusable
from quailwright.journal.readings import Kept
from quailwright.journal.store import Store, open_store

NOW = datetime(2027, 5, 3, 7, 30, tzinfo=UTC)
PATIENCE_S = 10
NUMBER = How("number")
TIMED = How("json", temperature="/t", time="/at")


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    with Desk(open_store(str(tmp_path / "flock.sqlite"), create=True)) as opened:
        with opened.store.writing() as writer:
            writer.append([made("place", "2027-01-01", place="box", role="incubator")], NOW)
        yield opened


@pytest.fixture
def sensor(broker: Broker) -> Iterator["Sensor"]:
    made_one = Sensor(broker)
    yield made_one
    made_one.client.disconnect()
    made_one.client.loop_stop()


class Sensor:
    """A device that publishes at QoS 1, and keeps and sends again what was not acknowledged."""

    def __init__(self, broker: Broker) -> None:
        self.client = Client(
            CallbackAPIVersion.VERSION2, "a-sensor", clean_session=False,
            protocol=MQTTProtocolVersion.MQTTv311,
        )  # fmt: skip
        self.client.reconnect_delay_set(0.05, 0.1)  # type: ignore[arg-type]
        self.client.connect("127.0.0.1", broker.port)
        self.client.loop_start()

    def send(self, topic: str, payload: str, retain: bool = False) -> None:
        """Sends, and waits until the broker has acknowledged it."""
        self.client.publish(topic, payload, 1, retain).wait_for_publish(PATIENCE_S)


def listen(desk: Desk, broker: Broker, how: How, topic: str = "shed/box") -> None:
    """Sets that the topic tells of the incubator."""
    sensors = Sensors(desk.store)
    sensors.set_broker(f"mqtt://127.0.0.1:{broker.port}", "", "", keep=False)
    sensors.add_topic(topic, "box", "probe", how, None, NOW)


def until(true: Callable[[], Any]) -> None:
    """Waits until something is so."""
    end = time.monotonic() + PATIENCE_S
    while not true():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.01)


def kept(desk: Desk) -> list[float]:
    """The temperatures kept, in order of time."""
    return [t for each in desk.store.readings("box") for t in each.temperature_c.tolist()]


def test_what_is_sent_is_kept_through_restarts_of_either_side(
    desk: Desk, broker: Broker, sensor: Sensor
) -> None:
    listen(desk, broker, NUMBER)
    listener = Listener()
    listener.tick(desk, NOW)
    until(lambda: listener.shown().connected_since)
    assert listener.shown().protocol == "MQTT 5"
    sensor.send("shed/box", "37.1")
    until(lambda: kept(desk) == [37.1])

    listener.end()  # quailwright is stopped; the broker keeps what comes
    sensor.send("shed/box", "37.2")
    broker.stop()  # and is restarted itself
    broker.start()
    until(sensor.client.is_connected)
    sensor.send("shed/box", "37.3")
    assert kept(desk) == [37.1]

    again = Listener()
    again.tick(desk, NOW)
    until(lambda: len(kept(desk)) == 3)
    broker.kill()  # while it is listened to
    broker.start()
    until(lambda: sensor.client.is_connected() and again.shown().connected_since)
    sensor.send("shed/box", "37.4")
    until(lambda: len(kept(desk)) == 4)
    assert kept(desk) == [37.1, 37.2, 37.3, 37.4]
    assert again.shown().refused == ()
    assert desk.store.latest_readings()[0].instrument == "probe"
    again.end()


def test_what_was_kept_but_not_acknowledged_comes_again_and_counts_once(
    desk: Desk, broker: Broker, sensor: Sensor, monkeypatch: pytest.MonkeyPatch
) -> None:
    listen(desk, broker, NUMBER)
    killed = Listener()
    with monkeypatch.context() as patched:
        # As if killed between the commit and the acknowledgement.
        patched.setattr("paho.mqtt.client.Client.ack", lambda *_: None)
        killed.tick(desk, NOW)
        until(lambda: killed.shown().connected_since)
        sensor.send("shed/box", "37.1")
        sensor.send("shed/box", "37.1")  # the same once more is another reading
        until(lambda: killed.shown().kept == 2)
        killed.end()
    again = Listener()
    again.tick(desk, NOW)
    until(lambda: again.shown().messages == 2)
    assert (again.shown().kept, again.shown().already) == (0, 2)
    sensor.send("shed/box", "37.1")
    until(lambda: again.shown().kept == 1)
    assert kept(desk) == [37.1, 37.1, 37.1]
    again.end()


def test_a_full_disk_loses_nothing(
    desk: Desk, broker: Broker, sensor: Sensor, monkeypatch: pytest.MonkeyPatch
) -> None:
    listen(desk, broker, TIMED)
    full = Listener(lambda: NOW)
    at = NOW.isoformat()
    with monkeypatch.context() as patched:

        def refuse(*_: object) -> None:
            raise FlockUnusable("The disk is full.")

        patched.setattr("quailwright.exchange.mqtt.keep", refuse)
        full.tick(desk, NOW)
        until(lambda: full.shown().connected_since)
        sensor.send("shed/box", f'{{"t": 37.1, "at": "{at}"}}')
        until(lambda: full.shown().trouble == "The disk is full.")
        assert full.shown().waiting == 1
        full.end()
    again = Listener(lambda: NOW)
    again.tick(desk, NOW)
    until(lambda: kept(desk) == [37.1])
    again.end()


def test_retained_messages_and_bad_ones_are_no_readings_of_now(
    desk: Desk, broker: Broker, sensor: Sensor
) -> None:
    sensor.send("shed/box", "36.0", retain=True)
    listen(desk, broker, NUMBER, "shed/+")
    listener = Listener()
    listener.tick(desk, NOW)
    sensor_sends = ("broken", "", "850", "37.5")
    until(lambda: listener.shown().messages == 1)
    for payload in sensor_sends:
        sensor.send("shed/other", payload)
    until(lambda: listener.shown().messages == 5)
    assert kept(desk) == [37.5]
    refused = [(each.topic, each.sentence) for each in reversed(listener.shown().refused)]
    assert "does not say when it was measured" in refused[0][1]
    assert refused[1:] == [
        ("shed/other", "'broken' is not a number."),
        ("shed/other", "'' is not a number."),
        ("shed/other", "850 °C is not possible: it must be -60 to 90 °C."),
    ]
    listener.end()


def test_topics_that_nobody_takes_are_heard_and_the_instrument_comes_from_the_topic(
    desk: Desk, broker: Broker, sensor: Sensor
) -> None:
    sensors = Sensors(desk.store)
    sensors.set_broker(f"127.0.0.1:{broker.port}", "", "", keep=False)
    listener = Listener()
    listener.tick(desk, NOW)
    until(lambda: listener.shown().connected_since)
    sensor.send("shed/lid/climate", "37.5")
    until(lambda: "shed/lid/climate" in listener.shown().unknown)
    assert listener.shown().unknown["shed/lid/climate"].payload == b"37.5"
    assert kept(desk) == []
    sensors.add_topic("shed/+/climate", "box", "", NUMBER, 2, NOW)
    listener.tick(desk, NOW)
    until(lambda: listener.shown().connected_since)
    assert listener.shown().unknown == {}
    sensor.send("shed/lid/climate", "37.6")
    until(lambda: kept(desk) == [37.6])
    assert desk.store.latest_readings()[0].instrument == "lid"
    sensors.remove_topic(sensors.listening().topics[0].id)
    sensors.add_topic("shed/rim/climate", "box", "rim", NUMBER, None, NOW)
    listener.tick(desk, NOW)
    until(lambda: listener.shown().connected_since)
    sensor.send("shed/lid/climate", "30.0")  # the session has let go of it
    sensor.send("shed/rim/climate", "37.7")
    until(lambda: kept(desk) == [37.6, 37.7])
    listener.end()


def test_a_broker_that_knows_no_mqtt_5_is_spoken_to_in_3_1_1(desk: Desk) -> None:
    """By MQTT 3.1.1, section 3.1.2.2 such a broker answers with return code 1 and hangs up."""
    levels: list[int] = []
    with socket.create_server(("127.0.0.1", 0)) as server:

        def old_broker() -> None:
            while len(levels) < 2:
                connection, _ = server.accept()
                with connection:
                    levels.append(connection.recv(1024)[8])
                    connection.sendall(b"\x20\x02\x00" + (b"\0" if levels[-1] == 4 else b"\x01"))
                    if levels[-1] == 4:
                        connection.recv(1024)  # what it subscribes to

        threading.Thread(target=old_broker, daemon=True).start()
        sensors = Sensors(desk.store)
        sensors.set_broker(f"127.0.0.1:{server.getsockname()[1]}", "", "", keep=False)
        sensors.add_topic("shed/box", "box", "", NUMBER, None, NOW)
        listener = Listener()

        def connected() -> bool:
            listener.tick(desk, NOW)
            return listener.shown().protocol == "MQTT 3.1.1" and levels[-1:] == [4]

        until(connected)
        listener.end()
    assert levels == [5, 4]


def test_a_broker_that_is_not_there_is_told(desk: Desk) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    sensors = Sensors(desk.store)
    sensors.set_broker(f"127.0.0.1:{port}", "mira", "secret words", keep=False)
    sensors.add_topic("shed/box", "box", "", NUMBER, None, NOW)
    listener = Listener()
    listener.tick(desk, NOW)
    until(lambda: "does not answer" in listener.shown().trouble)
    assert "secret" not in listener.tick(desk, NOW)
    listener.end()


def test_a_broker_that_refuses_the_password_is_asked_again_in_the_same_version(desk: Desk) -> None:
    """Reason code 0x86 (bad user name or password) of MQTT 5.0, section 3.2.2.2."""
    levels: list[int] = []
    with socket.create_server(("127.0.0.1", 0)) as server:

        def refusing() -> None:
            with suppress(OSError):  # the socket is shut below
                while True:
                    connection, _ = server.accept()
                    with connection:
                        levels.append(connection.recv(1024)[8])
                        connection.sendall(b"\x20\x03\x00\x86\x00")

        broker = threading.Thread(target=refusing)
        broker.start()
        sensors = Sensors(desk.store)
        sensors.set_broker(f"127.0.0.1:{server.getsockname()[1]}", "mira", "wrong", keep=False)
        sensors.add_topic("shed/box", "box", "", NUMBER, None, NOW)
        listener = Listener()
        listener.tick(desk, NOW)
        until(lambda: len(levels) == 2)
        assert "user or password is wrong" in listener.tick(desk, NOW)
        listener.end()
        server.shutdown(socket.SHUT_RDWR)  # a thread that waits in accept would outlive the test
        broker.join()
    assert set(levels) == {5}


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_fault_that_ends_the_clients_thread_ends_no_listening(
    desk: Desk, broker: Broker, sensor: Sensor
) -> None:
    faults: list[Exception] = []

    def clock() -> datetime:
        if faults:
            raise faults.pop()
        return NOW

    listen(desk, broker, NUMBER)
    listener = Listener(clock)
    listener.tick(desk, NOW)
    until(lambda: listener.shown().connected_since)
    faults.append(ZeroDivisionError())
    sensor.send("shed/box", "37.1")
    until(lambda: not faults)

    def again() -> bool:
        listener.tick(desk, NOW)
        return kept(desk) == [37.1]

    until(again)
    listener.end()


def test_one_message_that_cannot_be_kept_holds_up_no_other(
    desk: Desk, broker: Broker, sensor: Sensor, monkeypatch: pytest.MonkeyPatch
) -> None:
    def keep_but_one(store: Store, told: Any, messages: Any) -> Kept:
        if any(one.measured[0].temperature_c == 36.6 for each in told for one in each):
            raise ZeroDivisionError
        return keep(store, told, messages)

    monkeypatch.setattr("quailwright.exchange.mqtt.keep", keep_but_one)
    listen(desk, broker, NUMBER)
    listener = Listener(lambda: NOW)
    listener.tick(desk, NOW)
    until(lambda: listener.shown().connected_since)
    for payload in ("37.1", "36.6", "37.2"):
        sensor.client.publish("shed/box", payload, 1)
    until(lambda: kept(desk) == [37.1, 37.2])
    until(lambda: listener.shown().messages == 3)
    assert "ZeroDivisionError" in listener.shown().refused[0].sentence
    listener.end()


def test_a_topic_that_names_another_instrument_each_time_fills_no_file(
    desk: Desk, broker: Broker, sensor: Sensor, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("quailwright.exchange.mqtt._MOST_INSTRUMENTS", 2)
    sensors = Sensors(desk.store)
    sensors.set_broker(f"127.0.0.1:{broker.port}", "", "", keep=False)
    sensors.add_topic("shed/+", "box", "", NUMBER, 2, NOW)
    listener = Listener()
    listener.tick(desk, NOW)
    until(lambda: listener.shown().connected_since)
    for number in (1, 2, 3, 4, 1):
        sensor.send(f"shed/lid {number}", "37.5")
    until(lambda: listener.shown().messages == 5)
    assert {each.instrument for each in desk.store.latest_readings()} == {"lid 1", "lid 2"}
    assert len(kept(desk)) == 3
    assert "more than 2 instruments" in listener.shown().refused[0].sentence
    listener.end()


def test_the_end_waits_for_no_file_in_use(
    desk: Desk, broker: Broker, sensor: Sensor, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("quailwright.exchange.mqtt._ENDS_WITHIN_S", 0.1)
    in_use, begun = threading.Event(), threading.Event()

    def waits(*_: object) -> Kept:
        begun.set()
        in_use.wait(30)
        raise FlockUnusable("It is in use.")

    monkeypatch.setattr("quailwright.exchange.mqtt.keep", waits)
    listen(desk, broker, NUMBER)
    listener = Listener(lambda: NOW)
    listener.tick(desk, NOW)
    until(lambda: listener.shown().connected_since)
    sensor.send("shed/box", "37.1")
    assert begun.wait(PATIENCE_S)
    start = time.monotonic()
    listener.end()
    assert time.monotonic() - start < 5
    in_use.set()

"""Sensors without end: every reading acknowledged to a device is in the flock file, once.

`sensor_soak.py [SECONDS] [--seed N] [--devices N] [--alarms N] [--folder PATH]`. A broker
(mosquitto), a new flock, `quailwright serve`, and devices that send one message a second, each
value another: by MQTT at QoS 1 as JSON, SenML and bare numbers, and two over HTTP with a key. Each
keeps what it sends until that is acknowledged, and sends it again. Meanwhile the broker is stopped
and started, or killed, and the server is killed and started, at random moments. At the end all is
held against the flock file: what is missing or doubled ends the run with exit code 1.

Some devices have a limit of their own in the rules of notices, which their rising values cross at
moments spread over the run, and a channel that posts to a sink here. From the moment on which the
rule is true (a minute beyond the limit) 30 s are given to tell, besides what the server was away.

What the broker promises: stopped in order it saves all. Killed, it has what it saved last: here it
is told to save after every change (autosave_on_changes with autosave_interval 1), which it does
between two rounds of its loop, so a message acknowledged within moments of a kill may be lost with
it when quailwright is down just then. Those are counted by themselves, as `broker's own`. QoS 1 is
at least once: a device whose acknowledgement was lost as the broker went sends again, and a bare
number bears no time by which a repeat is known. Such are counted apart too.
"""

import argparse
import http.client
import json
import random
import re
import resource
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import Any

from quailwright.exchange import notice_settings
from quailwright.exchange.notice_settings import Chosen, NoticeSettings, OwnRule, add_channel
from quailwright.exchange.record import import_lines
from quailwright.exchange.sensor_payload import USUAL, How
from quailwright.exchange.sensor_settings import KEY_BYTES, Sensors, subscribed
from quailwright.guide.notices.rules import printed_rules
from quailwright.journal.store import open_store

HOUR_S = 3600
DEVICES, OVER_HTTP, BARE = 10, 2, 2
EVERY_S = 1.0
LOWEST_C, STEP_C = -50.0, 0.0001
"""Values begin there and go up by that, so that no two of a device are alike."""
FAULT_EVERY_S = (8.0, 25.0)
BROKER_SAVES_WITHIN_S = 3.0
ALARMS, ALARM_MINUTES, ALARM_WITHIN_S = 3, 1, 30.0
"""Few: a channel takes at most 8 messages an hour, reminders among them."""
PATIENCE_S = 120.0
RESENT_AFTER_S = 5.0
HTTP_TIMEOUT_S = 5.0


@dataclass
class Sent:
    """One message: its value, when it was measured, when it was acknowledged (by a clock that
    only goes forward)."""

    value: float
    at: datetime
    measured: float
    acknowledged: float | None = None


@dataclass
class Device:
    """A simulated device. `send` gives it to the network; acknowledgements come in later."""

    name: str
    form: str
    messages: list[Sent] = field(default_factory=list)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def payload(self, sent: Sent) -> str:
        """The message on the wire."""
        if self.form == "number":
            return f"{sent.value:.4f}"
        if self.form == "senml":
            seconds = sent.at.timestamp()
            return json.dumps([{"n": "t", "u": "Cel", "t": round(seconds, 3), "v": sent.value}])
        return json.dumps({"temperature": sent.value, "time": sent.at.isoformat()})

    def measure(self) -> Sent:
        """A new message with a value of its own."""
        at = datetime.now(UTC)
        at = at.replace(microsecond=at.microsecond // 1000 * 1000)
        with self.lock:
            value = round(LOWEST_C + STEP_C * len(self.messages), 4)
            sent = Sent(value, at, time.monotonic())
            self.messages.append(sent)
        return sent

    def waiting(self) -> int:
        """How many are not acknowledged yet."""
        with self.lock:
            return sum(each.acknowledged is None for each in self.messages)


def free_port() -> int:
    """A port of loopback that nobody uses."""
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        port: int = found.getsockname()[1]
    return port


def answers(port: int) -> bool:
    """Whether somebody takes connections there."""
    try:
        socket.create_connection(("127.0.0.1", port), 1).close()
    except OSError:
        return False
    return True


def until(what: str, true: Callable[[], bool], patience_s: float = PATIENCE_S) -> None:
    """Waits until something is so."""
    end = time.monotonic() + patience_s
    while not true():
        if time.monotonic() > end:
            raise SystemExit(f"sensor_soak: waited {patience_s:.0f} s in vain: {what}")
        time.sleep(0.05)


class Program:
    """A program that is started, stopped in order, or killed."""

    def __init__(self, name: str, words: list[str], port: int, log: Path) -> None:
        self.name, self._words, self._port, self._log = name, words, port, log
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Starts it, and waits until it answers."""
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(self._words, stdout=log, stderr=log)
        until(f"{self.name} answers", lambda: answers(self._port))

    def end(self, how: signal.Signals) -> None:
        """Ends it by a signal, and waits until it has."""
        if self._process is not None:
            self._process.send_signal(how)
            self._process.wait(PATIENCE_S)
            self._process = None

    @property
    def pid(self) -> int:
        """The number of its process; 0 while there is none."""
        return self._process.pid if self._process is not None else 0

    def memory_mb(self) -> float:
        """Its memory now [MB]."""
        if self._process is None:
            return 0.0
        told = Path(f"/proc/{self._process.pid}/status").read_text()
        found = re.search(r"VmRSS:\s+(\d+) kB", told)
        return int(found[1]) / 1024 if found else 0.0


def broker_of(folder: Path, port: int) -> Program:
    """The broker, with its store in the folder."""
    program = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin")
    if program is None:
        raise SystemExit(
            "sensor_soak: mosquitto is not installed (on Debian: apt install mosquitto)"
        )
    settings = folder / "mosquitto.conf"
    import getpass

    settings.write_text(
        f"listener {port} 127.0.0.1\nallow_anonymous true\nuser {getpass.getuser()}\n"
        f"persistence true\npersistence_location {folder}/\nautosave_interval 1\n"
        "autosave_on_changes true\nmax_queued_messages 0\n"
    )
    return Program("the broker", [program, "-c", str(settings)], port, folder / "broker.log")


def flock_of(folder: Path, broker_port: int, devices: list[Device], noise: random.Random
             ) -> tuple[str, dict[str, str]]:  # fmt: skip
    """A new flock that takes what the devices send; and the keys of those over HTTP."""
    location = str(folder / "flock.sqlite")
    now, keys = datetime.now(UTC), {}
    lines: list[dict[str, Any]] = [{"kind": "holding", "timezone": "Europe/Lisbon"}]
    lines += [{"kind": "place", "place": each.name, "role": "pen"} for each in devices]
    with open_store(location, create=True) as store:
        whole = [
            json.dumps({"id": f"00000000-0000-4000-8000-{n:012}", "at": "2026-01-01", **line})
            for n, line in enumerate(lines, 1)
        ]
        import_lines(store, "\n".join(whole).encode(), now)
        sensors = Sensors(store)
        sensors.set_broker(f"mqtt://127.0.0.1:{broker_port}", "", "", keep=False)
        for each in devices:
            if each.form == "http":
                key = noise.randbytes(KEY_BYTES)
                keys[each.name] = sensors.add_device(each.name, each.name, "", USUAL, now, key)
            else:
                how = USUAL if each.form == "json" else How(each.form)  # type: ignore[arg-type]
                sensors.add_topic(f"soak/{each.name}", each.name, "", how, None, now)
    return location, keys


# The devices.


def by_mqtt(device: Device, port: int, over: threading.Event) -> None:
    """Publishes at QoS 1; the client keeps what is not acknowledged and sends it again."""
    from paho.mqtt.client import Client
    from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

    client = Client(
        CallbackAPIVersion.VERSION2, f"soak-{device.name}", clean_session=False,
        protocol=MQTTProtocolVersion.MQTTv311,
    )  # fmt: skip
    in_flight: dict[int, Sent] = {}

    def acknowledged(_: Any, __: Any, packet: int, *___: Any) -> None:
        with device.lock:
            sent = in_flight.pop(packet, None)
            if sent is not None:
                sent.acknowledged = time.monotonic()

    client.on_publish = acknowledged
    client.max_queued_messages_set(0)
    client.reconnect_delay_set(1, 2)
    client.connect_async("127.0.0.1", port, keepalive=10)
    client.loop_start()
    due = time.monotonic()
    while not over.is_set():
        sent = device.measure()
        with device.lock:
            told = client.publish(f"soak/{device.name}", device.payload(sent), 1)
            in_flight[told.mid] = sent
        due += EVERY_S
        over.wait(max(0.0, due - time.monotonic()))
    end = time.monotonic() + PATIENCE_S
    while device.waiting() and time.monotonic() < end:
        time.sleep(0.1)
    client.disconnect()
    client.loop_stop()


def by_http(device: Device, port: int, key: str, over: threading.Event) -> None:
    """Posts what waits, oldest first, and again until it is answered with 200."""
    due = time.monotonic()
    waiting: list[Sent] = []
    end = None
    while True:
        if not over.is_set() and time.monotonic() >= due:
            waiting.append(device.measure())
            due += EVERY_S
        if over.is_set():
            end = end or time.monotonic() + PATIENCE_S
            if not waiting or time.monotonic() > end:
                return
        if waiting and post(port, key, device.payload(waiting[0])):
            with device.lock:
                waiting.pop(0).acknowledged = time.monotonic()
        else:
            time.sleep(0.2)


def post(port: int, key: str, body: str) -> bool:
    """Whether the server said that it is kept."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=HTTP_TIMEOUT_S)
    try:
        connection.request("POST", "/api/readings/sent", body, {"Authorization": f"Bearer {key}"})
        return connection.getresponse().status == http.client.OK
    except (OSError, http.client.HTTPException):
        return False
    finally:
        connection.close()


# Alarms.


@dataclass
class Alarm:
    """A device whose value goes beyond a limit: its message, and when it was told."""

    device: Device
    messages_before: int
    told: float | None = None

    @property
    def limit_c(self) -> float:
        """The limit: the last value that is not beyond it."""
        return round(LOWEST_C + STEP_C * (self.messages_before - 1) + STEP_C / 2, 5)

    def true_at(self) -> float | None:
        """When the rule became true, by a clock that only goes forward; None: it did not."""
        with self.device.lock:
            if len(self.device.messages) <= self.messages_before:
                return None
            return self.device.messages[self.messages_before].measured + ALARM_MINUTES * 60


def alarms_of(devices: list[Device], number: int, seconds: float) -> list[Alarm]:
    """Alarms spread over the run, of devices of all forms."""
    last = seconds - ALARM_MINUTES * 60 - ALARM_WITHIN_S - 5
    if last < 5 or not number:
        return []
    step = len(devices) / number
    return [
        Alarm(devices[int(n * step)], max(3, int(last * (n + 1) / number / EVERY_S)))
        for n in range(number)
    ]


def set_up_alarms(location: str, alarms: list[Alarm], sink_port: int) -> None:
    """Switches notices on, with a limit for each alarm and no other rule, and the channel."""
    own = [
        OwnRule(f"own-{n}", each.device.name, "temperature", "above", each.limit_c, ALARM_MINUTES)
        for n, each in enumerate(alarms, 1)
    ]
    off = {rule.code: Chosen(on=False) for rule in printed_rules()}
    with open_store(location) as store:
        notice_settings.keep(store, NoticeSettings(on=True, rules=off, own=own))
        add_channel(store, "sink", f"json://127.0.0.1:{sink_port}/", "en", False, datetime.now(UTC))


def sink(alarms: list[Alarm], port: int) -> HTTPServer:
    """Takes messages, and notes when the first of each alarm came."""

    class Taken(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            text = self.rfile.read(int(self.headers.get("Content-Length", "0"))).decode()
            for each in alarms:
                if each.told is None and re.search(rf"\b{each.device.name}\b", text):
                    each.told = time.monotonic()
                    print(f"told of {each.device.name}", flush=True)
            self.send_response(200)
            self.end_headers()

        def log_message(self, *_: object) -> None:
            pass

    server = HTTPServer(("127.0.0.1", port), Taken)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    return server


def late(alarms: list[Alarm], faults: "Faults") -> int:
    """Prints how long after it was true each alarm was told; gives how many came too late."""
    failed = 0
    for each in alarms:
        true = each.true_at()
        if true is None:
            print(f"alarm of {each.device.name}: its value did not get there")
            failed += 1
            continue
        if each.told is None:
            print(f"alarm of {each.device.name}: never told")
            failed += 1
            continue
        waited = each.told - true
        away = sum(
            max(0.0, min(until, each.told) - max(since, true))
            for since, until in (*faults.server_away, *faults.broker_away)
        )
        failed += waited > ALARM_WITHIN_S + away
        print(f"alarm of {each.device.name} ({each.device.form}): told {waited:.1f} s after it "
              f"was true, {away:.1f} s of them without server or broker")  # fmt: skip
    return failed


# Faults, and the reckoning.


@dataclass
class Faults:
    """What was done to broker and server, when the broker was killed, and from when to when each
    was away."""

    counts: Counter[str] = field(default_factory=Counter)
    broker_killed: list[float] = field(default_factory=list)
    broker_away: list[tuple[float, float]] = field(default_factory=list)
    server_away: list[tuple[float, float]] = field(default_factory=list)

    def cut(self, sent: Sent) -> bool:
        """Whether the broker was away while a message was under way, or about then: its device
        may have sent it twice without either side doing wrong."""
        last = sent.acknowledged or sent.measured
        return any(
            since - BROKER_SAVES_WITHIN_S <= last and sent.measured <= to + BROKER_SAVES_WITHIN_S
            for since, to in self.broker_away
        )


def harm(rng: random.Random, broker: Program, server: Program, faults: Faults) -> None:
    """One fault, and the mending of it."""
    what = rng.choice(["broker stopped", "broker killed", "server killed", "server killed", "both"])
    faults.counts[what] += 1
    server_away_since = time.monotonic()
    if what == "both":
        server.end(signal.SIGKILL)
        time.sleep(rng.uniform(0, 2))
    if what in ("broker stopped", "broker killed", "both"):
        kills, away_since = what == "broker killed", time.monotonic()
        broker.end(signal.SIGKILL if kills else signal.SIGTERM)
        if kills:
            faults.broker_killed.append(time.monotonic())
        time.sleep(rng.uniform(0, 4))
        broker.start()
        faults.broker_away.append((away_since, time.monotonic()))
    if what == "server killed":
        server.end(signal.SIGKILL)
        time.sleep(rng.uniform(0, 5))
    if what in ("server killed", "both"):
        server.start()
        faults.server_away.append((server_away_since, time.monotonic()))


def reckoned(location: str, devices: list[Device], faults: Faults) -> int:
    """Holds what was acknowledged against the flock file, and prints it. Gives the exit code."""
    failed, own = 0, Counter[str]()
    total = Counter[str]()
    with open_store(location) as store:
        for each in devices:
            kept: Counter[float] = Counter()
            for readings in store.readings(each.name):
                kept.update(round(float(value), 4) for value in readings.temperature_c)
            acknowledged = [sent for sent in each.messages if sent.acknowledged is not None]
            missing = [sent for sent in acknowledged if not kept[sent.value]]
            doubled = [value for value, times in kept.items() if times > 1]
            total.update(
                sent=len(each.messages), acknowledged=len(acknowledged), kept=sum(kept.values())
            )
            for sent in missing:
                near = sent.acknowledged is not None and any(
                    0 <= at - sent.acknowledged < BROKER_SAVES_WITHIN_S
                    for at in faults.broker_killed
                )
                own["lost by the broker's kill"] += near
                failed += not near
                print(f"missing: {each.name} {sent.value} of {sent.at}"
                      f"{' (broker killed just then)' if near else ''}")  # fmt: skip
            by_value = {sent.value: sent for sent in each.messages}
            for value in doubled:
                bare = each.form == "number" and faults.cut(by_value[value])
                own["bare numbers that a device sent twice as the broker went"] += bare
                failed += not bare
                print(f"doubled: {each.name} {value}, {kept[value]} times"
                      f"{' (bare, the broker went just then)' if bare else ''}")  # fmt: skip
    print(", ".join(f"{name} {count:,}" for name, count in total.items()))
    print("broker's own: " + (", ".join(f"{k} {v}" for k, v in own.items() if v) or "none"))
    print(f"missing or doubled otherwise: {failed}")
    return 1 if failed else 0


def main() -> int:
    """Runs, and prints figures."""
    parser = argparse.ArgumentParser(description="Sensors through restarts and kills.")
    parser.add_argument("seconds", type=float, nargs="?", default=HOUR_S)
    parser.add_argument("--seed", type=int, default=None)
    parser.add_argument("--devices", type=int, default=DEVICES)
    parser.add_argument("--alarms", type=int, default=ALARMS, help="how many alarms to time")
    parser.add_argument("--folder", type=Path, default=None, help="keep all files there")
    asked = parser.parse_args()
    seed = asked.seed if asked.seed is not None else random.SystemRandom().randrange(2**32)
    rng = random.Random(seed)
    folder = asked.folder or Path(tempfile.mkdtemp(prefix="sensor-soak-"))
    folder.mkdir(parents=True, exist_ok=True)
    print(f"seed {seed}, files in {folder}", flush=True)
    forms = ["http"] * OVER_HTTP + ["number"] * BARE
    forms += ["senml" if n % 3 == 0 else "json" for n in range(max(0, asked.devices - len(forms)))]
    devices = [Device(f"d{n}", form) for n, form in enumerate(forms[: asked.devices])]
    broker_port, server_port = free_port(), free_port()
    broker = broker_of(folder, broker_port)
    location, keys = flock_of(folder, broker_port, devices, rng)
    alarms = alarms_of(devices, asked.alarms, asked.seconds)
    sink_port = free_port()
    listens = sink(alarms, sink_port)
    set_up_alarms(location, alarms, sink_port)
    words = [sys.executable, "-P", "-m", "quailwright", "--flock", location, "serve", "--port"]
    server = Program("the server", [*words, str(server_port)], server_port, folder / "server.log")
    broker.start()
    server.start()
    with open_store(location) as store:
        # What is sent before the broker knows of the listener is nobody's.
        until("the server listens", lambda: len(subscribed(store)) > 0)
    time.sleep(1)
    over, faults = threading.Event(), Faults()
    threads = [
        threading.Thread(
            target=by_http if each.form == "http" else by_mqtt,
            args=(each, server_port, keys[each.name], over)
            if each.form == "http"
            else (each, broker_port, over),
        )
        for each in devices
    ]
    began = time.monotonic()
    for thread in threads:
        thread.start()
    most_mb = 0.0
    try:
        while (left_s := asked.seconds - (time.monotonic() - began)) > 0:
            time.sleep(min(left_s, rng.uniform(*FAULT_EVERY_S)))
            most_mb = max(most_mb, server.memory_mb())
            if time.monotonic() - began < asked.seconds:
                harm(rng, broker, server, faults)
    finally:
        over.set()
        for thread in threads:
            thread.join()
    until("all that was acknowledged is kept", lambda: settled(location, devices), 60)
    took = timedelta(seconds=round(time.monotonic() - began))
    server.end(signal.SIGTERM)
    broker.end(signal.SIGTERM)
    print(f"{len(devices)} devices, {took}, " + ", ".join(
        f"{what} {count} times" for what, count in sorted(faults.counts.items())))  # fmt: skip
    cpu = resource.getrusage(resource.RUSAGE_CHILDREN)
    size_mb = Path(location).stat().st_size / 1e6
    print(f"flock file {size_mb:.1f} MB, server at most {most_mb:.0f} MB, "
          f"server and broker together {cpu.ru_utime + cpu.ru_stime:.0f} s of CPU")  # fmt: skip
    listens.shutdown()
    too_late = late(alarms, faults)
    return max(reckoned(location, devices, faults), int(too_late > 0))


def settled(location: str, devices: list[Device]) -> bool:
    """Whether nothing more can be expected to come: all is there, or nothing came for a while."""
    with open_store(location) as store:
        before = sum(store.reading_count(each.name) for each in devices)
        if before >= sum(len(each.messages) - each.waiting() for each in devices):
            return True
        time.sleep(RESENT_AFTER_S * 2)
        return sum(store.reading_count(each.name) for each in devices) == before


if __name__ == "__main__":
    sys.exit(main())

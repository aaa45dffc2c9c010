"""The clock of the flock's computer jumps while it serves: nothing is lost or twice there.

`clock_faults.py [--jumps N] [--seed N]`. `quailwright serve`, and now and then `log`, run under
libfaketime (Debian: faketime), whose clock is set anew by lot every second or so: by an hour, days,
weeks or ten years, on and back; the clock that only counts on (CLOCK_MONOTONIC) is left alone, as
where somebody sets the date. A phone writes by the API and a device sends readings meanwhile, both
by the true time; the phone signs in again where it must. No entry may be refused and no answer be
500 or more; a reading that seems to lie ahead may be refused. At the end every entry and reading
that was acknowledged is there, once, in order of arrival. The first failure ends the run with exit
code 1.
"""

import argparse
import http.client
import json
import os
import random
import re
import signal
import subprocess
import sys
import tempfile
import threading
import time
import uuid
from collections import Counter
from collections.abc import Callable, Sequence
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from urllib.parse import urlencode

from quailwright.exchange.household import Household
from quailwright.exchange.sensor_payload import USUAL
from quailwright.exchange.sensor_settings import KEY_BYTES, Sensors
from quailwright.journal.entries import Care
from quailwright.journal.store import open_store
from quailwright.web.serving import listening

NAME, WORDS = "Mira", "keeper words here"
PATIENCE_S, LOGS_EVERY = 30.0, 5
HOUR, DAY = 3600, 86_400
JUMPS_S = (HOUR, 2 * DAY, 20 * DAY, 400 * DAY, 3650 * DAY)
PLACE = "brooder"


class Failure(Exception):
    """What must never happen has happened."""


class Phone:
    """A keeper's phone; it counts what it was answered."""

    def __init__(self, port: int) -> None:
        self.port, self.token, self.text = port, "", ""
        self.cookies: dict[str, str] = {}
        self.kept: list[str] = []
        self.counts: Counter[str] = Counter()
        self.failed: BaseException | None = None

    def ask(self, path: str, body: bytes | None = None, **headers: str) -> http.client.HTTPResponse:
        """The answer; one of 500 or more is a failure."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE_S)
        cookies = "; ".join(f"{name}={value}" for name, value in self.cookies.items())
        headers = {"Cookie": cookies, "Host": "localhost", **headers}
        connection.request("GET" if body is None else "POST", path, body, headers)
        answer = connection.getresponse()
        self.text = answer.read().decode()
        connection.close()
        for cookie in answer.headers.get_all("Set-Cookie") or []:
            name, _, value = cookie.partition(";")[0].partition("=")
            self.cookies[name] = value.strip('"')
        if answer.status >= http.client.INTERNAL_SERVER_ERROR:
            raise Failure(f"{path} answered {answer.status}: {self.text[:300]}")
        self.counts[f"answers {answer.status}"] += 1
        return answer

    def sign_in(self) -> None:
        """As a person does at the page, which a jump meanwhile makes too old to send."""
        for _ in range(5):
            self.ask("/sign-in")
            form = {"token": self._token(), "name": NAME, "passphrase": WORDS, "back": "/"}
            kind = {"Content-Type": "application/x-www-form-urlencoded"}
            answer = self.ask("/sign-in", urlencode(form).encode(), **kind)
            if answer.status == http.client.SEE_OTHER:
                self.token = self._token()
                self.counts["signed in"] += 1
                return
        told = " ".join(re.sub("<[^>]*>", " ", self.text).split())
        raise Failure(f"signing in was answered with {answer.status}: {told[-600:]}")

    def _token(self) -> str:
        self.ask("/api/me")
        return str(json.loads(self.text)["token"])

    def write(self) -> None:
        """One entry, again until it is kept; it has one id, and the phone's time."""
        new = str(uuid.uuid4())
        entry = {"kind": "care", "task": "water", "place": PLACE, "id": new}
        entry["at"] = datetime.now(UTC).isoformat(timespec="seconds")
        for _ in range(5):
            answer = self.ask(
                "/api/entries", json.dumps(entry).encode(), **{"X-Write-Token": self.token}
            )
            if answer.status == http.client.OK:
                self.kept.append(new)
                return
            if answer.status not in (http.client.UNAUTHORIZED, http.client.FORBIDDEN):
                raise Failure(f"an entry was answered with {answer.status}: {self.text[:300]}")
            self.sign_in()
        raise Failure("five times an entry was not let in")

    def live(self, over: threading.Event) -> None:
        """Writes and looks until it is over."""
        try:
            self.sign_in()
            while not over.wait(0.05):
                self.write()
                answer = self.ask("/")
                if answer.status == http.client.OK:
                    told = re.search("This computer's clock shows", self.text)
                    self.counts["rounds that say the clock" if told else "rounds"] += 1
        except BaseException as error:  # told by who waits
            self.failed = error


class Device(Phone):
    """A sensor with a key, which sends the time of each reading."""

    readings = 0

    def __init__(self, port: int, key: str) -> None:
        super().__init__(port)
        self.key = key

    def live(self, over: threading.Event) -> None:
        at = datetime.now(UTC).replace(microsecond=0) - timedelta(days=1)
        try:
            while not over.wait(0.05):
                at += timedelta(seconds=1)
                body = {"temperature": 35.0, "time": at.isoformat()}
                sent = json.dumps(body).encode()
                answer = self.ask("/api/readings/sent", sent, Authorization=f"Bearer {self.key}")
                kept = answer.status == http.client.OK
                self.readings += kept
                self.counts["readings acknowledged, all there" if kept else "readings refused"] += 1
        except BaseException as error:  # told by who waits
            self.failed = error


def faked(folder: Path) -> dict[str, str]:
    """The environment of a process whose clock stands in a file."""
    libraries = sorted(Path("/usr/lib").glob("**/faketime/libfaketimeMT.so.1"))
    if not libraries:
        raise SystemExit("No libfaketime is installed here (Debian: faketime).")
    return {
        **os.environ,
        "LD_PRELOAD": str(libraries[0]),
        "FAKETIME_TIMESTAMP_FILE": str(folder / "clock"),
        "FAKETIME_NO_CACHE": "1",
        "FAKETIME_DONT_FAKE_MONOTONIC": "1",
    }


def run(jumps: int, seed: int, folder: Path) -> Counter[str]:
    """So many jumps. Raises Failure."""
    rng, flock, clock = random.Random(seed), folder / "flock.sqlite", folder / "clock"
    clock.write_text("+0")
    now = datetime.now(UTC)
    with open_store(str(flock), create=True) as store:
        with store.writing() as writer:
            writer.append([Care(id=str(uuid.uuid4()), at=now.isoformat(), task="water")], now)
        Household(store).begin(NAME, WORDS, now)
        noise = rng.randbytes(KEY_BYTES)
        key = Sensors(store).add_device("probe", PLACE, "", USUAL, now, noise)
    listener = listening("127.0.0.1", 0, any_near=False)
    port = int(listener.getsockname()[1])
    listener.close()
    environment, words = faked(folder), [sys.executable, "-m", "quailwright"]
    with (folder / "log").open("w") as log:
        serving = subprocess.Popen(
            [*words, "serve", "--flock", str(flock), "--port", str(port)],
            env=environment, stdout=log, stderr=log,
        )  # fmt: skip
        try:
            phone, device = Phone(port), Device(port, key)
            counts = jumped(
                rng, jumps, (phone, device), clock, lambda: logged(words, flock, environment)
            )
        finally:
            serving.send_signal(signal.SIGINT)
            ended = serving.wait(PATIENCE_S)
    if ended:
        raise Failure(f"serve ended with {ended}")
    with open_store(str(flock)) as store:
        damaged, entries = store.damage(), [entry.id for entry in store.entries()]
        readings = store.reading_count(PLACE)
    if damaged:
        raise Failure(f"damaged: {damaged}")
    sent = set(phone.kept)
    if [one for one in entries if one in sent] != phone.kept:
        raise Failure("an acknowledged entry is missing, twice there, or out of order")
    if readings != device.readings:
        raise Failure(f"{device.readings} readings were acknowledged, {readings} are there")
    counts.update(phone.counts)
    counts.update(device.counts)
    return counts + Counter({"entries acknowledged, all there": len(phone.kept)})


def logged(words: list[str], flock: Path, environment: dict[str, str]) -> None:
    """The command line at the terminal of the same computer."""
    command = [*words, "log", "care", "task=trays", "--flock", str(flock)]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    if done.returncode or "Kept:" not in done.stdout:
        raise Failure(f"log ended with {done.returncode}: {done.stdout} {done.stderr[-600:]}")


def jumped(
    rng: random.Random, jumps: int, clients: Sequence[Phone], clock: Path, log: Callable[[], None]
) -> Counter[str]:
    """Lets the clients live while the clock jumps. Raises Failure."""
    over, counts = threading.Event(), Counter[str]()
    until = time.monotonic() + PATIENCE_S
    while True:
        with suppress(OSError):
            clients[0].ask("/sign-in")
            break
        if time.monotonic() > until:
            raise Failure("serve did not begin")
        time.sleep(0.1)
    threads = [threading.Thread(target=one.live, args=(over,)) for one in clients]
    for thread in threads:
        thread.start()
    try:
        for number in range(jumps):
            off = rng.choice(JUMPS_S) * rng.choice((-1, 1)) * (number % 4 != 3)
            clock.with_suffix(".new").write_text(f"{off:+d}")
            clock.with_suffix(".new").replace(clock)
            counts["jumps back to the true time" if not off else
                   "jumps on" if off > 0 else "jumps back"] += 1  # fmt: skip
            if number % LOGS_EVERY == 0:
                log()
                counts["log under a wrong clock"] += bool(off)
            time.sleep(rng.uniform(0.3, 1.5))
            if any(one.failed for one in clients):
                break
    finally:
        over.set()
        for thread in threads:
            thread.join(PATIENCE_S)
    for one in clients:
        if one.failed is not None:
            raise Failure(f"{type(one).__name__}: {one.failed!r}") from one.failed
    return counts


def main() -> int:
    """Runs it, and tells what happened."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jumps", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    began = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="clock-faults-") as folder:
        try:
            counts = run(asked.jumps, asked.seed, Path(folder))
        except Failure as failure:
            print(f"seed {asked.seed}: {failure}")
            print((Path(folder) / "log").read_text()[-3000:])
            return 1
    took = time.monotonic() - began
    print(f"{asked.jumps:,} jumps, seed {asked.seed}, {took:.0f} s: no failure")
    for what, count in sorted(counts.items()):
        print(f"{count:8,}  {what}", flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())

"""A household's day over and over: what the server holds meanwhile, and whether all is kept.

`python -m scripts.mixed_soak MINUTES [--seed N] [--folder PATH] [--table FILE]`, with `quailwright
serve` on a flock with two years of entries. Five people read, write by forms and by the API, undo,
print, plan, bring spreadsheets, choose a language, sign out and in; a phone's calendar, a script
and sensors (HTTP keys, and MQTT where mosquitto is installed, one reading a second each) ask and
send; the schedule of backups falls due every few minutes.

Each minute it notes the server's memory (resident, and its own alone), open files, threads, the
size of the flock file and its log, and the answers. At the end it holds the journal and the
readings against what was acknowledged, and fits a line to the second half. It ends with exit code 1
where something was lost or twice there, where an answer was 500 or more or none came, or where
open files or threads grew.
"""

import argparse
import gzip
import http.client
import json
import random
import re
import signal
import sys
import tempfile
import threading
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import partial
from itertools import count, pairwise
from pathlib import Path
from statistics import fmean, quantiles
from types import MappingProxyType
from typing import NamedTuple
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from benchmarks.journals import SMALL, invented_journal
from scripts.sensor_soak import Program, broker_of, free_port, until

from quailwright.exchange.household import Household
from quailwright.exchange.sensor_payload import USUAL
from quailwright.exchange.sensor_settings import KEY_BYTES, Sensors, subscribed
from quailwright.journal.entries import Retract
from quailwright.journal.ids import NOISE_BYTES, new_id
from quailwright.journal.store import open_store

TWO_YEARS_D = 730
SAMPLED_EVERY_S, MINUTE_S = 10.0, 60.0
THINKS_S = (0.5, 4.0)
"""A person looks at a page for so long before they do the next thing."""
PATIENCE_S, KEPT_OPEN_S = 600.0, 3.0
"""The server hangs up on a connection that was silent for 5 s."""
BACKUP_EVERY_S, IMPORT_EVERY_S, PLAN_EVERY_S, CALENDAR_EVERY_S = 180.0, 120.0, 150.0, 5.0
SENSORS_EACH_WAY = 4
PASSPHRASE = "only for this run"
ZONE = ZoneInfo("Europe/Lisbon")
"""Of the invented journal."""

ROLES = {"Ana": "keeper", "Rui": "helper", "Eva": "helper", "Leo": "child", "Ida": "viewer"}
PAGES = (
    "/", "/hatches", "/birds", "/places/pen-1", "/places/brooder", "/signs", "/eggs/store",
    "/", "/places/incubator", "/plan", "/outlook", "/outlook?ask=no_hatches", "/more",
    "/eggs", "/eggs?by=place&of=pen-1&weeks=4", "/paper", "/paper/round", "/paper/places",
    "/housing", "/manure", "/eggs/labels", "/cautions", "/costs", "/costs?span=month", "/feed",
    "/light", "/breeding", "/breeding/keep", "/breeding/rotation", "/breeding/colours", "/tables",
    "/journal", "/journal?text=chilled", "/journal?kind=care&page_no=3", "/kept", "/settings",
    "/settings/places", "/settings/calendar", "/settings/care", "/settings/readings",
    "/settings/backup", "/settings/notices", "/settings/sensors", "/help", "/help?text=humidity",
    "/brooding", "/readings", "/feed/needs", "/calendar.ics",
)  # fmt: skip
CHILDS_PAGES = ("/", "/birds", "/more", "/places/pen-1")
FILES = (
    "/paper/round.pdf", "/paper/week.pdf", "/paper/places.pdf", "/paper/labels.pdf",
    "/paper/year.pdf", "/tables/flock.xlsx", "/tables/table/eggs.csv", "/costs/costs.xlsx",
)  # fmt: skip
ASKED_BY_SCRIPTS = (
    "/api/today", "/api/signs", "/api/flock", "/api/eggs", "/api/hatches", "/api/costs",
    "/api/light", "/api/readings", "/api/readings/now", "/api/readings/series?place=pen-1",
    "/api/journal/check", "/api/calendar", "/api/outlook?draws=500", "/api/feed",
)  # fmt: skip
BRIEF = """
[goal]
eggs_per_week = {eggs}
from = {first}
until = {last}
certainty = 0.7
"""


class Answer(NamedTuple):
    """What came back."""

    status: int
    text: str
    headers: http.client.HTTPMessage


class Sample(NamedTuple):
    """What the server held at a moment."""

    minute: float
    resident_mb: float
    own_mb: float
    files: int
    threads: int
    flock_mb: float
    log_mb: float


@dataclass
class Tally:
    """Every answer, and what it acknowledged."""

    lock: threading.Lock = field(default_factory=threading.Lock)
    answers: list[tuple[float, str, int, float]] = field(default_factory=list)
    odd: list[str] = field(default_factory=list)
    written: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))
    may_be_there: set[str] = field(default_factory=set)
    imported: dict[str, int] = field(default_factory=dict)
    undone: int = 0
    readings: Counter[str] = field(default_factory=Counter)
    done: Counter[str] = field(default_factory=Counter)

    def note(self, what: str, status: int, seconds: float, said: str = "") -> None:
        """An answer; 0 where none came. What was not expected is kept to be read."""
        with self.lock:
            self.answers.append((time.monotonic(), what, status, seconds))
            if said and len(self.odd) < 40:
                self.odd.append(f"{what}: {status} {said[:1000]}")

    def did(self, what: str, count: int = 1) -> None:
        """Counts what was done."""
        with self.lock:
            self.done[what] += count


class Browser:
    """One phone: a connection, and its cookies."""

    _addresses = count(2)
    """Each has an address of its own: tries to sign in are counted by address."""

    def __init__(self, port: int, tally: Tally) -> None:
        self._port, self.tally = port, tally
        self._line: http.client.HTTPConnection | None = None
        self._address = (f"127.0.0.{next(self._addresses) % 254 + 1}", 0)
        self._used = 0.0
        self.cookies: dict[str, str] = {}

    def ask(
        self, method: str, path: str, body: bytes | None = None, good: tuple[int, ...] = (200,),
        **headers: str,
    ) -> Answer:  # fmt: skip
        """One request, over a connection kept open as long as the server keeps it."""
        if self._line is None or time.monotonic() - self._used > KEPT_OPEN_S:
            self.hang_up()
            self._line = http.client.HTTPConnection(
                "127.0.0.1", self._port, timeout=PATIENCE_S, source_address=self._address
            )
        told = {name.replace("_", "-"): value for name, value in headers.items()}
        told |= {"Host": "localhost", "Accept-Encoding": "gzip"}
        told["Cookie"] = "; ".join(f"{name}={value}" for name, value in self.cookies.items())
        kind, began = f"{method} {path.partition('?')[0]}", time.monotonic()
        try:
            self._line.request(method, path, body, told)
            answer = self._line.getresponse()
            content = answer.read()
        except (OSError, http.client.HTTPException) as error:
            self.hang_up()
            self.tally.note(kind, 0, time.monotonic() - began, repr(error))
            return Answer(0, "", http.client.HTTPMessage())
        self._used = time.monotonic()
        took = self._used - began
        if answer.headers.get("content-encoding") == "gzip":
            content = gzip.decompress(content)
        for cookie in answer.headers.get_all("set-cookie") or []:
            name, _, value = cookie.partition(";")[0].partition("=")
            self.cookies[name] = value.strip('"')
        text = content.decode(errors="replace")
        odd = "" if answer.status in good else f"{path} {told_in(text)}"
        self.tally.note(kind, answer.status, took, odd)
        return Answer(answer.status, text, answer.headers)

    def hang_up(self) -> None:
        """Closes the connection."""
        if self._line is not None:
            self._line.close()
            self._line = None

    def post(
        self, path: str, form: Mapping[str, str] = MappingProxyType({}), good: int = 303
    ) -> Answer:
        """A form of our own pages, with its token."""
        body = urlencode({"token": self.token(), **form}).encode()
        kind = "application/x-www-form-urlencoded"
        return self.ask("POST", path, body, (good,), Content_Type=kind)

    def token(self) -> str:
        """What a write must carry."""
        told = json.loads(self.ask("GET", "/api/me").text or "{}")
        return str(told.get("token", ""))

    def sign_in(self, name: str) -> None:
        """Opens the page, types name and passphrase."""
        self.ask("GET", "/sign-in")
        self.post("/sign-in", {"name": name, "passphrase": PASSPHRASE, "back": "/"})
        self.tally.did("signed in")


def told_in(text: str) -> str:
    """The words of an answer, to be read in a line."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", text))[-900:]


# What people do.


class Person:
    """One of the household: draws what to do next, does it, and thinks."""

    def __init__(self, name: str, port: int, tally: Tally, seed: int, folder: Path) -> None:
        self.name, self.role, self.tally, self.folder = name, ROLES[name], tally, folder
        self.chance = random.Random(f"{seed} {name}")
        self.browser = Browser(port, tally)
        self._may_undo: list[str] = []
        self._next = {
            self.backup: 20.0, self.bring_a_sheet: 40.0, self.plan: 60.0,
        }  # fmt: skip

    def live(self, over: threading.Event) -> None:
        """Until it is over."""
        self.browser.sign_in(self.name)
        began = time.monotonic()
        while not over.is_set():
            due = [act for act, at in self._next.items() if time.monotonic() - began >= at]
            if self.role == "keeper" and due:
                every = {"backup": BACKUP_EVERY_S, "plan": PLAN_EVERY_S}
                self._next[due[0]] += every.get(due[0].__name__, IMPORT_EVERY_S)
                due[0]()
            else:
                self._draw()()
            over.wait(self.chance.uniform(*THINKS_S))

    def _draw(self) -> Callable[[], None]:
        acts: dict[Callable[[], None], float] = {self.look: 60}
        if self.role != "viewer":
            acts |= {self.fill_in_a_form: 12, self.undo: 4}
            acts |= {self.send_what_waited: 8}
        if self.role != "child":
            acts |= {self.print_something: 4, self.change_language: 2}
        acts |= {self.leave_and_come_back: 1}
        return self.chance.choices(list(acts), list(acts.values()))[0]

    def look(self) -> None:
        """A page."""
        pages = CHILDS_PAGES if self.role == "child" else PAGES
        self.browser.ask("GET", self.chance.choice(pages))

    def print_something(self) -> None:
        """A sheet as PDF, or a table."""
        self.browser.ask("GET", self.chance.choice(FILES))
        self.tally.did("sheets and tables made")

    def fill_in_a_form(self) -> None:
        """What was done or found, on a form of the pages."""
        pen = self.chance.choice(("pen-1", "pen-2"))
        note = f"seen at {self.chance.random():.6f}"
        kind, fields = self.chance.choice([
            ("care", {"task": "feed_water", "place": pen, "note": note}),
            ("eggs_collected", {"group": pen, "eggs": "0", "note": note}),
        ])  # fmt: skip
        answer = self.browser.post(f"/log/{kind}", {"back": "/", **fields})
        if (found := kept_in(answer)) is not None:
            with self.tally.lock:
                self.tally.written[self.name].append(found)
            self._may_undo.append(found)
            self.tally.did("forms written")

    def undo(self) -> None:
        """Takes back the last of their own."""
        if not self._may_undo:
            return
        entry = self._may_undo.pop()
        answer = self.browser.post(f"/journal/{entry}/retract", {"why": "undone", "back": "/"})
        if (found := kept_in(answer)) is not None:
            with self.tally.lock:
                self.tally.written[self.name].append(found)
            self.tally.did("undone")

    def send_what_waited(self) -> None:
        """What a phone kept while it had no signal: sent, and now and then sent again."""
        now, made = datetime.now(UTC), []
        for minutes in range(self.chance.randint(1, 3)):
            noise = self.chance.randbytes(NOISE_BYTES)
            made.append({
                "kind": "care", "task": "feed_water", "place": "pen-1", "id": new_id(now, noise),
                "at": (now - timedelta(minutes=minutes)).isoformat(timespec="seconds"),
            })  # fmt: skip
        body, ids = json.dumps(made).encode(), [str(one["id"]) for one in made]
        with self.tally.lock:
            self.tally.may_be_there.update(ids)
        for _ in range(self.chance.choice((1, 1, 2))):
            token = self.browser.token()
            answer = self.browser.ask("POST", "/api/entries", body, X_Write_Token=token)
            if answer.status == http.client.OK and json.loads(answer.text)["written"]:
                with self.tally.lock:
                    self.tally.written[self.name] += ids
                self.tally.did("written by the API", len(ids))

    def change_language(self) -> None:
        """Portuguese, or English again."""
        tag = self.chance.choice(("pt", "en"))
        self.browser.post("/language", {"language": tag, "back": "/more"})
        self.tally.did("languages chosen")

    def leave_and_come_back(self) -> None:
        """Signs out, and in."""
        self.browser.post("/sign-out")
        self.browser.sign_in(self.name)

    # What only the keeper does, every few minutes.

    def backup(self) -> None:
        """Has the schedule fall due at the next minute."""
        at = (datetime.now(ZONE) + timedelta(minutes=1)).strftime("%H:%M")
        folder = str(self.folder / "backups")
        self.browser.post(
            "/settings/backup", {"do": "choose", "folder": folder, "every": "day", "at": at}
        )
        self.tally.did("backups that fell due")

    def bring_a_sheet(self) -> None:
        """A book of costs, written, and every other time taken back."""
        day, many = datetime.now(ZONE).date(), self.chance.randint(5, 20)
        what = f"straw {len(self.tally.imported)}"
        rows = [
            f"{day - timedelta(days=30 + row)},{what},{-self.chance.randint(100, 900) / 100:.2f}"
            for row in range(many)
        ]
        sheet = "\n".join(["day,what,amount", *rows, ""])
        line = "-- a line between parts --"
        parts = [
            f'--{line}\r\nContent-Disposition: form-data; name="token"\r\n\r\n'
            f"{self.browser.token()}\r\n",
            f'--{line}\r\nContent-Disposition: form-data; name="sheet"; filename="book.csv"\r\n'
            f"Content-Type: text/csv\r\n\r\n{sheet}\r\n--{line}--\r\n",
        ]
        kind = f'multipart/form-data; boundary="{line}"'
        body = "".join(parts).encode()
        self.browser.ask("POST", "/tables/import", body, (303,), Content_Type=kind)
        guide = self.browser.ask("GET", "/tables/import/match").text
        found = guide.partition('name="import" value="')[2].partition('"')[0]
        answer = self.browser.post("/tables/import/write", {"import": found}, 200)
        if answer.status != http.client.OK:
            return
        with self.tally.lock:
            self.tally.imported[found] = many
        self.tally.did("sheets brought")
        if len(self.tally.imported) % 2 == 0:
            answer = self.browser.post("/tables/undo", {"import": found})
            if answer.status == http.client.SEE_OTHER:
                with self.tally.lock:
                    self.tally.undone += many
                self.tally.did("sheets taken back")

    def plan(self) -> None:
        """A plan for the eggs of some weeks; nothing is taken on."""
        first = datetime.now(ZONE).date() + timedelta(days=self.chance.randint(80, 120))
        eggs = self.chance.randint(60, 110)
        brief = BRIEF.format(eggs=eggs, first=first, last=first + timedelta(days=27))
        body, token = json.dumps({"brief": brief}).encode(), self.browser.token()
        self.browser.ask("POST", "/api/plan", body, (200, 409), X_Write_Token=token)
        self.tally.did("plans made")


def kept_in(answer: Answer) -> str | None:
    """The id of the entry that the page says was kept."""
    if answer.status != http.client.SEE_OTHER:
        return None
    return answer.headers.get("location", "").partition("kept=")[2] or None


# What asks and sends by itself.


def calendar_app(port: int, tally: Tally, path: str, over: threading.Event) -> None:
    """Asks for a private address every few seconds, and for what changed only."""
    browser, tag = Browser(port, tally), ""
    while not over.is_set():
        answer = browser.ask("GET", path, None, (200, 304), If_None_Match=tag)
        tag = answer.headers.get("etag", tag)
        tally.did("calendars asked for")
        over.wait(CALENDAR_EVERY_S)


def script(port: int, tally: Tally, over: threading.Event) -> None:
    """Somebody's script, signed in as a viewer, which asks for JSON in turn."""
    browser = Browser(port, tally)
    browser.sign_in("Ida")
    for number in count():
        if over.is_set():
            return
        browser.ask("GET", ASKED_BY_SCRIPTS[number % len(ASKED_BY_SCRIPTS)])
        over.wait(1.0)


def by_key(port: int, tally: Tally, name: str, key: str, over: threading.Event) -> None:
    """A device that posts a reading a second."""
    browser = Browser(port, tally)
    for number in count():
        if over.is_set():
            return
        body = json.dumps({"temperature": 20 + number % 1000 / 100, "humidity": 50}).encode()
        answer = browser.ask("POST", "/api/readings/sent", body, Authorization=f"Bearer {key}")
        if answer.status == http.client.OK:
            with tally.lock:
                tally.readings[name] += int(json.loads(answer.text)["kept"])
        over.wait(1.0)


def by_mqtt(port: int, tally: Tally, name: str, over: threading.Event) -> None:
    """A device that publishes a reading a second, at QoS 1."""
    from paho.mqtt.client import Client
    from paho.mqtt.enums import CallbackAPIVersion

    client = Client(CallbackAPIVersion.VERSION2, f"soak-{name}")
    client.connect("127.0.0.1", port)
    client.loop_start()
    for number in count():
        if over.is_set():
            break
        at = datetime.now(UTC).isoformat(timespec="milliseconds")
        body = json.dumps({"temperature": 20 + number % 1000 / 100, "time": at})
        client.publish(f"soak/{name}", body, 1).wait_for_publish(PATIENCE_S)
        with tally.lock:
            tally.readings[name] += 1
        over.wait(1.0)
    client.disconnect()
    client.loop_stop()


# The server, and what it holds.


def made_flock(
    folder: Path, broker_port: int | None, chance: random.Random
) -> tuple[str, dict[str, str]]:
    """Two years of entries up to yesterday, the household, the sensors; and the devices' keys."""
    location, now = str(folder / "flock.sqlite"), datetime.now(UTC)
    first = now.date() - timedelta(days=TWO_YEARS_D)
    entries = invented_journal(SMALL, seed=chance.randrange(10**6), days=TWO_YEARS_D, first=first)
    keys: dict[str, str] = {}
    with open_store(location, create=True) as store:
        with store.writing() as writer:
            writer.append(entries, now)
        household = Household(store)
        household.begin("Ana", PASSPHRASE, now)
        for name, role in ROLES.items():
            if name != "Ana":
                household.add(name, role, PASSPHRASE, now)
        sensors = Sensors(store)
        for n in range(SENSORS_EACH_WAY):
            key = chance.randbytes(KEY_BYTES)
            keys[f"key-{n}"] = sensors.add_device(f"key-{n}", "pen-1", f"key-{n}", USUAL, now, key)
            if broker_port is not None:
                name = f"air-{n}"
                sensors.add_topic(f"soak/{name}", "brooder", name, USUAL, None, now)
        if broker_port is not None:
            sensors.set_broker(f"mqtt://127.0.0.1:{broker_port}", "", "", keep=False)
    return location, keys


def sampled(pid: int, location: str, minute: float) -> Sample:
    """What the server holds now."""
    proc = Path("/proc", str(pid))
    status = dict(
        line.split(":", 1) for line in (proc / "status").read_text().splitlines() if ":" in line
    )
    smaps = (proc / "smaps_rollup").read_text()
    own = sum(int(kb) for kb in re.findall(r"Private_(?:Clean|Dirty):\s+(\d+) kB", smaps))
    sizes = [
        path.stat().st_size / 1e6 if path.exists() else 0.0
        for path in (Path(location), Path(f"{location}-wal"))
    ]
    return Sample(
        minute, int(status["VmRSS"].split()[0]) / 1024, own / 1024,
        len(list((proc / "fd").iterdir())), int(status["Threads"]), *sizes,
    )  # fmt: skip


@dataclass
class Slope:
    """Growth an hour, by least squares, with its 95 % interval."""

    an_hour: float
    low: float
    high: float

    def __str__(self) -> str:
        return f"{self.an_hour:+.2f} an hour (95 % {self.low:+.2f} to {self.high:+.2f})"


def slope(minutes: list[float], values: list[float]) -> Slope:
    """A line through the values of minutes."""
    from scipy.stats import linregress, t  # type: ignore[import-untyped]

    fitted = linregress(minutes, values)
    wide = float(t.ppf(0.975, len(minutes) - 2)) * float(fitted.stderr)
    middle = float(fitted.slope)
    return Slope(60 * middle, 60 * (middle - wide), 60 * (middle + wide))


def by_minute(samples: list[Sample]) -> list[Sample]:
    """The means of each whole minute."""
    minutes: dict[int, list[Sample]] = defaultdict(list)
    for one in samples:
        minutes[int(one.minute)].append(one)
    return [
        Sample(*(fmean(values) for values in zip(*some, strict=True)))  # type: ignore[arg-type]
        for _, some in sorted(minutes.items())
        if len(some) >= MINUTE_S / SAMPLED_EVERY_S / 2
    ]


# The reckoning.


def reckoned(location: str, begun_with: int, tally: Tally) -> tuple[list[str], int]:
    """What is there against what was acknowledged: sentences, and how many things are wrong."""
    with open_store(location) as store:
        entries = list(store.entries())
        kept: Counter[str] = Counter()
        for place in ("pen-1", "brooder"):
            for found in store.readings(place):
                kept[found.instrument] += len(found.temperature_c)
    order = {entry.id: number for number, entry in enumerate(entries)}
    written = [identity for one in tally.written.values() for identity in one]
    lost = [identity for identity in written if identity not in order]
    twice = len(entries) - len(order) + len(written) - len(set(written))
    stirred = sum(
        order.get(before, -1) > order.get(after, 10**9)
        for own in tally.written.values()
        for before, after in pairwise(own)
    )
    tallied = set(written)
    new = entries[begun_with:]
    brought = sum(f"[import {found}]" in entry.note for entry in new for found in tally.imported)
    taken_back = sum(isinstance(e, Retract) and e.id not in tallied for e in new)
    strange = len([e for e in new if e.id not in tallied]) - brought - taken_back
    wrong = len(lost) + twice + stirred + max(0, strange)
    wrong += abs(brought - sum(tally.imported.values())) + abs(taken_back - tally.undone)
    acknowledged = len(tallied) + sum(tally.imported.values()) + tally.undone
    differ = {name: (sent, kept[name]) for name, sent in tally.readings.items()
              if kept[name] != sent}  # fmt: skip
    wrong += len(differ)
    return [
        f"entries acknowledged {acknowledged:,}, in the journal {len(new):,} "
        f"(after {begun_with:,} of two years); lost {len(lost)}, twice {twice}, out of order "
        f"{stirred}, never acknowledged {strange}",
        f"readings acknowledged {sum(tally.readings.values()):,}, kept {sum(kept.values()):,}"
        + (f"; differ (sent, kept): {differ}" if differ else ""),
    ], wrong


def answers_told(tally: Tally, since: float, to: float) -> tuple[str, float, float]:
    """Answers by status between two moments, their median and 95th percentile [ms]."""
    with tally.lock:
        inside = [one for one in tally.answers if since <= one[0] < to]
    by_status = Counter(status for _, _, status, _ in inside)
    told = " ".join(f"{status or 'none'}:{many}" for status, many in sorted(by_status.items()))
    if len(inside) < 2:
        return told, 0.0, 0.0
    cut = quantiles([1000 * one[3] for one in inside], n=100)
    return told, cut[49], cut[94]


HEAD = (
    "| minute | resident MB | its own MB | open files | threads | flock MB | log MB | answers | "
    "p50 ms | p95 ms |\n|---:|---:|---:|---:|---:|---:|---:|---|---:|---:|"
)


def row(one: Sample, told: tuple[str, float, float]) -> str:
    """A line of the table."""
    return (
        f"| {int(one.minute) + 1} | {one.resident_mb:.1f} | {one.own_mb:.1f} | {one.files:.0f} | "
        f"{one.threads:.0f} | {one.flock_mb:.1f} | {one.log_mb:.1f} | {told[0]} | {told[1]:.0f} | "
        f"{told[2]:.0f} |"
    )


def main() -> int:
    """Runs, prints and judges."""
    parser = argparse.ArgumentParser(description="A household's day, and what the server holds.")
    parser.add_argument("minutes", type=float)
    parser.add_argument("--seed", type=int, default=None)
    parser.add_argument("--folder", type=Path, default=None, help="keep all files there")
    parser.add_argument("--table", type=Path, default=None, help="write the table there, too")
    asked = parser.parse_args()
    seed = asked.seed if asked.seed is not None else random.SystemRandom().randrange(2**32)
    folder = asked.folder or Path(tempfile.mkdtemp(prefix="mixed-soak-"))
    folder.mkdir(parents=True, exist_ok=True)
    print(f"seed {seed}, files in {folder}", flush=True)
    return soak(asked.minutes, seed, folder, asked.table)


def soak(minutes: float, seed: int, folder: Path, table: Path | None = None) -> int:
    """The whole run. Gives the exit code."""
    chance, tally, over = random.Random(seed), Tally(), threading.Event()
    broker, broker_port = _broker(folder)
    location, keys = made_flock(folder, broker_port, chance)
    with open_store(location) as store:
        begun_with = len(list(store.entries()))
    port = free_port()
    words = [sys.executable, "-P", "-m", "quailwright", "--flock", location, "serve", "--port"]
    server = Program("the server", [*words, str(port)], port, folder / "server.log")
    server.start()
    if broker is not None:
        with open_store(location) as store:
            until("the server listens to the broker", lambda: len(subscribed(store)) > 0)
    threads = [threading.Thread(target=act, daemon=True) for act in
               _acts(port, tally, seed, folder, keys, broker_port, over)]  # fmt: skip
    samples, lines = [], [HEAD]
    print(HEAD, flush=True)
    began = time.monotonic()
    for thread in threads:
        thread.start()
    try:
        while (passed := time.monotonic() - began) < 60 * minutes:
            samples.append(sampled(server.pid, location, passed / 60))
            minute = len(samples) / (MINUTE_S / SAMPLED_EVERY_S)
            if minute == int(minute):
                told = answers_told(tally, began + 60 * (minute - 1), began + 60 * minute)
                lines.append(row(by_minute(samples)[-1], told))
                print(lines[-1], flush=True)
            time.sleep(max(0.0, len(samples) * SAMPLED_EVERY_S - (time.monotonic() - began)))
    finally:
        over.set()
        for thread in threads:
            thread.join(PATIENCE_S)
        ended = time.monotonic()
        _settled(location, tally)
        server.end(signal.SIGTERM)
        if broker is not None:
            broker.end(signal.SIGTERM)
    said, wrong = _judged(location, begun_with, tally, samples, (began, ended))
    print(*said, sep="\n")
    if table is not None:
        table.write_text("\n".join([*lines, "", *said, ""]), encoding="utf-8")
    return 1 if wrong else 0


def _broker(folder: Path) -> tuple[Program | None, int | None]:
    port = free_port()
    try:
        broker = broker_of(folder, port)
    except SystemExit:
        print("mosquitto is not installed: no sensors by MQTT")
        return None, None
    broker.start()
    return broker, port


def _acts(
    port: int, tally: Tally, seed: int, folder: Path, keys: dict[str, str],
    broker_port: int | None, over: threading.Event,
) -> Iterator[Callable[[], None]]:  # fmt: skip
    """Everything that goes on at once, each for a thread of its own."""
    for name in ROLES:
        yield partial(Person(name, port, tally, seed, folder).live, over)
    address = _calendar_address(port, tally)
    yield partial(calendar_app, port, tally, address, over)
    yield partial(script, port, tally, over)
    for name, key in keys.items():
        yield partial(by_key, port, tally, name, key, over)
    if broker_port is not None:
        for n in range(SENSORS_EACH_WAY):
            yield partial(by_mqtt, broker_port, tally, f"air-{n}", over)


def _calendar_address(port: int, tally: Tally) -> str:
    browser = Browser(port, tally)
    browser.sign_in("Ana")
    form = {"do": "make", "name": "phone", "kinds": "hatch", "language": "en"}
    text = browser.post("/settings/calendar", form, 200).text
    found = re.search(r"/calendar/[0-9a-f]{64}\.ics", text)
    if found is None:
        raise SystemExit(f"mixed_soak: no private address was made: {told_in(text)}")
    return found[0]


def _settled(location: str, tally: Tally) -> None:
    """Waits until what the broker acknowledged has come."""
    end, due = time.monotonic() + 60, sum(tally.readings.values())
    with open_store(location) as store:
        while time.monotonic() < end:
            if sum(store.reading_count(place) for place in ("pen-1", "brooder")) >= due:
                return
            time.sleep(0.2)


def _judged(
    location: str, begun_with: int, tally: Tally, samples: list[Sample],
    between: tuple[float, float],
) -> tuple[list[str], int]:  # fmt: skip
    said, wrong = reckoned(location, begun_with, tally)
    told, p50, p95 = answers_told(tally, *between)
    failed = sum(status == 0 or status >= 500 for _, _, status, _ in tally.answers)
    said.append(f"answers {told}, p50 {p50:.0f} ms, p95 {p95:.0f} ms; 500 or more, or none: "
                f"{failed}")  # fmt: skip
    said.append(", ".join(f"{what} {count:,}" for what, count in sorted(tally.done.items())))
    said += tally.odd
    minutes = by_minute(samples)
    half = minutes[len(minutes) // 2 :]
    if len(half) >= 3:
        said.append(f"second half, {len(half)} minutes, least squares:")
        at = [one.minute for one in half]
        for name, what in (("resident_mb", "resident MB"), ("own_mb", "its own MB"),
                           ("files", "open files"), ("threads", "threads")):  # fmt: skip
            found = slope(at, [getattr(one, name) for one in half])
            said.append(f"{what}: {found}")
            wrong += name in ("files", "threads") and found.low > 0.0
    return said, wrong + failed


if __name__ == "__main__":
    sys.exit(main())

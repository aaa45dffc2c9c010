"""The whole application against a model that only counts.

Two phones log, send late and send twice; entries are corrected and taken back; the server is
started anew, and backups are made and put back. After each step the application must count as the
model does, and answer its pages.
"""

import shutil
import tempfile
from collections import Counter
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from starlette.testclient import TestClient
from tests.makers import uid

from quailwright.exchange import backups
from quailwright.exchange.household import TOKEN_BYTES, Household
from quailwright.exchange.record import check, import_lines
from quailwright.flock.booking.hatching import ONE_SETTING
from quailwright.flock.digest import digest
from quailwright.flock.fold import fold
from quailwright.journal.jsonl import write_lines
from quailwright.journal.store import open_store
from quailwright.web.app import create_app
from quailwright.web.guard import SIGNED_IN
from quailwright.web.home import Settings

BEGAN = datetime(2027, 3, 1, 8, tzinfo=UTC)
TOKENS = {"keeper": "ab" * TOKEN_BYTES, "helper": "cd" * TOKEN_BYTES}
GROUPS, HATCHES = ("hens", "hens", "hens", "young", "spare"), ("march", "april")
Fields = dict[str, Any]

PAGES = (
    "/", "/hatches", "/birds", "/places/pen", "/eggs", "/eggs/store", "/signs", "/journal", "/more",
    "/costs?span=month", "/light", "/housing", "/manure", "/breeding", "/paper", "/paper/round",
    "/paper/back", "/paper/away", "/tables", "/tables/flock.zip", "/readings", "/calendar.ics",
    "/brooding", "/feed", "/settings/feeds", "/log/birds_died", "/api/today", "/api/signs",
    "/api/flock", "/api/hatches", "/api/costs", "/api/eggs",
)  # fmt: skip
TALLY = Counter[str]()
"""How often what was done, over all runs: scripts/fuzz tells it."""
SLOW = ("/api/outlook?weeks=2&draws=100", "/outlook", "/feed/needs")


class Counts:
    """What a notebook and a head for figures know: birds by group and kind, eggs, feed."""

    def __init__(self) -> None:
        self.birds: dict[str, Counter[str]] = {}
        self.eggs = 0
        self.feed_kg = Counter[str]()
        self.in_machine: dict[str, int] = {}
        self.to_house: dict[str, int] = {}
        self.set_at: dict[str, datetime] = {}

    def fits(self, kind: str, of: Fields) -> bool:
        """Books an entry. Whether it can be; if not, the counts are of no more use."""
        told = Counter({name: of[name] for name in ("chicks", "hens", "cocks") if name in of})
        birds = self.birds.get(of.get("group", ""))
        hatch = of.get("hatch", "")
        match kind:
            case "group":
                if hatch:
                    self.to_house[hatch] = self.to_house.get(hatch, -1) - of["chicks"]
                    if self.to_house[hatch] < 0:
                        return False
                self.birds.setdefault(of["group"], Counter()).update(told)
            case "birds_died" | "birds_moved" | "birds_out":
                if birds is None or any(birds[name] < n for name, n in told.items()):
                    return False
                birds.subtract(told)
                if kind == "birds_moved":
                    self.birds.setdefault(of["to_group"], Counter()).update(told)
            case "birds_sexed":
                if birds is None or birds["chicks"] < told.total():
                    return False
                birds["chicks"] -= told.total()
                birds.update(told)
            case "birds_counted":
                if birds is None:
                    return False
                birds.update({name: n - birds[name] for name, n in told.items()})
            case "eggs_collected":
                self.eggs += of["eggs"]
                return birds is not None
            case "eggs_out":
                self.eggs -= of["eggs"]
                return self.eggs >= 0
            case "eggs_set":
                at = datetime.fromisoformat(of["at"])
                if at - self.set_at.setdefault(hatch, at) > ONE_SETTING:
                    return False
                self.in_machine[hatch] = self.in_machine.get(hatch, 0) + of["eggs"]
                self.to_house.setdefault(hatch, 0)
            case "eggs_candled" | "chicks_hatched":
                left: int = self.in_machine.get(hatch, -1) - of.get("clear", 0) - told["chicks"]
                self.in_machine[hatch] = left
                self.to_house[hatch] = self.to_house.get(hatch, 0) + told["chicks"]
                return left >= 0
            case "feed_bought":
                self.feed_kg[of["feed"]] += of["kg"]
            case "feed_given":
                self.feed_kg[of["feed"]] -= of["kg"]
        return True


def counted(entries: list[Fields]) -> Counts | None:
    """The counts after all entries that stand, by when they happened; None where they cannot be."""
    gone = {each["entry"] for each in entries if each["kind"] == "retract"}
    instead = [
        each["instead"] for each in entries if each["kind"] == "retract" and each.get("instead")
    ]
    stand = [
        each for each in entries + instead if each["kind"] != "retract" and each["id"] not in gone
    ]
    counts = Counts()
    for entry in sorted(stand, key=lambda each: str(each["at"])):
        if not counts.fits(entry["kind"], entry):
            return None
    return counts


@cache
def begun() -> Path:
    """A flock file with a household that is signed in, and places."""
    path = Path(tempfile.mkdtemp(prefix="quail-whole-")) / "flock.sqlite"
    with open_store(str(path), create=True) as store:
        household = Household(store)
        household.begin("keeper", "keeper words here", BEGAN)
        household.add("helper", "helper", "helper words here", BEGAN)
    sign_in(path)
    return path


def sign_in(path: Path) -> None:
    """Keeper and helper are signed in, from the beginning."""
    with open_store(str(path)) as store:
        for name, token in TOKENS.items():
            assert Household(store).sign_in(name, f"{name} words here", token, BEGAN) is not None


birds = st.fixed_dictionaries({"hens": st.integers(0, 4), "cocks": st.integers(0, 2)}).filter(
    lambda told: any(told.values())
)
group = st.sampled_from(GROUPS)
hatch = st.sampled_from(HATCHES)
some = st.integers(1, 9)
phone = st.sampled_from(("keeper", "helper"))


def _of(kind: str, **fields: st.SearchStrategy[Any]) -> st.SearchStrategy[Fields]:
    return st.fixed_dictionaries({"kind": st.just(kind), **fields})


def _with_birds(kind: str, **fields: st.SearchStrategy[Any]) -> st.SearchStrategy[Fields]:
    return st.builds(lambda first, told: {**first, **told}, _of(kind, **fields), birds)


facts = st.one_of(
    _with_birds("group", group=group, place=st.just("pen")),
    _of("group", group=st.just("young"), place=st.just("pen"), hatch=hatch, chicks=some),
    _with_birds("birds_died", group=group),
    _with_birds("birds_out", group=group, use=st.just("given")),
    _with_birds(
        "birds_moved", group=st.just("hens"), place=st.just("pen"), to_group=st.just("spare")
    ),
    _with_birds("birds_sexed", group=st.just("young")),
    _with_birds("birds_counted", group=group),
    _of("eggs_collected", group=group, eggs=st.integers(0, 9)),
    _of("eggs_out", use=st.just("eaten"), eggs=some),
    _of(
        "eggs_set",
        hatch=hatch,
        eggs=st.integers(6, 24),
        place=st.just("box"),
        source=st.just("friend"),
    ),
    _of("eggs_candled", hatch=hatch, clear=st.integers(0, 4), dead=st.just(0)),
    _of("chicks_hatched", hatch=hatch, chicks=some),
    _of("feed_bought", feed=st.just("layer"), kg=some),
    _of("feed_given", feed=st.just("layer"), kg=some, place=st.just("pen")),
)


class Whole(RuleBasedStateMachine):
    """`entries` are those that were taken, as they were sent."""

    def __init__(self) -> None:
        super().__init__()
        TALLY["runs"] += 1
        self.folder = Path(tempfile.mkdtemp(prefix="quail-whole-"))
        self.file = self.folder / "flock.sqlite"
        shutil.copy(begun(), self.file)
        self.now = BEGAN
        self.number = 0
        self.entries: list[Fields] = []
        self.queues: dict[str, list[Fields]] = {"keeper": [], "helper": []}
        self.backup: tuple[Path, list[Fields]] | None = None
        self.app: Any = None
        self.tokens: dict[str, str] = {}
        self._open()

    def _open(self) -> None:
        self.app = create_app(Settings(str(self.file), lambda: self.now))
        self.phones = {
            name: TestClient(self.app, base_url="http://localhost", cookies={SIGNED_IN: token})
            for name, token in TOKENS.items()
        }
        if not self.tokens:
            self.tokens = {
                name: phone.get("/api/me").json()["token"] for name, phone in self.phones.items()
            }

    def _close(self) -> None:
        if self.app is not None:
            self.app.state.home.desk.store.close()
            self.app = None

    def teardown(self) -> None:
        """Leaves nothing behind."""
        self._close()
        with open_store(str(self.file)) as store:
            wrong = check(store)
        shutil.rmtree(self.folder)
        assert wrong == []

    def _made(self, fact: Fields) -> Fields:
        """An entry of this moment; no two are of one."""
        self.now += timedelta(minutes=7)
        self.number += 1
        return {**fact, "id": uid(self.number), "at": self.now.isoformat(timespec="seconds")}

    def _sent(self, phone: str, entry: Fields) -> None:
        """Sends an entry, and holds what comes of it against what the model says."""
        answer = self.phones[phone].post(
            "/api/entries", json=entry, headers={"X-Write-Token": self.tokens[phone]}
        )
        there = entry in self.entries
        counts = counted([*self.entries, entry])
        TALLY["repeated" if there else "taken" if counts else "refused"] += 1
        if there:
            assert (answer.status_code, answer.json()) == (200, {"written": 0, "already": 1})
        elif counts is not None:
            assert answer.status_code == 200, (entry, answer.text)
            assert answer.json() == {"written": 1, "already": 0}
            self.entries.append(entry)
        else:
            assert answer.status_code == 422, (entry, answer.text)
            assert answer.json()["findings"][0]["sentence"]

    @initialize(many=st.lists(facts, min_size=4, max_size=12))
    def begins(self, many: list[Fields]) -> None:
        """A pen, a box, some hens, eggs in the box, and some days of notes."""
        at_first: list[Fields] = [
            {"kind": "holding", "name": "Home", "timezone": "Europe/Lisbon"},
            {"kind": "place", "place": "pen", "role": "pen", "floor_m2": 4},
            {"kind": "place", "place": "box", "role": "incubator"},
            {"kind": "group", "group": "hens", "place": "pen", "hens": 6, "cocks": 2,
             "hatched_on": "2026-10-01"},
            {"kind": "eggs_set", "hatch": "march", "eggs": 20, "place": "box", "source": "friend"},
            {"kind": "eggs_collected", "group": "hens", "eggs": 9},
        ]  # fmt: skip
        for fact in (*at_first, *many):
            self._sent("keeper", self._made(fact))

    @rule(many=st.lists(facts, min_size=1, max_size=5), phone=phone)
    def logs(self, many: list[Fields], phone: str) -> None:
        """Writes things down with a signal."""
        for fact in many:
            self._sent(phone, self._made(fact))

    @rule(many=st.lists(facts, min_size=1, max_size=4), phone=phone)
    def logs_without_a_signal(self, many: list[Fields], phone: str) -> None:
        """Writes things down that wait on the phone."""
        self.queues[phone] += [self._made(fact) for fact in many]

    @rule(phone=phone, twice=st.booleans())
    def sends_what_waits(self, phone: str, twice: bool) -> None:
        """The phone has a signal again; the first answers may be lost on their way."""
        for entry in self.queues[phone] * (2 if twice else 1):
            self._sent(phone, entry)
        self.queues[phone] = []

    @precondition(lambda self: self.entries)
    @rule(data=st.data(), fact=st.none() | facts)
    def takes_back(self, data: Any, fact: Fields | None) -> None:
        """Takes an entry back, or corrects it by another of its kind and moment."""
        gone = {each["entry"] for each in self.entries if each["kind"] == "retract"}
        kept = ("retract", "holding", "place")
        may = [each for each in self.entries if each["id"] not in gone and each["kind"] not in kept]
        if not may:
            return
        wrong = data.draw(st.sampled_from(may))
        taking = self._made({"kind": "retract", "entry": wrong["id"], "why": "a slip"})
        if fact is not None:
            self.number += 1
            taking["instead"] = {**fact, "id": uid(self.number), "at": wrong["at"]}
        self._sent("keeper", taking)

    @rule(days=st.sampled_from((1, 2, 17)))
    def waits(self, days: int) -> None:
        """Days go by."""
        self.now += timedelta(days=days)

    @rule(how=st.sampled_from(("starts_anew", "backs_up", "puts_back", "carries_over")))
    def is_tended(self, how: str) -> None:
        """What is done with the flock file as a whole."""
        TALLY[how] += 1
        getattr(self, f"_{how}")()

    def _starts_anew(self) -> None:
        """The server is stopped and started."""
        self._close()
        self._open()

    def _backs_up(self) -> None:
        """A backup is made and proven."""
        path = self.folder / "backup.zip"
        made = backups.back_up(self.app.state.home.desk.store, path, self.now)
        assert (made.whole, made.entries) == (True, len(self.entries))
        self.backup = (path, list(self.entries))

    def _puts_back(self) -> None:
        """The backup takes the place of the flock file, as it was."""
        if self.backup is None:
            self._backs_up()
        assert self.backup is not None
        path, entries = self.backup
        self._close()
        restored = backups.restore(path, str(self.file), True, self.now)
        assert (restored.same_state, restored.entries) == (True, len(entries))
        self.entries = list(entries)
        self._open()
        assert all(
            phone.get("/", follow_redirects=False).status_code == 303
            for phone in self.phones.values()
        )
        sign_in(self.file)

    def _carries_over(self) -> None:
        """The export of the journal, taken in elsewhere, stands as it stands here."""
        entries = self.app.state.home.desk.entries()
        lines = b"".join(write_lines(entries))
        elsewhere = self.folder / f"other{self.number}.sqlite"
        with open_store(str(elsewhere), create=True) as store:
            import_lines(store, lines, self.now)
            assert digest(fold(store.entries())) == digest(fold(entries))
        elsewhere.unlink()

    @rule(pages=st.lists(st.sampled_from((*PAGES, *SLOW)), min_size=1, max_size=3))
    def looks(self, pages: list[str]) -> None:
        """Any page answers, whatever stands."""
        for page in pages:
            answer = self.phones["keeper"].get(page)
            assert answer.status_code == 200, (page, answer.text[:2000])
            TALLY["pages"] += 1

    @invariant()
    def it_counts_as_the_model_does(self) -> None:
        """Birds by group and kind, eggs in store and machine, feed, and entries."""
        TALLY["states compared"] += 1
        home = self.app.state.home
        assert len(home.desk.entries()) == len(self.entries)
        counts, flock = counted(self.entries), home.desk.flock(self.now)
        assert counts is not None
        alive = {name: {kind: getattr(each.alive, kind) for kind in ("chicks", "hens", "cocks")}
                 for name, each in flock.groups.items()}  # fmt: skip
        assert {name: Counter(told) for name, told in alive.items()} == counts.birds
        assert sum(lot.on_hand for lot in flock.lots.values()) == counts.eggs
        for name, each in flock.hatches.items():
            assert (each.alive, each.to_house) == (counts.in_machine[name], counts.to_house[name])
        assert {name: stock.kg for name, stock in flock.feeds.items()} == dict(counts.feed_kg)
        for each in flock.groups.values():
            came = each.came["in"] + each.came["moved_in"] + each.came["found"]
            assert came == each.alive.total + each.gone.total()
        assert flock.findings == []

    @invariant()
    def the_round_answers(self) -> None:
        """The round, as the phone asks for it."""
        assert self.phones["helper"].get("/").status_code == 200

"""The rules of notices by themselves: random nights, held against a plain reading of the rules."""

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from quailwright.guide.notices.air import Heard, Watch, by_readings, hear, silent
from quailwright.guide.notices.care import told as as_facts
from quailwright.guide.notices.rules import PRINTED, printed_rules
from quailwright.guide.notices.state import Wrong, changes
from quailwright.guide.notices.telling import Hours, again_after, as_told, to_tell
from quailwright.husbandry import facts
from quailwright.journal.notices import Channel, Notice, Told
from quailwright.journal.readings import Latest, to_ms

BEGUN = datetime(2027, 5, 3, 20, 0, tzinfo=UTC)
SECOND, MINUTE, HOUR = timedelta(seconds=1), timedelta(minutes=1), timedelta(hours=1)
RULE = next(rule for rule in printed_rules() if rule.code == "machine_cold")
CHANNEL = Channel(1, "phone", "", "{}", BEGUN - HOUR, 0, None, "")
PLACES = ("a", "b", "c")
Level = st.sampled_from([20.0, 35.5, 35.9, 36.1, 36.4, 37.5])
Signal = st.lists(st.tuples(st.integers(1, 40), Level), min_size=1, max_size=8)


def watch(limit: float = 36.0, minutes: float = 15.0) -> Watch:
    return Watch(RULE, "a", "temperature", "below", limit, timedelta(minutes=minutes))


def shown(signal: list[tuple[int, float]], minutes: int) -> list[float]:
    """A value for each minute, the last level to the end."""
    values = [level for span, level in signal for _ in range(span)]
    return (values + [signal[-1][1]] * minutes)[:minutes]


def is_true(at: list[datetime], values: list[float], minutes: float) -> bool:
    """The rule as it is told: all readings of so many minutes below, and spanning them."""
    if not values or values[-1] >= RULE.limit:  # type: ignore[operator]
        return False
    first = len(values)
    while first and values[first - 1] < RULE.limit:  # type: ignore[operator]
        first -= 1
    return at[-1] - at[first] >= timedelta(minutes=minutes)


class _Night:
    """Notices and one channel in memory."""

    def __init__(self) -> None:
        self.notices: dict[int, Notice] = {}
        self.told: dict[int, Told] = {}
        self.sent: list[datetime] = []

    def step(self, wrong: list[Wrong], unsure: set[tuple[str, str]], now: datetime) -> None:
        found = changes(list(self.notices.values()), wrong, unsure, None, {"machine_cold"}, now)
        for each in found.changed:
            self.notices[each.id] = each
        for number, each in enumerate(found.new, len(self.notices) + 1):
            fields = (getattr(each, name) for name in each.__slots__[1:])
            self.notices[number] = Notice(number, *fields)
        lately = sum(now - HOUR < at for at in self.sent)
        hours = Hours(ZoneInfo("UTC"), time(21), time(7))
        items = to_tell(list(self.notices.values()), self.told, CHANNEL, hours, lately, now)
        if items:
            self.sent.append(now)
            self.told |= {each.notice: each for each in as_told(items, CHANNEL, now)}

    def knows(self, place: str) -> bool:
        """Whether the channel was last told that this place is wrong."""
        return any(
            each.what == "open" and self.notices[each.notice].about == place
            for each in self.told.values()
        )


@settings(max_examples=8)
@given(st.tuples(Signal, Signal, Signal))
def test_what_lasts_is_told_within_30_s_and_never_more_than_so_many_an_hour(
    signals: tuple[list[tuple[int, float]], ...],
) -> None:
    minutes, step = 100, 10 * SECOND
    night, values = _Night(), [shown(signal, minutes) for signal in signals]
    true_since: dict[str, datetime | None] = dict.fromkeys(PLACES)
    most = facts.value("notices.per_hour")
    at = [BEGUN + MINUTE * minute for minute in range(minutes)]
    at_ms = np.array([to_ms(each) for each in at])
    for tick in range(int(minutes * MINUTE / step)):
        now = BEGUN + tick * step
        minute = int((now - BEGUN) / MINUTE)
        wrong, unsure = [], set()
        for place, series in zip(PLACES, values, strict=True):
            first = max(0, minute - 55)
            said = by_readings(
                at_ms[first : minute + 1], np.array(series[first : minute + 1]), watch(), to_ms(now)
            )
            assert said is not None
            true = is_true(at[: minute + 1], series[: minute + 1], 15)
            assert (said.is_ == "wrong") == true
            since = true_since[place]
            true_since[place] = (now if since is None else since) if true else None
            if said.is_ == "wrong":
                assert said.since is not None
                known = as_facts(place=place, quantity="temperature", side="below", limit=36.0,
                                 value=series[minute])  # fmt: skip
                wrong.append(Wrong("machine_cold", place, True, said.since, known))
            elif said.is_ == "unsure":
                unsure.add(("machine_cold", place))
        night.step(wrong, unsure, now)
        lately = sum(now - HOUR < each for each in night.sent)
        assert lately <= most
        for place, since in true_since.items():
            if since is not None and now - since >= 30 * SECOND:
                assert night.knows(place) or lately == most


def test_no_reading_and_a_gap_are_no_verdict() -> None:
    now = to_ms(BEGUN)
    minute = 60_000
    nothing = by_readings(np.array([], dtype=np.int64), np.array([]), watch(), now)
    assert nothing is None
    old = np.array([now - 40 * minute, now - 30 * minute])
    assert by_readings(old, np.array([20.0, 20.0]), watch(), now) is None
    gap = np.array([now - 30 * minute, now - 5 * minute, now])
    found = by_readings(gap, np.array([20.0, 20.0, 20.0]), watch(), now)
    assert found is not None
    assert found.is_ == "unsure"
    one = by_readings(gap[-1:], np.array([20.0]), watch(minutes=0), now)
    assert one is not None
    assert one.is_ == "unsure"


def test_who_does_not_send_by_itself_is_not_called_silent() -> None:
    """A file read in by hand brings one newest reading; a sensor brings one after another."""
    rule = next(rule for rule in printed_rules() if rule.code == "silent")
    by_hand = [Latest("box", "hand", BEGUN, 37.5, None)]
    heard = hear({}, {}, by_hand, BEGUN)
    assert heard == hear(heard, {"box\thand": BEGUN}, by_hand, BEGUN + MINUTE) == {}
    sends = [Latest("box", "probe", BEGUN + 5 * MINUTE, 37.5, None)]
    heard = hear({}, {"box\tprobe": BEGUN}, sends, BEGUN + 5 * MINUTE)
    assert heard == {"box\tprobe": Heard(BEGUN + 5 * MINUTE, 300.0)}
    for minutes, is_silent in ((20, False), (26, True)):
        found = silent(heard, sends, rule, BEGUN, BEGUN + minutes * MINUTE)
        assert bool(found) == is_silent
    # One that sends every quarter of an hour has three of its steps.
    slow = {"box\tprobe": Heard(BEGUN, 900.0)}
    assert not silent(slow, sends, rule, BEGUN, BEGUN + 45 * MINUTE)


def test_reminders_come_ever_more_rarely() -> None:
    waits = [again_after(True, times) for times in range(1, 12)]
    assert waits == sorted(waits)
    assert waits[0] == 30 * MINUTE
    assert waits[-1] == 12 * HOUR


def test_a_digest_is_due_once_a_day_by_the_clock_at_the_holding() -> None:
    """America/New_York: clocks skip 02:00 to 03:00 on 14 March 2027 (IANA time zone database)."""
    hours = Hours(ZoneInfo("America/New_York"), digest=time(2, 30))
    skipped = datetime(2027, 3, 14, 7, 0, tzinfo=UTC)  # 03:00 there, a minute after 01:59.
    assert not hours.digest_due(skipped - MINUTE, "2027-03-13")
    assert hours.digest_due(skipped, "2027-03-13")
    assert not hours.digest_due(skipped, "2027-03-14")
    assert hours.digest_due(skipped + 24 * HOUR, "2027-03-14")
    assert not hours.digest_due(skipped + 8 * HOUR, "2027-03-13")
    assert not Hours(hours.zone).digest_due(skipped, "")


def test_every_rule_has_its_figures() -> None:
    assert [rule.code for rule in printed_rules()] == list(PRINTED)
    assert {rule.code: rule.limit for rule in printed_rules() if rule.limit is not None} == {
        # Romao et al. 2009, Arch Vet Sci 14(3): hatch had fallen to a half at 36 and at 39 °C.
        "machine_cold": 36.0, "machine_hot": 39.0,
        # Common practice, no source.
        "machine_dry": 55.0,
    }  # fmt: skip

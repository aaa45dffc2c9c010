"""Nights with notices on: every alarm is told as designed, and no more than that."""

import threading
import time
from collections.abc import Mapping
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from tests.exchange.nights import EVENING, FLOCK, HOUR, MINUTE, WARM, Night, night, warm
from tests.makers import made

from quailwright.exchange import notice_settings, notice_watch
from quailwright.exchange.backup_schedule import Outcome, note
from quailwright.exchange.notice_page import notice_page, open_notices, see_to
from quailwright.exchange.notice_send import Sent
from quailwright.exchange.notice_settings import NoticeSettings, OwnRule
from quailwright.exchange.notice_watch import NoticeWatch
from quailwright.guide.notices.words import Letter
from quailwright.journal import notices
from quailwright.journal.findings import FlockUnusable
from quailwright.journal.moments import utc_text

CUT = EVENING + 10 * MINUTE


def cooling(at: datetime) -> Mapping[str, float]:
    """After a power cut both machines cool by 0.5 °C a minute."""
    cooled = 37.5 - 0.5 * max(0.0, (at - CUT) / MINUTE)
    return {"box": cooled, "box 2": cooled, "warm box": 34.0}


def test_a_power_cut_is_one_message_then_a_reminder_then_its_end(tmp_path: Path) -> None:
    with night(tmp_path) as one:
        one.go(CUT, warm, MINUTE)
        one.go(CUT + 55 * MINUTE, cooling, MINUTE)
        # Below 36 °C from the fourth minute on, for 15 minutes: true at 19 min, told at the next
        # look, once the patience for what begins with it is over.
        told = CUT + 19 * MINUTE
        assert one.titles == ["Incubator too cold: box, and 1 more"] * 2
        assert one.after(told) == [MINUTE, 31 * MINUTE]
        text = one.sent[0][1].text
        assert "box: 27.5 °C, below 36 °C since Mon 3 May 21:14." in text
        assert "box 2: 27.5 °C" in text
        assert text.count("an electrician") == 1
        one.go(CUT + 70 * MINUTE, warm, MINUTE)
        assert one.titles[2:] == ["Over: Incubator too cold: box, and 1 more"]
        assert "it was below 36 °C from Mon 3 May 21:14, down to 10.5 °C." in one.sent[2][1].text
        one.go(CUT + 75 * MINUTE, warm, MINUTE)
        assert len(one.sent) == 3


def test_an_alarm_that_somebody_sees_to_reminds_nobody(tmp_path: Path) -> None:
    with night(tmp_path) as one:
        one.go(CUT, warm, MINUTE)
        one.go(CUT + 22 * MINUTE, cooling, MINUTE)
        flock = one.desk.flock(one.now)
        for each in open_notices(one.desk, flock, one.now):
            assert see_to(one.desk, each.id, "Mira")
        one.go(CUT + 4 * HOUR, cooling, 5 * MINUTE, 5 * MINUTE)
        assert len(one.sent) == 1
        shown = open_notices(one.desk, flock, one.now)
        assert [each.seen_by for each in shown] == ["Mira", "Mira"]


def test_one_spike_and_a_short_dip_alarm_nobody(tmp_path: Path) -> None:
    def dips(at: datetime) -> Mapping[str, float]:
        minute = round((at - EVENING) / MINUTE)
        spike = 10.0 if minute == 20 else 37.5
        return {"box": spike, "box 2": 35.0 if 30 <= minute < 44 else 37.5, "warm box": 34.0}

    with night(tmp_path) as one:
        one.go(EVENING + HOUR, dips, 2 * MINUTE, 2 * MINUTE)
        assert one.notices() == []


@pytest.mark.parametrize("why", ["empty", "long over"])
def test_a_machine_without_eggs_may_be_cold(tmp_path: Path, why: str) -> None:
    empty = [entry for entry in FLOCK if getattr(entry, "hatch", None) is None]
    # A hatch that nobody closed, a month ago.
    begun = EVENING if why == "empty" else EVENING + timedelta(days=30)
    with night(tmp_path, None, begun, empty if why == "empty" else FLOCK) as one:
        one.go(begun + 30 * MINUTE, lambda _: {"box": 18.0}, 2 * MINUTE, 2 * MINUTE)
        assert one.notices() == []


def test_an_instrument_that_shows_too_much_is_corrected(tmp_path: Path) -> None:
    off = made("instrument", "2027-01-02", instrument="probe", place="box",
               temperature_offset_c=2.0)  # fmt: skip
    with night(tmp_path, entries=[*FLOCK, off]) as one:
        one.go(EVENING + 20 * MINUTE, lambda _: {"box": 37.5}, MINUTE)
        assert one.titles == ["Incubator too cold: box"]
        assert "box: 35.5 °C, below 36 °C" in one.sent[0][1].text


def test_a_silent_sensor_is_an_alarm_of_its_own_and_no_all_clear(tmp_path: Path) -> None:
    def dies_cold(at: datetime) -> Mapping[str, float | None]:
        return {**cooling(at), "box": None} if at > CUT + 25 * MINUTE else cooling(at)

    with night(tmp_path) as one:
        one.go(CUT, warm, MINUTE)
        one.go(CUT + 48 * MINUTE, dies_cold, MINUTE)
        assert one.titles[:2] == ["Incubator too cold: box, and 1 more", "A sensor is silent: box"]
        assert "First: go and read the machine itself" in one.sent[1][1].text
        lasting = {(each.rule, each.about) for each in one.notices() if each.over is None}
        assert ("machine_cold", "box") in lasting
        assert ("silent", "box\tprobe") in lasting


def test_a_limit_that_flaps_is_told_a_few_times_only(tmp_path: Path) -> None:
    def flaps(at: datetime) -> Mapping[str, float]:
        minute = round((at - EVENING) / MINUTE)
        return {"box": 35.0 if minute % 40 < 20 else 37.5}

    with night(tmp_path) as one:
        one.go(EVENING + 7 * HOUR, flaps, 4 * MINUTE, 4 * MINUTE)
        # Ten times below and above: each return is believed to be over later.
        assert 4 <= len(one.sent) <= 12
        assert one.most_in_an_hour() <= 4


def test_nothing_is_told_while_notices_are_off(tmp_path: Path) -> None:
    with night(tmp_path, NoticeSettings()) as one:
        one.go(CUT + 30 * MINUTE, cooling, MINUTE)
        assert one.sent == []
        assert one.notices() == []


# Channels.


def test_a_channel_that_failed_for_hours_is_told_all_once_it_is_back(tmp_path: Path) -> None:
    with night(tmp_path) as one:
        one.works = False
        one.go(CUT, warm, MINUTE)
        one.go(CUT + 30 * MINUTE, cooling, MINUTE)
        one.go(CUT + 90 * MINUTE, lambda at: {**cooling(at), "box": 37.5}, 2 * MINUTE, 2 * MINUTE)
        page = notice_page(one.desk, one.desk.flock(one.now), one.now)
        assert page.channels[0].said.startswith("It fails: ")
        assert one.sent == []
        # Tried ever more rarely, not each time it is looked at.
        assert 6 <= len(page.messages) <= 10
        one.works = True
        one.go(CUT + 107 * MINUTE, lambda at: {**cooling(at), "box": 37.5}, 2 * MINUTE, 2 * MINUTE)
        assert one.titles == ["Incubator too cold: box 2, and 1 more"]
        text = one.sent[0][1].text
        assert "It is over, and lasted " in text
        assert "box 2: " in text


def test_a_kill_between_sending_and_noting_tells_twice_and_loses_nothing(tmp_path: Path) -> None:
    with night(tmp_path) as one:
        one.go(CUT, warm, MINUTE)
        watch = NoticeWatch(one.post)
        # As if the power went once the server had taken it: nothing is noted.
        watch._do = lambda *given: one.post("x", given[4])  # type: ignore[method-assign,assignment]
        one.watch = watch
        one.go(CUT + 21 * MINUTE, cooling, MINUTE)
        assert len(one.sent) == 1
        # What was sent was not noted: after the start it is sent again, and then no more.
        one.start()
        one.go(CUT + 24 * MINUTE, cooling, MINUTE)
        assert one.titles == ["Incubator too cold: box, and 1 more"] * 2
        one.start()
        one.go(CUT + 27 * MINUTE, cooling, MINUTE)
        assert len(one.sent) == 2


def test_a_kill_between_noticing_and_sending_loses_nothing(tmp_path: Path) -> None:
    with night(tmp_path) as one:
        one.go(CUT, warm, MINUTE)
        one.go(CUT + 20 * MINUTE, cooling, MINUTE)
        assert len(one.notices()) == 2
        sent = len(one.sent)
        one.start()
        one.go(CUT + 22 * MINUTE, cooling, MINUTE)
        assert len(one.sent) - sent + sent == 1


def test_a_dead_server_holds_up_no_other_channel(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(notice_watch, "_SENDS_FOR_S", 0.2)
    hangs = threading.Event()

    def post(address: str, letter: Letter) -> Sent:
        if "dead" in address:
            hangs.wait(10)
            return Sent(False, "The server gave no answer in time.")
        return one.post(address, letter)

    with night(tmp_path) as one:
        add = notice_settings.add_channel
        add(one.desk.store, "dead", "json://dead", "en", False, EVENING - HOUR)
        one.go(CUT, warm, MINUTE)
        one.watch = NoticeWatch(post)
        one.go(CUT + 25 * MINUTE, cooling, MINUTE)
        assert one.titles == ["Incubator too cold: box, and 1 more"]
        hangs.set()
        one.watch.end()
        page = notice_page(one.desk, one.desk.flock(one.now), one.now)
        tried = {each.channel.name: each.channel.tried for each in page.channels}
        assert tried == {"phone": 0, "dead": 1}


def test_a_message_that_cannot_be_noted_makes_no_storm(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise FlockUnusable("The disk is full.")

    with night(tmp_path) as one:
        one.go(CUT, warm, MINUTE)
        with monkeypatch.context() as disk:
            disk.setattr("quailwright.journal.notices.note_message", full)
            one.go(CUT + 27 * MINUTE, cooling, MINUTE)
            assert len(one.sent) == 1
        one.go(CUT + 30 * MINUTE, cooling, MINUTE)
        assert len(one.sent) == 1


# Down time and clocks.


def test_hours_without_watch_are_told_once_and_old_alarms_are_not_new(tmp_path: Path) -> None:
    with night(tmp_path) as one:
        one.go(EVENING + 10 * MINUTE, warm, MINUTE)
        back = EVENING + 5 * HOUR
        one.go(back, warm, HOUR, serves=False)
        # What a logger kept meanwhile arrives late: cold for an hour, long since warm again.
        for minute in range(60):
            one.now = EVENING + HOUR + minute * MINUTE
            one.send({"box": 20.0})
        one.now = back
        one.start()
        one.go(back + 15 * MINUTE, warm, MINUTE)
        assert one.titles == ["Nobody watched"]
        assert "from Mon 3 May 21:09 to Tue 4 May 02:00" in one.sent[0][1].text
        assert [each.rule for each in one.notices()] == ["unwatched"]


def test_sensors_have_time_to_send_after_a_start(tmp_path: Path) -> None:
    with night(tmp_path) as one:
        one.go(EVENING + 5 * MINUTE, warm, MINUTE)
        one.now = EVENING + 2 * HOUR
        one.start()
        one.go(one.now + 15 * MINUTE, lambda _: {}, MINUTE)
        assert "silent" not in {each.rule for each in one.notices()}
        one.go(one.now + 10 * MINUTE, lambda _: {}, MINUTE)
        assert [each.rule for each in one.notices()].count("silent") == 3


@pytest.mark.parametrize("jump", [timedelta(days=-200), timedelta(days=200)])
def test_a_clock_that_jumps_harms_nothing(tmp_path: Path, jump: timedelta) -> None:
    with night(tmp_path) as one:
        one.go(CUT, warm, MINUTE)
        one.go(CUT + 21 * MINUTE, cooling, MINUTE)
        assert len(one.sent) == 1
        one.now += jump
        one.go(one.now + 5 * MINUTE, lambda _: {}, MINUTE)
        one.now -= jump
        one.go(one.now + 40 * MINUTE, lambda _: {"box": 20.0, "box 2": 20.0}, MINUTE)
        # It goes on being told, at intervals, and is no storm.
        assert 2 <= len(one.sent) <= 8


@pytest.mark.parametrize(
    ("midnight", "hours"),
    [("2027-03-27", 10.5), ("2027-10-30", 11.5)],
)
def test_hours_of_quiet_across_a_change_of_clocks(
    tmp_path: Path, midnight: str, hours: float
) -> None:
    """Europe/Lisbon: IANA time zone database; clocks change at 01:00 UTC on 28 March and 31
    October 2027. Quiet from 21:30 to 07:30 is an hour shorter, or longer, on these nights."""
    begun = datetime.fromisoformat(f"{midnight}T20:00+00:00")
    settings = NoticeSettings(on=True, quiet_from="21:30", quiet_until="07:30")
    withheld = made("quarantine", midnight, place="box", until=midnight)
    with night(tmp_path, settings, begun, [*FLOCK[:1], FLOCK[1], withheld]) as one:
        one.start()
        assert one.watch is not None
        # Midnight at the holding: the quarantine is over, and nobody is woken by that.
        one.now = begun + 5 * HOUR
        one.watch.look_at_care(one.desk, one.now)
        one.go(begun + 14 * HOUR, lambda _: {}, 5 * MINUTE)
        assert one.titles == ["Withheld or in quarantine no longer: box"]
        local = one.sent[0][0].astimezone(ZoneInfo("Europe/Lisbon"))
        assert (local.hour, local.minute) == (7, 30)
        assert one.sent[0][0] - begun == timedelta(hours=hours)


def test_what_is_urgent_passes_hours_of_quiet(tmp_path: Path) -> None:
    settings = NoticeSettings(on=True, quiet_from="20:00", quiet_until="08:00")
    with night(tmp_path, settings) as one:
        one.go(CUT, warm, MINUTE)
        one.go(CUT + 22 * MINUTE, cooling, MINUTE)
        assert one.titles == ["Incubator too cold: box, and 1 more"]


def test_the_digest_comes_once_a_day_and_not_hours_late(tmp_path: Path) -> None:
    settings = NoticeSettings(on=True, digest="07:00", address="http://192.0.2.10:8347/")
    with night(tmp_path, settings, digest=True, language="pt") as one:
        one.go(EVENING + 17 * HOUR, lambda _: {}, 8 * MINUTE)
        # 07:00 in Lisbon is 06:00 UTC in May.
        assert [(at.day, at.hour, at.minute < 8) for at, _ in one.sent] == [(4, 6, True)]
        assert "http://192.0.2.10:8347/" in one.sent[0][1].text
        # That of another day is not sent at night: only that nobody watched.
        one.now = datetime(2027, 5, 6, 20, tzinfo=UTC)
        one.go(one.now + 20 * MINUTE, lambda _: {}, 5 * MINUTE)
        assert len(one.sent) == 2
        assert [each.rule for each in one.notices()] == ["unwatched"]


# What the journal tells.


def test_steps_holds_and_a_failed_backup_are_told(tmp_path: Path) -> None:
    late = datetime(2027, 5, 13, 12, 0, tzinfo=UTC)
    vet = made("treated", "2027-05-01", group="chicks", product="drops",
               meat_withheld_until="2027-05-12")  # fmt: skip
    with night(tmp_path, now=late, entries=[*FLOCK, vet]) as one:
        note(one.desk.store, Outcome(at=utc_text(late), made=False, why="The folder is full."))
        one.watch = NoticeWatch(one.post)
        one.watch.look_at_care(one.desk, late)
        one.go(late + MINUTE, lambda _: {})
        told = {each.rule: each for each in one.notices()}
        assert set(told) >= {"step", "hold", "backup"}
        text = one.sent[0][1].text
        assert (
            "may: not done, as far as the journal tells, due Wed 12 May 20:00: Stop turning" in text
        )
        assert "chicks: meat is withheld no longer." in text
        assert "The backup failed: The folder is full." in text
        with one.desk.store.writing() as writer:
            writer.append([made("turning_stopped", "2027-05-13T12:30+00:00", hatch="may")], late)
        one.watch.look_at_care(one.desk, late + HOUR)
        assert all(each.over for each in one.notices() if each.rule == "step")


def test_bad_signs_and_feed_that_runs_out_are_told(tmp_path: Path) -> None:
    """Chicks that lie dead together after a cold night, and hens with feed for two days."""
    at = datetime(2027, 5, 4, 12, tzinfo=UTC)
    day = "2027-05-04"
    entries = [
        *FLOCK,
        made("birds_died", day, group="chicks", chicks=8, found="chilled", together=True),
        made("temperature_seen", day, place="warm box", lowest_c=12, spot="away"),
        made("group", "2027-01-01", group="hens", place="pen", hens=30, hatched_on="2026-10-01"),
        made("feed", "2027-01-01", feed="pellets", stage="layer"),
        made("feed_bought", "2027-04-20", feed="pellets", kg=12),
        *[made("feed_given", at.date() - timedelta(days=back), feed="pellets", kg=0.75)
          for back in range(1, 14)],
    ]  # fmt: skip
    with night(tmp_path, now=at, entries=entries) as one:
        one.start()
        assert one.watch is not None
        one.watch.look_at_care(one.desk, at)
        one.go(at + 2 * MINUTE, lambda _: {}, MINUTE)
        assert {each.rule for each in one.notices()} == {"sign", "feed"}
        assert len(one.sent) == 1
        text = one.sent[0][1].text
        assert "warm box" in text
        assert "pellets: it may be gone by " in text


def test_the_watch_is_cheap_beside_many_readings(tmp_path: Path) -> None:
    with night(tmp_path) as one:
        start = EVENING - timedelta(days=10)
        with one.desk.store.writing() as writer:
            for place in WARM:
                at = [round(start.timestamp() * 1000) + 10_000 * step for step in range(50_000)]
                writer.append_readings(place, "probe", at, [37.5] * len(at), [None] * len(at))
        one.go(EVENING + 3 * MINUTE, warm)
        begun = time.perf_counter()
        one.go(EVENING + 5 * MINUTE, warm, timedelta(seconds=5))
        # Every 5 seconds: a tenth of it at most, however many readings there are.
        assert (time.perf_counter() - begun) / 24 < 0.5


# Watch that only seems to be kept.


@pytest.mark.parametrize("off", [timedelta(minutes=-70), timedelta(hours=5)])
def test_a_sensor_with_a_wrong_clock_is_told_for_nothing_of_it_is_watched(
    tmp_path: Path, off: timedelta
) -> None:
    """Such as summer time taken for UTC. Else its machine could cool, and nobody be told."""

    def dated(one: Night, until: datetime, by: timedelta) -> None:
        while one.now < until:
            at = one.now
            one.now = at + by
            one.send({"box": 20.0})
            one.now = at
            assert one.watch is not None
            one.watch.watch(one.desk, one.now)
            one.now += MINUTE

    with night(tmp_path) as one:
        one.start()
        dated(one, EVENING + 30 * MINUTE, off)
        assert one.titles == ["A sensor's clock is wrong: box"]
        back = "70 minutes back" if off < timedelta(0) else "5 hours ahead"
        assert f"what probe sends is dated {back}, and so it is not watched" in one.sent[0][1].text
        # Set right it is watched, though what it dated ahead lies there still.
        dated(one, EVENING + 55 * MINUTE, timedelta(0))
        assert set(one.titles[1:]) == {
            "Over: A sensor's clock is wrong: box", "Incubator too cold: box"
        }  # fmt: skip
        # And when it dies it is missed.
        one.go(EVENING + 85 * MINUTE, lambda _: {}, MINUTE)
        assert "box: nothing from probe since Mon 3 May 21:54." in one.sent[-1][1].text


def test_files_that_are_read_in_have_no_wrong_clock(tmp_path: Path) -> None:
    with night(tmp_path) as one:
        for hour in range(6):
            one.go(EVENING + hour * HOUR, lambda _: {}, 5 * MINUTE)
            one.now, at = one.now - timedelta(days=1), one.now
            one.send({"box": 37.5})
            one.now = at
        assert one.sent == []


def test_a_place_in_use_no_more_alarms_nobody(tmp_path: Path) -> None:
    own = OwnRule("own-1", "warm box", "temperature", "below", 30.0, 10.0)
    with night(tmp_path, NoticeSettings(on=True, own=[own])) as one:
        one.go(EVENING + 20 * MINUTE, lambda _: {"warm box": 15.0}, MINUTE)
        assert one.titles == ["Brooder too cold: warm box, and 1 more"]
        with one.desk.store.writing() as writer:
            closed = [
                made("birds_moved", "2027-05-03T20:00Z", group="chicks", place="box"),
                made("place", "2027-05-03T20:00Z", place="warm box", role="brooder", closed=True),
            ]
            writer.append(closed, one.now)
        one.go(EVENING + 60 * MINUTE, lambda _: {}, MINUTE)
        assert one.titles[1:] == ["Over: Brooder too cold: warm box, and 1 more"]
        assert one.sent[1][1].text.count("Not watched any more") == 2


def test_a_watch_that_cannot_be_kept_tells_so_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A full disk takes no reading and no notice: silence would seem to be an all-clear."""

    def full(*_: object) -> None:
        raise FlockUnusable("The disk is full.")

    def looks(one: Night, until: datetime) -> None:
        while one.now < until:
            assert one.watch is not None
            with suppress(FlockUnusable):
                one.watch.watch(one.desk, one.now)
            one.now += MINUTE

    with night(tmp_path) as one:
        one.go(EVENING + 5 * MINUTE, warm, MINUTE)
        with monkeypatch.context() as disk:
            disk.setattr("quailwright.journal.options.put", full)
            disk.setattr("quailwright.journal.notices.add_notice", full)
            looks(one, EVENING + 12 * MINUTE)
            assert one.sent == []
            looks(one, EVENING + 4 * HOUR)
            assert one.titles == ["No watch is kept"]
            assert "could not keep watch for 10 minutes: The disk is full." in one.sent[0][1].text
        one.go(EVENING + 4 * HOUR + 5 * MINUTE, warm, MINUTE)
        assert one.titles[1:] == ["Nobody watched"]


def test_one_thing_that_cannot_be_told_hinders_no_other(tmp_path: Path) -> None:
    with night(tmp_path) as one:
        one.go(CUT, warm, MINUTE)
        with one.desk.store.household(writes=True) as connection:
            at = one.now - 2 * MINUTE
            bad = notices.Notice(0, "machine_cold", "gone", True, True, at, at, at, 0, "", "{}")
            notices.add_notice(connection, bad)
        one.go(CUT + 22 * MINUTE, cooling, MINUTE)
        assert one.titles == ["Incubator too cold: box, and 1 more"]

"""Keeps watch while the pages are served: looks what is wrong, and tells the channels.

Two chores, each in a thread of its own: the air every few seconds, by the latest readings only,
and what the journal tells every few minutes. A channel that is slow holds up neither.
"""

import logging
import threading
import time
from collections.abc import Callable, Collection, Mapping, Sequence
from datetime import date, datetime, timedelta
from functools import partial

import msgspec

from quailwright.exchange.air_seen import air_seen
from quailwright.exchange.backup_schedule import came
from quailwright.exchange.caretaker import Chore
from quailwright.exchange.desk import Desk
from quailwright.exchange.notice_digest import digest
from quailwright.exchange.notice_send import Sent, send
from quailwright.exchange.notice_settings import (
    ChannelSettings,
    NoticeSettings,
    channel_settings,
    hours_of,
    rules_of,
    settings_of,
    zone_of,
)
from quailwright.flock.state import Flock
from quailwright.guide.notices import air as airs
from quailwright.guide.notices import care
from quailwright.guide.notices.rules import CLOCK, OWN, UNWATCHED, Rule
from quailwright.guide.notices.state import Key, Wrong, changes
from quailwright.guide.notices.telling import (
    Hours,
    Item,
    as_told,
    hour_ago,
    retry_after,
    to_tell,
)
from quailwright.guide.notices.words import Letter, Reader, letter, not_watching
from quailwright.guide.round import day_at
from quailwright.guide.signs import Sign, signs
from quailwright.husbandry import facts
from quailwright.journal import notices, options
from quailwright.journal.findings import QuailwrightError
from quailwright.journal.moments import utc_text
from quailwright.journal.notices import Channel, MessageKind, Notice
from quailwright.journal.readings import Latest, Readings, from_ms
from quailwright.journal.store import Store
from quailwright.language import say, speaking

EVERY, CARE_EVERY, HOUR = timedelta(seconds=5), timedelta(minutes=5), timedelta(hours=1)
_log = logging.getLogger("uvicorn.error")
_KEPT = "notices.watch"
_AIR_RULES = frozenset(
    {
        "machine_cold", "machine_hot", "machine_dry", "brooder_cold", "brooder_hot", "silent",
        CLOCK, OWN,
    }
)  # fmt: skip
_CARE_RULES = frozenset({"step", "sign", "backup", "hold", "feed"})
_SENDS_FOR_S = 3.0
"""So long one round of the chore, and its end, wait for senders; slower ones go on beside it. What
is not noted at the end is told once more after the next start."""
Said = Callable[[str, Letter], Sent]


class Kept(msgspec.Struct, frozen=True):
    """What outlives the process: since when watch is kept without a break, when it was last noted,
    and who sends by themselves (last reading, usual step in s)."""

    since: datetime
    last: datetime
    heard: dict[str, tuple[datetime, float]] = {}


class NoticeWatch:
    """The watch over one flock. `said` sends (a test may give its own)."""

    def __init__(self, said: Said = send) -> None:
        self._send = said
        self._kept: Kept | None = None
        self._forgot: datetime | None = None
        self._before: dict[str, datetime] = {}
        self._shown: dict[str, datetime] = {}
        self._heard: dict[str, airs.Heard] = {}
        self._sending: dict[int, threading.Thread] = {}
        self._unnoted: dict[int, Callable[[], None]] = {}
        self._feed_looked: tuple[date, list[Wrong]] | None = None
        self._clocks: dict[str, airs.ClockOff] = {}
        self._failing: datetime | None = None
        self._failing_told = False
        self._looked = False
        self._last_known: tuple[list[Channel], str] = ([], "")

    def chores(self) -> list[Chore]:
        """Its chores."""
        return [
            Chore("notices", EVERY, self.watch, self.end),
            Chore("notices of care", CARE_EVERY, self.look_at_care),
        ]

    def end(self) -> None:
        """Waits a little for what is being sent, so that it is noted; forgets what it knew."""
        until = time.monotonic() + _SENDS_FOR_S
        for thread in self._sending.values():
            thread.join(max(0.0, until - time.monotonic()))
        self._sending.clear()
        self._kept = None
        self._before.clear()
        self._shown.clear()

    # The air.

    def watch(self, desk: Desk, now: datetime) -> str:
        """Looks at the latest readings, and tells what is to be told. Raises FlockUnusable."""
        self._looked = False
        try:
            self._round(desk, now)
        except Exception as error:
            if not self._looked:
                self._cannot(error, now)
            raise
        finally:
            if self._looked:
                self._failing, self._failing_told = None, False
        return ""

    def _round(self, desk: Desk, now: datetime) -> None:
        store, settings = desk.store, settings_of(desk.store)
        if not settings.on:
            self._stop(store)
            self._looked = True
            return
        with store.household() as connection:
            self._last_known = (notices.channels(connection), settings.address)
        flock = desk.flock(now)
        faults: list[Exception] = []
        try:
            self._beat(store, now)
            wrong, unsure, right = self._look_at_air(store, flock, rules_of(settings), now)
            self._note(store, wrong, unsure, right, _AIR_RULES, now)
            self._looked = True
        except Exception as fault:
            # What is known already is told all the same.
            faults.append(fault)
        faults += self._tell(desk, flock, settings, now)
        if faults:
            raise faults[0]

    def _cannot(self, error: Exception, now: datetime) -> None:
        """Where no watch could be kept for some minutes (a full disk, a fault), tells it once, by
        what is remembered: nothing of it can be relied on to be noted."""
        if self._failing is None or now < self._failing:
            self._failing = now
        since, most = now - self._failing, timedelta(minutes=facts.value("notices.unwatched_min"))
        if since < most or self._failing_told:
            return
        self._failing_told = True
        why = error.sentence if isinstance(error, QuailwrightError) else type(error).__name__
        channels, address = self._last_known
        for channel in channels:
            chosen = channel_settings(channel)
            if chosen.on:
                with speaking(chosen.language):
                    text = not_watching(why, most / timedelta(minutes=1), address)
                told = threading.Thread(
                    target=self._send, args=(channel.address, text), daemon=True
                )
                told.start()
                told.join(_SENDS_FOR_S)

    def _look_at_air(
        self, store: Store, flock: Flock, rules: Sequence[Rule], now: datetime
    ) -> tuple[list[Wrong], set[Key], set[Key]]:
        wrong: list[Wrong] = []
        unsure: set[Key] = set()
        right: set[Key] = set()
        shown = store.latest_readings()
        latest = _not_ahead(store, shown, now)
        self._clocks = airs.clocks_off(self._clocks, self._shown, shown, now)
        self._shown = {airs.sensor_name(one): one.at for one in shown}
        self._heard = airs.hear(self._heard, self._before, latest, now)
        self._before = {airs.sensor_name(one): one.at for one in latest}
        for rule in rules:
            if rule.code == "silent" and rule.on:
                found = self._silent(flock, rule, latest, now)
                wrong += found
                silent = {one.about for one in found}
                right |= {(rule.code, name) for name in self._heard if name not in silent}
                wrong += self._clocks_off(flock, rule, now)
                right |= {(CLOCK, name) for name in self._heard if name not in self._clocks}
        places = {one.place for one in latest}
        with store.household() as connection:
            lasting = {
                (one.rule, one.about)
                for one in notices.notices(connection, now)
                if one.over is None
            }
        watched = [
            one
            for one in airs.watches(flock, rules, now)
            if one.place in places
            and (
                (one.rule.code, one.place) in lasting or airs.may_be_wrong(flock, one, latest, now)
            )
        ]
        until = now + timedelta(minutes=facts.value("notices.early_min"))
        readings = {
            place: store.readings(place, first, until)
            for place, first in airs.needed_from(watched, now).items()
        }
        for one in watched:
            verdict = airs.verdict(flock, one, readings[one.place], now)
            key = (one.rule.code, one.place)
            if verdict.is_ == "wrong":
                known = care.told(
                    place=one.place, quantity=one.quantity, side=one.side, limit=one.limit,
                    value=round(verdict.value or 0.0, 1),
                )  # fmt: skip
                wrong.append(
                    Wrong(one.rule.code, one.place, one.rule.urgent, verdict.since or now, known)
                )
            else:
                (right if verdict.is_ == "well" else unsure).add(key)
        return wrong, unsure, right

    def _silent(
        self, flock: Flock, rule: Rule, latest: Sequence[Latest], now: datetime
    ) -> list[Wrong]:
        since = self._kept.since if self._kept is not None else now
        found = []
        for name, last in airs.silent(self._heard, latest, rule, since, now).items():
            place, _, instrument = name.partition("\t")
            if airs.is_closed(flock, place):
                continue
            urgent = rule.urgent and airs.matters(flock, place, now)
            known = care.told(place=place, instrument=instrument)
            found.append(Wrong(rule.code, name, urgent, last, known))
        return found

    def _clocks_off(self, flock: Flock, rule: Rule, now: datetime) -> list[Wrong]:
        """Instruments whose readings come, dated so that none of them is watched."""
        found = []
        for name, one in self._clocks.items():
            place, _, instrument = name.partition("\t")
            lasted = now - one.first >= timedelta(minutes=rule.wait)
            few = one.readings < facts.value("notices.silent_steps")
            if few or not lasted or airs.is_closed(flock, place):
                continue
            known = care.told(
                place=place, instrument=instrument, off_min=round(one.off / timedelta(minutes=1))
            )
            urgent = rule.urgent and airs.matters(flock, place, now)
            found.append(Wrong(CLOCK, name, urgent, one.first, known))
        return found

    # That watch is kept.

    def _beat(self, store: Store, now: datetime) -> None:
        """Notes every minute that watch is kept; where it was not, tells it, once."""
        kept = self._kept
        if kept is None:
            kept = self._kept = _kept(store)
            if kept is not None:
                self._heard = {
                    name: airs.Heard(last, step) for name, (last, step) in kept.heard.items()
                }
        beat = timedelta(seconds=facts.value("notices.beat_s"))
        if kept is None:
            self._keep(store, Kept(now, now))
            return
        if now < kept.last:
            # The clock was set back.
            self._keep(store, Kept(min(kept.since, now), now))
            return
        if now - kept.last >= timedelta(minutes=facts.value("notices.unwatched_min")):
            known = care.told(until=utc_text(now))
            about = utc_text(kept.last)
            gap = Wrong(UNWATCHED, about, False, kept.last, known, once=True)
            self._note(store, [gap], (), None, {UNWATCHED}, now)
            self._keep(store, Kept(now, now))
        elif now - kept.last >= beat:
            self._keep(store, Kept(kept.since, now))
            if self._forgot is None or not now - HOUR < self._forgot <= now:
                self._forgot = now
                with store.household(writes=True) as connection:
                    days = timedelta(days=facts.value("notices.kept_d"))
                    notices.forget(connection, now - days)

    def _keep(self, store: Store, kept: Kept) -> None:
        heard = {name: (one.last, one.step_s) for name, one in self._heard.items()}
        noted = Kept(kept.since, kept.last, heard)
        with store.household(writes=True) as connection:
            options.put(connection, _KEPT, msgspec.json.encode(noted).decode())
        self._kept = noted

    def _stop(self, store: Store) -> None:
        """Switched off: no watch is kept, and none is missed."""
        if self._kept is not None or _kept(store) is not None:
            self._kept = None
            self._heard, self._before = {}, {}
            with store.household(writes=True) as connection:
                options.put(connection, _KEPT, None)

    # What the journal tells.

    def look_at_care(self, desk: Desk, now: datetime) -> str:
        """Looks at steps, signs, what is withheld, feed and the backup. Raises FlockUnusable."""
        settings = settings_of(desk.store)
        if not settings.on:
            return ""
        flock = desk.flock(now)
        on = day_at(flock, now)
        wrong: list[Wrong] = []
        for rule in rules_of(settings):
            if not rule.on:
                continue
            match rule.code:
                case "step":
                    wrong += care.steps_not_done(flock, rule, now, on)
                case "hold":
                    wrong += care.holds_ended(flock, rule, on)
                case "sign":
                    seen = list(signs(flock, on, air_seen(desk.store, flock, now)))
                    wrong += care.bad_signs(seen, rule, flock.zone)
                case "backup":
                    wrong += self._backup(desk.store, rule)
                case "feed":
                    wrong += self._feed(desk.store, flock, rule, on, now)
        self._note(desk.store, wrong, (), None, _CARE_RULES, now)
        return ""

    def _backup(self, store: Store, rule: Rule) -> list[Wrong]:
        last = came(store).last
        if last is None or last.made:
            return []
        return [Wrong("backup", "backup", rule.urgent, last.when, care.told(why=last.why))]

    def _feed(self, store: Store, flock: Flock, rule: Rule, on: date, now: datetime) -> list[Wrong]:
        """Feeds that run out before more can come, looked at once a day: drawing takes its time."""
        if not flock.feeds:
            return []
        if self._feed_looked is None or self._feed_looked[0] != on:
            from quailwright.exchange.notice_feed import short_of_feed

            self._feed_looked = (on, short_of_feed(store, flock, rule, on, now))
        return self._feed_looked[1]

    def _note(
        self,
        store: Store,
        wrong: Sequence[Wrong],
        unsure: Collection[Key],
        right: Collection[Key] | None,
        concerns: Collection[str],
        now: datetime,
    ) -> None:
        lately = now - timedelta(days=facts.value("notices.stale_d"))
        with store.household() as connection:
            known = notices.notices(connection, lately)
        if not (found := changes(known, wrong, unsure, right, concerns, now)).any:
            return
        with store.household(writes=True) as connection:
            for one in found.new:
                notices.add_notice(connection, one)
            for one in found.changed:
                notices.change_notice(connection, one)

    # Telling.

    def _tell(
        self, desk: Desk, flock: Flock, settings: NoticeSettings, now: datetime
    ) -> list[Exception]:
        """Begins to tell every channel what it is to be told, each in a thread of its own; gives
        what hindered it: a fault with one channel's message holds up no other channel."""
        with desk.store.household() as connection:
            known = notices.channels(connection)
        hours = hours_of(settings, flock)
        begun: list[threading.Thread] = []
        faults: list[Exception] = []
        for channel in known:
            busy = self._sending.get(channel.id)
            chosen = channel_settings(channel)
            if not chosen.on or (busy is not None and busy.is_alive()):
                continue
            try:
                if not self._noted(channel.id):
                    continue
                job = _job(desk, flock, settings, channel, chosen, hours, now)
            except Exception as fault:
                faults.append(fault)
                continue
            if job is None:
                continue
            thread = threading.Thread(
                target=self._do, args=(desk.store, channel, *job, now), daemon=True
            )
            self._sending[channel.id] = thread
            thread.start()
            begun.append(thread)
        for thread in begun:
            thread.join(_SENDS_FOR_S)
        return faults

    def _do(
        self, store: Store, channel: Channel, what: MessageKind, items: Sequence[Item],
        text: Letter, day: str | None, now: datetime,
    ) -> None:  # fmt: skip
        sent = self._send(channel.address, text)
        self._unnoted[channel.id] = partial(note_sent, store, channel, what, items, sent, day, now)
        self._noted(channel.id)

    def _noted(self, channel: int) -> bool:
        """Whether what became of the last message is noted: until it is, none is sent anew, so
        that a file that cannot be written makes no storm."""
        note = self._unnoted.get(channel)
        if note is None:
            return True
        try:
            note()
        except QuailwrightError as error:
            _log.error("%s", error.sentence)
            return False
        del self._unnoted[channel]
        return True


def _not_ahead(store: Store, latest: Sequence[Latest], now: datetime) -> list[Latest]:
    """The last reading of each instrument, and of one that has some from ahead of the clock the
    last of those that have none: else it would seem to send until their time has come."""
    early = now + timedelta(minutes=facts.value("notices.early_min"))
    # What sends is found within the hour, among few readings.
    spans = (HOUR, timedelta(days=facts.value("notices.silent_forget_d")))
    found = []
    for one in latest:
        shown = (
            each
            for span in spans
            for each in store.readings(one.place, now - span, early)
            if each.instrument == one.instrument and len(each.at_ms)
        )
        last = next(shown, None) if one.at > early else None
        found.append(one if last is None else _last_of(last))
    return found


def _last_of(readings: Readings) -> Latest:
    celsius, percent = (
        None if values[-1] != values[-1] else float(values[-1])
        for values in (readings.temperature_c, readings.humidity_pct)
    )
    at = from_ms(int(readings.at_ms[-1]))
    return Latest(readings.place, readings.instrument, at, celsius, percent)


def _job(
    desk: Desk, flock: Flock, settings: NoticeSettings, channel: Channel, chosen: ChannelSettings,
    hours: Hours, now: datetime,
) -> tuple[MessageKind, list[Item], Letter, str | None] | None:  # fmt: skip
    """What a channel is to be told now: the notices, else the digest, else nothing."""
    lately = now - timedelta(days=facts.value("notices.stale_d"))
    with desk.store.household() as connection:
        known = notices.notices(connection, lately)
        told = notices.told(connection, channel.id)
        sent = notices.sent_since(connection, channel.id, hour_ago(now), now)
    items = to_tell(known, told, channel, hours, sent, now)
    if items:
        with speaking(chosen.language):
            items, text = _written(desk, flock, settings, items, now)
        if text is not None:
            return "notice", items, text, None
    room = sent + facts.value("notices.kept_urgent") < facts.value("notices.per_hour")
    waits = channel.not_before is not None and now < channel.not_before
    if chosen.digest and room and not waits and hours.digest_due(now, channel.digest_on):
        with speaking(chosen.language):
            text = digest(desk, flock, settings.address, now)
        return "digest", [], text, now.astimezone(hours.zone).date().isoformat()
    return None


def _written(
    desk: Desk, flock: Flock, settings: NoticeSettings, items: list[Item], now: datetime
) -> tuple[list[Item], Letter | None]:
    """A message of what is to be told. Where one thing of it cannot be put into words, by a fault
    of our own, it is left out, and the rest is told."""

    def of(some: list[Item]) -> Letter:
        known = [item.notice for item in some]
        return letter(some, reader_of(desk, flock, settings, known, now))

    try:
        return items, of(items)
    except Exception:
        _log.exception("A fault of our own in a message")
    sound = []
    for item in items:
        try:
            of([item])
        except Exception:
            _log.exception("A fault of our own in what is told of %s", item.notice.rule)
        else:
            sound.append(item)
    return sound, of(sound) if sound else None


def note_sent(
    store: Store, channel: Channel, what: MessageKind, items: Sequence[Item], sent: Sent,
    day: str | None, now: datetime,
) -> None:  # fmt: skip
    """Writes what became of a message: what was not noted as told is told again."""
    with store.household(writes=True) as connection:
        message = notices.Message(channel.id, now, what, len(items), sent.went, sent.answer)
        notices.note_message(connection, message)
        if what == "test":
            if sent.went:
                notices.note_try(connection, channel.id, 0, None)
        elif sent.went:
            notices.note_told(connection, as_told(items, channel, now))
            notices.note_try(connection, channel.id, 0, None, day)
        else:
            tried = channel.tried + 1
            notices.note_try(connection, channel.id, tried, now + retry_after(tried))


def reader_of(
    desk: Desk, flock: Flock, settings: NoticeSettings, known: Sequence[Notice], now: datetime
) -> Reader:
    """For whom sentences are written, in the language spoken now."""
    on = day_at(flock, now)
    by_name: Mapping[tuple[str, str], Sign] = {}
    if any(notice.rule == "sign" for notice in known):
        seen = signs(flock, on, air_seen(desk.store, flock, now))
        by_name = {(sign.sign, sign.where): sign for sign in seen}
    steps = care.step_words(flock, on) if any(one.rule == "step" for one in known) else {}
    return Reader(flock.units, zone_of(flock), by_name, steps, settings.address)


def trial_letter(settings: NoticeSettings, name: str) -> Letter:
    """What the test button sends, in the language spoken now."""
    text = say("A test of the channel {name}. If you read this, notices reach you.", name=name)
    return Letter(
        say("Test: notices of the quail"),
        f"{text}\n\n{settings.address}" if settings.address else text,
    )


def kept_until(store: Store) -> datetime | None:
    """When it was last noted that watch is kept; None: it is not, or was never."""
    kept = _kept(store)
    return None if kept is None else kept.last


def send_test(store: Store, channel: Channel, now: datetime, said: Said = send) -> Sent:
    """Sends a test now, and notes what became of it. Raises FlockUnusable."""
    chosen = channel_settings(channel)
    with speaking(chosen.language):
        text = trial_letter(settings_of(store), channel.name)
    sent = said(channel.address, text)
    note_sent(store, channel, "test", (), sent, None, now)
    return sent


def _kept(store: Store) -> Kept | None:
    with store.household() as connection:
        kept = options.get(connection, _KEPT)
    try:
        return None if kept is None else msgspec.json.decode(kept, type=Kept)
    except (msgspec.DecodeError, msgspec.ValidationError):
        return None

"""Notices as pages tell them: what is wrong, the rules, the channels, and what was told."""

from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

from quailwright.exchange.desk import Desk
from quailwright.exchange.notice_settings import (
    NoticeSettings,
    SafeChannel,
    rules_of,
    safe_channels,
    settings_of,
)
from quailwright.exchange.notice_watch import kept_until, reader_of
from quailwright.flock.state import Flock
from quailwright.guide import wording
from quailwright.guide.notices.rules import PRINTED, Rule
from quailwright.guide.notices.state import is_open
from quailwright.guide.notices.words import Reader, ShownNotice, clock, rule_line, shown, title
from quailwright.husbandry import facts
from quailwright.journal import notices
from quailwright.journal.entries import Units
from quailwright.journal.moments import zone
from quailwright.journal.notices import Notice
from quailwright.language import figure, say, say_many

PAST, MESSAGES = 20, 20
_LATE = timedelta(minutes=3)


@dataclass(frozen=True, slots=True)
class RuleRow:
    """A rule with what a form shows of it; figures as text in the keeper's units, "" for none."""

    rule: Rule
    title: str
    says: str
    line: str
    limit: str
    limit_unit: str
    wait: str
    wait_unit: str


@dataclass(frozen=True, slots=True)
class MessageRow:
    """What became of a message."""

    channel: str
    when: str
    said: str
    went: bool


@dataclass(frozen=True, slots=True)
class ChannelRow:
    """A channel, and whether it works now, in a sentence."""

    channel: SafeChannel
    said: str


@dataclass(frozen=True, slots=True)
class NoticePage:
    """All of it; `works` says whether watch is kept now, and `readings` what it looks at."""

    on: bool
    works: str
    is_well: bool
    readings: str
    open: list[ShownNotice]
    past: list[ShownNotice]
    rules: list[RuleRow]
    channels: list[ChannelRow]
    messages: list[MessageRow]
    settings: NoticeSettings


def open_notices(desk: Desk, flock: Flock, now: datetime) -> list[ShownNotice]:
    """What is wrong now, what harms most first, for the head of the round: the signs among it
    stand there anyway. Raises FlockUnusable."""
    lately = facts.value("notices.stale_d")
    known = [
        each for each in _of_late(desk, now, lately) if is_open(each, now) and each.rule != "sign"
    ]
    if not known:
        return []
    reader = reader_of(desk, flock, settings_of(desk.store), known, now)
    known.sort(key=lambda each: (not each.urgent, each.id))
    return [shown(each, reader, now) for each in known]


def notice_page(desk: Desk, flock: Flock, now: datetime) -> NoticePage:
    """Everything about notices. Raises FlockUnusable."""
    settings = settings_of(desk.store)
    channels = safe_channels(desk.store)
    known = _of_late(desk, now, facts.value("notices.kept_d"))
    with desk.store.household() as connection:
        sent = notices.messages(connection, None, MESSAGES)
    reader = reader_of(desk, flock, settings, known, now)
    lasts = [each for each in known if is_open(each, now)]
    past = [each for each in reversed(known) if not is_open(each, now)][:PAST]
    works, is_well = _works(desk, settings, reader, now)
    names = {one.id: one.name for one in channels}
    return NoticePage(
        settings.on,
        works,
        is_well,
        _readings(desk, zone(flock.zone or "UTC"), now),
        [shown(each, reader, now) for each in lasts],
        [shown(each, reader, now) for each in past],
        [_row(rule, flock.units) for rule in rules_of(settings)],
        [ChannelRow(one, _channel_said(one, sent, reader, settings)) for one in channels],
        [_message(one, names, reader) for one in sent],
        settings,
    )


def watch_kept(desk: Desk, flock: Flock, now: datetime) -> tuple[str, bool]:
    """Whether watch is kept, in a sentence; False where nothing would be noticed."""
    settings = settings_of(desk.store)
    return _works(desk, settings, reader_of(desk, flock, settings, [], now), now)


def see_to(desk: Desk, notice: int, by: str) -> bool:
    """Notes that somebody sees to it: no more reminders. False where it is not there."""
    with desk.store.household(writes=True) as connection:
        return notices.see(connection, notice, by or say("somebody"))


def _of_late(desk: Desk, now: datetime, days: float) -> list[Notice]:
    with desk.store.household() as connection:
        return notices.notices(connection, now - timedelta(days=days))


def _works(desk: Desk, settings: NoticeSettings, reader: Reader, now: datetime) -> tuple[str, bool]:
    if not settings.on:
        return say("Notices are off: nothing is watched, and nothing is sent."), False
    last = kept_until(desk.store)
    if last is None:
        return (
            say(
                "Nothing has been watched yet. Watch is kept only while `quailwright serve` runs, "
                "and begins within a minute."
            ),
            False,
        )
    if now - last > _LATE:
        return (
            say(
                "No watch is kept since {since}. Watch is kept only while `quailwright serve` "
                "runs: start it, on a computer that stays on.",
                since=clock(last, reader),
            ),
            False,
        )
    return say("Watch is kept now, and noted every minute."), True


def _readings(desk: Desk, here: tzinfo, now: datetime) -> str:
    latest = desk.store.latest_readings()
    if not latest:
        return say(
            "No sensor has sent anything yet. Without readings only steps, signs, feed and the "
            "like can be told."
        )
    last = max(latest, key=lambda each: each.at)
    ago = max(0, round((now - last.at).total_seconds()))
    if ago < 120:  # Beyond that minutes read better.
        return say_many(
            "The last reading came {n} second ago ({place}).",
            "The last reading came {n} seconds ago ({place}).", ago, place=last.place,
        )  # fmt: skip
    if ago < 7200:
        return say(
            "The last reading came {minutes} minutes ago ({place}).",
            minutes=round(ago / 60), place=last.place,
        )  # fmt: skip
    return say(
        "The last reading is of {day} ({place}): look at the sensors.",
        day=wording.weekday(last.at.astimezone(here).date()), place=last.place,
    )  # fmt: skip


def _row(rule: Rule, units: Units) -> RuleRow:
    printed = PRINTED.get(rule.code)
    unit = ""
    if rule.limit is not None:
        unit = "%" if rule.quantity == "humidity" else "°F" if units == "us" else "°C"
    limit = rule.limit
    if limit is not None and unit == "°F":
        limit = wording.fahrenheit(limit)
    return RuleRow(
        rule,
        title(rule.code) if printed is not None else f"{rule.place}: {_quantity(rule)}",
        say(printed.says) if printed is not None else "",
        rule_line(rule, units),
        "" if limit is None else figure(round(limit, 1), "g"),
        unit,
        figure(rule.wait, "g") if rule.wait_unit else "",
        {"min": say("minutes"), "h": say("hours"), "d": say("days")}.get(rule.wait_unit, ""),
    )


def _quantity(rule: Rule) -> str:
    return say("humidity") if rule.quantity == "humidity" else say("temperature")


def _channel_said(
    one: SafeChannel, sent: list[notices.Message], reader: Reader, settings: NoticeSettings
) -> str:
    if not one.on:
        return say("Nothing is sent: it is off.")
    if one.tried:
        again = "" if one.not_before is None else clock(one.not_before, reader)
        return say_many(
            "It fails: {n} try in a row. Tried again {when}; what is to be told waits.",
            "It fails: {n} tries in a row. Tried again {when}; what is to be told waits.",
            one.tried, when=again,
        )  # fmt: skip
    went = [each for each in sent if each.channel == one.id and each.went]
    if went:
        return say("It works: the last message went {when}.", when=clock(went[0].at, reader))
    if settings.on:
        return say("Nothing was sent yet. Press the test, so that you know.")
    return say("Nothing was sent yet, and notices are off.")


def _message(one: notices.Message, names: dict[int, str], reader: Reader) -> MessageRow:
    if one.what == "test":
        what = say("a test")
    elif one.what == "digest":
        what = say("the digest")
    else:
        what = say_many("{n} notice", "{n} notices", one.notices)
    said = say("{what}: {answer}", what=what, answer=say(one.answer))
    return MessageRow(names.get(one.channel, "?"), clock(one.at, reader), said, one.went)

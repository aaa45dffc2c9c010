"""`notices --json`: what is wrong, the rules, the channels without their addresses."""

from datetime import datetime
from typing import TypedDict

from quailwright.exchange.desk import Desk
from quailwright.exchange.notice_settings import rules_of, safe_channels, settings_of
from quailwright.exchange.notice_watch import kept_until, reader_of
from quailwright.flock.state import Flock
from quailwright.guide.notices.state import is_open
from quailwright.guide.notices.words import Reader, as_it_stands, first_to_do, title
from quailwright.journal import notices
from quailwright.journal.notices import Notice

_MESSAGES = 100
_LONG_AGO = datetime.fromisoformat("1970-01-01T00:00+00:00")


class NoticeShape(TypedDict):
    """Something that went wrong."""

    id: int
    rule: str
    title: str
    about: str
    sentence: str
    first: str
    urgent: bool
    since: str
    noticed: str
    over: str | None
    seen_by: str


class NoticeRuleShape(TypedDict):
    """A rule as it holds here."""

    rule: str
    on: bool
    urgent: bool
    place: str
    quantity: str
    side: str
    limit: float | None
    wait: float
    wait_unit: str


class ChannelShape(TypedDict):
    """A channel, without its address."""

    id: int
    name: str
    sort: str
    language: str
    on: bool
    digest: bool
    failures: int


class MessageShape(TypedDict):
    """What became of a message."""

    channel: int
    at: str
    what: str
    notices: int
    went: bool
    answer: str


class NoticesShape(TypedDict):
    """`notices --json`."""

    as_of: str
    on: bool
    watched_until: str | None
    open: list[NoticeShape]
    past: list[NoticeShape]
    rules: list[NoticeRuleShape]
    channels: list[ChannelShape]
    messages: list[MessageShape]
    quiet_from: str
    quiet_until: str
    digest: str


def notices_shape(desk: Desk, flock: Flock, now: datetime) -> NoticesShape:
    """Everything as of `now`. Raises FlockUnusable."""
    store, settings = desk.store, settings_of(desk.store)
    with store.household() as connection:
        known = [
            each for each in notices.notices(connection, _LONG_AGO) if each.noticed <= now
        ]  # fmt: skip
        sent = [each for each in notices.messages(connection, None, _MESSAGES) if each.at <= now]
    reader = reader_of(desk, flock, settings, known, now)
    last = kept_until(store)
    lasts = [each for each in known if _open_at(each, now)]
    past = [each for each in reversed(known) if not _open_at(each, now)]
    return {
        "as_of": now.isoformat(timespec="seconds"),
        "on": settings.on,
        "watched_until": None if last is None else last.isoformat(),
        "open": [_notice(each, reader, now) for each in lasts],
        "past": [_notice(each, reader, now) for each in past],
        "rules": [
            {
                "rule": rule.code, "on": rule.on, "urgent": rule.urgent, "place": rule.place,
                "quantity": rule.quantity, "side": rule.side, "limit": rule.limit,
                "wait": rule.wait, "wait_unit": rule.wait_unit,
            }
            for rule in rules_of(settings)
        ],
        "channels": [
            {
                "id": one.id, "name": one.name, "sort": one.sort, "language": one.language,
                "on": one.on, "digest": one.digest, "failures": one.tried,
            }
            for one in safe_channels(store)
        ],
        "messages": [
            {
                "channel": one.channel, "at": one.at.isoformat(), "what": one.what,
                "notices": one.notices, "went": one.went, "answer": one.answer,
            }
            for one in sent
        ],
        "quiet_from": settings.quiet_from,
        "quiet_until": settings.quiet_until,
        "digest": settings.digest,
    }  # fmt: skip


def _open_at(notice: Notice, now: datetime) -> bool:
    return is_open(notice, now) or (
        not notice.once and notice.over is not None and notice.over > now
    )


def _notice(notice: Notice, reader: Reader, now: datetime) -> NoticeShape:
    return {
        "id": notice.id,
        "rule": notice.rule,
        "title": title(notice.rule),
        "about": notice.about.replace("\t", " "),
        "sentence": as_it_stands(notice, reader, now),
        "first": first_to_do(notice, reader),
        "urgent": notice.urgent,
        "since": notice.since.isoformat(),
        "noticed": notice.noticed.isoformat(),
        "over": None if notice.over is None else notice.over.isoformat(),
        "seen_by": notice.seen_by,
    }

"""Notices that go out of the house: by which channels, what is wrong, and who was told of it.

There is no queue of messages. What went wrong stands in `notice`, what a channel was last told of
it in `notice_told`; what is still to be told is the difference, so that a process that is killed at
any moment leaves nothing out, and a channel that failed for hours is told how things are now. The
address of a channel may hold a password: it is a secret, and no export carries it.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

import sqlalchemy as sa

from quailwright.journal.moments import utc_text

metadata = sa.MetaData()
channel_table = sa.Table(
    "channel",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
    sa.Column("name", sa.String(80), nullable=False, unique=True),
    sa.Column("address", sa.Text, nullable=False),
    sa.Column("settings", sa.Text, nullable=False),
    sa.Column("made", sa.String(40), nullable=False),
    sa.Column("tried", sa.Integer, nullable=False),
    sa.Column("not_before", sa.String(40)),
    sa.Column("digest_on", sa.String(10), nullable=False),
    sqlite_autoincrement=True,
)
notice_table = sa.Table(
    "notice",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
    sa.Column("rule", sa.String(80), nullable=False),
    sa.Column("about", sa.String(200), nullable=False),
    sa.Column("urgent", sa.Boolean, nullable=False),
    sa.Column("once", sa.Boolean, nullable=False),
    sa.Column("since", sa.String(40), nullable=False),
    sa.Column("noticed", sa.String(40), nullable=False),
    sa.Column("over", sa.String(40)),
    sa.Column("returns", sa.Integer, nullable=False),
    sa.Column("seen_by", sa.String(80), nullable=False),
    sa.Column("facts", sa.Text, nullable=False),
    sqlite_autoincrement=True,
)
told_table = sa.Table(
    "notice_told",
    metadata,
    sa.Column("notice", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("channel", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("what", sa.String(10), nullable=False),
    sa.Column("at", sa.String(40), nullable=False),
    sa.Column("times", sa.Integer, nullable=False),
)
message_table = sa.Table(
    "notice_message",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
    sa.Column("channel", sa.Integer, nullable=False),
    sa.Column("at", sa.String(40), nullable=False),
    sa.Column("what", sa.String(10), nullable=False),
    sa.Column("notices", sa.Integer, nullable=False),
    sa.Column("went", sa.Boolean, nullable=False),
    sa.Column("answer", sa.String(300), nullable=False),
    sqlite_autoincrement=True,
)

MessageKind = Literal["notice", "digest", "test"]
LONGEST_ANSWER = 300
_FAILURES_KEPT = 200
"""Of messages that did not go: a server that is dead for months fills nothing."""


@dataclass(frozen=True, slots=True)
class Channel:
    """A way out of the house.

    Attributes:
        address: a secret, as `exchange.notice_send` reads it; it is never shown.
        settings: JSON, as `exchange.notice_settings` reads it.
        tried: how often in a row a message did not go; `not_before`: when it is tried again.
        digest_on: the day (ISO 8601) of the last digest.
    """

    id: int
    name: str
    address: str
    settings: str
    made: datetime
    tried: int
    not_before: datetime | None
    digest_on: str

    def __repr__(self) -> str:
        """Without the address: it may come into a log."""
        return f"Channel({self.id}, {self.name!r})"


@dataclass(frozen=True, slots=True)
class Notice:
    """Something that went wrong, or (`once`) happened.

    Attributes:
        rule, about: by which rule, and of what (a place, an instrument, a hatch).
        since, noticed: from when it was so, and when it was noticed.
        over: since when it is right again; None while it lasts.
        returns: how often it was over and came back shortly before.
        seen_by: who has said that they see to it, or "".
        facts: JSON, what the sentences need.
    """

    id: int
    rule: str
    about: str
    urgent: bool
    once: bool
    since: datetime
    noticed: datetime
    over: datetime | None
    returns: int
    seen_by: str
    facts: str


@dataclass(frozen=True, slots=True)
class Told:
    """What a channel was last told of a notice: that it is so ("open"), or "over"; how often."""

    notice: int
    channel: int
    what: str
    at: datetime
    times: int


@dataclass(frozen=True, slots=True)
class Message:
    """A message that went to a channel, or did not: how many notices it told, what was answered."""

    channel: int
    at: datetime
    what: str
    notices: int
    went: bool
    answer: str


def channels(connection: sa.Connection) -> list[Channel]:
    """Every channel, in the order in which they were made."""
    rows = connection.execute(sa.select(channel_table).order_by(channel_table.c.id))
    return [
        Channel(
            row.id, row.name, row.address, row.settings, _instant(row.made), row.tried,
            None if row.not_before is None else _instant(row.not_before), row.digest_on,
        )
        for row in rows
    ]  # fmt: skip


def add_channel(
    connection: sa.Connection, name: str, address: str, settings: str, now: datetime
) -> int:
    """Takes in a channel, and gives its number; the name must be new."""
    added = connection.execute(
        channel_table.insert().values(
            name=name, address=address, settings=settings, made=utc_text(now), tried=0,
            digest_on="",
        )
    )  # fmt: skip
    assert added.inserted_primary_key is not None
    return int(added.inserted_primary_key[0])


def change_channel(connection: sa.Connection, channel: int, settings: str) -> None:
    """Gives a channel other settings; it is tried again at once."""
    connection.execute(
        channel_table.update()
        .where(channel_table.c.id == channel)
        .values(settings=settings, not_before=None)
    )


def remove_channel(connection: sa.Connection, channel: int) -> None:
    """Takes a channel away, with its address and with what it was told."""
    connection.execute(told_table.delete().where(told_table.c.channel == channel))
    connection.execute(message_table.delete().where(message_table.c.channel == channel))
    connection.execute(channel_table.delete().where(channel_table.c.id == channel))


def notices(connection: sa.Connection, since: datetime) -> list[Notice]:
    """What is wrong now, and what was over at or after `since`, in the order of noticing."""
    table = notice_table
    rows = connection.execute(
        sa.select(table)
        .where(table.c.over.is_(None) | (table.c.over >= utc_text(since)))
        .order_by(table.c.id)
    )
    return [
        Notice(
            row.id, row.rule, row.about, row.urgent, row.once, _instant(row.since),
            _instant(row.noticed), None if row.over is None else _instant(row.over),
            row.returns, row.seen_by, row.facts,
        )
        for row in rows
    ]  # fmt: skip


def add_notice(connection: sa.Connection, notice: Notice) -> None:
    """Notes that something is wrong; its `id` is given by the database."""
    connection.execute(notice_table.insert().values(**_row(notice)))


def change_notice(connection: sa.Connection, notice: Notice) -> None:
    """Writes how a notice stands now; who sees to it is left as it is."""
    row = _row(notice)
    del row["seen_by"]
    connection.execute(notice_table.update().where(notice_table.c.id == notice.id).values(**row))


def see(connection: sa.Connection, notice: int, by: str) -> bool:
    """Notes who sees to what is wrong; False where it is not there."""
    changed = connection.execute(
        notice_table.update().where(notice_table.c.id == notice).values(seen_by=by)
    )
    return bool(changed.rowcount)


def _row(notice: Notice) -> dict[str, object]:
    return {
        "rule": notice.rule,
        "about": notice.about,
        "urgent": notice.urgent,
        "once": notice.once,
        "since": utc_text(notice.since),
        "noticed": utc_text(notice.noticed),
        "over": None if notice.over is None else utc_text(notice.over),
        "returns": notice.returns,
        "seen_by": notice.seen_by,
        "facts": notice.facts,
    }


def told(connection: sa.Connection, channel: int) -> dict[int, Told]:
    """What a channel was told, by notice."""
    rows = connection.execute(sa.select(told_table).where(told_table.c.channel == channel))
    return {
        row.notice: Told(row.notice, row.channel, row.what, _instant(row.at), row.times)
        for row in rows
    }


def messages(connection: sa.Connection, channel: int | None, most: int) -> list[Message]:
    """The last messages of a channel, or of all, the newest first."""
    statement = sa.select(message_table).order_by(message_table.c.id.desc()).limit(most)
    if channel is not None:
        statement = statement.where(message_table.c.channel == channel)
    return [
        Message(row.channel, _instant(row.at), row.what, row.notices, row.went, row.answer)
        for row in connection.execute(statement)
    ]


def sent_since(connection: sa.Connection, channel: int, since: datetime, until: datetime) -> int:
    """How many messages went to a channel after `since` and up to `until`; tests do not count."""
    table = message_table
    statement = sa.select(sa.func.count()).where(
        table.c.channel == channel,
        table.c.went,
        table.c.what != "test",
        table.c.at > utc_text(since),
        table.c.at <= utc_text(until),
    )
    return int(connection.execute(statement).scalar_one())


def note_message(connection: sa.Connection, message: Message) -> None:
    """Notes what became of a message."""
    connection.execute(
        message_table.insert().values(
            channel=message.channel, at=utc_text(message.at), what=message.what,
            notices=message.notices, went=message.went, answer=message.answer[:LONGEST_ANSWER],
        )
    )  # fmt: skip


def note_told(connection: sa.Connection, what: Iterable[Told]) -> None:
    """Notes what a channel knows now."""
    for one in what:
        here = (told_table.c.notice == one.notice) & (told_table.c.channel == one.channel)
        connection.execute(told_table.delete().where(here))
        connection.execute(
            told_table.insert().values(
                notice=one.notice, channel=one.channel, what=one.what, at=utc_text(one.at),
                times=one.times,
            )
        )  # fmt: skip


def note_try(
    connection: sa.Connection,
    channel: int,
    tried: int,
    not_before: datetime | None,
    digest_on: str | None = None,
) -> None:
    """Notes how often in a row a channel failed, when it is tried again, its day of a digest."""
    values: dict[str, object] = {
        "tried": tried,
        "not_before": None if not_before is None else utc_text(not_before),
    }
    if digest_on is not None:
        values["digest_on"] = digest_on
    connection.execute(channel_table.update().where(channel_table.c.id == channel).values(**values))


def forget(connection: sa.Connection, before: datetime) -> None:
    """Lets go of what was over, and of messages, before an instant; of failures keeps the last."""
    long_ago = utc_text(before)
    notice, message = notice_table.c, message_table.c
    connection.execute(notice_table.delete().where(notice.over < long_ago))
    connection.execute(told_table.delete().where(~told_table.c.notice.in_(sa.select(notice.id))))
    failures = sa.select(message.id).where(~message.went).order_by(message.id.desc())
    nth = failures.offset(_FAILURES_KEPT).limit(1).scalar_subquery()
    connection.execute(
        message_table.delete().where(
            (message.at < long_ago) | (~message.went & (message.id <= nth))
        )
    )


def _instant(text: str) -> datetime:
    return datetime.fromisoformat(text)

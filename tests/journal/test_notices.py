"""What is kept of notices, on each kind of database."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from quailwright.journal import notices
from quailwright.journal.notices import Message, Notice, Told
from quailwright.journal.store import Store, open_store

NOW = datetime(2027, 5, 3, 20, tzinfo=UTC)
HOUR, DAY = timedelta(hours=1), timedelta(days=1)
COLD = Notice(0, "machine_cold", "box", True, False, NOW - HOUR, NOW, None, 0, "", "{}")


@pytest.fixture
def store(location: str) -> Iterator[Store]:
    """An empty flock, on each kind of database."""
    with open_store(location, create=True) as opened:
        yield opened


def test_notices_messages_and_channels_are_kept_and_let_go_of(store: Store) -> None:
    with store.household(writes=True) as connection:
        number = notices.add_channel(connection, "phone", "json://a-secret", "{}", NOW)
        notices.add_notice(connection, COLD)
        (kept,) = notices.notices(connection, NOW)
        assert replace(kept, id=0) == COLD
        assert notices.see(connection, kept.id, "Mira")
        assert not notices.see(connection, 99, "Mira")
        # Who sees to it is not undone by how it stands.
        notices.change_notice(connection, replace(kept, over=NOW + HOUR))
        (kept,) = notices.notices(connection, NOW)
        assert (kept.seen_by, kept.over) == ("Mira", NOW + HOUR)
        for times in (1, 2):
            notices.note_told(connection, [Told(kept.id, number, "open", NOW, times)])
        assert notices.told(connection, number)[kept.id].times == 2
        for hours, what, went in ((0, "notice", True), (1, "test", True), (2, "notice", False)):
            at = NOW - hours * HOUR
            notices.note_message(connection, Message(number, at, what, 1, went, "x" * 400))
        assert notices.sent_since(connection, number, NOW - DAY, NOW) == 1
        assert [each.went for each in notices.messages(connection, number, 2)] == [False, True]
        notices.note_try(connection, number, 3, NOW + HOUR, "2027-05-03")
        (channel,) = notices.channels(connection)
        assert (channel.tried, channel.not_before, channel.digest_on) == (
            3, NOW + HOUR, "2027-05-03",
        )  # fmt: skip
        assert "secret" not in repr(channel)
    with store.household(writes=True) as connection:
        notices.forget(connection, NOW - 3 * HOUR)
        assert len(notices.messages(connection, None, 9)) == 3
        notices.forget(connection, NOW + 2 * HOUR)
        assert notices.notices(connection, NOW - DAY) == []
        assert notices.told(connection, number) == {}
        assert notices.messages(connection, None, 9) == []
        notices.remove_channel(connection, number)
        assert notices.channels(connection) == []


def test_of_failures_the_last_are_kept(store: Store) -> None:
    with store.household(writes=True) as connection:
        for minute in range(210):
            at = NOW + timedelta(minutes=minute)
            notices.note_message(connection, Message(1, at, "notice", 1, False, "no"))
        notices.forget(connection, NOW - DAY)
        left = notices.messages(connection, 1, 999)
        assert len(left) == 200
        assert left[0].at == NOW + timedelta(minutes=209)

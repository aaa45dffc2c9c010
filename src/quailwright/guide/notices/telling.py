"""What a channel is to be told now, by what it was told and by what is so. Pure.

At the start, again at growing intervals while it lasts and nobody sees to it, and once when it is
over; hours of quiet for what is not urgent; never more than so many messages an hour.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

from quailwright.guide.notices.state import is_open, settled_at
from quailwright.husbandry import facts
from quailwright.journal.notices import Channel, Notice, Told

What = Literal["start", "again", "over", "passed", "once"]
"""Begins; lasts; is over; was over before it could be told; has happened."""
_HOUR = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Hours:
    """Hours of quiet and the time of the digest, by the clock at the holding; None: there is none.

    Quiet goes from `quiet_from` to before `quiet_until`, over midnight where that is earlier.
    """

    zone: ZoneInfo
    quiet_from: time | None = None
    quiet_until: time | None = None
    digest: time | None = None

    def quiet(self, now: datetime) -> bool:
        """Whether it is an hour of quiet, whatever the clocks do that night."""
        first, last = self.quiet_from, self.quiet_until
        if first is None or last is None or first == last:
            return False
        clock = now.astimezone(self.zone).time()
        return first <= clock < last if first < last else clock >= first or clock < last

    def digest_due(self, now: datetime, last_day: str) -> bool:
        """Whether the digest of today is to be sent; one that is hours late is not."""
        if self.digest is None:
            return False
        local = now.astimezone(self.zone)
        late = timedelta(hours=facts.value("notices.digest_late_h"))
        planned = datetime.combine(local.date(), self.digest)
        return (
            local.date().isoformat() != last_day
            and planned <= local.replace(tzinfo=None) < planned + late
        )


@dataclass(frozen=True, slots=True)
class Item:
    """One thing to tell of a notice."""

    notice: Notice
    what: What
    times: int

    @property
    def loud(self) -> bool:
        """Whether it is urgent and new."""
        return self.notice.urgent and self.what == "start"


def to_tell(
    notices: Sequence[Notice],
    told: Mapping[int, Told],
    channel: Channel,
    hours: Hours,
    sent_this_hour: int,
    now: datetime,
) -> list[Item]:
    """What to tell a channel at `now`, in one message; nothing where it is to wait.

    Args:
        notices: open ones, and those over of late.
        told: what the channel was last told, by notice.
        sent_this_hour: messages that went to it within the last hour.
    """
    if not _may_try(channel, now):
        return []
    items = [
        item for notice in notices
        if (item := _item(notice, told.get(notice.id), channel, now)) is not None
    ]  # fmt: skip
    if hours.quiet(now):
        items = [item for item in items if item.notice.urgent]
    room = round(facts.value("notices.per_hour")) - sent_this_hour
    loud = any(item.loud for item in items)
    if room <= 0 or not (loud or room > facts.value("notices.kept_urgent")):
        return []
    # What begins at once is told at once, in one message: a little patience for the rest of it.
    patience = timedelta(seconds=facts.value("notices.joined_s"))
    if all(timedelta(0) <= now - item.notice.noticed < patience for item in items):
        return []
    return sorted(items, key=_in_order)


def _in_order(item: Item) -> tuple[bool, bool, int]:
    """What is so before what is over, what is urgent before what is not."""
    return item.what in ("over", "passed"), not item.notice.urgent, item.notice.id


def _may_try(channel: Channel, now: datetime) -> bool:
    longest = timedelta(minutes=facts.value("notices.retry_longest_min"))
    # A clock that was set back must not keep a channel waiting for days.
    return channel.not_before is None or not now < channel.not_before <= now + longest


def _item(notice: Notice, told: Told | None, channel: Channel, now: datetime) -> Item | None:
    stale = timedelta(days=facts.value("notices.stale_d"))
    if notice.once:
        new = told is None and notice.noticed >= channel.made and now - notice.noticed < stale
        return Item(notice, "once", 1) if new else None
    if is_open(notice, now):
        return _open_item(notice, told, now)
    settled = settled_at(notice) or now
    if told is None:
        missed = notice.urgent and notice.noticed >= channel.made and now - settled < stale
        return Item(notice, "passed", 1) if missed else None
    return Item(notice, "over", told.times) if told.what == "open" else None


def _open_item(notice: Notice, told: Told | None, now: datetime) -> Item | None:
    if told is None:
        return Item(notice, "start", 1) if notice.over is None else None
    if notice.over is not None or notice.seen_by:
        return None
    wait = again_after(notice.urgent, told.times)
    # After a clock was set back, what was told lies ahead: then the next wait begins anew.
    due = now - told.at >= wait or told.at - now > wait
    return Item(notice, "again", told.times + 1) if due else None


def again_after(urgent: bool, times: int) -> timedelta:
    """How long after it was told that often it is told again, while nobody sees to it."""
    factor = facts.value("notices.again_times") ** min(times - 1, 20)
    if not urgent:
        return timedelta(days=facts.value("notices.again_calm_d")) * factor
    first = timedelta(minutes=facts.value("notices.again_min"))
    return min(first * factor, timedelta(hours=facts.value("notices.again_longest_h")))


def retry_after(tried: int) -> timedelta:
    """How long to wait after so many failures in a row."""
    first_s, most = facts.value("notices.retry_first_s"), facts.value("notices.retry_longest_min")
    return min(timedelta(seconds=first_s * 2.0 ** min(tried - 1, 20)), timedelta(minutes=most))


def as_told(items: Sequence[Item], channel: Channel, now: datetime) -> list[Told]:
    """What the channel knows once these were told."""
    return [
        Told(
            item.notice.id, channel.id,
            "open" if item.what in ("start", "again") else "over", now, item.times,
        )
        for item in items
    ]  # fmt: skip


def hour_ago(now: datetime) -> datetime:
    """From when on messages count against the most an hour."""
    return now - _HOUR

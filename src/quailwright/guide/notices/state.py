"""From what is wrong now to notices: what begins, what comes back, what is over. Pure."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import msgspec

from quailwright.husbandry import facts
from quailwright.journal.notices import Notice

Key = tuple[str, str]
"""Rule and what it is about."""


@dataclass(frozen=True, slots=True)
class Wrong:
    """Something that is wrong now, or (`once`) has happened."""

    rule: str
    about: str
    urgent: bool
    since: datetime
    facts: str
    once: bool = False

    @property
    def key(self) -> Key:
        """By which rule, and of what."""
        return self.rule, self.about


@dataclass(frozen=True, slots=True)
class Changes:
    """Notices to be added, and those to be written as they stand now."""

    new: tuple[Notice, ...]
    changed: tuple[Notice, ...]

    @property
    def any(self) -> bool:
        """Whether there is anything to write."""
        return bool(self.new or self.changed)


def settled_at(notice: Notice) -> datetime | None:
    """When it is believed to be over: what came back before is believed later. None: it lasts."""
    if notice.over is None:
        return None
    back = facts.value("notices.back_min")
    longest = facts.value("notices.settle_longest_min")
    # 2 ** 20 is beyond any cap, and no more need be reckoned.
    wait = min(back * (2.0 ** min(notice.returns, 20) - 1), longest)
    return notice.over + timedelta(minutes=wait)


def is_open(notice: Notice, now: datetime) -> bool:
    """Whether it lasts, as far as it is believed."""
    settled = settled_at(notice)
    return not notice.once and (settled is None or now < settled)


def changes(
    known: Sequence[Notice],
    wrong: Sequence[Wrong],
    unsure: Collection[Key],
    right: Collection[Key] | None,
    concerns: Collection[str],
    now: datetime,
) -> Changes:
    """What becomes of notices.

    Args:
        known: open ones and those that were over of late, in the order of noticing.
        wrong: what is wrong now.
        unsure: what is neither wrong nor right for certain: it stays as it was.
        right: what was seen to be right again; what else is over is so because nobody looks any
            more (the hatch is closed, the rule is off). None: all was looked at.
        concerns: the rules that were looked at (the first part of their codes, before `-`).
    """
    last: dict[Key, Notice] = {}
    for notice in known:
        if notice.rule.split("-")[0] in concerns:
            last[(notice.rule, notice.about)] = notice
    new: list[Notice] = []
    changed: list[Notice] = []
    now_wrong: Mapping[Key, Wrong] = {one.key: one for one in wrong}
    flaps = timedelta(hours=facts.value("notices.flap_h"))
    for key, one in now_wrong.items():
        before = last.get(key)
        # A clock that was set back: what is noticed lies in no future.
        since = min(one.since, now)
        if before is not None and one.once:
            continue
        if before is None or (before.over is None and before.once):
            new.append(_begun(one, since, now, 0))
        elif before.over is None:
            told = _with_worst(before.facts, one.facts)
            if (before.facts, before.urgent) != (told, one.urgent):
                changed.append(replace(before, facts=told, urgent=one.urgent))
        elif is_open(before, now):
            changed.append(
                replace(
                    before,
                    over=None,
                    returns=before.returns + 1,
                    facts=_with_worst(before.facts, one.facts),
                )
            )
        else:
            lately = now - before.over < flaps
            new.append(_begun(one, since, now, before.returns + 1 if lately else 0))
    for key, notice in last.items():
        if notice.over is None and not notice.once and key not in now_wrong and key not in unsure:
            seen = right is None or key in right
            told = notice.facts if seen else _unwatched(notice.facts)
            changed.append(replace(notice, over=max(now, notice.since), facts=told))
    return Changes(tuple(new), tuple(changed))


def _with_worst(before: str, now: str) -> str:
    """What is known now, and of a value the worst so far."""
    old, new = msgspec.json.decode(before), msgspec.json.decode(now)
    if "value" not in new:
        return now
    worst = min if new["side"] == "below" else max
    known = old.get("worst", old.get("value", new["value"]))
    return msgspec.json.encode({**new, "worst": worst(known, new["value"])}).decode()


def _unwatched(told: str) -> str:
    return msgspec.json.encode({**msgspec.json.decode(told), "unwatched": True}).decode()


def _begun(one: Wrong, since: datetime, now: datetime, returns: int) -> Notice:
    over = now if one.once else None
    return Notice(
        0, one.rule, one.about, one.urgent, one.once, since, now, over, returns, "", one.facts
    )

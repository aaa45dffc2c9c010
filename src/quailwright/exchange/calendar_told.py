"""The calendar of a flock as it is asked for: its events, a file, and what a phone is told."""

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from pathlib import Path
from typing import Annotated

import msgspec
from msgspec import Meta, Struct

from quailwright.exchange.calendar_events import (
    KINDS,
    USUAL,
    Event,
    Kind,
    Reckoned,
    in_kinds,
    told_in,
)
from quailwright.exchange.calendar_ics import NotOurs, Wrapping, calendar, told_in_file
from quailwright.exchange.calendar_revised import Component, Told, revised
from quailwright.exchange.costs_told import write_whole
from quailwright.exchange.desk import Desk
from quailwright.exchange.hatch_told import hatch_told
from quailwright.exchange.outlook_page import as_asked, as_things_are
from quailwright.flock.state import Flock
from quailwright.guide.hatch.report import HatchReport
from quailwright.guide.round import day_at, todays_round
from quailwright.journal import subscriptions
from quailwright.journal.entries import CLOCK, Entry
from quailwright.journal.findings import BadInput
from quailwright.journal.moments import until
from quailwright.journal.store import Store
from quailwright.language import ENGLISH, LANGUAGES, say, speaking, spoken
from quailwright.outlook.feed_ahead import FeedAhead, feed_ahead

USUAL_ROUND = "07:30"


class Wanted(Struct, frozen=True, kw_only=True):
    """What somebody wants in their calendar; kept of a private address.

    Attributes:
        language: a key of `LANGUAGES`.
        kinds: of events.
        alarms: whether events ring.
        round_at: when the daily round is, for those who want it.
    """

    language: str = ENGLISH
    kinds: tuple[Kind, ...] = USUAL
    alarms: bool = True
    round_at: Annotated[str, Meta(pattern=CLOCK)] = USUAL_ROUND

    @property
    def rounds(self) -> tuple[time, ...]:
        """The time of the round, if one is wanted."""
        return (time.fromisoformat(self.round_at),) if "round" in self.kinds else ()


def wanted(language: str, kinds: Iterable[str], alarms: bool, round_at: str) -> Wanted:
    """What was chosen, from what was typed. Raises BadInput."""
    chosen = [kind.strip() for kind in kinds if kind.strip()]
    for kind in chosen:
        if kind not in KINDS:
            raise BadInput(
                say(
                    "A calendar has no kind {kind!r}. Choose of: {kinds}.",
                    kind=kind[:40],
                    kinds=", ".join(KINDS),
                )
            )
    if not chosen:
        raise BadInput(say("Choose at least one kind of event."))
    try:
        at = time.fromisoformat((round_at.strip() or USUAL_ROUND).zfill(len(USUAL_ROUND)))
    except ValueError:
        raise BadInput(
            say("{text!r} is not a clock time. Write it as in 07:30.", text=round_at[:40])
        ) from None
    return Wanted(
        language=language if language in LANGUAGES else ENGLISH,
        kinds=tuple(kind for kind in KINDS if kind in chosen),
        alarms=alarms,
        round_at=f"{at:%H:%M}",
    )


def wanted_typed(language: str, kinds: str, alarms: bool, round_at: str) -> Wanted:
    """As `wanted`, of kinds with commas between (none: the usual ones); a time adds the round.

    Raises BadInput.
    """
    chosen: list[str] = kinds.split(",") if kinds.strip() else [*USUAL]
    return wanted(language, [*chosen, "round"] if round_at.strip() else chosen, alarms, round_at)


def address_typed(text: str) -> str:
    """The address of the pages, as typed. Raises BadInput."""
    address = text.strip()
    if address and not re.match(r"https?://[^\s/?#]+(/[^\s?#]*)?\Z", address):
        raise BadInput(
            say(
                "{text!r} is no address of your pages. Write it as in http://10.0.0.2:8347.",
                text=address[:80],
            )
        )
    return address


# What events are made of.


def _known(
    flock: Flock, now: datetime, mark: str, entries: Sequence[Entry], rounds: tuple[time, ...],
    hatch: Callable[[str], HatchReport], feed: Callable[[], FeedAhead],
    minutes: Callable[[], float], kinds: Iterable[Kind],
) -> Reckoned:  # fmt: skip
    # Without days of delivery there is no day to order by, and nothing to draw the weeks for.
    told = any(
        stock.label is not None and stock.label.delivery_days is not None
        for stock in flock.feeds.values()
    )
    return Reckoned(
        flock,
        now,
        mark,
        entries,
        {one.name: hatch(one.name) for one in flock.hatches_open()},
        feed() if told and "orders" in kinds else None,
        minutes() if rounds else 0.0,
        rounds,
    )


def events_of_store(
    store: Store, flock: Flock, entries: Sequence[Entry], asked: date | datetime, chosen: Wanted
) -> list[Event]:
    """The events wanted, as of `asked`, which `flock` is folded up to."""
    now = until(asked, flock.zone).moment(flock.zone)
    on = day_at(flock, asked)
    known = _known(
        flock,
        now,
        entries[0].id if entries else "",
        entries,
        chosen.rounds,
        lambda name: hatch_told(store, flock, name, asked),
        lambda: feed_ahead(as_asked(store, flock, asked), flock),
        lambda: todays_round(flock, on).minutes,
        chosen.kinds,
    )
    round_at = next(iter(chosen.rounds), None)
    return in_kinds(told_in(chosen.language, known), chosen.kinds, round_at)


def events_of_desk(
    desk: Desk, now: datetime, language: str, rounds: tuple[time, ...]
) -> list[Event]:
    """Every event as things stand, in a language; made once a minute for all who ask."""
    flock = desk.flock(now)
    on = day_at(flock, now)
    once = desk.once_an_hour(flock, now)

    def made() -> list[Event]:
        known = _known(
            flock,
            now,
            desk.mark(),
            desk.entries(),
            rounds,
            lambda name: desk.hatch(flock, name, now),
            lambda: feed_ahead(as_things_are(desk.store, flock, now, once)[1], flock),
            lambda: (
                desk.with_air(
                    flock, "round", on, now, lambda air: todays_round(flock, on, air)
                ).minutes
            ),
            KINDS,
        )
        return told_in(language, known)

    with speaking(language):
        return desk.with_readings(
            flock, f"calendar {rounds}", now, list(flock.hatches_open()), made
        )


# What phones are told; one memory for all of a flock, so that they agree.


def told_now(desk: Desk, now: datetime, chosen: Wanted, address: str) -> bytes:
    """The calendar as things stand, for whoever wants it so. Raises FlockUnusable.

    What is told is remembered, of all kinds: who leaves one out and takes it in again later finds
    it as others do.
    """
    flock = desk.flock(now)
    store = desk.store
    with store.household() as connection:
        everything = subscriptions.everything(connection)
    rounds = {at for one in everything for at in settings_of(one).rounds} | {*chosen.rounds}
    events = events_of_desk(desk, now, chosen.language, tuple(sorted(rounds)))
    with store.household(writes=True) as connection:
        kept = subscriptions.told_events(connection)
        before = {uid: msgspec.json.decode(text, type=Told) for uid, text in kept.items()}
        components, after = revised(events, before, now, chosen.language, flock.zone)
        remembered = {uid: msgspec.json.encode(one).decode() for uid, one in after.items()}
        subscriptions.remember(connection, kept, remembered)
    shown = {event.uid for event in in_kinds(events, chosen.kinds, next(iter(chosen.rounds), None))}
    with speaking(chosen.language):
        return calendar(
            [one for one in components if _is_for(one, chosen, shown)],
            Wrapping(desk.mark(), calendar_name(flock), flock.zone, address, chosen.alarms),
        )


def _is_for(component: Component, chosen: Wanted, shown: set[str]) -> bool:
    """A daily round called off is somebody else's, or was moved by who asks."""
    if component.event is not None:
        return component.told.uid in shown
    return component.told.kind in chosen.kinds and component.told.kind != "round"


def settings_of(one: subscriptions.Subscription) -> Wanted:
    """What somebody wants of a private address."""
    return msgspec.json.decode(one.settings, type=Wanted)


def calendar_name(flock: Flock) -> str:
    """What the calendar is called."""
    name = flock.holding.name if flock.holding is not None else ""
    return say("Quail: {holding}", holding=name) if name else say("Quail")


# A file of the keeper's.


@dataclass(frozen=True, slots=True)
class FileTold:
    """What was written: events, and how many of them are new, changed, or called off."""

    events: int
    fresh: int
    changed: int
    called_off: int


def read_before(path: Path, mark: str) -> dict[str, Told]:
    """What the file there told the last time; nothing where there is none. Raises BadInput."""
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        return {}
    except OSError as error:
        raise BadInput(
            say("{path} cannot be read: {why}.", path=path, why=error.strerror or error)
        ) from None
    try:
        return told_in_file(content, mark)
    except NotOurs as wrong:
        raise BadInput(
            say(
                "{path} is the calendar of another flock. It was left as it is: give another name.",
                path=path,
            )
            if wrong.of_another
            else say(
                "{path} is there, and is no calendar that quailwright wrote. It was left as it is: "
                "give another name.",
                path=path,
            )
        ) from None


def ics_of(
    events: Iterable[Event], before: dict[str, Told], now: datetime, wrapping: Wrapping
) -> tuple[bytes, FileTold]:
    """The calendar to be written over what was told `before`, in the language spoken now."""
    components, after = revised(events, before, now, spoken(), wrapping.zone_name)
    told = FileTold(
        sum(one.event is not None for one in components),
        sum(one.told.uid not in before for one in components),
        sum(
            one.event is not None
            and one.told.uid in before
            and before[one.told.uid].changed != one.told.changed
            for one in components
        ),
        sum(one.event is None for one in components),
    )
    return calendar(components, wrapping, after.values()), told


def write_file(path: Path, events: Iterable[Event], now: datetime, wrapping: Wrapping) -> FileTold:
    """Writes the calendar, whole or not at all, over the one of this flock there. Raises BadInput.

    The file is its own memory: what it told is read from it, and what is gone is told as called
    off.
    """
    content, told = ics_of(events, read_before(path, wrapping.mark), now, wrapping)
    write_whole(path, content)
    return told

"""What lies ahead as events of a calendar: from what the round, the hatches and the plan reckon.

Nothing is reckoned here. An event's uid stands for what it is of (the entry that began the hatch,
and the step), not for its day or its text: corrected to another hour or name it is the same event.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import partial
from itertools import groupby
from math import ceil
from typing import Final, Literal, get_args
from urllib.parse import quote
from uuid import UUID, uuid5

from quailwright.exchange.calendar_origins import OF_GROUP, OF_HATCH, OF_SET, origins
from quailwright.flock.state import Flock
from quailwright.guide import wording
from quailwright.guide.hatch.report import HatchReport
from quailwright.guide.light import Ask, light, place_of
from quailwright.guide.occasions import Occasion, clock_change, lamp_told
from quailwright.guide.round import (
    Step,
    care_ahead,
    dated_steps,
    day_at,
    day_of_hatch,
    units_of,
    withheld,
)
from quailwright.guide.rules import Rule, printed_rules
from quailwright.journal.entries import Entry
from quailwright.journal.moments import zone
from quailwright.language import ENGLISH, mark, say, speaking
from quailwright.outlook.feed_ahead import EARLY, FeedAhead

Kind = Literal["hatch", "plan", "orders", "chicks", "held", "light", "care", "round"]
KINDS: Final[tuple[Kind, ...]] = get_args(Kind)
USUAL: Final = tuple(kind for kind in KINDS if kind != "round")
"""The kinds that a calendar has unless others are asked for: a round each day is no news."""

KIND_WORDS: Final[Mapping[Kind, str]] = {
    "hatch": mark("Hatches"),
    "plan": mark("The plan"),
    "orders": mark("To order"),
    "chicks": mark("Chicks and birds by age"),
    "held": mark("Held back"),
    "light": mark("The lamp"),
    "care": mark("Bigger jobs"),
    "round": mark("The round"),
}
KIND_SAYS: Final[Mapping[Kind, str]] = {
    "hatch": mark("set, weigh, candle, stop turning, when chicks likely come, open the eggs"),
    "plan": mark("the days on which eggs are to be set and birds to be let go"),
    "orders": mark("hatching eggs and feed: the last day to order them"),
    "chicks": mark("lower the heat, move to a pen, sex, change the feed"),
    "held": mark("the last day on which eggs, meat or birds are held back"),
    "light": mark("the next day on which the timer is to be set, and when clocks change"),
    "care": mark("washing and weighing that come round every few weeks"),
    "round": mark("every day at one time, with its minutes"),
}

AHEAD, BACK = timedelta(days=400), timedelta(days=30)
"""How far ahead events are told, and for how long after."""
CARE_FROM_DAYS = 14.0
"""Recurring care less seldom than this belongs to the daily round and is no event."""
STAYS: Final = timedelta(hours=3)
"""A likely time that moves by less is told as before: no keeper is rung for minutes."""
ORDER_STAYS, LATE_STAYS = timedelta(days=1), timedelta(days=6)
"""An order that may wait a day longer stays where it was; one that is late is told again weekly."""
LAMP_STAYS: Final = timedelta(days=6)
"""The lamp's next day hangs on the day on which it is reckoned: within a week it stays as told."""
ROUND_STAYS: Final = timedelta(minutes=15)
"""A round that takes a quarter of an hour more or less is no other round."""
EVENING_BEFORE: Final = timedelta(hours=5)
"""Before the midnight at which a day begins: 19:00."""
_HOUR_BEFORE = timedelta(hours=1)
_WAKES, _SLEEPS, _EVENING = time(7), time(21), time(20)
"""No alarm rings between the last two: it comes on the evening before, at 20:00."""
_LEAST_MINUTES, _MINUTES_APART = 15, 5
_ROUND_MINUTES_APART = 15

TITLES: Final[Mapping[str, str]] = {
    "order_eggs": mark("Order hatching eggs"),
    "ask_for_eggs": mark("Ask for hatching eggs"),
    "fetch_eggs": mark("Fetch the hatching eggs"),
    "keep_eggs": mark("Keep eggs back to set"),
    "ready_machine_planned": mark("Clean the incubator and run it empty"),
    "set_planned_eggs": mark("Set eggs"),
    "let_go": mark("Let birds go"),
    "candle_on_arrival": mark("Candle the eggs that came"),
    "ready_machine": mark("Clean the incubator and run it empty"),
    "set_eggs": mark("Set the rested eggs"),
    "weigh_eggs": mark("Weigh the eggs"),
    "candle_first": mark("Candle the eggs"),
    "candle_second": mark("Candle the eggs again"),
    "stop_turning": mark("Stop turning"),
    "ready_brooder": mark("Warm the brooder"),
    "open_eggs": mark("Open what did not hatch"),
    "clean_machine": mark("Clean the incubator"),
    "move_chicks": mark("Move the chicks to the brooder"),
    "pebbles_out": mark("Pebbles may come out"),
    "move_out": mark("Move them to a pen"),
    "sexing": mark("Sex the birds"),
    "weigh_growers": mark("Weigh a few birds"),
    "surplus_cocks": mark("Decide on the cocks too many"),
    "light_up": mark("Bring the light up"),
    "layer_feed": mark("Change to layer feed"),
    "first_eggs": mark("Look for the first eggs"),
    "review_cocks": mark("Think of younger cocks"),
    "review_hens": mark("Think of younger hens"),
    "wash": mark("Wash the cages"),
    "weigh_sample": mark("Weigh a few birds"),
}
"""What a printed rule is called where there is room for a few words; the event holds its text."""

_NO_EVENT = frozenset({"close_hatch"})
"""A line in the journal: the round asks for it."""
_ORDERS = frozenset({"order_eggs", "ask_for_eggs", "fetch_eggs", "keep_eggs"})
_OPENING, _SETTING = "open_eggs", "set_planned_eggs"


@dataclass(frozen=True, slots=True)
class Event:
    """Something in a calendar.

    Attributes:
        uid: the same for good, whatever becomes of its day and text.
        kind: by which it may be left out.
        start, end: days, or instants in the zone of the holding; `end` is the first after it.
        summary, description: in the language spoken when it was made.
        place: where, or "". `page`: the path of the page about it.
        alarm: how long before its start to ring, None for never.
        done: it was done.
        likely: its time is not sure.
        daily: it comes again every day.
        stays: it is told as before if it moved by less.
        english: its summary and description in English, to tell what changed in any language.
    """

    uid: str
    kind: Kind
    start: date
    end: date
    summary: str
    description: str
    place: str
    page: str
    alarm: timedelta | None = None
    done: bool = False
    likely: bool = False
    daily: bool = False
    stays: timedelta = timedelta(0)
    english: tuple[str, str] = ("", "")


@dataclass(frozen=True, slots=True)
class Reckoned:
    """What events are made of.

    Attributes:
        flock: folded up to `now`.
        now: an aware instant.
        mark: the flock's own (`Desk.mark`).
        entries: every entry, in order of arrival.
        hatches: the reports of hatches under way, by name.
        feed: feed ahead, or None where nothing can be said of when to order it.
        round_minutes: of the round of the day.
        rounds: the times of day at which a daily round is wanted.
    """

    flock: Flock
    now: datetime
    mark: str
    entries: Sequence[Entry]
    hatches: Mapping[str, HatchReport]
    feed: FeedAhead | None
    round_minutes: float
    rounds: tuple[time, ...] = ()


def told_in(language: str, known: Reckoned) -> list[Event]:
    """The events in a language, in order of time, each with its English beside it."""
    with speaking(ENGLISH):
        plain = calendar_events(known)
    if language == ENGLISH:
        said = plain
    else:
        with speaking(language):
            said = calendar_events(known)
    english = {event.uid: (event.summary, event.description) for event in plain}
    return [replace(event, english=english[event.uid]) for event in said]


def calendar_events(known: Reckoned) -> list[Event]:
    """Every event of all kinds, in order of time, in the language spoken now."""
    if not known.mark:
        return []
    names = origins(known.entries)
    uid = partial(_uid, known.mark)
    made = [
        *_steps(known, names, uid),
        *_sets_done(known, names, uid),
        *_windows(known, names, uid),
        *_feed(known, uid),
        *_held(known, uid),
        *_lamp(known, uid),
        *_care(known, uid),
        *_rounds(known, uid),
    ]
    return sorted(made, key=lambda event: (_begins(event.start), event.uid))


def _begins(moment: date) -> str:
    if isinstance(moment, datetime):
        return moment.astimezone(UTC).isoformat()
    return moment.isoformat()


_Uid = Callable[[str], str]


def _uid(flock_mark: str, of: str) -> str:
    """A UUID by name (RFC 9562, version 5): the same for good, and it tells nobody anything."""
    return str(uuid5(UUID(flock_mark), of))


# Steps.


def _steps(known: Reckoned, names: Mapping[tuple[str, str], str], uid: _Uid) -> Iterator[Event]:
    flock, on = known.flock, day_at(known.flock, known.now)
    for occasion, rule, step in dated_steps(flock, on, on - BACK, on + AHEAD):
        if rule.rule in _NO_EVENT:
            continue
        of = _of(flock, occasion, names)
        number = rule.days.index(step.day) if step.day in rule.days else 0
        yield _of_step(known, occasion, rule, step, uid(f"{of}:{rule.rule}:{number}"))


def _sets_done(known: Reckoned, names: Mapping[tuple[str, str], str], uid: _Uid) -> Iterator[Event]:
    """Planned sets that were set: of them the round knows no more, and nothing was called off."""
    on = day_at(known.flock, known.now)
    for planned in known.flock.planned_sets.values():
        if planned.set_as is None or not on - BACK <= planned.on <= on + AHEAD:
            continue
        name = planned.hatch
        yield _day(
            uid(f"set:{names.get((OF_SET, name), name)}:{_SETTING}:0"),
            "plan",
            planned.on,
            say("Done: {what}", what=_titled(say(TITLES[_SETTING]), name)),
            (),
            planned.place,
            _hatch_page(planned.set_as),
            None,
            done=True,
        )


def _of(flock: Flock, occasion: Occasion, names: Mapping[tuple[str, str], str]) -> str:
    """What an occasion is of, in a few signs that stay."""
    subject = occasion.subject
    match occasion.stage:
        case "hatch" | "chicks":
            return f"hatch:{names.get((OF_HATCH, subject), subject)}"
        case "planned_set":
            return f"set:{names.get((OF_SET, subject), subject)}"
        case "planned_cull":
            same = [one for one in flock.planned_culls.values() if say(one.whose) == subject]
            days = sorted(one.on for one in same)
            whose = same[0].hatch or same[0].group or ""
            return f"cull:{whose}:{same[0].hatched_on}:{days.index(occasion.since.date())}"
        case "received":
            came = [receipt.at for receipt in flock.receipts if receipt.source == subject]
            return f"received:{subject}:{came.index(occasion.since)}"
        case _:
            return f"group:{names.get((OF_GROUP, subject), subject)}:{occasion.stage}"


def _of_step(known: Reckoned, occasion: Occasion, rule: Rule, step: Step, uid: str) -> Event:
    units = units_of(known.flock)
    hatch = known.flock.hatches.get(occasion.subject) if occasion.stage == "hatch" else None
    by_hour = occasion.by_hour and (hatch is None or hatch.set_hour_known)
    at, stays, counts = step.at, timedelta(0), ""
    report = known.hatches.get(occasion.subject) if hatch is not None else None
    if report is not None and rule.rule == _OPENING and not step.done:
        at, stays = report.give_up_at, STAYS
    if hatch is not None:
        counts = say("Of this hatch: {day}.", day=day_of_hatch(hatch, at))
    minutes = rule.minutes_for(occasion.count)
    start: date
    if by_hour:
        start, length = at, timedelta(minutes=_up_to(minutes, _MINUTES_APART, _LEAST_MINUTES))
    else:
        start, length = max(at.date(), occasion.began), timedelta(days=1)
    caution = rule.caution_at(occasion.age_days(_on_day(start)))
    texts = [
        step.what,
        wording.fill(rule.why, units, occasion.words()),
        say("Caution: {caution}", caution=wording.fill(caution, units, occasion.words()))
        if caution
        else "",
        counts,
        ""
        if by_hour or hatch is None
        else say("The hour of setting was not logged: hours may be off."),
    ]
    summary = _titled(_title(rule, step.what), occasion.subject or occasion.place)
    return Event(
        uid,
        _kind(occasion, rule),
        start,
        _later(start, length),
        say("Done: {what}", what=summary) if step.done else summary,
        "\n\n".join(text for text in texts if text),
        occasion.place,
        _page(occasion),
        None if step.done else _alarm(start),
        step.done,
        stays=stays,
    )


def _kind(occasion: Occasion, rule: Rule) -> Kind:
    if rule.rule in _ORDERS:
        return "orders"
    if occasion.stage in ("planned_set", "planned_cull"):
        return "plan"
    return "hatch" if occasion.stage in ("received", "hatch", "chicks") else "chicks"


def _page(occasion: Occasion) -> str:
    if occasion.stage in ("hatch", "chicks"):
        return _hatch_page(occasion.subject)
    if occasion.stage in ("planned_set", "planned_cull"):
        return "/plan"
    return f"/places/{quote(occasion.place, safe='')}" if occasion.place else "/"


def _hatch_page(name: str) -> str:
    return f"/hatches/{quote(name, safe='')}"


def _title(rule: Rule, text: str) -> str:
    """A printed rule in a few words; a keeper's own as they wrote it."""
    title, printed = TITLES.get(rule.rule), printed_rules().get(rule.rule)
    is_printed = printed is not None and printed.task == rule.task
    return say(title) if title is not None and is_printed else text


def _titled(what: str, whose: str) -> str:
    return say("{what}: {whose}", what=what, whose=whose) if whose else what


def _on_day(moment: date) -> date:
    return moment.date() if isinstance(moment, datetime) else moment


def _later(start: date, length: timedelta) -> date:
    """So much later; of an instant by the clock of the world and not of the wall."""
    if isinstance(start, datetime):
        return (start.astimezone(UTC) + length).astimezone(start.tzinfo)
    return start + length


def _up_to(minutes: float, apart: int, least: int) -> int:
    return max(least, ceil(minutes / apart) * apart)


def _alarm(start: date) -> timedelta:
    """How long before its start an event rings: an hour, or on the evening before."""
    if not isinstance(start, datetime):
        return EVENING_BEFORE
    rings = _later(start, -_HOUR_BEFORE)
    assert isinstance(rings, datetime)
    if _WAKES <= rings.time() < _SLEEPS:
        return _HOUR_BEFORE
    day = rings.date() if rings.time() >= _SLEEPS else rings.date() - timedelta(days=1)
    evening = datetime.combine(day, _EVENING, tzinfo=start.tzinfo)
    return start.astimezone(UTC) - evening.astimezone(UTC)


# When chicks come.


def _windows(known: Reckoned, names: Mapping[tuple[str, str], str], uid: _Uid) -> Iterator[Event]:
    for name, report in known.hatches.items():
        hatch = report.hatch
        if hatch.closed_at is not None or report.wait_is_over or hatch.alive <= 0:
            continue
        first, of_all = report.window.first_of(report.likely_chicks), report.window.quantiles()
        begins, ends = _hour(first["q10"]), _hour(of_all["q95"], after=True)
        texts = [
            say(
                "The first chick likely comes between {early} and {late} (four times in five), "
                "half of them are out by about {middle}, 19 in 20 by {end}.",
                early=wording.clock(_hour(first["q10"])),
                late=wording.clock(_hour(first["q90"])),
                middle=wording.clock(_hour(of_all["q50"])),
                end=wording.clock(ends),
            ),
            say(
                "Likely about {chicks:.0f} chicks of {eggs} eggs.",
                chicks=report.likely_chicks,
                eggs=hatch.alive + hatch.hatched,
            ),
            say(
                "Look through the window only, and leave the machine shut while eggs are pipped. "
                "Dry chicks go to the warm brooder within the day."
            ),
        ]
        yield Event(
            uid(f"hatch:{names.get((OF_HATCH, name), name)}:window"),
            "hatch",
            begins,
            max(ends, _later(begins, _HOUR_BEFORE)),
            _titled(say("Chicks likely come"), name),
            "\n\n".join(texts),
            hatch.place,
            _hatch_page(name),
            _alarm(begins),
            likely=True,
            stays=STAYS,
        )


def _hour(at: datetime, after: bool = False) -> datetime:
    """The full hour before an instant, or after it."""
    full = at.replace(minute=0, second=0, microsecond=0)
    late = after and full != at
    return (full.astimezone(UTC) + timedelta(hours=int(late))).astimezone(at.tzinfo)


# Feed, what is held, the lamp, bigger jobs, the round.


def _day(
    uid: str, kind: Kind, on: date, summary: str, texts: Iterable[str], place: str, page: str,
    alarm: timedelta | None = EVENING_BEFORE, stays: timedelta = timedelta(0), done: bool = False,
) -> Event:  # fmt: skip
    description = "\n\n".join(text for text in texts if text)
    end = on + timedelta(days=1)
    return Event(uid, kind, on, end, summary, description, place, page, alarm, done, stays=stays)


def _feed(known: Reckoned, uid: _Uid) -> Iterator[Event]:
    if known.feed is None:
        return
    on = day_at(known.flock, known.now)
    for one in known.feed.feeds:
        if one.order_by is None:
            continue
        early = known.feed.day(one.good_out, EARLY)
        texts = [
            ""
            if early is None
            else say(
                "It may run out on {day} (one time in ten before), and takes {days:g} days to "
                "come.",
                day=wording.weekday(early),
                days=one.delivery_d,
            ),
        ]
        yield _day(
            uid(f"feed:{one.feed}"),
            "orders",
            max(one.order_by, on),
            _titled(say("Order feed"), one.feed),
            texts,
            "",
            "/feed",
            stays=ORDER_STAYS if one.order_by > on else LATE_STAYS,
        )


def _held(known: Reckoned, uid: _Uid) -> Iterator[Event]:
    """The last day of each thing held; one of two that are held at once is the longer."""
    on = day_at(known.flock, known.now)
    dated = [
        (held.what, held.of, held.until, held.because)
        for held in withheld(known.flock, on - BACK)
        if held.until is not None
    ]
    titles = {
        "eggs": say("Last day: eggs are held back"),
        "meat": say("Last day: meat is held back"),
        "birds": say("Last day of quarantine"),
    }
    pages = {"eggs": "/eggs/store", "meat": "/birds", "birds": "/birds"}
    for (what, of), all_of_it in groupby(sorted(dated), key=lambda held: held[:2]):
        *_, (_, _, until, because) = all_of_it
        texts = (
            f"{because[:1].upper()}{because[1:]}.",
            say(
                "Held to the end of this day. Before anything leaves, see here whether that still "
                "stands."
            ),
        )
        yield _day(
            uid(f"held:{what}:{of}"),
            "held",
            until,
            _titled(titles[what], of),
            texts,
            of if what == "birds" else "",
            pages[what],
            None,
        )


def _lamp(known: Reckoned, uid: _Uid) -> Iterator[Event]:
    flock, on = known.flock, day_at(known.flock, known.now)
    told, holding = lamp_told(flock), flock.holding
    wanted = holding is not None and holding.light_target_h is not None
    if place_of(flock) is None or not (told or wanted):
        return
    found = light(flock, on, Ask())
    if found.rests or not found.hens:
        return
    today, *later = found.steps
    now = () if told is None else (told,)
    due = (
        today
        if today.lamp != now
        else next((step for step in later if step.lamp != now and not step.clock_h), None)
    )
    if due is not None:
        words = "; ".join(say("on {on}, off {off}", on=a, off=b) for a, b in due.lamp)
        yield _day(
            uid("light:next"),
            "light",
            due.on,
            say("Set the lamp's timer"),
            (
                say("{lamp}: that makes {hours:.1f} h of light.", lamp=words, hours=due.lit_h)
                if due.lamp
                else say("No lamp is needed: the day has {hours:.1f} h.", hours=due.day_h),
                say("Then log the new times, and the next change is told."),
            ),
            "",
            "/light",
            stays=LAMP_STAYS,
        )
    for day in (on + timedelta(days=n) for n in range(-BACK.days, AHEAD.days)):
        forward = clock_change(flock.zone, day)
        if forward:
            yield _clocks(day, forward / timedelta(minutes=1), uid)


def _clocks(day: date, forward_min: float, uid: _Uid) -> Event:
    return _day(
        uid(f"light:clocks:{day.year}:{'forward' if forward_min > 0 else 'back'}"),
        "light",
        day,
        say("Clocks change: set the lamp's timer"),
        (
            say("Clocks go forward {minutes:.0f} min.", minutes=forward_min)
            if forward_min > 0
            else say("Clocks go back {minutes:.0f} min.", minutes=-forward_min),
            say("Hens go by the light: set the timer's own clock that day."),
        ),
        "",
        "/light",
    )


def _care(known: Reckoned, uid: _Uid) -> Iterator[Event]:
    """One event a rule, on its next day at any place; its text tells of all."""
    on = day_at(known.flock, known.now)
    by_rule: dict[str, list[tuple[date, str, Rule, str, str]]] = {}
    for occasion, rule, due, text in care_ahead(known.flock, on, CARE_FROM_DAYS):
        why = wording.fill(rule.why, units_of(known.flock), occasion.words())
        by_rule.setdefault(rule.rule, []).append((due, occasion.place, rule, text, why))
    for name, found in by_rule.items():
        waiting = sorted(found, key=lambda one: one[:2])
        due = next((one[0] for one in waiting if one[0] >= on), waiting[-1][0])
        if due < on - BACK:
            continue
        places = [one[1] for one in waiting if one[0] == due and one[1]]
        _, place, rule, text, why = next(one for one in waiting if one[0] == due)
        lines = [
            say("{day}: {place}", day=wording.weekday(one[0]), place=one[1])
            for one in waiting
            if one[1]
        ]
        yield _day(
            uid(f"care:{name}"),
            "care",
            due,
            _titled(_title(rule, text), ", ".join(places)),
            (text, why, "\n".join(lines)),
            ", ".join(places),
            f"/places/{quote(place, safe='')}" if len(places) == 1 else "/",
        )


def _rounds(known: Reckoned, uid: _Uid) -> Iterator[Event]:
    flock = known.flock
    if flock.first_day is None:
        return
    minutes = _up_to(known.round_minutes, _ROUND_MINUTES_APART, _ROUND_MINUTES_APART)
    first = max(flock.first_day, date(day_at(flock, known.now).year, 1, 1))
    for at in known.rounds:
        start = datetime.combine(first, at, tzinfo=zone(flock.zone or "UTC"))
        yield Event(
            uid(f"round:{at:%H:%M}"),
            "round",
            start,
            _later(start, timedelta(minutes=minutes)),
            say("Round of the birds"),
            say(
                "What is to be done today stands in the round: about {minutes} min.",
                minutes=minutes,
            ),
            "",
            "/",
            timedelta(0),
            daily=True,
            stays=ROUND_STAYS,
        )


def in_kinds(events: Iterable[Event], kinds: Iterable[Kind], round_at: time | None) -> list[Event]:
    """Those of these kinds; of the daily rounds the one at that time."""
    wanted = frozenset(kinds)
    return [
        event
        for event in events
        if event.kind in wanted
        and (
            event.kind != "round"
            or (isinstance(event.start, datetime) and event.start.time() == round_at)
        )
    ]

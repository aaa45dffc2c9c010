"""Notices in words: what is wrong since when, what it read, what to do first."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import msgspec

from quailwright.guide import wording
from quailwright.guide.notices.rules import CLOCK, PRINTED, UNWATCHED, Rule
from quailwright.guide.notices.state import is_open
from quailwright.guide.notices.telling import Item
from quailwright.guide.signs import Sign
from quailwright.husbandry import facts
from quailwright.journal.entries import Units
from quailwright.journal.notices import Notice
from quailwright.language import mark, say, say_many

FIRST: Mapping[str, str] = {
    "machine_cold": mark(
        "First: is the plug in, the outlet live, the heater warm? Keep the lid shut: eggs hold "
        "their warmth for a while. If it stays cold, cover the machine, vents free, or move the "
        "eggs to another warm one. Leave scorched or wet wiring to an electrician."
    ),
    "machine_hot": mark(
        "First: open the lid and let it cool; sprinkle nothing. Check by a second thermometer, "
        "then the thermostat, sun on the machine, and the room. Leave a heater that does not "
        "switch off unplugged, and to an electrician."
    ),
    "machine_dry": mark(
        "First: look at the water in the machine through the window. Fill warm water from outside "
        "if it can be done; do not open it while eggs are pipped."
    ),
    "brooder_cold": mark(
        "First: does the heat work, and can chicks reach it? Put a guarded heater back, held "
        "twice, away from litter; shut off draughts. Warm chilled chicks slowly, and count them."
    ),
    "brooder_hot": mark(
        "First: raise or turn down the heat, open a cool side, see that the water is full. "
        "Anything scorched: pull the plug and leave it to an electrician."
    ),
    "silent": mark(
        "First: go and read the machine itself: no reading is no all-clear. Then the sensor's "
        "power, its battery, the home network. A power cut silences sensors too."
    ),
    CLOCK: mark(
        "First: go and read the machine itself. Then set the sensor's clock and its time zone, or "
        "have it send no time."
    ),
    "feed": mark("First: weigh what is left, and order or fetch a bag today."),
    "backup": mark("First: is the folder for backups there, and has its disk room?"),
    "own": mark("First: look there, and read a second thermometer."),
}
"""By rule, what to do first. Common practice, no source; who decides is named."""

_TITLES: Mapping[str, str] = {
    "own": mark("A limit of your own"),
    UNWATCHED: mark("Nobody watched"),
    CLOCK: mark("A sensor's clock is wrong"),
}


@dataclass(frozen=True, slots=True)
class Reader:
    """For whom it is written.

    Attributes:
        units, zone: of the holding.
        signs, steps: those of now in the reader's language, by name and where, by hatch and rule.
        address: where the pages are, or "".
    """

    units: Units
    zone: ZoneInfo
    signs: Mapping[tuple[str, str], Sign]
    steps: Mapping[tuple[str, str], str]
    address: str = ""


def title(rule: str) -> str:
    """What a rule is called, said."""
    printed = PRINTED.get(rule)
    if printed is not None:
        return say(printed.title)
    return say(_TITLES.get(rule.split("-")[0], rule))


def amount(value: float, quantity: str, units: Units) -> str:
    """`35.2 °C` or `48 %`."""
    if quantity == "humidity":
        return say("{humidity:.0f} %", humidity=value)
    return wording.temperature(value, units)


def waited(wait: float, unit: str) -> str:
    """`15 minutes`, `6 hours`, `4 days`."""
    match unit:
        case "h":
            return say_many("{n:g} hour", "{n:g} hours", wait)
        case "d":
            return say_many("{n:g} day", "{n:g} days", wait)
        case _:
            return say_many("{n:g} minute", "{n:g} minutes", wait)


def rule_line(rule: Rule, units: Units) -> str:
    """A rule with its figures in one line."""
    limit = "" if rule.limit is None else amount(rule.limit, rule.quantity, units)
    wait = waited(rule.wait, rule.wait_unit)
    if limit and rule.side == "below":
        return say("below {limit} for {time}", limit=limit, time=wait)
    if limit:
        return say("above {limit} for {time}", limit=limit, time=wait)
    if rule.quantity:
        return say("for {time}, by the age of the chicks", time=wait)
    return say("after {time}", time=wait) if rule.wait_unit else ""


def sentence(notice: Notice, reader: Reader) -> str:
    """What is, or was, wrong: in one sentence, with its figure and since when."""
    told: dict[str, Any] = msgspec.json.decode(notice.facts)
    since = clock(notice.since, reader)
    match notice.rule:
        case "silent":
            if told.get("instrument"):
                return say(
                    "{place}: nothing from {instrument} since {since}.", place=told["place"],
                    instrument=told["instrument"], since=since,
                )  # fmt: skip
            return say("{place}: no reading since {since}.", place=told["place"], since=since)
        case "clock":
            return _clock_off(told)
        case "step":
            return say(
                "{hatch}: not done, as far as the journal tells, due {since}: {step}",
                hatch=told["hatch"], since=since,
                step=reader.steps.get((told["hatch"], told["step"]), told["named"]),
            )  # fmt: skip
        case "hold":
            return _hold(told)
        case "feed":
            return say(
                "{feed}: it may be gone by {day}, before more can come.",
                feed=told["feed"], day=wording.day_and_month(date.fromisoformat(told["day"])),
            )  # fmt: skip
        case "sign":
            sign = reader.signs.get((told["sign"], told["where"]))
            if sign is None:
                return say("{where}: {sign}.", where=told["where"], sign=say(told["sign"]))
            return say(
                "{where}: {sign}. {evidence}",
                where=sign.where, sign=say(sign.sign), evidence=sign.evidence,
            )  # fmt: skip
        case "backup":
            return say("The backup failed: {why}", why=told["why"])
        case "unwatched":
            return say(
                "No watch was kept from {since} to {until}: quailwright was not running, or the "
                "clock was changed. Look whether all is well.",
                since=since, until=clock(datetime.fromisoformat(told["until"]), reader),
            )  # fmt: skip
    return _of_air(notice, told, reader, since)


def _clock_off(told: dict[str, Any]) -> str:
    minutes = abs(told["off_min"])
    parts = {
        "place": told["place"],
        "instrument": told["instrument"] or say("the sensor"),
        "time": waited(minutes, "min") if minutes < 120 else waited(round(minutes / 60), "h"),
    }
    if told["off_min"] > 0:
        return say(
            "{place}: what {instrument} sends is dated {time} ahead, and so it is not watched.",
            **parts,
        )
    return say(
        "{place}: what {instrument} sends is dated {time} back, and so it is not watched.", **parts
    )


def not_watching(why: str, minutes: float, address: str) -> "Letter":
    """That watch could not be kept for so long: told at once, by whoever still can."""
    lines = [
        say(
            "quailwright could not keep watch for {time}: {why}",
            time=waited(minutes, "min"), why=why,
        ),
        say(
            "Until that is mended no alarm comes: go and read the machines and brooders "
            "themselves, and look at the computer that serves the pages."
        ),
        address,
    ]  # fmt: skip
    return Letter(say("No watch is kept"), "\n\n".join(line for line in lines if line))


def _of_air(notice: Notice, told: dict[str, Any], reader: Reader, since: str) -> str:
    quantity = told["quantity"]
    parts = {
        "place": told["place"],
        "value": amount(told["value"], quantity, reader.units),
        "limit": amount(told["limit"], quantity, reader.units),
        "since": since,
    }
    if quantity == "humidity" and told["side"] == "below":
        return say("{place}: humidity {value}, below {limit} since {since}.", **parts)
    if quantity == "humidity":
        return say("{place}: humidity {value}, above {limit} since {since}.", **parts)
    if told["side"] == "below":
        return say("{place}: {value}, below {limit} since {since}.", **parts)
    return say("{place}: {value}, above {limit} since {since}.", **parts)


def _it_was(notice: Notice, told: dict[str, Any], reader: Reader) -> str:
    """What was wrong, once it is over."""
    if "value" not in told:
        return sentence(notice, reader)
    quantity = told["quantity"]
    parts = {
        "place": told["place"],
        "worst": amount(told.get("worst", told["value"]), quantity, reader.units),
        "limit": amount(told["limit"], quantity, reader.units),
        "since": clock(notice.since, reader),
    }
    if quantity == "humidity" and told["side"] == "below":
        return say("{place}: humidity was below {limit} from {since}, down to {worst}.", **parts)
    if quantity == "humidity":
        return say("{place}: humidity was above {limit} from {since}, up to {worst}.", **parts)
    if told["side"] == "below":
        return say("{place}: it was below {limit} from {since}, down to {worst}.", **parts)
    return say("{place}: it was above {limit} from {since}, up to {worst}.", **parts)


def _hold(told: dict[str, Any]) -> str:
    match told["what"]:
        case "eggs":
            return say("{group}: eggs laid from today on are withheld no longer.", group=told["of"])
        case "meat":
            return say("{group}: meat is withheld no longer.", group=told["of"])
        case _:
            return say("{place}: the quarantine is over.", place=told["of"])


def first_to_do(notice: Notice, reader: Reader) -> str:
    """What to do first, or ""."""
    if notice.rule == "sign":
        told: dict[str, Any] = msgspec.json.decode(notice.facts)
        sign = reader.signs.get((told["sign"], told["where"]))
        return sign.check if sign is not None else ""
    text = FIRST.get(notice.rule.split("-")[0])
    return say(text) if text is not None else ""


def clock(at: datetime, reader: Reader) -> str:
    """`Sun 2 May 02:10`, by the clock at the holding."""
    return wording.clock(at.astimezone(reader.zone))


def lasted(notice: Notice) -> str:
    """`25 minutes`, `3 hours`."""
    span = max((notice.over or notice.since) - notice.since, timedelta(0))
    minutes = round(span.total_seconds() / 60)
    if minutes < 120:  # In hours two are told to no less than a half.
        return waited(max(1, minutes), "min")
    return waited(round(minutes / 60), "h")


def _item_lines(item: Item, reader: Reader) -> list[str]:
    notice = item.notice
    said = sentence(notice, reader)
    told: dict[str, Any] = msgspec.json.decode(notice.facts)
    was = _it_was(notice, told, reader)
    match item.what:
        case "over" if told.get("unwatched"):
            return [say("Not watched any more: {said}", said=was)]
        case "over":
            return [say("Over, after {time}: {said}", time=lasted(notice), said=was)]
        case "passed":
            return [say("It is over, and lasted {time}: {said}", time=lasted(notice), said=was)]
        case "again":
            return [say("Still so: {said}", said=said), first_to_do(notice, reader)]
        case _:
            return [said, first_to_do(notice, reader)]


@dataclass(frozen=True, slots=True)
class Letter:
    """A message: its title and its text."""

    title: str
    text: str


def letter(items: Sequence[Item], reader: Reader) -> Letter:
    """One message for all that is to be told."""
    most = round(facts.value("notices.lines"))
    blocks = ["\n".join(line for line in _item_lines(item, reader) if line) for item in items]
    shown = _once_said(blocks[:most])
    if len(items) > most:
        shown.append(say_many("And {n} more.", "And {n} more.", len(items) - most))
    if any(item.what in ("start", "again") for item in items):
        shown.append(say("Open the round and press “I see to it”, and no more reminders come."))
    if reader.address:
        shown.append(reader.address)
    return Letter(_letter_title(items, reader), "\n\n".join(shown))


def _once_said(blocks: Sequence[str]) -> list[str]:
    """Blocks, in which a second line that stood before is not told again."""
    said: set[str] = set()
    found = []
    for block in blocks:
        lines = [line for line in block.split("\n") if line not in said]
        said.update(lines)
        found.append("\n".join(lines))
    return found


def _letter_title(items: Sequence[Item], reader: Reader) -> str:
    first = items[0]
    told: dict[str, Any] = msgspec.json.decode(first.notice.facts)
    what = title(first.notice.rule)
    if where := told.get("place") or told.get("of") or told.get("where") or told.get("feed"):
        what = say("{what}: {where}", what=what, where=where)
    if first.what in ("over", "passed"):
        what = say("Over: {what}", what=what)
    if len(items) == 1:
        return what
    # The number alone tells that one look is not enough.
    more = len(items) - 1
    return say_many("{what}, and {n} more", "{what}, and {n} more", more, what=what)


@dataclass(frozen=True, slots=True)
class ShownNotice:
    """A notice for a page: its sentence, what to do first, and how it stands."""

    id: int
    title: str
    said: str
    first: str
    open: bool
    urgent: bool
    seen_by: str
    over: str
    noticed: str


def as_it_stands(notice: Notice, reader: Reader, now: datetime) -> str:
    """What is wrong, or was, in one sentence."""
    if notice.once or is_open(notice, now):
        return sentence(notice, reader)
    return _it_was(notice, msgspec.json.decode(notice.facts), reader)


def shown(notice: Notice, reader: Reader, now: datetime) -> ShownNotice:
    """A notice as a page shows it."""
    lasts = is_open(notice, now)
    return ShownNotice(
        notice.id,
        title(notice.rule),
        as_it_stands(notice, reader, now),
        first_to_do(notice, reader),
        lasts,
        notice.urgent,
        notice.seen_by,
        "" if lasts or notice.over is None or notice.once else clock(notice.over, reader),
        clock(notice.noticed, reader),
    )

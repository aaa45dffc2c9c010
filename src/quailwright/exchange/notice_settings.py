"""What a keeper chose about notices: rules and their figures, hours of quiet, channels.

It stands in `journal.options` under `notices`; addresses of channels stand in their own table and
are never read into what is shown.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, time
from zoneinfo import ZoneInfo

import msgspec

from quailwright.exchange.readings_layout import celsius
from quailwright.flock.state import Flock
from quailwright.guide.notices.rules import Quantity, Rule, Side, printed_rules
from quailwright.guide.notices.telling import Hours
from quailwright.guide.wording import fahrenheit
from quailwright.journal import notices, options
from quailwright.journal.entries import NAME, Units
from quailwright.journal.findings import BadInput
from quailwright.journal.moments import zone
from quailwright.journal.readings import humidity_problem, temperature_problem
from quailwright.journal.store import Store
from quailwright.language import LANGUAGES, TwoReadings, say, with_point

NAME_OF_OPTION = "notices"
MOST_OWN, LONGEST_NAME = 20, 40
_LONGEST_WAIT = {"min": 24 * 60.0, "h": 240.0, "d": 60.0}


class Chosen(msgspec.Struct, frozen=True, omit_defaults=True):
    """What was chosen of a rule; None: as printed."""

    on: bool = True
    urgent: bool | None = None
    limit: float | None = None
    wait: float | None = None


class OwnRule(msgspec.Struct, frozen=True):
    """A rule of the keeper's own: at a place, a limit [°C or %] and minutes."""

    code: str
    place: str
    quantity: Quantity
    side: Side
    limit: float
    wait: float
    urgent: bool = True
    on: bool = True


class NoticeSettings(msgspec.Struct, frozen=True, omit_defaults=True):
    """All of it. `on`: whether watch is kept at all. Times are `HH:MM`, "" for none."""

    on: bool = False
    rules: dict[str, Chosen] = {}
    own: list[OwnRule] = []
    quiet_from: str = ""
    quiet_until: str = ""
    digest: str = ""
    address: str = ""


class ChannelSettings(msgspec.Struct, frozen=True, omit_defaults=True):
    """Of one channel: the language that it is written to in, and what it takes."""

    language: str = "en"
    on: bool = True
    digest: bool = False


@dataclass(frozen=True, slots=True)
class SafeChannel:
    """A channel as it may be shown: without its address, of which only the sort is told."""

    id: int
    name: str
    sort: str
    language: str
    on: bool
    digest: bool
    tried: int
    not_before: datetime | None


def settings_of(store: Store) -> NoticeSettings:
    """What was chosen; nothing where it was never. Raises FlockUnusable."""
    with store.household() as connection:
        kept = options.get(connection, NAME_OF_OPTION)
    if kept is None:
        return NoticeSettings()
    try:
        return msgspec.json.decode(kept, type=NoticeSettings)
    except (msgspec.DecodeError, msgspec.ValidationError):
        # Better told to set it anew than a page that never opens.
        return NoticeSettings()


def keep(store: Store, settings: NoticeSettings) -> None:
    """Writes what was chosen. Raises FlockUnusable."""
    with store.household(writes=True) as connection:
        options.put(connection, NAME_OF_OPTION, msgspec.json.encode(settings).decode())


def rules_of(settings: NoticeSettings) -> list[Rule]:
    """Every rule as it holds here, those that are off among them."""
    found = []
    for rule in printed_rules():
        chosen = settings.rules.get(rule.code, Chosen())
        found.append(
            Rule(
                rule.code, chosen.on, rule.urgent if chosen.urgent is None else chosen.urgent,
                rule.quantity, rule.side,
                rule.limit if chosen.limit is None or rule.limit is None else chosen.limit,
                rule.wait if chosen.wait is None else chosen.wait, rule.wait_unit,
            )
        )  # fmt: skip
    return found + [
        Rule(one.code, one.on, one.urgent, one.quantity, one.side, one.limit, one.wait, "min",
             one.place)
        for one in settings.own
    ]  # fmt: skip


def hours_of(settings: NoticeSettings, flock: Flock) -> Hours:
    """Hours of quiet and of the digest, by the clock at the holding."""
    return Hours(
        zone_of(flock), _time(settings.quiet_from), _time(settings.quiet_until),
        _time(settings.digest),
    )  # fmt: skip


def zone_of(flock: Flock) -> ZoneInfo:
    """The holding's time zone; UTC until it is told."""
    return zone(flock.zone or "UTC")


def _time(text: str) -> time | None:
    return time.fromisoformat(text) if text else None


# What is typed. Each function gives what is to be kept, or raises BadInput.


def with_rule(settings: NoticeSettings, typed: Mapping[str, str], units: Units) -> NoticeSettings:
    """A rule switched on or off, with the figures as typed."""
    code = typed.get("rule", "")
    known = {rule.code: rule for rule in rules_of(settings)}.get(code)
    if known is None:
        raise BadInput(say("There is no such rule of notices. Load the page anew."))
    on, urgent = typed.get("on") == "yes", typed.get("urgent") == "yes"
    limit = known.limit
    if known.limit is not None:
        limit = _limit(typed.get("limit", ""), known.quantity or "temperature", units, known.limit)
    wait = _wait(typed.get("wait", ""), known) if known.wait_unit else known.wait
    if known.is_own:
        own = [
            msgspec.structs.replace(one, on=on, urgent=urgent, limit=limit, wait=wait)
            if one.code == code else one
            for one in settings.own
        ]  # fmt: skip
        return msgspec.structs.replace(settings, own=own)
    as_printed = {rule.code: rule for rule in printed_rules()}[code]
    chosen = Chosen(
        on, urgent, None if limit == as_printed.limit else limit,
        None if wait == as_printed.wait else wait,
    )  # fmt: skip
    return msgspec.structs.replace(settings, rules={**settings.rules, code: chosen})


def with_own(settings: NoticeSettings, typed: Mapping[str, str], flock: Flock) -> NoticeSettings:
    """A rule of one's own added."""
    place = typed.get("place", "").strip()
    if place not in flock.places:
        raise BadInput(say("Choose a place of the flock."))
    quantity: Quantity = "humidity" if typed.get("quantity") == "humidity" else "temperature"
    side: Side = "above" if typed.get("side") == "above" else "below"
    if len(settings.own) >= MOST_OWN:
        raise BadInput(say("There are {most} limits of your own, and no more.", most=MOST_OWN))
    last = max((int(one.code.split("-")[1]) for one in settings.own), default=0)
    blank = Rule("own", True, True, quantity, side, None, 0.0, "min", place)
    own = OwnRule(
        f"own-{last + 1}", place, quantity, side,
        _limit(typed.get("limit", ""), quantity, flock.units, None),
        _wait(typed.get("wait", ""), blank), typed.get("urgent") == "yes",
    )  # fmt: skip
    return msgspec.structs.replace(settings, own=[*settings.own, own])


def without_own(settings: NoticeSettings, code: str) -> NoticeSettings:
    """A rule of one's own taken away."""
    left = [one for one in settings.own if one.code != code]
    return msgspec.structs.replace(settings, own=left)


def with_hours(settings: NoticeSettings, typed: Mapping[str, str]) -> NoticeSettings:
    """Hours of quiet, the digest's time, and the address of these pages as typed."""
    first, last = _clock(typed.get("quiet_from", "")), _clock(typed.get("quiet_until", ""))
    if bool(first) != bool(last):
        raise BadInput(say("Hours of quiet have a beginning and an end. Give both, or neither."))
    return msgspec.structs.replace(
        settings, quiet_from=first, quiet_until=last, digest=_clock(typed.get("digest", "")),
        address=_address(typed.get("address", "")),
    )  # fmt: skip


def switched(settings: NoticeSettings, on: bool) -> NoticeSettings:
    """Watch kept, or not."""
    return msgspec.structs.replace(settings, on=on)


def _limit(text: str, quantity: str, units: Units, known: float | None) -> float:
    given = _number(text)
    if quantity == "temperature" and units == "us":
        # What was shown rounded and left as it was stays what it was.
        if known is not None and abs(fahrenheit(known) - given) < 0.051:
            return known
        given = celsius(given)
    problem = (humidity_problem if quantity == "humidity" else temperature_problem)(given)
    if problem is not None:
        raise BadInput(say("Limit: {what}", what=problem[0]))
    return given


def _wait(text: str, rule: Rule) -> float:
    given, most = _number(text), _LONGEST_WAIT[rule.wait_unit]
    if not 0 <= given <= most:
        raise BadInput(say("Give a time from 0 to {most:g}.", most=most))
    return given


def _number(text: str) -> float:
    try:
        given = float(with_point(text.strip()))
    except TwoReadings:
        raise BadInput(
            say("{given} may be read in two ways. Write it without a mark for thousands.",
                given=text[:20])
        ) from None  # fmt: skip
    except ValueError:
        raise BadInput(say("{given!r} is not a number.", given=text[:20])) from None
    if given != given or given in (float("inf"), float("-inf")):
        raise BadInput(say("{given!r} is not a number.", given=text[:20]))
    return given


def _clock(text: str) -> str:
    text = text.strip()
    if text and not re.fullmatch(r"([01]\d|2[0-3]):[0-5]\d", text):
        raise BadInput(say("Write a time as 22:00."))
    return text


def _address(text: str) -> str:
    text = text.strip()
    if text and (len(text) > 200 or not re.fullmatch(r"https?://[^\s/@]+(/\S*)?", text)):
        raise BadInput(
            say("Write the address of these pages as http://192.0.2.10:8347/, or leave it empty.")
        )
    return text


# Channels.


def channel_settings(channel: notices.Channel) -> ChannelSettings:
    """The settings of a channel."""
    try:
        return msgspec.json.decode(channel.settings, type=ChannelSettings)
    except (msgspec.DecodeError, msgspec.ValidationError):
        return ChannelSettings()


def safe_channels(store: Store) -> list[SafeChannel]:
    """Every channel as it may be shown. Raises FlockUnusable."""
    from quailwright.exchange.notice_address import sort_of

    with store.household() as connection:
        known = notices.channels(connection)
    return [
        SafeChannel(
            one.id, one.name, sort_of(one.address), chosen.language, chosen.on, chosen.digest,
            one.tried, one.not_before,
        )
        for one in known
        for chosen in (channel_settings(one),)
    ]  # fmt: skip


def add_channel(
    store: Store, name: str, address: str, language: str, digest: bool, now: datetime
) -> int:
    """Takes in a channel with an address that `notice_address` made. Raises BadInput."""
    name = name.strip()
    if not 1 <= len(name) <= LONGEST_NAME or not re.match(NAME, name):
        raise BadInput(say("Give the channel a name of 1 to {most} characters.", most=LONGEST_NAME))
    chosen = ChannelSettings(_language(language), True, digest)
    with store.household(writes=True) as connection:
        known = notices.channels(connection)
        if any(one.name.casefold() == name.casefold() for one in known):
            raise BadInput(say("There is a channel {name} already.", name=name))
        return notices.add_channel(
            connection, name, address, msgspec.json.encode(chosen).decode(), now
        )


def change_channel(store: Store, channel: int, language: str, on: bool, digest: bool) -> None:
    """Gives a channel other settings. Raises BadInput where it is not there."""
    chosen = ChannelSettings(_language(language), on, digest)
    with store.household(writes=True) as connection:
        _known(notices.channels(connection), channel)
        notices.change_channel(connection, channel, msgspec.json.encode(chosen).decode())


def remove_channel(store: Store, channel: int) -> None:
    """Takes a channel away, with its address. Raises BadInput where it is not there."""
    with store.household(writes=True) as connection:
        _known(notices.channels(connection), channel)
        notices.remove_channel(connection, channel)


def channel_of(store: Store, asked: str | int) -> notices.Channel:
    """The channel of that number or name. Raises BadInput."""
    with store.household() as connection:
        known = notices.channels(connection)
    for one in known:
        if asked in (one.id, str(one.id)) or one.name.casefold() == str(asked).casefold():
            return one
    raise BadInput(say("There is no such channel. `quailwright notices` lists them."))


def _known(known: list[notices.Channel], channel: int) -> None:
    if all(one.id != channel for one in known):
        raise BadInput(say("That channel is not there any more. Load the page anew."))


def _language(language: str) -> str:
    if language not in LANGUAGES:
        raise BadInput(say("Choose a language of the list."))
    return language

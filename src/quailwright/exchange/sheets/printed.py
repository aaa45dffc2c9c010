"""What can be printed, and each by its name: the one way in for both faces."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final

from quailwright.exchange.brooding_asked import brooder_group
from quailwright.exchange.sheets.press import Press
from quailwright.exchange.typed import day_typed
from quailwright.flock.state import Flock
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.journal.findings import BadInput
from quailwright.language import mark, say


@dataclass(frozen=True, slots=True)
class What:
    """Something that can be printed.

    Attributes:
        name: by which it is asked for.
        says: what it is, in English, to be said.
        needs: what it is asked with: names of fields of the address.
    """

    name: str
    says: str
    needs: tuple[str, ...] = ()


WHATS: Final = (
    What("round", mark("the day's round: boxes by place, counts to type back")),
    What("week", mark("the round of seven days, a box for each day")),
    What("lid", mark("a hatch for the lid of its incubator: dates, weights, boxes"), ("hatch",)),
    What("brooder", mark("a brooder's card: heat by week, feed, when to move"), ("place",)),
    What("places", mark("a card for each place, with a code that opens its page")),
    What("away", mark("a sheet for the sitter, for the days away"), ("from", "until")),
    What("labels", mark("labels for the eggs that may be sold")),
    What("hatch", mark("the report of a hatch: result, losses, causes"), ("hatch",)),
    What("year", mark("a year in review"), ("year",)),
)
_BY_NAME: Final = {what.name: what for what in WHATS}
_MOST_COPIES: Final = 50


@dataclass(frozen=True, slots=True)
class Printed:
    """A PDF, and a name for its file."""

    name: str
    data: bytes


@dataclass(frozen=True, slots=True)
class Offered:
    """Of what there are sheets just now: names, the newest first."""

    lids: list[str]
    brooders: list[str]
    hatches: list[str]
    years: list[int]


def offered(flock: Flock, on: date) -> Offered:
    """Of what there are sheets on the day `on`."""
    newest = [hatch.name for hatch in flock.hatches.values()][::-1]
    first = flock.first_day.year if flock.first_day is not None else on.year + 1
    return Offered(
        [hatch.name for hatch in flock.hatches_open()],
        [
            place.name
            for place in flock.in_walking_order()
            if brooder_group(flock, on, place.name) is not None
        ],
        newest,
        list(range(on.year, first - 1, -1)),
    )


def what_of(name: str) -> What:
    """What is meant by a name. Raises BadInput with all there are."""
    if name not in _BY_NAME:
        raise BadInput(
            say(
                "There is no sheet {name!r}. There are: {names}.",
                name=name[:40],
                names=", ".join(_BY_NAME),
            )
        )
    return _BY_NAME[name]


def printed(press: Press, name: str, asked: Mapping[str, str]) -> Printed:
    """The PDF of that name.

    Args:
        press: what it is made from.
        name: one of `WHATS`.
        asked: `day` and `days` of a round; `hatch`; `place`; `from`, `until`, `morning`, `midday`,
            `evening`, `scoop` of the days away; `copies` and `cut` of labels; `year`. A hatch, a
            place or a year may be left out where there is only one that can be meant.

    Raises:
        BadInput: there is none of that name, or what is asked cannot be told.
        Withheld: of eggs none of which may be sold.
    """
    what = what_of(name)
    of, data = _made(press, what.name, {key: text.strip() for key, text in asked.items()})
    bits = (what.name, _plain(of), press.on.isoformat() if not of else "")
    return Printed("-".join(bit for bit in bits if bit) + ".pdf", data)


def _made(press: Press, name: str, asked: Mapping[str, str]) -> tuple[str, bytes]:
    """Of what it is, and the PDF."""
    there = offered(press.flock, press.on)
    match name:
        case "round" | "week":
            from quailwright.exchange.sheets.round import round_pdf

            first = day_typed(asked.get("day", "")) or press.on
            week = name == "week" or asked.get("days") == str(DAYS_A_WEEK)
            return first.isoformat(), round_pdf(press, first, DAYS_A_WEEK if week else 1)
        case "lid":
            from quailwright.exchange.sheets.lid import lid_pdf

            if not asked.get("hatch") and not there.lids and there.hatches:
                names = ", ".join(there.hatches[:_MOST_NAMES])
                raise BadInput(say("No hatch is under way. Say which: {names}.", names=names))
            of = asked.get("hatch") or _only(there.lids, "hatch")
            return of, lid_pdf(press, of)
        case "brooder":
            from quailwright.exchange.sheets.brooder import brooder_pdf

            of = asked.get("place") or _only(there.brooders, "place")
            return of, brooder_pdf(press, of)
        case "places":
            from quailwright.exchange.sheets.places import places_pdf

            return "", places_pdf(press)
        case "away":
            from quailwright.exchange.sheets.away import away_pdf
            from quailwright.exchange.sitter import sitter_asked

            told = [asked.get(key, "") for key in _ABOUT_AWAY]
            days = sitter_asked(press.flock, press.on, *told)
            return days.first.isoformat(), away_pdf(press, days)
        case "labels":
            from quailwright.exchange.sheets.labels import labels_pdf

            return "", labels_pdf(press, _copies(asked.get("copies", "")), bool(asked.get("cut")))
        case "hatch":
            from quailwright.exchange.sheets.hatch import hatch_pdf

            of = asked.get("hatch") or _only(there.hatches, "hatch")
            return of, hatch_pdf(press, of)
        case _:
            from quailwright.exchange.sheets.year import year_pdf

            year = _year(asked.get("year", ""), press.on)
            return str(year), year_pdf(press, year)


_ABOUT_AWAY = ("from", "until", "morning", "midday", "evening", "scoop")


def _only(names: list[str], of: str) -> str:
    """The one that must be meant. Raises BadInput with the names there are."""
    if len(names) == 1:
        return names[0]
    if of == "hatch":
        if not names:
            raise BadInput(say("There is no hatch to print a sheet of."))
        raise BadInput(say("Say which hatch: {names}.", names=", ".join(names[:_MOST_NAMES])))
    if not names:
        raise BadInput(say("No chicks that may need heat are anywhere: a card tells of chicks."))
    raise BadInput(say("Say which brooder: {names}.", names=", ".join(names[:_MOST_NAMES])))


_MOST_NAMES = 12


def _year(text: str, on: date) -> int:
    if not text:
        return on.year
    if not (text.isascii() and text.isdigit() and len(text) == len("2027")):
        raise BadInput(say("{text!r} is not a year. Write it as in 2027.", text=text[:40]))
    return int(text)


def _copies(text: str) -> int:
    if not text:
        return 1
    if not (text.isascii() and text.isdigit() and 1 <= int(text[:6]) <= _MOST_COPIES):
        raise BadInput(
            say("Of each label 1 to {most} can be printed, not {text!r}.",
                most=_MOST_COPIES, text=text[:40])
        )  # fmt: skip
    return int(text)


_NOT_IN_A_FILE_NAME = re.compile(r"[^\w-]+")


def _plain(name: str) -> str:
    """A keeper's name as part of a file's, on any computer."""
    return _NOT_IN_A_FILE_NAME.sub("-", name).strip("-")[:60]

"""What is asked of a brooder, as it is typed: on the command line, in an address, on a page."""

import math
import re
from collections.abc import Callable, Mapping, Sequence
from datetime import date, timedelta
from typing import Final, TypeVar

from quailwright.exchange.plan_asked import Question, Takes
from quailwright.flock.state import Flock, Group
from quailwright.guide.brooding import LAST_WEEK, Asked
from quailwright.guide.round import units_of
from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.husbandry.heat_balance import (
    LID_WORDS,
    LIDS,
    MATERIAL_WORDS,
    MATERIALS,
    Box,
    Material,
)
from quailwright.journal.findings import BadInput, Finding
from quailwright.language import TwoReadings, say, with_point

NIGHT: Final = "night "
"""Of the names of fields with the lowest night of a month: `night 2027-05`."""
ROOM_IN: Final = "room "
"""Of the names of fields with the room's temperature in a month: `room 2027-06`."""
USUAL_WALL: Final[Material] = "plywood"
USUAL_THICKNESS_MM: Final = 12.0
"""What is reckoned with where the walls are not told, and said so: a usual sheet. Judgement."""

_FIELDS: Final = (
    "group", "place", "room", "box", "wall", "thickness", "lid", "watts", "price", "litter",
    "air_changes", "birds", "age",
)  # fmt: skip
MOST: Final = {
    "box": 1000.0, "thickness": 500.0, "litter": 100.0, "watts": 10_000.0, "price": 1e6,
    "air_changes": 200.0, "birds": 100_000.0, "age": 400.0,
}  # fmt: skip
"""The largest that a field takes, in its own unit: beyond it there is a slip of the keys."""
_ROOM: Final = (-40.0, 50.0)
_CM_IN_M, _MM_IN_M = 100.0, 1000.0
_CM_IN_INCH, _MM_IN_INCH = 2.54, 25.4
_INCHES = re.compile(r'(?<!\s)\s*(in|inch|inches|")\Z', re.IGNORECASE)
_DEGREES = re.compile(r"(?<!\s)\s*(?:°\s*)?([CF])\Z", re.IGNORECASE)
_Choice = TypeVar("_Choice", bound=str)
_MONTH = re.compile(r"\d{4}-(0[1-9]|1[0-2])\Z")


def months_ahead(on: date) -> list[str]:
    """The months in which birds in the brooder now may go out: this one and the next two."""
    month = on.replace(day=1)
    found = []
    for _ in range(3):
        found.append(f"{month:%Y-%m}")
        month = (month + timedelta(days=31)).replace(day=1)
    return found


def names(on: date) -> list[str]:
    """The names of all fields of the page."""
    months = months_ahead(on)
    return [*_FIELDS, *(f"{of}{month}" for of in (ROOM_IN, NIGHT) for month in months)]


def brooder_group(flock: Flock, on: date, place: str = "") -> Group | None:
    """The youngest birds of a place, or of all that may still need heat."""
    young = [
        group
        for group in flock.groups_alive()
        if (not place or group.place == place)
        and (age := group.age_days(on)) is not None
        and age < LAST_WEEK * DAYS_A_WEEK
    ]
    return min(young, key=lambda group: group.age_days(on) or 0, default=None)


def filled(typed: Mapping[str, str], flock: Flock, on: date) -> dict[str, str]:
    """What was typed, and what the journal knows beside it: group, place, box and heater.

    A field that was left empty stays so; only what was not asked at all is filled in.
    """
    values = {name: text.strip() for name, text in typed.items()}
    if "group" not in values and "age" not in values:
        group = brooder_group(flock, on, values.get("place", ""))
        if group is not None:
            values["group"] = group.name
    known = flock.groups.get(values.get("group", ""))
    if "place" not in values and known is not None:
        values["place"] = known.place
    place = flock.places.get(values.get("place", ""))
    if place is not None:
        if "watts" not in values and place.heater_w:
            values["watts"] = f"{place.heater_w:g}"
        if "box" not in values and place.floor_m2 and place.height_m:
            side, height = math.sqrt(place.floor_m2) * _CM_IN_M, place.height_m * _CM_IN_M
            values["box"] = f"{side:.0f}x{side:.0f}x{height:.0f}"
    return {name: text for name, text in values.items() if text}


def asked(typed: Mapping[str, str], flock: Flock, on: date) -> Asked:
    """What is asked, the journal's word taken where nothing is typed.

    Lengths are in cm (walls in mm) unless they end in `in`, temperatures in °C unless they end in
    `F`: `80x60x45`, `32x24x18in`, `68F`.

    Raises:
        BadInput: with a finding for every field that is not right.
    """
    values = filled(typed, flock, on)
    reader = _Reader(values)
    group = reader.known("group", flock.groups)
    place = reader.known("place", flock.places)
    age = reader.number("age", whole=True)
    if group and age is None and flock.groups[group].age_days(on) is None:
        reader.wrong(
            "age",
            say("Nobody has told when {group} hatched.", group=group),
            say("Give their age in days."),
        )
    told = Asked(
        group,
        place,
        _int(reader.number("birds", whole=True)),
        _int(age),
        reader.celsius("room"),
        reader.box(),
        reader.number("watts", above=True),
        reader.number("price"),
        reader.by_month(NIGHT, "night"),
        reader.by_month(ROOM_IN, "room_in"),
    )
    if reader.findings:
        raise BadInput(say("The brooder cannot be reckoned like this:"), tuple(reader.findings))
    return told


def _int(number: float | None) -> int | None:
    return None if number is None else int(number)


class _Reader:
    """Reads fields, and keeps what is wrong with them."""

    def __init__(self, values: Mapping[str, str]) -> None:
        self._values = values
        self.findings: list[Finding] = []

    def wrong(self, name: str, what: str, mend: str) -> None:
        self.findings.append(Finding("shape", what, mend, field=name))

    def known(self, name: str, there: Mapping[str, object]) -> str:
        text = self._values.get(name, "")
        if text and text not in there:
            mend = say("There are: {names}.", names=", ".join(there) or say("none yet"))
            self.wrong(name, say("There is no {name!r} in the journal.", name=text), mend)
            return ""
        return text

    def number(self, name: str, whole: bool = False, above: bool = False) -> float | None:
        text = self._values.get(name, "")
        return self._number(name, text, whole, above) if text else None

    def _number(
        self, name: str, text: str, whole: bool = False, above: bool = False
    ) -> float | None:
        most = MOST[name]
        value = self._plain(name, text)
        if value is None:
            return None
        if value < 0 or value > most or (whole and value != int(value)):
            what = say("{text!r} is not possible here.", text=text)
            mend = say("Give a number from 0 to {most:g}.", most=most)
            self.wrong(name, what, mend)
            return None
        if above and not value:
            self.wrong(name, say("0 is not possible here."), _ABOVE[name]())
            return None
        return value

    def _plain(self, name: str, text: str) -> float | None:
        try:
            value = float(with_point(text))
        except TwoReadings:
            mend = say("Write it without a mark for thousands.")
            self.wrong(name, say("{text!r} may be read in two ways.", text=text), mend)
            return None
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            self.wrong(name, say("{text!r} is no number.", text=text), say("Give a number."))
            return None
        return value

    def celsius(self, name: str) -> float | None:
        text = self._values.get(name, "")
        if not text:
            return None
        unit = _DEGREES.search(text)
        value = self._plain(name, _DEGREES.sub("", text))
        if value is None:
            return None
        celsius = (value - 32) * 5 / 9 if unit and unit[1].upper() == "F" else value
        low, high = _ROOM
        if not low <= celsius <= high:
            self.wrong(
                name,
                say("{text!r} is not possible here.", text=text),
                say("Give {low:g} to {high:g} °C, or °F with an F: 68F.", low=low, high=high),
            )
            return None
        return celsius

    def by_month(self, prefix: str, called: str) -> dict[str, float]:
        """Temperatures of months, from the fields whose names begin so."""
        found = {}
        for name in self._values:
            month = name.removeprefix(prefix)
            if month == name:
                continue
            if not _MONTH.match(month):
                what = say("{text!r} is no month.", text=month)
                self.wrong(called, what, say("Write month and temperature: 2027-05=8."))
            elif (celsius := self.celsius(name)) is not None:
                found[month] = celsius
        return found

    def length_m(self, name: str, text: str, in_inch: float, in_m: float) -> float | None:
        inches = _INCHES.search(text)
        value = self._number(name, _INCHES.sub("", text).strip(), above=True)
        if value is None:
            return None
        return value * (in_inch if inches else 1.0) / in_m

    def box(self) -> Box | None:
        text = self._values.get("box", "")
        wall = self._choice("wall", MATERIALS, USUAL_WALL)
        lid = self._choice("lid", LIDS, "closed")
        thickness = self.length_m(
            "thickness",
            self._values.get("thickness", f"{USUAL_THICKNESS_MM:g}"),
            _MM_IN_INCH,
            _MM_IN_M,
        )
        litter = self._litter_m()
        changes = self.number("air_changes")
        if not text:
            return None
        inches = _INCHES.search(text)
        parts = re.split(r"\s*[xX*\u00d7]\s*", _INCHES.sub("", text).strip())
        if len(parts) != 3:
            mend = say("Give length, width and height inside: 80x60x45, or 32x24x18in.")
            self.wrong("box", say("{text!r} is not the size of a box.", text=text), mend)
            return None
        suffix = "in" if inches else ""
        sizes = [self.length_m("box", part + suffix, _CM_IN_INCH, _CM_IN_M) for part in parts]
        length, width, height = sizes
        if None in (length, width, height, thickness, litter) or wall is None or lid is None:
            return None
        try:
            return Box(
                length or 0.0,
                width or 0.0,
                height or 0.0,
                wall,
                thickness or 0.0,
                lid,
                litter or 0.0,
                changes,
            )
        except ValueError as error:
            self.wrong("litter", str(error), say("Give how deep it lies, in cm."))
            return None

    def _litter_m(self) -> float | None:
        text = self._values.get("litter", "")
        if not text:
            return facts.spread("brooding.litter_depth_m")[0]
        inches = _INCHES.search(text)
        value = self._number("litter", _INCHES.sub("", text).strip())
        return None if value is None else value * (_CM_IN_INCH if inches else 1.0) / _CM_IN_M

    def _choice(self, name: str, choices: tuple[_Choice, ...], usual: _Choice) -> _Choice | None:
        text = self._values.get(name, "")
        if not text:
            return usual
        found = next((choice for choice in choices if choice == text), None)
        if found is None:
            more = (
                say("A cage of mesh holds no warm air: only heat that shines on the birds counts.")
                if text == "mesh" and name == "wall"
                else say("Choose one of: {choices}.", choices=", ".join(choices))
            )
            self.wrong(name, say("{text!r} is not known here.", text=text), more)
        return found


_ABOVE: Final[Mapping[str, Callable[[], str]]] = {
    "watts": lambda: say("Leave it empty to be told the watts that are needed."),
    "box": lambda: say("Give length, width and height inside: 80x60x45, or 32x24x18in."),
    "thickness": lambda: say("Give how thick the walls are, in mm."),
}


def questions(
    values: Mapping[str, str], flock: Flock, on: date, said: Mapping[str, tuple[str, ...]]
) -> list[Question]:
    """The fields of the page, the few that matter most first; the others are folded away."""
    currency = flock.holding.currency if flock.holding is not None else ""
    litter = facts.spread("brooding.litter_depth_m")[0] * _CM_IN_M
    us = units_of(flock) == "us"
    groups = [("", say("none, or still to come"))]
    groups += [(group.name, group.name) for group in flock.groups_alive()]
    places = [("", say("none named"))]
    places += [(name, name) for name, one in flock.places.items() if not one.closed]
    walls = tuple((wall, say(MATERIAL_WORDS[wall])) for wall in MATERIALS)
    lids = tuple((lid, say(LID_WORDS[lid])) for lid in LIDS)
    by_field: list[tuple[str, str, str, Takes, tuple[tuple[str, str], ...], bool]] = [
        ("group", say("birds"), "", "choice", tuple(groups), False),
        (
            "box",
            say("box inside, cm"),
            say("80x60x45, or 32x24x18in"),
            "text",
            (),
            False,
        ),
        (
            "room",
            say("room, °F with an F") if us else say("room, °C"),
            say("or 68F; left empty: as it was seen"),
            "text",
            (),
            False,
        ),
        ("wall", say("walls"), "", "choice", walls, False),
        (
            "thickness",
            say("how thick, mm"),
            say("left empty: 12, a usual sheet"),
            "text",
            (),
            False,
        ),
        (
            "watts",
            say("heater, watts"),
            say("left empty: needed is told"),
            "number",
            (),
            False,
        ),
        ("lid", say("lid"), "", "choice", lids, False),
        (
            "price",
            say("price of a kWh"),
            currency or say("as on your bill; left empty, no cost is told"),
            "number",
            (),
            False,
        ),
        ("place", say("brooder"), "", "choice", tuple(places), True),
        (
            "litter",
            say("litter, cm deep"),
            say("left empty: {cm:g}", cm=litter),
            "text",
            (),
            True,
        ),
        (
            "air_changes",
            say("air changes an hour"),
            say("left empty: what the birds need to breathe"),
            "number",
            (),
            True,
        ),
        ("birds", say("number of birds"), say("left empty: as recorded"), "number", (), True),
        ("age", say("age in days"), say("left empty: as recorded"), "number", (), True),
    ]
    by_field += [
        (
            f"{ROOM_IN}{month}",
            say("room in {month}", month=month),
            say("left empty: as it is now"),
            "text",
            (),
            True,
        )
        for month in months_ahead(on)
    ]
    by_field += [
        (
            f"{NIGHT}{month}",
            say("lowest night of {month}", month=month),
            say("where they will live, as you expect it"),
            "text",
            (),
            True,
        )
        for month in months_ahead(on)
    ]
    return [
        Question(name, label, says, takes, choices, values.get(name, ""), said.get(name, ()), more)
        for name, label, says, takes, choices, more in by_field
    ]


def given(
    fields: Mapping[str, str | None],
    nights: Sequence[str] | None,
    rooms: Sequence[str] | None,
) -> dict[str, str]:
    """The fields that a caller gave; lowest nights and rooms of months, each as `2027-05=8`."""
    told = {name: text for name, text in fields.items() if text is not None}
    for prefix, texts in ((NIGHT, nights), (ROOM_IN, rooms)):
        for month, _, celsius in (text.partition("=") for text in texts or ()):
            told[f"{prefix}{month.strip()}"] = celsius or month
    return told

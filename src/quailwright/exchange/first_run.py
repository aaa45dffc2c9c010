"""The first questions to a new flock: one at a time, each answered by ordinary entries.

A question holds one or two fields. What it gives is typed text for `typed_entry`, as any form of
the pages gives it; a question left empty writes nothing.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from importlib import resources

from quailwright.flock.state import Flock
from quailwright.guide import wording
from quailwright.guide.round import units_of
from quailwright.husbandry import facts
from quailwright.journal.entries import Role
from quailwright.journal.findings import BadInput, Finding
from quailwright.language import LANGUAGES, mark, say, say_many, speaking, with_point

Typed = Mapping[str, str]
Entries = list[dict[str, str]]
DAYS_A_WEEK = 7
_BAND_DEG = 5
_SOUTHERNMOST, _NORTHERNMOST = -55, 70
_OLDEST_WEEKS = 520


@dataclass(frozen=True, slots=True)
class Asked:
    """One field: `choices` are (value, words); `takes` is text, whole or number."""

    name: str
    label: str
    says: str = ""
    value: str = ""
    takes: str = "text"
    choices: tuple[tuple[str, str], ...] = ()
    names: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Question:
    """A page of the guide. `so_far` is what was answered before; `again` asks for one more.

    `skip` is what its button to go past it says, where that is no plain "Skip"; `skips_to` is the
    question after a "no", or "" when the guide is over.
    """

    name: str
    title: str
    about: str
    fields: tuple[Asked, ...]
    so_far: tuple[str, ...] = ()
    again: str = ""
    skip: str = ""
    skips_to: str = ""


@dataclass(frozen=True, slots=True)
class _Machine:
    """A place that is asked for: what the page says, and what such a place is called at first."""

    role: Role
    title: str
    about: str
    again: str
    called: str


_MACHINES: dict[str, _Machine] = {
    "incubator": _Machine(
        "incubator",
        mark("Have you an incubator?"),
        mark("What turns and warms the eggs."),
        mark("Keep it, then another incubator"),
        mark("incubator"),
    ),
    "hatcher": _Machine(
        "hatcher",
        mark("A hatcher of its own?"),
        mark("A second machine for the last days. Many do without: then skip this."),
        mark("Keep it, then another hatcher"),
        mark("hatcher"),
    ),
    "brooder": _Machine(
        "brooder",
        mark("Where will chicks be kept warm?"),
        mark("A box or pen with heat. Its floor says how many chicks have room."),
        mark("Keep it, then another brooder"),
        mark("brooder"),
    ),
    "pen": _Machine(
        "pen",
        mark("Where do grown birds live?"),
        mark("A pen, cage or aviary. Its floor says how many birds have room."),
        mark("Keep it, then another pen"),
        mark("pen"),
    ),
}
_HOLDS_EGGS = ("incubator", "hatcher")

_CHANCES = (
    ("0.6", mark("in 6 weeks of 10")),
    ("0.7", mark("in 7 weeks of 10")),
    ("0.8", mark("in 8 weeks of 10")),
    ("0.9", mark("in 9 weeks of 10; it takes more birds")),
)
_ROUTES = (
    ("shipped", mark("posted")),
    ("collected", mark("fetched by me")),
    ("own", mark("my own birds")),
)


def questions(flock: Flock, typed: Typed) -> list[str]:
    """The names of the questions in their order, for what stands and what is under way."""
    homes = _homes(flock, _weeks(typed))
    birds = ["birds", *(["home"] if len(homes) > 1 else []), "counts"]
    return ["where", "latitude", "units", *_MACHINES, *birds, "source", "goal", "sure"]


def following(name: str, flock: Flock, typed: Typed) -> str:
    """The question after that one, or "" after the last. Raises BadInput for an unknown name.

    How sure is not asked where nothing is wanted.
    """
    names = questions(flock, typed)
    after = (*names[_place_of(name, names) + 1 :], "")[0]
    return "" if after == "sure" and flock.goal is None else after


def preceding(name: str, flock: Flock, typed: Typed) -> str:
    """The question before that one, or "" before the first. Raises BadInput."""
    names = questions(flock, typed)
    return ("", *names)[_place_of(name, names)]


def number_of(name: str, flock: Flock, typed: Typed) -> tuple[int, int]:
    """Which question that is, and of how many. Raises BadInput."""
    names = questions(flock, typed)
    return _place_of(name, names) + 1, len(names)


def _place_of(name: str, names: list[str]) -> int:
    if name == "home" and name not in names:
        return names.index("counts")
    if name not in names:
        raise BadInput(say("There is no such question. Begin again from the first one."))
    return names.index(name)


_CARRIED = ("group", "weeks", "place")
_OF_BIRDS = ("birds", "home", "counts")


def carried(name: str, typed: Typed) -> dict[str, str]:
    """What the questions about birds hand on until the last of them writes the group."""
    return _some(typed, *_CARRIED) if name in _OF_BIRDS else {}


def question(name: str, flock: Flock, typed: Typed) -> Question:
    """One question, its fields filled in with what was typed or stands. Raises BadInput."""
    number_of(name, flock, typed)
    if name in _MACHINES:
        return _machine(name, flock, typed)
    return _ASKING[name](flock, typed)


def entries_for(name: str, flock: Flock, typed: Typed, on: date) -> Entries:
    """The entries that an answer makes, as typed fields; none when nothing was answered.

    Raises BadInput with findings by field.
    """
    number_of(name, flock, typed)
    if name in _MACHINES:
        return _machine_entry(name, flock, typed)
    match name:
        case "where" | "units":
            return _new_of_holding(flock, typed, ("name", "timezone", "units", "currency"))
        case "latitude":
            return _new_of_holding(
                flock, {"latitude": _latitude_meant(flock, typed)}, ("latitude",)
            )
        case "birds":
            _weeks_checked(typed)
            return []
        case "counts":
            return _group_entries(flock, typed, on)
        case "source":
            return [{"kind": "source", **_some(typed, "source", "route")}] if _any(typed) else []
        case "goal" | "sure":
            return _goal_entry(flock, typed)
        case _:
            return []


# What is asked.


def _where(flock: Flock, typed: Typed) -> Question:
    holding = flock.holding
    return Question(
        "where",
        say("Where does the flock live?"),
        say("The time zone says when a day begins, and when the eggs have had their hours."),
        (
            Asked("name", say("what you call the place"), "", _typed(typed, "name", holding)),
            Asked(
                "timezone",
                say("time zone"),
                say("The phone fills it in where it can. A name such as Europe/Lisbon."),
                _typed(typed, "timezone", holding),
                names=time_zones(),
            ),
        ),
    )


def _latitude(flock: Flock, typed: Typed) -> Question:
    zone_name = flock.holding.timezone if flock.holding is not None else ""
    guessed = latitude_of(zone_name)
    stands = flock.holding.latitude if flock.holding is not None else None
    near = stands if stands is not None else guessed
    town = zone_name.rpartition("/")[2].replace("_", " ")
    says = (
        say(
            "{town}, after which your time zone is named, lies at {degrees}.",
            town=town,
            degrees=_degrees(round(guessed)),
        )
        if guessed is not None
        else say("A map tells it; 5 degrees more or less do little harm.")
    )
    return Question(
        "latitude",
        say("How far north or south?"),
        say("It gives the hours of daylight, and so when hens lay without a lamp."),
        (
            Asked(
                "about",
                say("about"),
                says,
                typed.get("about", _band(near)),
                choices=tuple(
                    (str(each), _degrees(each))
                    for each in range(_NORTHERNMOST, _SOUTHERNMOST - 1, -_BAND_DEG)
                ),
            ),
            Asked(
                "latitude",
                say("or in degrees, if you know it"),
                say("South is negative."),
                _typed(typed, "latitude", flock.holding),
                "number",
            ),
        ),
    )


def _latitude_meant(flock: Flock, typed: Typed) -> str:
    """The degrees typed; the choice, where none are, or only those that stood there."""
    exact, chosen = typed.get("latitude", ""), typed.get("about", "")
    stands = flock.holding.latitude if flock.holding is not None else None
    if not exact or (exact == _typed({}, "latitude", flock.holding) and chosen != _band(stands)):
        return chosen or exact
    return exact


def _band(latitude: float | None) -> str:
    """The choice nearest to a latitude."""
    return "" if latitude is None else f"{round(latitude / _BAND_DEG) * _BAND_DEG:d}"


def _units(flock: Flock, typed: Typed) -> Question:
    holding = flock.holding
    return Question(
        "units",
        say("How do you measure?"),
        say("Figures are shown your way."),
        (
            Asked(
                "units",
                say("units"),
                "",
                _typed(typed, "units", holding) or "metric",
                choices=(
                    ("metric", say("°C, metres, kilograms")),
                    ("us", say("°F, feet, pounds")),
                ),
            ),
            Asked(
                "currency",
                say("currency"),
                say(
                    "A three-letter code, such as EUR. "
                    "Leave it empty if money does not matter here."
                ),
                _typed(typed, "currency", holding),
            ),
        ),
    )


def _machine(name: str, flock: Flock, typed: Typed) -> Question:
    machine = _MACHINES[name]
    there = [
        place
        for place in flock.in_walking_order()
        if place.role == machine.role and not place.closed
    ]
    us = units_of(flock) == "us"
    if name in _HOLDS_EGGS:
        size = Asked(
            "capacity_eggs",
            say("quail eggs it holds"),
            say("As many as fit its turner or tray."),
            typed.get("capacity_eggs", ""),
            "whole",
        )
        so_far = [
            say_many("{place}, {n} egg", "{place}, {n} eggs", place.capacity_eggs, place=place.name)
            if place.capacity_eggs is not None
            else place.name
            for place in there
        ]
    else:
        size = Asked(
            "floor",
            say("its floor, square feet") if us else say("its floor, square metres"),
            say("Length times width, inside."),
            typed.get("floor", ""),
            "number",
        )
        so_far = [
            say(
                "{place}, {floor}",
                place=place.name,
                floor=wording.area(place.floor_m2, units_of(flock)),
            )
            if place.floor_m2 is not None
            else place.name
            for place in there
        ]
    called = Asked(
        "place",
        say("what you call it"),
        "",
        typed.get("place", "") or _fresh(say(machine.called), flock.places),
    )
    return Question(
        name,
        say(machine.title),
        say(machine.about),
        (size, called),
        tuple(so_far),
        say(machine.again),
    )


def _birds(flock: Flock, typed: Typed) -> Question:
    so_far = tuple(
        say("{group}: {birds}", group=group.name, birds=group.alive)
        for group in flock.groups_alive()
    )
    return Question(
        "birds",
        say("Have you birds now?"),
        say("Those of about one age that live together. None yet? Then go past this."),
        (
            Asked(
                "group",
                say("what you call them"),
                "",
                typed.get("group", "") or _fresh(say("quail"), flock.groups),
            ),
            Asked(
                "weeks",
                say("hatched how many weeks ago, about"),
                say("Left empty, the age is not known."),
                typed.get("weeks", ""),
                "number",
            ),
        ),
        so_far,
        skip=say("No birds yet"),
        skips_to="source",
    )


def _home(flock: Flock, typed: Typed) -> Question:
    homes = _homes(flock, _weeks(typed))
    return Question(
        "home",
        say("Where do they live?"),
        "",
        (
            Asked(
                "place",
                say("place"),
                "",
                typed.get("place", "") or homes[0],
                choices=tuple((name, name) for name in homes),
            ),
        ),
    )


def _counts(flock: Flock, typed: Typed) -> Question:
    fields: tuple[Asked, ...]
    if _not_sexed_yet(_weeks(typed)):
        chicks = typed.get("chicks", "")
        fields = (Asked("chicks", say("chicks"), say("Not sexed yet."), chicks, "whole"),)
    else:
        fields = (
            Asked("hens", say("hens"), "", typed.get("hens", ""), "whole"),
            Asked("cocks", say("cocks"), "", typed.get("cocks", ""), "whole"),
        )
    return Question(
        "counts",
        say("How many are they?"),
        "",
        fields,
        again=say("Keep it, then more birds"),
        skips_to="source",
    )


def _source(flock: Flock, typed: Typed) -> Question:
    return Question(
        "source",
        say("Where do hatching eggs come from?"),
        say("Eggs that travelled hatch worse: the plan counts with that."),
        (
            Asked("source", say("from whom"), "", typed.get("source", "")),
            Asked(
                "route",
                say("and how"),
                "",
                typed.get("route", "") or "shipped",
                choices=_said(_ROUTES),
            ),
        ),
        tuple(flock.sources),
        say("Keep it, then another source"),
    )


def _goal(flock: Flock, typed: Typed) -> Question:
    return Question(
        "goal",
        say("What do you want of them?"),
        say("One of the two will do. The plan works out how many birds, and when to set eggs."),
        (
            Asked(
                "eggs_per_week",
                say("eggs a week"),
                "",
                _typed(typed, "eggs_per_week", flock.goal),
                "number",
            ),
            Asked(
                "table_birds_per_month",
                say("birds for the table a month"),
                "",
                _typed(typed, "table_birds_per_month", flock.goal),
                "number",
            ),
        ),
    )


def _sure(flock: Flock, typed: Typed) -> Question:
    return Question(
        "sure",
        say("How sure must it be?"),
        say("Birds die, hens pause, eggs fail: no plan is certain."),
        (
            Asked(
                "certainty",
                say("it should be met"),
                "",
                _typed(typed, "certainty", flock.goal) or "0.8",
                choices=_said(_CHANCES),
            ),
        ),
    )


_ASKING: dict[str, Callable[[Flock, Typed], Question]] = {
    "where": _where,
    "latitude": _latitude,
    "units": _units,
    "birds": _birds,
    "home": _home,
    "counts": _counts,
    "source": _source,
    "goal": _goal,
    "sure": _sure,
}


def _typed(typed: Typed, name: str, stands: object) -> str:
    if name in typed:
        return typed[name]
    value = getattr(stands, name, None)
    return "" if value is None else f"{value:g}" if isinstance(value, float) else str(value)


def _said(choices: tuple[tuple[str, str], ...]) -> tuple[tuple[str, str], ...]:
    return tuple((value, say(words)) for value, words in choices)


def _fresh(name: str, taken: Mapping[str, object]) -> str:
    """The name, or the first of `name 2`, `name 3`, ... that is free."""
    number = 1
    while (called := name if number == 1 else f"{name} {number}") in taken:
        number += 1
    return called


# What an answer writes.


def _some(typed: Typed, *names: str) -> dict[str, str]:
    return {name: typed[name] for name in names if typed.get(name)}


def _any(typed: Typed) -> bool:
    return bool(typed.get("source"))


def _new_of_holding(flock: Flock, typed: Typed, names: tuple[str, ...]) -> Entries:
    """What differs from what stands of the holding."""
    said = {
        name: value
        for name, value in _some(typed, *names).items()
        if value != _typed({}, name, flock.holding)
    }
    return [{"kind": "holding", **said}] if said else []


def _machine_entry(name: str, flock: Flock, typed: Typed) -> Entries:
    size = _some(typed, "capacity_eggs")
    if typed.get("floor"):
        size = {"floor_m2": _square_metres(typed["floor"], flock)}
    machine = _MACHINES[name]
    called = typed.get("place") or _fresh(say(machine.called), flock.places)
    if not size and called in _offered(machine, flock):
        return []
    if called in flock.places and flock.places[called].role not in (None, machine.role):
        raise _wrong(
            "place",
            say("{place} is a place of another kind.", place=called),
            say("Give it another name."),
        )
    order = len([place for place in flock.places.values() if place.name != called]) + 1
    walk = {} if called in flock.places else {"walk_order": str(order)}
    return [{"kind": "place", "place": called, "role": machine.role, **size, **walk}]


def _offered(machine: _Machine, flock: Flock) -> set[str]:
    """What the page may have called it by itself, in whichever language it was answered."""
    offered = set()
    for tag in LANGUAGES:
        with speaking(tag):
            offered.add(_fresh(say(machine.called), flock.places))
    return offered


def _square_metres(typed: str, flock: Flock) -> str:
    try:
        floor = float(with_point(typed))
    except ValueError:
        raise _wrong(
            "floor", say("{typed!r} is no number.", typed=typed[:40]), say("Write one such as 2.5.")
        ) from None
    return f"{wording.square_metres(floor, units_of(flock)):.4g}"


def _weeks(typed: Typed) -> float | None:
    try:
        return float(with_point(typed.get("weeks", "")))
    except ValueError:
        return None


def _weeks_checked(typed: Typed) -> float | None:
    """The age in weeks, or None when it is not known. Raises BadInput when it is no age."""
    weeks = _weeks(typed)
    if not typed.get("weeks"):
        return None
    if weeks is None or not 0 <= weeks <= _OLDEST_WEEKS:
        raise _wrong(
            "weeks",
            say("{typed!r} is no age in weeks.", typed=typed["weeks"][:40]),
            say("Write one such as 8."),
        )
    return weeks


def _not_sexed_yet(weeks: float | None) -> bool:
    return weeks is not None and weeks * DAYS_A_WEEK < facts.value("care.sexing_age_d")


def _homes(flock: Flock, weeks: float | None) -> list[str]:
    """Where birds of that age may live: brooders first for chicks, else pens."""
    roles = ("brooder", "pen") if _not_sexed_yet(weeks) else ("pen",)
    return [
        place.name
        for role in roles
        for place in flock.in_walking_order()
        if place.role == role and not place.closed
    ]


def _group_entries(flock: Flock, typed: Typed, on: date) -> Entries:
    """The group; and the pen that it lives in, where nothing was said of one."""
    counts = _some(typed, "chicks", "hens", "cocks")
    weeks = _weeks_checked(typed)
    if not counts:
        return []
    homes = _homes(flock, weeks)
    lives = typed.get("place") or (homes[0] if homes else say("pen"))
    made: Entries = []
    if lives not in flock.places:
        made.append({"kind": "place", "place": lives, "role": "pen"})
    group = {"kind": "group", "group": typed.get("group") or _fresh(say("quail"), flock.groups)}
    if weeks is not None:
        group["hatched_on"] = (on - timedelta(days=round(weeks * DAYS_A_WEEK))).isoformat()
    return [*made, {**group, "place": lives, **counts}]


def _goal_entry(flock: Flock, typed: Typed) -> Entries:
    """The whole goal: a later one replaces the one before, so what stands is said again."""
    names = ("eggs_per_week", "table_birds_per_month", "certainty", "from_", "until")
    stands = {name: _typed({}, name, flock.goal) for name in names}
    said = {**stands, **_some(typed, "eggs_per_week", "table_birds_per_month", "certainty")}
    wanted = any(said[name] for name in ("eggs_per_week", "table_birds_per_month"))
    if said == stands or not wanted:
        return []
    said["from"] = said.pop("from_")
    return [{"kind": "goal", **{name: value for name, value in said.items() if value}}]


def _wrong(field: str, what: str, mend: str) -> BadInput:
    finding = Finding("shape", what, mend, field=field)
    return BadInput(say("Not kept; nothing was written."), (finding,))


# Where a time zone lies.


def _degrees(latitude: int) -> str:
    if latitude == 0:
        return say("on the equator")
    if latitude > 0:
        return say("{degrees}° north", degrees=latitude)
    return say("{degrees}° south", degrees=-latitude)


def time_zones() -> tuple[str, ...]:
    """The names of time zones to choose from, in alphabetical order."""
    return tuple(sorted(_zone_latitudes()))


def latitude_of(zone_name: str) -> float | None:
    """Latitude of the town that a time zone is named after, degrees; None where it is not told."""
    return _zone_latitudes().get(zone_name)


@cache
def _zone_latitudes() -> dict[str, float]:
    """From the IANA time zone database, `zone.tab`: ISO 6709 coordinates, +DDMM or +DDMMSS."""
    table = resources.files("tzdata").joinpath("zoneinfo/zone.tab").read_text(encoding="utf-8")
    found = {}
    for line in table.splitlines():
        if not line.startswith("#"):
            _, coordinates, name = line.split("\t")[:3]
            latitude = coordinates[: 1 + max(coordinates[1:].find("+"), coordinates[1:].find("-"))]
            degrees, minutes, seconds = latitude[1:3], latitude[3:5], latitude[5:7] or "0"
            whole = int(degrees) + int(minutes) / 60 + int(seconds) / 3600
            found[name] = -whole if latitude[0] == "-" else whole
    return found

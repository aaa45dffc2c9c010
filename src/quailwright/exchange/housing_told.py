"""Housing as the command, the page and the API tell it: room by pen, and the standards of room."""

import shlex
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from difflib import get_close_matches

from quailwright.exchange.json_types import HousingShape
from quailwright.flock.remark import Remark
from quailwright.flock.state import Flock, Place
from quailwright.guide import wording
from quailwright.guide.occasions import is_brooder
from quailwright.guide.room import birds_by_age, pens, standard_of
from quailwright.guide.round import units_of
from quailwright.guide.rules import all_rules
from quailwright.guide.signs.room import brooders_outgrown, pens_short
from quailwright.guide.signs.sign import Sign
from quailwright.husbandry import facts, housing
from quailwright.husbandry.housing import STANDARDS, Standard
from quailwright.journal.entries import FloorKind, Units
from quailwright.journal.findings import BadInput
from quailwright.language import mark, say, say_many

LAW = mark(
    "What the law asks where you live, your local authority says: these standards are not law for "
    "you unless it says so."
)
_CLEANING = ("trays", "wash", "mesh_check", "brooder_bedding")
"""Rules of care that keep a place clean and whole."""


@dataclass(frozen=True, slots=True)
class Cleaning:
    """A rule of care for a place: what, every how many days, and when it was done last."""

    task: str
    every_d: float
    last: date | None


@dataclass(frozen=True, slots=True)
class PenRoom:
    """A pen or brooder with what lives in it.

    Attributes:
        place: its name; `brooder`: whether chicks are brooded there.
        floor_m2, floor_kind, height_m: as told, None where they are not.
        height: its class, None where the height is not told.
        hens, cocks, chicks: there.
        age_d: of the youngest birds of known age.
        least_m2: the least floor that may be for them.
        needed_m2: the floor that they need by the standard, and never less than the least.
        fits: by standard, how many birds it has room for in all: grown ones, in a brooder those
            of that age; None where the floor is not told.
        cleaning: what is due there again and again.
    """

    place: str
    brooder: bool
    floor_m2: float | None
    floor_kind: FloorKind | None
    height_m: float | None
    height: housing.HeightClass | None
    hens: int
    cocks: int
    chicks: int
    age_d: int | None
    least_m2: float
    needed_m2: float
    fits: dict[str, int | None]
    cleaning: list[Cleaning]

    @property
    def birds(self) -> int:
        """All that live there."""
        return self.hens + self.cocks + self.chicks

    @property
    def per_bird_m2(self) -> float | None:
        """Floor for each bird that is there."""
        return None if self.floor_m2 is None or not self.birds else self.floor_m2 / self.birds

    @property
    def is_short(self) -> bool:
        """Whether its birds have less floor than they need."""
        return self.floor_m2 is not None and self.needed_m2 > self.floor_m2

    @property
    def hens_per_cock(self) -> float | None:
        """Hens to a cock, None without cocks."""
        return self.hens / self.cocks if self.cocks else None


@dataclass(frozen=True, slots=True)
class StandardShown:
    """A standard with its figures: floor for a bird by age class, the last for grown ones."""

    standard: Standard
    floors: list[facts.Figure | None]
    more: list[facts.Figure]

    @property
    def cited(self) -> list[facts.Figure]:
        """All that it rests on, each once."""
        return [each for each in self.floors if each is not None] + self.more

    def figure_of(self, what: str) -> facts.Figure | None:
        """Its own figure of the pen, the height or the litter."""
        key = f"standards.{self.standard.key}_{what}"
        return next((each for each in self.more if each.key == key), None)


@dataclass(frozen=True, slots=True)
class Housing:
    """Room as it stands.

    Attributes:
        on: the day.
        standard: by which it is told, None for the least alone.
        chosen: whether the keeper chose it, and did not only ask.
        pens: those with birds, or for birds, in the order of the walk.
        standards: side by side, the least floor for a grown bird first.
        soon: signs of room that runs short.
        remarks: what is not known.
        units: the keeper's.
    """

    on: date
    standard: str | None
    chosen: bool
    pens: list[PenRoom]
    standards: list[StandardShown]
    soon: list[Sign]
    remarks: list[Remark]
    units: Units

    @property
    def answer(self) -> list[str]:
        """The answer first, in sentences."""
        if not self.pens:
            return [say("No pen or brooder is written down yet.")]
        known = [pen for pen in self.pens if pen.floor_m2 is not None and pen.birds]
        short = [pen for pen in known if pen.is_short]
        said = [_short_words(pen, self.units) for pen in short]
        if not known:
            said.append(say("How much room the birds have is not known: no floor is told."))
        elif not short:
            said.append(
                say("No pen or brooder whose floor is told is below the least.")
                if self.standard is None
                else say("Each pen and brooder whose floor is told has room enough.")
            )
        return said

    @property
    def by_which(self) -> str:
        """By which standard it is told."""
        least = wording.floor_each(facts.value("housing.floor_m2_adult_minimum"), self.units)
        if self.standard is None:
            return say(
                "You chose no standard: each place is held only to the least that may be, {least} "
                "for a grown bird.",
                least=least,
            )
        name = say(STANDARDS[self.standard].name)
        if not self.chosen:
            return say(
                "Told by the standard that you ask for now ({standard}). Below {least} for a grown "
                "bird it is too little by any.",
                standard=name,
                least=least,
            )
        return say(
            "Told by the standard that you keep to ({standard}). Below {least} for a grown bird it "
            "is too little by any.",
            standard=name,
            least=least,
        )

    @property
    def between(self) -> str:
        """How far the standards lie apart, in a sentence."""
        grown = [
            (each.floors[-1].value, say(each.standard.name))
            for each in self.standards
            if each.floors[-1] is not None and each.floors[-1].value is not None
        ]
        (least, least_name), (most, most_name) = min(grown), max(grown)
        return say(
            "From {least} for a grown bird ({least_name}) to {most} ({most_name}): they do not "
            "agree, and you choose.",
            least=wording.floor_each(least, self.units),
            least_name=least_name,
            most=wording.floor_each(most, self.units),
            most_name=most_name,
        )


def _short_words(pen: PenRoom, units: Units) -> str:
    return say_many(
        "{place} is too small: {n} bird on {floor}, and {needed} is needed.",
        "{place} is too small: {n} birds on {floor}, and {needed} is needed.",
        pen.birds,
        place=pen.place,
        floor=wording.area(pen.floor_m2 or 0.0, units),
        needed=wording.area(pen.needed_m2, units),
    )


def standard_asked(text: str) -> str | None:
    """A standard as typed; None where nothing was. Raises BadInput."""
    if not text:
        return None
    chosen = STANDARDS.get(text)
    if chosen is not None and chosen.has_floor:
        return text
    known = [one.key for one in STANDARDS.values() if one.has_floor]
    names = ", ".join(known)
    near = get_close_matches(text, known, 1)
    if near:
        raise BadInput(
            say("There is no standard of room {name!r}. Did you mean {near}? There are {names}.",
                name=text, near=near[0], names=names)
        )  # fmt: skip
    raise BadInput(
        say("There is no standard of room {name!r}. There are {names}.", name=text, names=names)
    )


def housing_told(flock: Flock, on: date, asked: str = "") -> Housing:
    """Room by pen on the day `on`, by the standard asked for, else by the keeper's own.

    Raises BadInput where there is no such standard.
    """
    own = standard_of(flock)
    standard = standard_asked(asked) or own
    found = [_pen(flock, place, on, standard) for place in _places(flock, on)]
    soon = [*pens_short(flock, on, standard), *brooders_outgrown(flock, on, standard)]
    return Housing(
        on,
        standard,
        standard is not None and standard == own,
        found,
        [_shown(one) for one in STANDARDS.values()],
        soon,
        list(_remarks(found)),
        units_of(flock),
    )


def _places(flock: Flock, on: date) -> list[Place]:
    of_birds = {place.name for place in pens(flock, on)}
    of_birds |= {place.name for place in flock.places.values() if flock.groups_at(place.name)}
    of_birds |= {place.name for place in flock.places.values() if place.role == "brooder"}
    return [
        place for place in flock.in_walking_order() if place.name in of_birds and not place.closed
    ]


def _pen(flock: Flock, place: Place, on: date, standard: str | None) -> PenRoom:
    groups = flock.groups_at(place.name)
    birds = birds_by_age(flock, place, on)
    ages = [age for group in groups if (age := group.age_days(on)) is not None]
    age = min(ages, default=None)
    brooded = is_brooder(place, age)
    fits_age = (age or 0) if brooded else None
    return PenRoom(
        place.name,
        brooded,
        place.floor_m2,
        place.floor_kind,
        place.height_m,
        None if place.height_m is None or brooded else housing.height_class(place.height_m),
        sum(group.alive.hens for group in groups),
        sum(group.alive.cocks for group in groups),
        sum(group.alive.chicks for group in groups),
        age,
        housing.least_m2(birds),
        housing.needed_m2(birds, standard),
        {
            key: None
            if place.floor_m2 is None
            else housing.further_birds(place.floor_m2, key, (), fits_age, bounded=False)
            for key, one in STANDARDS.items()
            if one.has_floor
        },
        _cleaning(flock, place, "brooder" if brooded else "pen") if groups else [],
    )


def _cleaning(flock: Flock, place: Place, stage: str) -> list[Cleaning]:
    by_rule = {}
    for shown in all_rules(flock.care_rules):
        rule = shown.rule
        if rule.rule in _CLEANING and rule.stage == stage and shown.place in ("", None, place.name):
            by_rule[rule.rule] = shown
    return [
        Cleaning(
            rule,
            shown.rule.every or 0.0,
            max(flock.care.get((rule, place.name), ()), default=None),
        )
        for rule, shown in by_rule.items()
        if not shown.silenced and shown.rule.every
    ]


def _shown(one: Standard) -> StandardShown:
    known = facts.keys("standards")
    names = ("floor_week_1", "floor_week_2_3", "floor_week_4_6", "floor_adult")
    keys = [f"standards.{one.key}_{name}" for name in names]
    more = ("enclosure", "first_floor", "height", "littered", "cages")
    own = [f"standards.{one.key}_{name}" for name in more]
    return StandardShown(
        one,
        [facts.figure(key) if key in known else None for key in keys],
        [facts.figure(key) for key in own if key in known],
    )


def _remarks(found: Sequence[PenRoom]) -> list[Remark]:
    said = []
    for pen in found:
        role = "brooder" if pen.brooder else "pen"
        known = {"place": pen.place, "role": role}
        lacks = [
            say(what)
            for what, value in (
                (mark("its floor"), pen.floor_m2),
                (mark("its height"), pen.height_m if not pen.brooder else 0.0),
                (mark("what its floor is"), pen.floor_kind),
            )
            if value is None
        ]
        if lacks:
            said.append(
                Remark(
                    say("Of {place} nobody has told {lacks}.", place=pen.place,
                        lacks=", ".join(lacks)),
                    say("quailwright log place place={place} role={role} floor_m2=... "
                        "height_m=... floor_kind=litter", place=shlex.quote(pen.place), role=role),
                    "place",
                    known,
                )
            )  # fmt: skip
    return said


def height_words(pen: PenRoom, units: Units) -> str:
    """What its height means for heads."""
    if pen.height_m is None or pen.height is None:
        return ""
    low, high = facts.figure("housing.height_low_m").high, facts.figure("housing.height_high_m").low
    words = {
        "low": mark("{height} high: low, so that birds cannot gather speed upward."),
        "high": mark("{height} high: tall; a soft roof spares heads."),
        "between": mark(
            "{height} high: between low (up to {low}) and tall (from {high}). Keepers see heads "
            "hurt there; some rules ask for it. Something soft under the roof, and cover."
        ),
    }
    return say(
        words[pen.height],
        height=wording.height(pen.height_m, units),
        low=wording.height(low or 0.0, units),
        high=wording.height(high or 0.0, units),
    )


def ratio_words(pen: PenRoom) -> str:
    """Hens to cocks against what is usual; "" where there are no grown cocks."""
    usual = facts.figure("housing.hens_per_cock")
    if not pen.cocks:
        return ""
    if not pen.hens:
        return say_many("{n} cock and no hen.", "{n} cocks and no hens.", pen.cocks)
    return say(
        "{ratio:.1f} hens a cock; usual is {low:g} to {high:g}. One cock to a group spares wounds.",
        ratio=pen.hens / pen.cocks,
        low=usual.low,
        high=usual.high,
    )


def room_words(pen: PenRoom, units: Units) -> str:
    """Who lives there, and how much floor each has."""
    if not pen.birds:
        return (
            say("Empty; {floor}.", floor=wording.area(pen.floor_m2, units))
            if pen.floor_m2 is not None
            else say("Empty.")
        )
    if pen.floor_m2 is None or pen.per_bird_m2 is None:
        return say_many(
            "{n} bird; its floor is not told.", "{n} birds; the floor is not told.", pen.birds
        )
    return say_many(
        "{n} bird on {floor}, {each} for it; {needed} needed.",
        "{n} birds on {floor}, {each} for each; {needed} needed.",
        pen.birds,
        floor=wording.area(pen.floor_m2, units),
        each=wording.floor_each(pen.per_bird_m2, units),
        needed=wording.area(pen.needed_m2, units),
    )


def fits_words(pen: PenRoom) -> str:
    """What each standard has room for there."""
    if pen.floor_m2 is None:
        return ""
    parts = "; ".join(
        say("{standard} {number}", number=number, standard=say(STANDARDS[key].name))
        for key, number in pen.fits.items()
        if number is not None
    )
    if pen.brooder:
        return say(
            "Room for how many at {days} days of age: {parts}.", days=pen.age_d or 0, parts=parts
        )
    return say("Room for how many in all: {parts}.", parts=parts)


def cleaning_words(one: Cleaning) -> str:
    """What is due there, how often, and when it was done last."""
    task = say(one.task.replace("_", " "))
    if one.last is None:
        return say("{task}: every {days:g} days; not ticked yet.", task=task, days=one.every_d)
    return say(
        "{task}: every {days:g} days; last on {day}.",
        task=task,
        days=one.every_d,
        day=wording.weekday(one.last),
    )


_TASKS = (mark("trays"), mark("wash"), mark("mesh check"), mark("brooder bedding"))


def air_words() -> str:
    """What the nose tells of ammonia."""
    smelt, harm = facts.figure("care.ammonia_smelt"), facts.figure("care.ammonia_harm")
    return say(
        "Smell each pen as you come in, at the birds' height: people smell ammonia at {low:g} to "
        "{high:g} ppm, and the nose gets used to it within {minutes:g} minutes. {limit:g} ppm is "
        "the ceiling; {harm:g} to {hurt:g} ppm for weeks harms birds. If you smell it, clear the "
        "wet droppings and let air through above the birds.",
        low=smelt.low,
        high=smelt.high,
        minutes=facts.value("care.nose_adapts_min"),
        limit=facts.value("care.ammonia"),
        harm=harm.low,
        hurt=harm.high,
    )


def standard_words(shown: StandardShown, units: Units) -> list[str]:
    """What a standard asks for, in sentences."""
    said = []
    grown = shown.floors[-1]
    if grown is not None and grown.value is not None:
        first, enclosure = shown.figure_of("first_floor"), shown.figure_of("enclosure")
        each = wording.floor_each(grown.value, units)
        if first is not None and first.value is not None:
            said.append(
                say(
                    "{first} for the first {birds:g} grown birds, {each} for each further one.",
                    first=wording.area(first.value, units),
                    birds=facts.value(f"standards.{shown.standard.key}_first_birds"),
                    each=each,
                )
            )
        else:
            said.append(say("{each} for a grown bird.", each=each))
        if enclosure is not None and enclosure.value is not None:
            said.append(say("No pen below {floor}.", floor=wording.area(enclosure.value, units)))
        young = [row.value for row in shown.floors[:-1] if row is not None and row.value]
        if young:
            said.append(
                say(
                    "Growing birds, to {ends} days of age: {floors}.",
                    ends=", ".join(map(str, housing.AGE_CLASSES_D)),
                    floors=", ".join(wording.floor_each(value, units) for value in young),
                )
            )
        else:
            said.append(say("No figure for chicks: quailwright's own is taken for them."))
    high = shown.figure_of("height")
    if high is not None and high.value is not None:
        height = wording.height(high.value, units)
        said.append(
            say("At least {height} high.", height=height)
            if high.low == high.value and high.high is None
            else say("About {height} high.", height=height)
        )
    litter = shown.figure_of("littered")
    if litter is not None and litter.value is not None:
        said.append(say("{share:.0%} of the floor littered.", share=litter.value))
    return [*said, *(say(one) for one in shown.standard.asks)]


def grown_words(shown: StandardShown, units: Units) -> str:
    """Its floor for a grown bird, or that it is not known."""
    grown = shown.floors[-1]
    if grown is None or grown.value is None:
        return say("not known")
    return wording.floor_each(grown.value, units)


def least_pen_words(shown: StandardShown, units: Units) -> str:
    """Its least pen; "" where it has none."""
    least = shown.figure_of("enclosure")
    return "" if least is None or least.value is None else wording.area(least.value, units)


def high_words(shown: StandardShown, units: Units) -> str:
    """The height that it asks for; "" where none is known."""
    high = shown.figure_of("height")
    return "" if high is None or high.value is None else wording.height(high.value, units)


def trust_words(shown: StandardShown) -> str:
    """On whose word a standard stands, and how far to trust it."""
    rows = [row for row in shown.cited if row.source] or shown.cited
    certainties = ", ".join(dict.fromkeys(say(row.certainty) for row in shown.cited))
    sources = "; ".join(dict.fromkeys(row.source for row in rows if row.source))
    said = say("Certainty: {certainty}.", certainty=certainties)
    return f"{say('Source: {source}.', source=sources)} {said}" if sources else said


def housing_shape(told: Housing) -> HousingShape:
    """`housing --json`."""
    return {
        "on": told.on.isoformat(),
        "standard": told.standard,
        "chosen": told.chosen,
        "least_m2_per_grown_bird": facts.value("housing.floor_m2_adult_minimum"),
        "places": [
            {
                "place": pen.place,
                "brooder": pen.brooder,
                "birds": pen.birds,
                "hens": pen.hens,
                "cocks": pen.cocks,
                "chicks": pen.chicks,
                "age_days": pen.age_d,
                "floor_m2": pen.floor_m2,
                "floor_kind": pen.floor_kind,
                "floor_m2_per_bird": _rounded(pen.per_bird_m2),
                "needed_m2": round(pen.needed_m2, 4),
                "least_m2": round(pen.least_m2, 4),
                "too_small": pen.is_short,
                "fits": pen.fits,
                "height_m": pen.height_m,
                "height": pen.height,
                "hens_per_cock": _rounded(pen.hens_per_cock),
                "cleaning": [
                    {
                        "task": one.task,
                        "every_days": one.every_d,
                        "last": None if one.last is None else one.last.isoformat(),
                    }
                    for one in pen.cleaning
                ],
            }
            for pen in told.pens
        ],
        "standards": [
            {
                "standard": shown.standard.key,
                "name": say(shown.standard.name),
                "floor_m2": [None if row is None else row.value for row in shown.floors],
                "says": standard_words(shown, "metric"),
                "figures": [row.cite() for row in shown.cited],
            }
            for shown in told.standards
        ],
        "soon": [
            {
                "sign": sign.sign,
                "where": sign.where,
                "evidence": sign.evidence,
                "check": sign.check,
            }
            for sign in told.soon
        ],
        "said": [*told.answer, told.by_which, *(remark.says for remark in told.remarks)],
    }


def _rounded(number: float | None) -> float | None:
    return None if number is None else round(number, 4)

"""Droppings, bedding and compost by week, as the command, the page and the API tell them."""

from dataclasses import dataclass
from datetime import date, timedelta
from difflib import get_close_matches

from quailwright.exchange.json_types import ManureShape
from quailwright.flock.state import Birds, Flock
from quailwright.guide import wording
from quailwright.guide.occasions import is_brooder
from quailwright.guide.room import coming
from quailwright.guide.round import units_of
from quailwright.husbandry import compost, facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.husbandry.manure import as_grown, droppings_kg, nitrogen_kg
from quailwright.journal.entries import Units
from quailwright.journal.findings import BadInput
from quailwright.language import figure, say, say_many

USUAL_BEDDING = "shavings"
WEEKS_AHEAD = 8
_LITRES_IN_A_CUBIC_METRE = 1000.0
_LITRES_IN_A_GALLON = 3.785411784
_GROWN_AGE_D = 365.0


@dataclass(frozen=True, slots=True)
class ManureWeek:
    """Seven days of fresh droppings, and the range of what is known of them.

    `birds` are those there, and expected, on the first day.
    """

    first: date
    birds: int
    droppings_kg: float
    low_kg: float
    high_kg: float
    nitrogen_kg: float

    @property
    def nitrogen_g(self) -> float:
        """The same in grams."""
        return self.nitrogen_kg * _G_IN_A_KG


@dataclass(frozen=True, slots=True)
class Bedding:
    """Bedding of a littered place: litres each time, every so many days."""

    place: str
    litres: float
    every_d: float

    @property
    def litres_a_week(self) -> float:
        """On the mean."""
        return self.litres * DAYS_A_WEEK / self.every_d


@dataclass(frozen=True, slots=True)
class MixOf:
    """Droppings with a material, at the lowest and highest ratio wanted; None where none does."""

    material: str
    low: compost.Mix | None
    high: compost.Mix | None


@dataclass(frozen=True, slots=True)
class Manure:
    """All of it.

    Attributes:
        on: the day.
        material: the bedding asked for.
        weeks: this one first.
        bedding: of places that are littered, whose floor is told.
        mixes: the material asked for first.
        untold: littered or not, nobody has said: places with birds.
        units: the keeper's.
    """

    on: date
    material: str
    weeks: list[ManureWeek]
    bedding: list[Bedding]
    mixes: list[MixOf]
    untold: list[str]
    units: Units

    @property
    def answer(self) -> str:
        """This week in a sentence."""
        week = self.weeks[0]
        if not week.birds:
            return say("No birds are there, and so no droppings.")
        return say_many(
            "{n} bird leaves about {mass} of fresh droppings a week ({low} to {high}), with about "
            "{nitrogen:.0f} g of nitrogen.",
            "{n} birds leave about {mass} of fresh droppings a week ({low} to {high}), with about "
            "{nitrogen:.0f} g of nitrogen.",
            week.birds,
            mass=mass_words(week.droppings_kg, self.units),
            low=mass_words(week.low_kg, self.units),
            high=mass_words(week.high_kg, self.units),
            nitrogen=week.nitrogen_g,
        )

    @property
    def weeks_answer(self) -> str:
        """The last of the weeks against this one."""
        first, last = self.weeks[0], self.weeks[-1]
        return say(
            "From {now} this week to {then} in the week from {day}, if nothing leaves or dies.",
            now=mass_words(first.droppings_kg, self.units),
            then=mass_words(last.droppings_kg, self.units),
            day=wording.weekday(last.first),
        )

    @property
    def bedding_answer(self) -> str:
        """Bedding a week in a sentence."""
        if not self.bedding:
            return say("No littered place with its floor is told: bedding is not reckoned.")
        litres = sum(one.litres_a_week for one in self.bedding)
        return say(
            "About {volume} of bedding a week, {mass} of {material}.",
            volume=volume_words(litres, self.units),
            mass=mass_words(compost.kilograms(self.material, litres), self.units),
            material=say(compost.MATERIALS[self.material]),
        )

    @property
    def mix_answer(self) -> list[str]:
        """What to mix this week's droppings with, in sentences."""
        mix, ratio = self.mixes[0], facts.figure("compost.carbon_to_nitrogen")
        if mix.low is None or mix.high is None:
            return [mix_words(mix, self.units)]
        said = [
            say(
                "For {low:g} to {high:g} parts of carbon to one of nitrogen: {mix}",
                low=ratio.low,
                high=ratio.high,
                mix=mix_words(mix, self.units),
            )
        ]
        week = self.weeks[0]
        if week.birds:
            room = compost.litres(compost.DROPPINGS, week.droppings_kg)
            wanted = (room * mix.low.buckets, room * mix.high.buckets)
            said.append(
                say(
                    "This week's droppings want {low} to {high} of it.",
                    low=volume_words(wanted[0], self.units),
                    high=volume_words(wanted[1], self.units),
                )
            )
            there = sum(one.litres_a_week for one in self.bedding)
            if there:
                said.append(
                    say(
                        "The bedding that you change brings {litres} of that, if it is the same.",
                        litres=volume_words(there, self.units),
                    )
                )
        return said


_G_IN_A_KG = 1000.0


def mass_words(kilograms: float, units: Units) -> str:
    """`4.2 kg` or `9.3 lb`."""
    return f"{figure(wording.feed_mass(kilograms, units), '.1f')} {wording.feed_unit(units)}"


def nitrogen_words(week: ManureWeek) -> str:
    """Grams of nitrogen in the droppings of a week."""
    return figure(week.nitrogen_g, ".0f")


def volume_words(litres: float, units: Units) -> str:
    """`12 L` or `3 gal`."""
    if units == "us":
        return say("{gallons:.1f} gal", gallons=litres / _LITRES_IN_A_GALLON)
    return say("{litres:.0f} L", litres=litres)


def mix_words(one: MixOf, units: Units) -> str:
    """Parts by volume, and water."""
    name = say(compost.MATERIALS[one.material])
    if one.low is None or one.high is None:
        return say(
            "{material}: too rich in nitrogen itself to balance droppings. Use something dry and "
            "woody besides.",
            material=name.capitalize(),
        )
    low, high = _buckets(one.low.buckets), _buckets(one.high.buckets)
    parts = (
        say("{buckets} buckets of {material} to one of droppings", buckets=low, material=name)
        if low == high
        else say(
            "{low} to {high} buckets of {material} to one of droppings",
            low=low,
            high=high,
            material=name,
        )
    )
    if one.low.too_wet:
        return say("{parts}; it comes out wet: add something dry.", parts=parts)
    if one.high.water_l_per_bucket <= 0:
        return say("{parts}; it is damp enough.", parts=parts)
    return say(
        "{parts}, and {low} to {high} of water to a bucket of droppings ({bucket}).",
        parts=parts,
        low=volume_words(one.low.water_l_per_bucket, units),
        high=volume_words(one.high.water_l_per_bucket, units),
        bucket=volume_words(facts.value("compost.bucket_l"), units),
    )


def _buckets(number: float) -> str:
    """Buckets as a keeper counts them: halves up to five, then whole ones."""
    return figure(round(number * 2) / 2 if number < _COUNTED_IN_HALVES else round(number), "g")


_COUNTED_IN_HALVES = 5


def bedding_words(one: Bedding, units: Units) -> str:
    """What a place takes, and how often."""
    return say(
        "{place}: {volume} each time, every {days:g} days.",
        place=one.place,
        volume=volume_words(one.litres, units),
        days=one.every_d,
    )


def untold_words(told: Manure) -> str:
    """Places whose bedding cannot be reckoned."""
    return say(
        "Not told of {places}: the floor, or whether it is litter, wire or solid.",
        places=", ".join(told.untold),
    )


def wait_words() -> str:
    """How long before food from raw manure."""
    return say(
        "Raw droppings are strong and not clean: compost them first, or keep {soil:g} days between "
        "digging them in and the harvest of food that touches the soil, {off:g} days for other "
        "food (United States organic rule; your local rule decides).",
        soil=facts.value("compost.raw_wait_d"),
        off=facts.value("compost.raw_wait_off_soil_d"),
    )


def heap_words() -> str:
    """How damp the heap should be."""
    wet = facts.figure("compost.moisture")
    return say(
        "Damp as a wrung-out sponge, {low:.0%} to {high:.0%} water. Turn it when it cools. If it "
        "smells of ammonia, it wants more of the dry; if it stays cold and dry, water.",
        low=wet.low,
        high=wet.high,
    )


def material_asked(text: str) -> str:
    """A bedding as typed, the usual one where nothing was. Raises BadInput."""
    if not text:
        return USUAL_BEDDING
    if text in compost.MATERIALS:
        return text
    names = ", ".join(compost.MATERIALS)
    near = get_close_matches(text, compost.MATERIALS, 1)
    if near:
        raise BadInput(
            say("No figures are known of bedding {name!r}. Did you mean {near}? There are {names}.",
                name=text, near=near[0], names=names)
        )  # fmt: skip
    raise BadInput(
        say("No figures are known of bedding {name!r}. There are {names}.", name=text, names=names)
    )


def manure_told(flock: Flock, on: date, asked: str = "") -> Manure:
    """Droppings of this week and the next ones, bedding, and what to mix, from what stands.

    Raises BadInput where no figures are known of such bedding.
    """
    material = material_asked(asked)
    ratio = facts.figure("compost.carbon_to_nitrogen")
    keys = [material, *(key for key in compost.MATERIALS if key != material)]
    return Manure(
        on,
        material,
        [_week(flock, on, number) for number in range(WEEKS_AHEAD)],
        list(_bedding(flock, on)),
        [
            MixOf(key, compost.mix(key, ratio.low or 0.0), compost.mix(key, ratio.high or 0.0))
            for key in keys
        ],
        [
            place.name
            for place in flock.in_walking_order()
            if flock.groups_at(place.name) and (place.floor_m2 is None or place.floor_kind is None)
        ],
        units_of(flock),
    )


def _week(flock: Flock, on: date, number: int) -> ManureWeek:
    """A week ahead: the birds of today and those that hatch, none dying or leaving."""
    first = on + timedelta(days=number * DAYS_A_WEEK)
    middle = DAYS_A_WEEK // 2
    birds, equal = 0, 0.0
    for group in flock.groups_alive():
        age = group.age_days(first)
        birds += group.alive.total
        equal += _as_grown(group.alive, _GROWN_AGE_D if age is None else age + middle)
    brooded = set(flock.groups)
    for batch in coming(flock, on):
        age_d = (first - batch.hatched_on).days
        if batch.name not in brooded and age_d >= 0:
            birds += batch.birds
            equal += _as_grown(Birds(chicks=batch.birds), age_d + middle)
    amount = facts.figure("housing.manure_g_d")
    mean = float(droppings_kg(equal, DAYS_A_WEEK))
    value = amount.value or 1.0
    return ManureWeek(
        first,
        birds,
        mean,
        mean * (amount.low or value) / value,
        mean * (amount.high or value) / value,
        float(nitrogen_kg(equal, DAYS_A_WEEK)),
    )


def _as_grown(birds: Birds, age_d: float) -> float:
    """As many grown hens as leave what these birds leave."""
    return (
        birds.chicks * as_grown(age_d, "chick")
        + birds.hens * as_grown(age_d, "hen")
        + birds.cocks * as_grown(age_d, "cock")
    )


def _bedding(flock: Flock, on: date) -> list[Bedding]:
    """Litter of pens that are littered, and of brooders: to the published depth, all at once."""
    depth = facts.figure("brooding.litter_depth_m")
    depth_m = ((depth.low or 0.0) + (depth.high or 0.0)) / 2
    found = []
    for place in flock.in_walking_order():
        ages = [
            age for group in flock.groups_at(place.name) if (age := group.age_days(on)) is not None
        ]
        if place.floor_m2 is None or not flock.groups_at(place.name):
            continue
        brooded = is_brooder(place, min(ages, default=None))
        if place.floor_kind == "litter" or (brooded and place.floor_kind is None):
            every = facts.value(
                "brooding.bedding_interval_d" if brooded else "care.wash_interval_d"
            )
            volume_l = place.floor_m2 * depth_m * _LITRES_IN_A_CUBIC_METRE
            found.append(Bedding(place.name, volume_l, every))
    return found


def manure_shape(told: Manure) -> ManureShape:
    """`manure --json`."""
    ratio, wet = facts.figure("compost.carbon_to_nitrogen"), facts.figure("compost.moisture")
    return {
        "on": told.on.isoformat(),
        "material": told.material,
        "carbon_to_nitrogen": [ratio.low or 0.0, ratio.high or 0.0],
        "moisture": [wet.low or 0.0, wet.high or 0.0],
        "weeks": [
            {
                "week_from": week.first.isoformat(),
                "birds": week.birds,
                "droppings_kg": round(week.droppings_kg, 3),
                "droppings_low_kg": round(week.low_kg, 3),
                "droppings_high_kg": round(week.high_kg, 3),
                "nitrogen_kg": round(week.nitrogen_kg, 4),
            }
            for week in told.weeks
        ],
        "bedding": [
            {
                "place": one.place,
                "litres_a_change": round(one.litres, 1),
                "every_days": one.every_d,
                "litres_a_week": round(one.litres_a_week, 1),
                "kg_a_week": round(compost.kilograms(told.material, one.litres_a_week), 2),
            }
            for one in told.bedding
        ],
        "mixes": [
            {
                "material": one.material,
                "possible": one.low is not None and one.high is not None,
                "buckets_low": None if one.low is None else round(one.low.buckets, 2),
                "buckets_high": None if one.high is None else round(one.high.buckets, 2),
                "kg_per_kg_low": None if one.low is None else round(one.low.kg, 3),
                "kg_per_kg_high": None if one.high is None else round(one.high.kg, 3),
                "water_l_low": None if one.low is None else round(one.low.water_l_per_bucket, 1),
                "water_l_high": None if one.high is None else round(one.high.water_l_per_bucket, 1),
                "too_wet": one.low is not None and one.low.too_wet,
            }
            for one in told.mixes
        ],
        "said": [told.answer, told.bedding_answer, *told.mix_answer],
    }

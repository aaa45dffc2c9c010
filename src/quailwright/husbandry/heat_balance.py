"""How warm a heated box stays: a steady heat balance of a brooder, and how it cools.

The air of the box is taken as one, at its mean temperature. Heat under a lamp or a plate is
another thing: it reaches the birds before the air, and their behaviour decides.

What is not known (still or moving air, how damp the board is, what part of the litter is warm)
makes three cases of every answer: the box that loses least heat, the usual one, and the one that
loses most.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal, get_args

import numpy as np
from numpy.typing import NDArray

from quailwright.husbandry import facts
from quailwright.husbandry.age import checked_age_d
from quailwright.language import mark, say

Array = NDArray[np.float64]
Material = Literal["plywood", "softwood", "cardboard", "eps", "xps", "steel", "plastic", "glass"]
Lid = Literal["closed", "half", "open"]
Case = Literal["least", "usual", "most"]
"""Which box: the one that loses least heat, the usual one, the one that loses most."""

MATERIALS: Final[tuple[Material, ...]] = get_args(Material)
LIDS: Final[tuple[Lid, ...]] = get_args(Lid)
MATERIAL_WORDS: Final = {
    "plywood": mark("plywood"),
    "softwood": mark("boards of softwood"),
    "cardboard": mark("cardboard"),
    "eps": mark("expanded polystyrene"),
    "xps": mark("extruded polystyrene"),
    "steel": mark("steel sheet"),
    "plastic": mark("plastic"),
    "glass": mark("glass"),
}
LID_WORDS: Final = {
    "closed": mark("closed, with a few holes"),
    "half": mark("half open or half mesh"),
    "open": mark("open, or mesh all over"),
}
_OPEN_SHARE: Final[dict[Lid, float]] = {"closed": 0.0, "half": 0.5, "open": 1.0}

GRAVITY_M_S2: Final = 9.80665
"""By definition (3rd General Conference on Weights and Measures, 1901)."""
ZERO_C_IN_K: Final = 273.15
SECONDS_AN_HOUR: Final = 3600.0
SECONDS_A_DAY: Final = 86400.0
JOULES_A_KCAL: Final = 4184.0
JOULES_A_MJ: Final = 1e6
HOURS_A_DAY: Final = 24.0
WATTS_A_KILOWATT: Final = 1000.0

_OTHER: Final[dict[Case, Case]] = {"least": "most", "usual": "usual", "most": "least"}
_STEPS = 2000
"""Of temperature, in which cooling is summed up."""


@dataclass(frozen=True, slots=True)
class Box:
    """A brooder box, inside measures.

    Attributes:
        length_m, width_m, height_m: inside [m], above 0.
        wall: what walls, floor and lid are made of; `thickness_m` [m], above 0.
        lid: how far it is open on top.
        litter_m: depth of the litter [m], 0 or more.
        air_changes_h: air changes an hour where they are known; None: by the birds' need.
    """

    length_m: float
    width_m: float
    height_m: float
    wall: Material
    thickness_m: float
    lid: Lid = "closed"
    litter_m: float = 0.0
    air_changes_h: float | None = None

    def __post_init__(self) -> None:
        sizes = (self.length_m, self.width_m, self.height_m, self.thickness_m)
        if not all(math.isfinite(size) and size > 0 for size in sizes):
            raise ValueError(say("The sizes of the box and its walls are numbers above 0."))
        if not (math.isfinite(self.litter_m) and 0 <= self.litter_m < self.height_m):
            raise ValueError(say("The litter is 0 or more deep, and less than the box is high."))
        changes = self.air_changes_h
        if changes is not None and not (math.isfinite(changes) and changes >= 0):
            raise ValueError(say("Air changes are 0 or more an hour."))

    @property
    def floor_m2(self) -> float:
        """Floor [m²]; the lid is as large."""
        return self.length_m * self.width_m

    @property
    def sides_m2(self) -> float:
        """All four sides [m²]."""
        return 2.0 * (self.length_m + self.width_m) * self.height_m

    @property
    def air_m3(self) -> float:
        """The air in it [m³], above the litter."""
        return self.floor_m2 * (self.height_m - self.litter_m)

    @property
    def opening_m2(self) -> float:
        """What is open on top [m²]."""
        return self.floor_m2 * _OPEN_SHARE[self.lid]


@dataclass(frozen=True, slots=True)
class Losses:
    """How a box loses heat.

    Attributes:
        sides_w_k, lid_w_k, floor_w_k: through its parts [W/K]; `lid_w_k` holds the radiation
            through an opening.
        fresh_m3_h: air that passes through it whatever the temperature [m³/h].
        opening_m2: opening on top [m²], through which warm air leaves by itself.
        exchange: ``brooder_box.exchange_froude`` in this case.
    """

    sides_w_k: float
    lid_w_k: float
    floor_w_k: float
    fresh_m3_h: float
    opening_m2: float
    exchange: float

    @property
    def through_parts_w_k(self) -> float:
        """Through sides, lid and floor [W/K]."""
        return self.sides_w_k + self.lid_w_k + self.floor_w_k

    def air_m3_h(self, air_c: float | Array, room_c: float | Array) -> Array:
        """Air that passes [m³/h]: what is let through, or what leaves by itself if that is more."""
        return np.maximum(
            self.fresh_m3_h, exchange_m3_h(self.opening_m2, air_c, room_c, self.exchange)
        )

    def watts(self, air_c: float | Array, room_c: float | Array) -> Array:
        """Heat lost at this temperature [W], below 0 where the room is the warmer."""
        warmer_k = _finite(air_c) - _finite(room_c)
        per_k = self.through_parts_w_k + air_w_per_k(self.air_m3_h(air_c, room_c))
        lost: Array = per_k * warmer_k
        return lost


def u_value_w_m2k(
    layers: Sequence[tuple[float, float]], inside_m2k_w: float, outside_m2k_w: float
) -> float:
    """Thermal transmittance of a part made of plain layers: 1 / (Rsi + sum(d / lambda) + Rse).

    Args:
        layers: (thickness d [m], conductivity lambda [W/m/K]) of each, both above 0.
        inside_m2k_w, outside_m2k_w: surface resistances [m²K/W], above 0.

    Returns:
        U [W/m²/K].

    Raises:
        ValueError: an argument out of range.

    Source: ISO 6946:2017, Building components and building elements, Thermal resistance and
    thermal transmittance, total resistance of homogeneous layers.
    """
    numbers = [inside_m2k_w, outside_m2k_w, *(number for layer in layers for number in layer)]
    if not all(math.isfinite(number) and number > 0 for number in numbers):
        raise ValueError(say("Layers and surfaces are numbers above 0."))
    resistance = inside_m2k_w + sum(d / conductivity for d, conductivity in layers) + outside_m2k_w
    return 1.0 / resistance


def air_w_per_k(air_m3_h: float | Array) -> Array:
    """Heat that passing air carries off for each kelvin [W/K]: about 0.33 Wh for each m³.

    Args:
        air_m3_h: air that passes [m³/h], 0 or more.

    Source: MacKay 2009, Sustainable Energy - without the hot air, chapter E (1.2 kJ/m³/K).
    """
    flow = _finite(air_m3_h)
    carried: Array = flow * facts.value("brooder_box.heat_capacity_air") / SECONDS_AN_HOUR
    return carried


def exchange_m3_h(
    opening_m2: float, air_c: float | Array, room_c: float | Array, froude: float | None = None
) -> Array:
    """Warm air that leaves through one opening on top while cold air comes in [m³/h].

    Flow = Fr (D^5 g dT / T)^0.5, D being the width of a round opening of that area and T the mean
    of both air temperatures [K]. It holds for a thin lid, in still air, air well mixed below.

    Args:
        opening_m2: area [m²], 0 or more.
        air_c, room_c: temperatures [°C].
        froude: Fr; else ``brooder_box.exchange_froude``.

    Returns:
        Flow [m³/h], 0 where the room is the warmer: then warm air lies on top and stays.

    Source: Epstein 1988, J Heat Transfer 110:885-893. Certainty: the number from memory.
    """
    number = facts.value("brooder_box.exchange_froude") if froude is None else froude
    inside, outside = _finite(air_c), _finite(room_c)
    width_m = math.sqrt(4.0 * opening_m2 / math.pi)
    mean_k = (inside + outside) / 2.0 + ZERO_C_IN_K
    lighter = np.maximum(0.0, inside - outside) / mean_k
    flow: Array = number * np.sqrt(width_m**5 * GRAVITY_M_S2 * lighter) * SECONDS_AN_HOUR
    return flow


def bird_heat_w(age_d: float, mass_g: float) -> tuple[float, float, float]:
    """Heat of one bird: what it spends to live on (low, middle, high) [W].

    What it spends to grow on is left out, as its published figure is implausible; what leaves it
    as water vapour is not taken off. A chick in the cold makes more, the younger the less.

    Args:
        age_d: age [d] from hatch, 0 or more.
        mass_g: body mass [g], above 0.

    Raises:
        ValueError: an argument out of range.

    Source: a model study of the Federal University of Tocantins (655 quail, 1 to 35 days);
    Atmamihardja, Pym and Farrell 1983, Aust J Agric Res 34:799. Certainty: published; the middle
    is their mean.
    """
    age = checked_age_d(age_d)
    if not (math.isfinite(mass_g) and mass_g > 0):
        raise ValueError(say("A bird weighs more than 0 g."))
    kg = mass_g / 1000.0
    young = age <= facts.value("brooder_box.keep_young_until_d")
    keep = facts.value(f"brooder_box.keep_{'young' if young else 'grown'}_kcal_kg067")
    power = facts.value("brooder_box.keep_power")
    by_power = keep * kg**power * JOULES_A_KCAL / SECONDS_A_DAY
    by_mass = facts.value("brooder_box.keep_mj_kg") * kg * JOULES_A_MJ / SECONDS_A_DAY
    low, high = sorted((by_power, by_mass))
    return low, (low + high) / 2.0, high


def losses(box: Box, birds_kg: float = 0.0, case: Case = "usual") -> Losses:
    """How a box loses heat in one of the three cases.

    Both faces of a part have the surface resistance of still air; in the case that loses most the
    outer one has that of wind. Corners count by inside measures.

    Args:
        box: the box.
        birds_kg: live mass in it [kg], 0 or more: their fresh air passes at least, unless the air
            changes of the box are told.

    Source: ISO 6946:2017; ``brooder_box`` and ``housing.ventilation_m3_h_kg`` for the figures.
    """
    if not (math.isfinite(birds_kg) and birds_kg >= 0):
        raise ValueError(say("Birds weigh 0 kg or more."))
    wall = (box.thickness_m, _conductivity(box.wall, case))
    floor = [wall]
    if box.litter_m > 0:
        floor.append((box.litter_m, _conductivity("litter", case)))
    open_m2 = box.opening_m2
    return Losses(
        box.sides_m2 * _u("side", [wall], case),
        (box.floor_m2 - open_m2) * _u("up", [wall], case)
        + open_m2 * facts.value("brooder_box.opening_radiative"),
        box.floor_m2 * _u("down", floor, case),
        _fresh_m3_h(box, birds_kg, case),
        open_m2,
        _of("brooder_box.exchange_froude", case),
    )


def watts_needed(
    lost: Losses, air_c: float | Array, room_c: float | Array, birds_w: float
) -> Array:
    """Heater that holds this mean temperature: what is lost less what the birds give [W], from 0.

    Args:
        lost: how the box loses heat.
        air_c, room_c: wanted in the box, and that of the room [°C].
        birds_w: heat of all birds [W].
    """
    return np.maximum(0.0, lost.watts(air_c, room_c) - _finite(birds_w))


def air_held_c(lost: Losses, heat_w: float, room_c: float) -> float:
    """Mean temperature at which the box loses as much as it is given [°C].

    Args:
        lost: how the box loses heat.
        heat_w: heater and birds together [W], 0 or more.
        room_c: temperature of the room [°C].

    Raises:
        ValueError: heat below 0, or not a number.
    """
    if not (math.isfinite(heat_w) and heat_w >= 0):
        raise ValueError(say("Heat is 0 W or more."))
    room = float(_finite(room_c))
    # An opening only adds to what the parts lose: no warmer than without it.
    low = room
    high = room + heat_w / (lost.through_parts_w_k + float(air_w_per_k(lost.fresh_m3_h)))
    for _ in range(200):
        middle = (low + high) / 2.0
        if middle in (low, high):
            break
        if float(lost.watts(middle, room)) < heat_w:
            low = middle
        else:
            high = middle
    return high


def heat_capacity_j_k(box: Box, birds_kg: float = 0.0, case: Case = "usual") -> float:
    """What must cool with the air of the box [J/K]: the air, part of walls and litter, the birds.

    The case "most" loses heat fastest: only a small part of walls and litter is warm, and the
    birds give none of their body heat.
    """
    warmed = _OTHER[case]
    walls_m3 = (box.sides_m2 + 2.0 * box.floor_m2 - box.opening_m2) * box.thickness_m
    litter_m3 = box.floor_m2 * box.litter_m
    birds = 0.0 if case == "most" else birds_kg * facts.value("brooder_box.heat_capacity_bird")
    return (
        box.air_m3 * facts.value("brooder_box.heat_capacity_air")
        + walls_m3
        * facts.value(f"brooder_box.heat_capacity_{box.wall}")
        * _of("brooder_box.warmed_share_walls", warmed)
        + litter_m3
        * facts.value("brooder_box.heat_capacity_litter")
        * _of("brooder_box.warmed_share_litter", warmed)
        + birds
    )


def hours_to_cool(
    lost: Losses, capacity_j_k: float, birds_w: float, from_c: float, to_c: float, room_c: float
) -> float:
    """Hours until the air of an unheated box has cooled from one temperature to another.

    All of `capacity_j_k` cools as one (a first-order body): C dT/dt = birds - losses. Where losses
    grow evenly with temperature this is the exponential of Newton's law of cooling.

    Args:
        lost: how the box loses heat.
        capacity_j_k: what cools [J/K], above 0.
        birds_w: heat of all birds [W], 0 or more.
        from_c, to_c, room_c: temperatures [°C].

    Returns:
        Hours; 0 where it is as cold already, infinite where it never gets so cold.

    Raises:
        ValueError: nothing that cools.
    """
    if not (math.isfinite(capacity_j_k) and capacity_j_k > 0):
        raise ValueError(say("What cools holds more than 0 J/K."))
    if to_c >= from_c:
        return 0.0
    stays_c = air_held_c(lost, birds_w, room_c)
    if to_c <= stays_c:
        return math.inf
    # Even steps of the logarithm: cooling slows down towards where it stays.
    edges = stays_c + np.geomspace(to_c - stays_c, from_c - stays_c, _STEPS + 1)
    middles = (edges[1:] + edges[:-1]) / 2.0
    rate_w = lost.watts(middles, room_c) - birds_w
    return float(np.sum(capacity_j_k * np.diff(edges) / rate_w)) / SECONDS_AN_HOUR


def kilowatt_hours(watts: float, hours: float) -> float:
    """Energy [kWh] of so many watts in so many hours."""
    return watts * hours / WATTS_A_KILOWATT


def thicker(box: Box, by_m: float) -> Box:
    """The same box with walls of so much more of their own material."""
    return replace(box, thickness_m=box.thickness_m + by_m)


def _u(way: str, layers: Sequence[tuple[float, float]], case: Case) -> float:
    still = facts.value(f"brooder_box.surface_{way}")
    if case == "least":
        still *= facts.value("brooder_box.surface_least_loss")
    outside = facts.value("brooder_box.surface_wind") if case == "most" else still
    return u_value_w_m2k(layers, still, outside)


def _fresh_m3_h(box: Box, birds_kg: float, case: Case) -> float:
    if box.air_changes_h is not None:
        return box.air_changes_h * box.air_m3
    leaks = _of("brooder_box.air_changes_h", case) * box.air_m3
    return max(leaks, _of("housing.ventilation_m3_h_kg", case) * birds_kg)


def _conductivity(material: str, case: Case) -> float:
    return _of(f"brooder_box.conductivity_{material}", case)


def _of(key: str, case: Case) -> float:
    """The figure of a key in a case; a larger one loses more heat."""
    low, high = facts.spread(key)
    return low if case == "least" else high if case == "most" else facts.value(key)


def _finite(number: float | Array) -> Array:
    checked = np.asarray(number, float)
    if not np.all(np.isfinite(checked)):
        raise ValueError(say("Temperatures, heat and air are numbers with an end."))
    return checked

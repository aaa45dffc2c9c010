"""Droppings and bedding mixed to rot well: carbon to nitrogen, and water."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from quailwright.husbandry import facts
from quailwright.language import mark, say

MATERIALS: Final = {
    "shavings": mark("wood shavings"),
    "straw": mark("straw"),
    "sawdust": mark("sawdust"),
    "leaves": mark("dry leaves"),
    "cardboard": mark("torn cardboard"),
    "grass": mark("grass clippings"),
}
"""What may be mixed with droppings, in words to be said."""
DROPPINGS: Final = "droppings"


@dataclass(frozen=True, slots=True)
class Material:
    """What is known of a material.

    Attributes:
        nitrogen: of the dry matter [fraction].
        carbon_to_nitrogen: by mass.
        moisture: water in the whole [fraction].
        density_kg_m3: as tipped from a bucket [kg/m³].
    """

    nitrogen: float
    carbon_to_nitrogen: float
    moisture: float
    density_kg_m3: float

    @property
    def carbon(self) -> float:
        """Carbon of the dry matter [fraction]."""
        return self.nitrogen * self.carbon_to_nitrogen


def material(key: str) -> Material:
    """The default figures of a material.

    Args:
        key: "droppings" or one of `MATERIALS`.

    Raises:
        facts.UnknownFigure: no such material.

    Source: Rynk et al. 1992, On-Farm Composting Handbook, Table A.1. Certainty: from memory.
    """
    return Material(
        *(
            facts.value(f"compost.{key}_{what}")
            for what in ("nitrogen", "carbon_to_nitrogen", "moisture", "density")
        )
    )


Parts = Sequence[tuple[Material, float]]
"""Materials, each with its mass as it is [kg]."""


def carbon_to_nitrogen(parts: Parts) -> float:
    """Carbon to nitrogen of a mix, by mass: sum of q c (1 - m) over sum of q n (1 - m).

    Args:
        parts: as `Parts`, of which one holds nitrogen.

    Raises:
        ValueError: there is no nitrogen in it.

    Source: Rynk et al. 1992, On-Farm Composting Handbook, the formula for mixes. From memory; as
    Cornell Waste Management Institute 1996 prints it.
    """
    nitrogen = sum(kg * each.nitrogen * (1 - each.moisture) for each, kg in parts)
    if not nitrogen > 0:
        raise ValueError(say("There is no nitrogen in this mix."))
    return sum(kg * each.carbon * (1 - each.moisture) for each, kg in parts) / nitrogen


def moisture(parts: Parts) -> float:
    """Water in a mix [fraction]: sum of q m over sum of q.

    Raises:
        ValueError: there is nothing in it.

    Source: as `carbon_to_nitrogen`.
    """
    whole = sum(kg for _, kg in parts)
    if not whole > 0:
        raise ValueError(say("There is nothing in this mix."))
    return sum(kg * each.moisture for each, kg in parts) / whole


def kg_to_add(base: Material, added: Material, ratio: float) -> float | None:
    """How much of a second material brings a kilogram of the first to a carbon to nitrogen ratio.

    Args:
        base: what is there.
        added: what is mixed in.
        ratio: carbon to nitrogen wanted, above 0.

    Returns:
        Kilograms of `added` to a kilogram of `base`; None where no amount of it does.

    Source: Rynk et al. 1992, On-Farm Composting Handbook, solved for the second material. From
    memory; as Cornell Waste Management Institute 1996 prints it.
    """
    lacks = base.nitrogen * (ratio - base.carbon_to_nitrogen) * (1 - base.moisture)
    brings = added.nitrogen * (added.carbon_to_nitrogen - ratio) * (1 - added.moisture)
    if lacks <= 0:
        return 0.0
    return lacks / brings if brings > 0 else None


def water_kg(parts: Parts, wanted: float) -> float:
    """Water to pour on a mix to reach a moisture [kg]; below 0, it is too wet by as much.

    Args:
        parts: as `Parts`.
        wanted: moisture [fraction], below 1.

    Raises:
        ValueError: there is nothing in it.

    Source: arithmetic.
    """
    whole = sum(kg for _, kg in parts)
    return whole * (wanted - moisture(parts)) / (1 - wanted)


@dataclass(frozen=True, slots=True)
class Mix:
    """Droppings with one material to a carbon to nitrogen ratio, for a bucket of droppings.

    Attributes:
        ratio: carbon to nitrogen.
        kg: of the material, to a kilogram of droppings.
        buckets: of the material, to a bucket of droppings.
        moisture: of the mix without water added [fraction].
        water_l_per_bucket: to pour on for each litre of droppings, times the litres of a bucket
            [L]; 0 where it is wet enough.
        too_wet: whether it is wetter than it should be.
    """

    ratio: float
    kg: float
    buckets: float
    moisture: float
    water_l_per_bucket: float
    too_wet: bool


def mix(key: str, ratio: float) -> Mix | None:
    """Droppings with a material, to a carbon to nitrogen ratio.

    Args:
        key: one of `MATERIALS`.
        ratio: carbon to nitrogen wanted.

    Returns:
        The mix; None where the material is too rich in nitrogen itself.

    Raises:
        facts.UnknownFigure: no such material.

    Source: as `kg_to_add`; figures in ``facts/compost.csv``. Certainty: from memory.
    """
    droppings, added = material(DROPPINGS), material(key)
    kg = kg_to_add(droppings, added, ratio)
    if kg is None:
        return None
    parts = ((droppings, 1.0), (added, kg))
    wet = facts.figure("compost.moisture")
    bucket_l = facts.value("compost.bucket_l")
    bucket_kg = droppings.density_kg_m3 * bucket_l / _LITRES_IN_A_CUBIC_METRE
    return Mix(
        ratio,
        kg,
        kg * droppings.density_kg_m3 / added.density_kg_m3,
        moisture(parts),
        max(0.0, water_kg(parts, wet.value or 0.0)) * bucket_kg,
        moisture(parts) > (wet.high or 1.0),
    )


_LITRES_IN_A_CUBIC_METRE = 1000.0


def litres(key: str, kg: float) -> float:
    """The room that a mass of a material takes [L].

    Raises:
        facts.UnknownFigure: no such material.
    """
    return kg / facts.value(f"compost.{key}_density") * _LITRES_IN_A_CUBIC_METRE


def kilograms(key: str, volume_l: float) -> float:
    """The mass of a volume of a material [kg].

    Raises:
        facts.UnknownFigure: no such material.
    """
    return volume_l * facts.value(f"compost.{key}_density") / _LITRES_IN_A_CUBIC_METRE

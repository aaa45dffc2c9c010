"""Which crosses make chicks that show their sex by colour, and whether down shows it."""

from dataclasses import dataclass
from typing import Literal

from quailwright.husbandry.plumage.crosses import Cross
from quailwright.husbandry.plumage.table import Shown, looks, looks_alike


@dataclass(frozen=True, slots=True)
class Sexing:
    """What colour tells of the sex of the chicks of a cross.

    Attributes:
        tells: of `all` chicks, of `some`, or of `none`.
        cocks, hens: looks that only cocks have, and only hens.
        either: looks that both have, or that are too much alike.
        unpublished: looks of several loci that no source describes together: they tell nothing.
        at_hatch: whether published sources say what the down of all these looks is like.
        not_told: looks of which no source read says what their down is like.
    """

    tells: Literal["all", "some", "none"]
    cocks: tuple[Shown, ...]
    hens: tuple[Shown, ...]
    either: tuple[Shown, ...]
    unpublished: tuple[Shown, ...]
    at_hatch: bool
    not_told: tuple[Shown, ...]


def sexing(found: Cross) -> Sexing:
    """What the colours of a cross tell of the sex of its chicks.

    A look that no source describes may be like any other, so it tells nothing, and leaves nothing
    sure of the other sex.
    """
    of_cocks = [seen for seen in found.cocks if len(seen) == 1]
    of_hens = [seen for seen in found.hens if len(seen) == 1]
    cocks = tuple(
        seen
        for seen in of_cocks
        if len(of_hens) == len(found.hens) and not any(alike(seen, other) for other in of_hens)
    )
    hens = tuple(
        seen
        for seen in of_hens
        if len(of_cocks) == len(found.cocks) and not any(alike(seen, other) for other in of_cocks)
    )
    tell = {*cocks, *hens}
    either = tuple(seen for seen in dict.fromkeys((*of_cocks, *of_hens)) if seen not in tell)
    unpublished = tuple(
        seen for seen in dict.fromkeys((*found.cocks, *found.hens)) if len(seen) > 1
    )
    tells: Literal["all", "some", "none"] = (
        "none" if not tell else "some" if either or unpublished else "all"
    )
    if tells == "none":
        return Sexing(tells, (), (), either, unpublished, False, ())
    unsure = tuple(seen for seen in (*cocks, *hens, *either) if not in_down(seen))
    at_hatch = not unsure and not unpublished
    return Sexing(tells, cocks, hens, either, unpublished, at_hatch, unsure)


def alike(one: Shown, other: Shown) -> bool:
    """Whether two looks are the same, or hard to tell apart."""
    return one == other or any(one[0] in group and other[0] in group for group in looks_alike())


def in_down(seen: Shown) -> bool:
    """Whether a published source says what the down of this look is like."""
    return len(seen) == 1 and looks()[seen[0]].in_down

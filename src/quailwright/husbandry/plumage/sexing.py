"""Which crosses make chicks that show their sex by colour, and whether down shows it."""

from dataclasses import dataclass
from typing import Literal

from quailwright.husbandry.plumage.crosses import Cross
from quailwright.husbandry.plumage.table import WILD, Shown, looks


@dataclass(frozen=True, slots=True)
class Sexing:
    """What colour tells of the sex of the chicks of a cross.

    Attributes:
        tells: of `all` chicks, of `some`, or of `none`.
        cocks, hens: looks that only cocks have, and only hens.
        either: looks that both have.
        at_hatch: whether published sources say that down shows every look that tells.
        not_told: looks that tell, of which no source read says how their down looks.
    """

    tells: Literal["all", "some", "none"]
    cocks: tuple[Shown, ...]
    hens: tuple[Shown, ...]
    either: tuple[Shown, ...]
    at_hatch: bool
    not_told: tuple[Shown, ...]


def sexing(found: Cross) -> Sexing:
    """What the colours of a cross tell of the sex of its chicks."""
    cocks = tuple(seen for seen in found.cocks if seen not in found.hens)
    hens = tuple(seen for seen in found.hens if seen not in found.cocks)
    either = tuple(seen for seen in found.cocks if seen in found.hens)
    tells: Literal["all", "some", "none"] = (
        "none" if not cocks and not hens else "some" if either else "all"
    )
    unsure = tuple(seen for seen in (*cocks, *hens, *either) if not in_down(seen))
    at_hatch = tells != "none" and not unsure
    return Sexing(tells, cocks, hens, either, at_hatch, unsure if tells != "none" else ())


def in_down(seen: Shown) -> bool:
    """Whether a published source says what the down of this look is like."""
    return len(seen) == 1 and (seen[0] == WILD or looks()[seen[0]].in_down)

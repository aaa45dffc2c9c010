"""The table of colours: loci, alleles, looks, what is in dispute, and whence it is known."""

from dataclasses import dataclass
from typing import Final

from quailwright.husbandry.plumage.table import (
    Locus,
    loci,
    looks,
)
from quailwright.language import mark, say


@dataclass(frozen=True, slots=True)
class LocusTold:
    """A locus of the table, said: its alleles, its looks, what is disputed, whence it is known."""

    locus: Locus
    name: str
    heading: str
    standing: str
    carried: str
    about: str
    side_effects: str
    looks: list[tuple[str, str, str]]
    certain: str


STANDINGS: Final = {
    "settled": mark("as published"),
    "disputed": mark("in dispute"),
    "undescribed": mark("no published description: cannot be predicted"),
}


def colours_told() -> list[LocusTold]:
    """Every locus of the table."""
    return [_locus_told(locus) for locus in loci().values()]


def _locus_told(locus: Locus) -> LocusTold:
    own = [look for look in looks().values() if look.locus == locus.code]
    standing = say(STANDINGS[locus.standing])
    if not locus.predicted and locus.standing != "undescribed":
        standing = say("{standing}; not predicted here", standing=standing)
    carried = (
        say("on Z: cocks have two copies, hens one") if locus.on_z
        else say("on an autosome: cocks and hens alike") if locus.predicted
        else ""
    )  # fmt: skip
    certain = say(
        "Certainty: {certainty} ({how}).", certainty=say(locus.certainty), how=say(locus.seen)
    )
    return LocusTold(
        locus,
        say(locus.name),
        " > ".join(locus.alleles),
        standing,
        carried,
        say(locus.about),
        say(locus.side_effects),
        [
            (
                ", ".join("/".join(pair).replace("*", "...") for pair in look.genotypes),
                say(look.name),
                say(look.told),
            )
            for look in own
        ],
        certain,
    )


def look_choices() -> list[str]:
    """The looks that may be typed, for a form."""
    return [say(look.name) for look in looks().values() if look.alone]


def dispute_words(locus: Locus) -> str:
    """That a locus is in dispute, and why."""
    return say(
        "{locus} ({name}) is in dispute: {about}",
        locus=locus.code,
        name=say(locus.name),
        about=say(locus.about),
    )

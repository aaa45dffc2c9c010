"""One sign: something that looks wrong, and what to check first. Never a diagnosis."""

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True, slots=True)
class Sign:
    """Something that looks wrong: where, since when, on what evidence, and what to check first.

    Attributes:
        sign: its name in English, as programs read it: whoever shows it says it.
        where: the place, group, hatch or feed, or the name of a field.
        since: the day from which it runs.
        evidence: what the record shows, with figures.
        check: what to check first, today.
        then: what to check after that, in order.
        shared: what this one has in common with others that show nothing: less likely, and why.
        unshared: what it has for itself: more likely.
        ring: when to ring a vet or the animal-health line, or "".
    """

    sign: str
    where: str
    since: date
    evidence: str
    check: str
    then: tuple[str, ...] = ()
    shared: tuple[str, ...] = ()
    unshared: tuple[str, ...] = ()
    ring: str = ""

"""What every booking needs: refusing or insisting, and finding what an entry speaks of."""

import difflib
from collections.abc import Mapping
from datetime import date
from typing import Any

import msgspec

from quailwright.flock.state import FeedStock, Flock, Group, Hatch, Payment, Place, RingedBird
from quailwright.journal.entries import Entry
from quailwright.journal.findings import Finding, FindingKind
from quailwright.language import later


class Refused(Exception):
    """The entry does not fit what stands; `finding` says why. Caught by the fold."""

    def __init__(self, finding: Finding) -> None:
        super().__init__(finding.what)
        self.finding = finding


def refuse(entry: Entry, kind: FindingKind, field: str, what: str, mend: str) -> Refused:
    return Refused(Finding(kind, what, mend, entry=entry.id, field=field, at=entry.at))


def contradict(
    flock: Flock, entry: Entry, forced: bool, field: str, what: str, mend: str,
    kind: FindingKind = "impossible",
) -> None:  # fmt: skip
    """Refuses, or when forced books the finding and lets the handler go on."""
    if not forced:
        raise refuse(entry, kind, field, what, mend)
    flock.findings.append(Finding(kind, what, mend, entry.id, None, field, entry.force, entry.at))


def place_of(flock: Flock, name: str) -> Place:
    place = flock.places.get(name)
    if place is None:
        place = flock.places[name] = Place(name)
    return place


def group_of(flock: Flock, entry: Entry, name: str, field: str = "group") -> Group:
    group = flock.groups.get(name)
    if group is None:
        raise refuse(
            entry,
            "orphan",
            field,
            later("there is no group {name!r} at that time.", name=name),
            near(name, flock.groups, later("Log the group first.")),
        )
    return group


def hatch_of(flock: Flock, entry: Entry, name: str) -> Hatch:
    hatch = flock.hatches.get(name)
    if hatch is None:
        raise refuse(
            entry,
            "orphan",
            "hatch",
            later("there is no hatch {name!r} at that time.", name=name),
            near(name, flock.hatches, later("Log eggs_set first.")),
        )
    return hatch


def near(name: str, known: Mapping[str, object], mend: str = "") -> str:
    """How to mend a name, to be said later: by one known and nearly the same, else as `mend`."""
    same = [each for each in known if each.casefold() == name.casefold()]
    near = same or difflib.get_close_matches(name, known, 1)
    return later("Did you mean {name!r}? {mend}", name=near[0], mend=mend) if near else mend


def merged(old: Entry | None, new: Any) -> Any:
    """`new`, with the fields that it leaves out taken from `old`."""
    if old is None:
        return new
    said = {
        field.name: getattr(new, field.name)
        for field in msgspec.structs.fields(new)
        if field.required or getattr(new, field.name) != field.default
    }
    return msgspec.structs.replace(old, **said)


def bird_of(flock: Flock, entry: Entry, name: str) -> RingedBird:
    bird = flock.birds.get(name)
    if bird is None:
        raise refuse(
            entry,
            "orphan",
            "bird",
            later("there is no bird {name!r} at that time.", name=name),
            near(name, flock.birds, later("Log the bird first.")),
        )
    return bird


def feed_of(flock: Flock, name: str) -> FeedStock:
    stock = flock.feeds.get(name)
    if stock is None:
        stock = flock.feeds[name] = FeedStock(name)
    return stock


def pay(
    flock: Flock,
    day: date,
    amount: float | None,
    category: str,
    lasts_years: float | None = None,
    entry: str = "",
    group: str = "",
) -> None:
    if amount:
        flock.payments.append(Payment(day, amount, category, lasts_years, entry, group))

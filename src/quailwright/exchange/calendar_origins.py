"""What an event of a calendar is of, through corrections: the entry that began it."""

from collections.abc import Iterable, Mapping
from typing import Final

from quailwright.journal.entries import EggsSet, Entry, Group, Retract, SetPlanned

_NAMED_BY: Final = {EggsSet: "hatch", SetPlanned: "hatch", Group: "group"}
OF_HATCH, OF_SET, OF_GROUP = "eggs_set", "set_planned", "group"


def origins(entries: Iterable[Entry]) -> dict[tuple[str, str], str]:
    """For each hatch, planned set and group, by kind of entry and name, the entry that began it.

    A correction stands for what it corrects, so a new name leads to the same entry. What is planned
    anew under the same name is the same.
    """
    instead_of: dict[str, str] = {}
    taken: set[str] = set()
    bearing: dict[tuple[str, str], list[str]] = {}
    order: dict[str, int] = {}
    for entry in entries:
        fact: Entry | None = entry
        if isinstance(entry, Retract):
            taken.add(entry.entry)
            fact = entry.instead
            if fact is not None:
                instead_of[fact.id] = entry.entry
        field = _NAMED_BY.get(type(fact))  # type: ignore[arg-type]
        if fact is not None and field is not None:
            kind = str(type(fact).__struct_config__.tag)
            bearing.setdefault((kind, getattr(fact, field)), []).append(fact.id)
            order[fact.id] = len(order)
    standing = {
        name: next((order[one] for one in ids if one not in taken), len(order))
        for name, ids in bearing.items()
    }
    found: dict[tuple[str, str], str] = {}
    claimed: set[tuple[str, str]] = set()
    for name in sorted(bearing, key=lambda name: standing[name]):
        for one in bearing[name]:
            root = _root(one, instead_of)
            if (name[0], root) not in claimed:
                claimed.add((name[0], root))
                found[name] = root
                break
    return found


def _root(entry: str, instead_of: Mapping[str, str]) -> str:
    seen = {entry}
    while (before := instead_of.get(entry)) is not None and before not in seen:
        seen.add(before)
        entry = before
    return entry

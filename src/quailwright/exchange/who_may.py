"""What a person of the household may write, by their role."""

from collections.abc import Mapping, Sequence

from quailwright.guide.child import CHILDS_KINDS
from quailwright.guide.told import kind_words
from quailwright.journal.entries import Entry, Retract, kind_of
from quailwright.journal.people import PersonRole
from quailwright.language import say

SETTINGS = (
    "holding", "place", "instrument", "source", "feed", "goal", "care_rule", "egg_rule", "contact",
)  # fmt: skip
"""Kinds that say how the flock is kept: a keeper decides them."""


def may_write(role: PersonRole | None, kind: str) -> bool:
    """Whether that role may write entries of that kind. A viewer may write none."""
    match role:
        case "keeper":
            return True
        case "helper":
            return kind not in SETTINGS
        case "child":
            return kind in CHILDS_KINDS
        case _:
            return False


def refused(
    role: PersonRole | None, name: str, entries: Sequence[Entry], known: Mapping[str, Entry]
) -> str:
    """Why that person may not write these entries, in a sentence; "" where they may.

    What takes an entry back, or puts another in its stead, counts as that entry. `known` holds the
    journal's entries by id, those that stand in another's stead too.
    """
    if role == "keeper":
        return ""
    everything = {**known, **{entry.id: entry for entry in entries}}
    for entry in entries:
        if role == "child" and entry.by not in ("", name):
            return say("You write in your own name only.")
        for fact in _meant(entry, everything):
            if not may_write(role, kind_of(fact)):
                return say(
                    "{kind}: that is for a keeper to write.",
                    kind=kind_words(kind_of(fact)).capitalize(),
                )
            if role == "child" and fact is not entry and fact.by != name:
                return say("What somebody else wrote down is theirs to change. Ask a grown-up.")
    return ""


def _meant(entry: Entry, known: Mapping[str, Entry]) -> list[Entry]:
    """The facts that an entry adds or takes away."""
    meant: list[Entry] = []
    seen: set[str] = set()
    while isinstance(entry, Retract) and entry.id not in seen:
        seen.add(entry.id)
        if entry.instead is not None:
            meant.append(entry.instead)
        if entry.entry not in known:
            return meant
        entry = known[entry.entry]
    return [*meant, entry]

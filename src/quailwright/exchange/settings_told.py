"""How the flock is kept, as settings: what stands, who said so and when, and what a change writes.

Nothing is rubbed out: a change is a new entry, which takes over what it leaves out.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from quailwright.exchange.journal_told import Line
from quailwright.flock.state import Flock, Place
from quailwright.guide import told
from quailwright.guide.rules import ShownRule, all_rules
from quailwright.journal.checks import field_notes
from quailwright.journal.entries import LONGEST_NAME, CareRule, Entry, as_dict, kind_of
from quailwright.journal.findings import BadInput, Finding
from quailwright.language import mark, say

KIND_OF = {
    "holding": "holding",
    "places": "place",
    "instruments": "instrument",
    "sources": "source",
    "feeds": "feed",
}
"""The kind of entry behind each list of settings."""
_NOT_ASKED = ("id", "at", "by", "note", "force", "kind", "closed")
_SAYS_ITSELF = ("role", "route", "stage")
"""Fields whose choice needs no label."""
_CHOICES: Mapping[str, str] = {
    "incubator": mark("incubator"),
    "hatcher": mark("hatcher"),
    "brooder": mark("brooder"),
    "pen": mark("pen"),
    "egg_store": mark("egg store"),
    "own": mark("own"),
    "collected": mark("collected"),
    "shipped": mark("shipped"),
    "starter": mark("starter"),
    "grower": mark("grower"),
    "layer": mark("layer"),
}
"""Those choices in words, to be said."""
_OF_A_PLACE = ("role", "capacity_eggs", "floor_m2", "heater_w", "walk_order")


@dataclass(frozen=True, slots=True)
class Setting:
    """One thing set: its fields as they stand, and the journal's lines that said so, newest first.

    `name` is "" for the holding.
    """

    kind: str
    name: str
    fields: dict[str, Any]
    lines: tuple[Line, ...]
    closed: bool = False

    @property
    def told(self) -> list[tuple[str, str]]:
        """Its fields in words, without its name."""
        return told.told_fields(
            {name: value for name, value in self.fields.items() if name != self.kind}
        )

    @property
    def bits(self) -> list[str]:
        """Its fields in a few words each, without its name."""
        return [
            say(_CHOICES[value]) if name in _SAYS_ITSELF else _with_label(name, value)
            for name, value in self.fields.items()
            if name != self.kind
        ]

    @property
    def last(self) -> Line | None:
        """The line that was written last of those that stand."""
        return next((line for line in self.lines if line.taken_back is None), None)


def _with_label(name: str, value: object) -> str:
    [(label, words)] = told.told_fields({name: value})
    return say("{field}: {value}", field=label, value=words)


def settings_of(flock: Flock, lines: Sequence[Line], kind: str) -> list[Setting]:
    """Everything of a kind that stands; places in walking order, closed ones last."""
    said: dict[str, list[Line]] = {}
    for line in lines:
        if kind_of(line.entry) == kind:
            said.setdefault(_name_of(line.entry, kind), []).append(line)
    return [
        Setting(kind, name, fields, tuple(said.get(name, ())), closed)
        for name, fields, closed in _standing(flock, kind)
    ]


def setting_of(flock: Flock, lines: Sequence[Line], kind: str, name: str) -> Setting:
    """One of them. Raises BadInput when it does not stand."""
    for each in settings_of(flock, lines, kind):
        if each.name == name:
            return each
    raise BadInput(
        say(
            "There is no {kind} {name!r}. The settings list what there is.",
            kind=told.kind_words(kind),
            name=name,
        )
    )


def _name_of(entry: Entry, kind: str) -> str:
    return "" if kind == "holding" else str(getattr(entry, kind))


def _standing(flock: Flock, kind: str) -> list[tuple[str, dict[str, Any], bool]]:
    match kind:
        case "holding":
            return [("", _plain(flock.holding), False)]
        case "place":
            walk = flock.in_walking_order()
            walk.sort(key=lambda place: place.closed)
            return [(place.name, _of_place(place), place.closed) for place in walk]
        case "instrument":
            return [(name, _plain(each), False) for name, each in flock.instruments.items()]
        case "source":
            return [(name, _plain(each), False) for name, each in flock.sources.items()]
        case _:
            return [
                (name, {"feed": name, **_plain(each.label)}, False)
                for name, each in flock.feeds.items()
            ]


def _plain(entry: Entry | None) -> dict[str, Any]:
    if entry is None:
        return {}
    return {name: value for name, value in as_dict(entry).items() if name not in _NOT_ASKED}


def _of_place(place: Place) -> dict[str, Any]:
    said = {name: getattr(place, name) for name in _OF_A_PLACE}
    return {"place": place.name, **{n: value for n, value in said.items() if value is not None}}


def changed(
    kind: str, standing: Mapping[str, str], typed: Mapping[str, str], closed: bool = False
) -> dict[str, str]:
    """The entry that makes what stands what was typed: only what differs, and what is needed.

    Args:
        kind: one of the kinds of `KIND_OF`.
        standing: the fields as they stand, as a form shows them.
        typed: the fields as typed; one left empty is missing.
        closed: of a place: whether it is closed, and stays so.

    Raises BadInput when nothing differs, or a field was emptied: an entry takes over what it leaves
    out, so only taking back the entry that said it empties a field.
    """
    notes = {note.name: note for note in field_notes(kind) if note.name not in _NOT_ASKED}
    # A box left unticked says no; a browser leaves it out.
    unticked = {name: "false" for name in standing if name in notes and notes[name].takes == "flag"}
    said = unticked | {name: text for name, text in typed.items() if name in notes}
    emptied = [name for name in standing if name in notes and name not in said]
    if emptied:
        raise BadInput(
            say("Not kept; nothing was written."),
            tuple(
                Finding(
                    "shape",
                    say("{field} cannot be emptied here.", field=told.field_words(name)),
                    say("Take back the entry that said it; it is listed below."),
                    field=name,
                )
                for name in emptied
            ),
        )
    new = {name: text for name, text in said.items() if not _same(text, standing.get(name, ""))}
    if not new:
        raise BadInput(say("Nothing differs from what stands. Nothing was written."))
    needed = {name: said[name] for name in said if notes[name].needed}
    stays = {"closed": "true"} if closed else {}
    return {"kind": kind, **needed, **new, **stays, **_aside(typed)}


def _aside(typed: Mapping[str, str]) -> dict[str, str]:
    """When it holds from, and a note."""
    return {name: typed[name] for name in ("at", "note") if name in typed}


def _same(one: str, other: str) -> bool:
    if one == other:
        return True
    try:
        return float(one) == float(other)
    except ValueError:
        return False


def place_entry(flock: Flock, name: str, **said: str) -> dict[str, str]:
    """An entry on a place that is described already. Raises BadInput."""
    place = flock.places.get(name)
    if place is None or place.role is None:
        raise BadInput(say("{place!r} is not described yet. Say first what it is.", place=name))
    stays = {"closed": "true"} if place.closed else {}
    return {"kind": "place", "place": name, "role": place.role, **stays, **said}


def moved(flock: Flock, name: str, by: int) -> list[dict[str, str]]:
    """The entries that move a place up (-1) or down (1) in the daily walk; none at its end.

    Only places whose turn changes are written, and those not described yet stay where they are.
    """
    walk = [place for place in flock.in_walking_order() if not place.closed and place.role]
    names = [place.name for place in walk]
    if name not in names:
        raise BadInput(say("{place!r} is not in the walk. Say first what it is.", place=name))
    now = names.index(name)
    then = now + by
    if not 0 <= then < len(names):
        return []
    names[now], names[then] = names[then], names[now]
    return [
        place_entry(flock, each, walk_order=str(turn))
        for turn, each in enumerate(names, start=1)
        if flock.places[each].walk_order != turn
    ]


def own_rule(flock: Flock, typed: Mapping[str, str]) -> dict[str, str]:
    """The entry that adds a rule of the keeper's own, called by its task unless it is named.

    Raises BadInput when there is a rule of that name already.
    """
    name = typed.get("rule") or typed.get("task", "")[:LONGEST_NAME].strip()
    if any(shown.rule.rule == name for shown in all_rules(flock.care_rules)):
        raise BadInput(
            say(
                "There is a rule {rule!r} already. Change that one, or word it otherwise.",
                rule=name,
            )
        )
    return {"kind": "care_rule", **typed, **({"rule": name} if name else {})}


@dataclass(frozen=True, slots=True)
class ShownCare:
    """A rule of care with the journal's lines on it, newest first."""

    shown: ShownRule
    lines: tuple[Line, ...]


def care_by_stage(flock: Flock) -> dict[str, list[ShownRule]]:
    """Every rule, silenced ones too, by what it belongs to."""
    found: dict[str, list[ShownRule]] = {}
    for shown in all_rules(flock.care_rules):
        found.setdefault(shown.rule.stage, []).append(shown)
    return found


def care_of(flock: Flock, lines: Iterable[Line], name: str) -> list[ShownCare]:
    """A rule as it holds, and where it differs. Raises BadInput when there is none."""
    found = [shown for shown in all_rules(flock.care_rules) if shown.rule.rule == name]
    if not found:
        raise BadInput(say("There is no rule {rule!r}. The rules of care list them.", rule=name))
    said = [line for line in lines if isinstance(line.entry, CareRule) and line.entry.rule == name]
    return [
        ShownCare(
            shown,
            tuple(
                line
                for line in said
                if isinstance(line.entry, CareRule) and (line.entry.place or "") == shown.place
            ),
        )
        for shown in found
    ]

"""Forms made from the kinds' own field notes."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from starlette.datastructures import FormData

from quailwright.guide import told
from quailwright.guide.at_hand import asked_first
from quailwright.journal.checks import FieldNote, field_notes
from quailwright.language import say

_OF_OURS = ("token", "back", "day", "clock", "mends")
_LOGGED_BEFORE = ("hatch", "group", "bird", "sire", "dam")
"""Fields whose name must stand in the journal already."""
_AT_KNOWN_PLACES = ("water_given",)
"""Kinds that tell of a pen's birds: at a place that nobody knows they would tell nothing."""
_MOST_TO_TICK = 40
_NEVER = ("id", "at", "by", "force")


@dataclass(frozen=True, slots=True)
class Field:
    """One field as a form shows it: its note, its value so far, names to choose from."""

    note: FieldNote
    value: str
    names: tuple[str, ...]
    said: tuple[str, ...] = ()
    only_known: bool = False

    @property
    def choices(self) -> tuple[str, ...]:
        """What may be chosen, where nothing else may stand; the value so far among it."""
        known = self.note.choices or (self.names if self.only_known else ())
        return known if not known or self.value in (*known, "") else (self.value, *known)

    @property
    def to_tick(self) -> tuple[str, ...]:
        """Names to tick, where several may be meant and so few are known that all can be shown."""
        known = self.names if self.note.takes == "names" else ()
        typed = [one.strip() for one in self.value.split(",")]
        fits = 0 < len(known) <= _MOST_TO_TICK and set(typed) - {""} <= set(known)
        return known if fits else ()

    @property
    def ticked(self) -> tuple[str, ...]:
        """Those ticked so far."""
        return tuple(one.strip() for one in self.value.split(","))

    @property
    def meaning(self) -> str:
        """What the field says, in words."""
        return told.without_marks(say(self.note.meaning))

    @property
    def label(self) -> str:
        """The field's name as a keeper reads it."""
        return told.field_words(self.note.name)


@dataclass(frozen=True, slots=True)
class Form:
    """A form for one kind of entry. `known` fields are not asked for; `rest` is asked on demand."""

    kind: str
    label: str
    about: str
    known: dict[str, str]
    fields: tuple[Field, ...]
    rest: tuple[Field, ...]


def form_of(
    kind: str,
    names: Mapping[str, list[str]],
    known: Mapping[str, Any] | None = None,
    asks: Iterable[str] | None = None,
    label: str = "",
    values: Mapping[str, str] | None = None,
    said: Mapping[str, tuple[str, ...]] | None = None,
) -> Form:
    """The form of a kind.

    Args:
        kind: one of `KINDS`.
        names: names that stand, by field, to choose from.
        known: fields that are settled.
        asks: the only fields to ask for; all that are needed, and then the others, when left out.
        label: what to call it; the kind when left out.
        values: what was typed so far, by field.
        said: what is wrong with it, by field.
    """
    typed, wrong, settled = values or {}, said or {}, dict(known or {})
    notes = [n for n in field_notes(kind) if n.name not in _NEVER and n.name not in settled]
    fields = {
        note.name: Field(
            note,
            typed.get(note.name, ""),
            tuple(names.get(note.name, ())),
            wrong.get(note.name, ()),
            bool(names.get(note.name))
            and note.name != kind
            and (
                note.name in _LOGGED_BEFORE
                or (asks is not None and note.name in ("feed", "pen"))
                or (kind in _AT_KNOWN_PLACES and note.name == "place")
            ),
        )
        for note in notes
    }
    if asks is not None:
        chosen, others = [fields[name] for name in asks], []
    else:
        first = asked_first(kind)
        shown = {
            name
            for name, each in fields.items()
            if each.note.needed or each.value or each.said or name in first
        }
        chosen = [each for name, each in fields.items() if name in shown]
        others = [each for name, each in fields.items() if name not in shown]
    plain = {name: str(value) for name, value in settled.items()}
    return Form(
        kind,
        label or told.kind_words(kind),
        told.kind_about(kind),
        plain,
        tuple(chosen),
        tuple(others),
    )


def typed_fields(form: FormData) -> dict[str, str]:
    """What was typed, without what belongs to the page; an empty field was left out.

    Of names ticked in one field all, by commas.
    """
    typed = {
        name: ", ".join(values)
        for name in form
        if name not in _OF_OURS
        and (
            values := [
                value.strip()
                for value in form.getlist(name)
                if isinstance(value, str) and value.strip()
            ]
        )
    }
    day, clock = (str(form.get(name, "")).strip() for name in ("day", "clock"))
    at = f"{day or 'today'} {clock}" if clock else day
    return {"at": at, **typed} if at else typed


def as_typed(plain: Mapping[str, Any]) -> dict[str, str]:
    """The fields of an entry as a form holds them: text, lists by commas."""
    return {
        name: ", ".join(map(_text, value)) if isinstance(value, list) else _text(value)
        for name, value in plain.items()
    }


def _text(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return f"{value:.15g}" if isinstance(value, float) else str(value)

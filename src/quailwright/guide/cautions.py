"""Cautions: where harm can happen, what to beware of, who decides, and at which steps it is said.

They are data, in `cautions.toml`. A rule of care may say it in words of its own (`care.toml`);
where it has none, it says what the table says.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from typing import Any, Literal

from quailwright.flock.state import Flock
from quailwright.husbandry.facts import Certainty
from quailwright.journal.entries import Contact, ContactRole
from quailwright.language import mark, say

Decides = Literal["local_code", "vet", "animal_health", "trained", "maker", "doctor"]

DECIDES: Mapping[Decides, str] = {
    "local_code": mark("your local code"),
    "vet": mark("a licensed vet"),
    "animal_health": mark("the animal-health authority"),
    "trained": mark("a trained person"),
    "maker": mark("the maker's instructions"),
    "doctor": mark("a doctor"),
}
"""Who decides, in words."""
_ROLES: Mapping[Decides, ContactRole] = {"vet": "vet", "animal_health": "animal_health"}


@dataclass(frozen=True, slots=True)
class Caution:
    """One hazard.

    Attributes:
        caution: its name.
        hazard: what it is called. `text`: what to beware of. Both in English, to be said.
        decides: who decides, each a key of `DECIDES`.
        source: author, year and title where there is one; `certainty`: how far to trust it.
        steps: where it is said: `kind:treated`, `rule:open_eggs`, `page:/paper/away`, `sheet:away`,
            `command:today`. Rules and sheets may say it in words of their own.
        for_children: whether a child may read it.
        further: what a step says besides, in English, by step.
    """

    caution: str
    hazard: str
    text: str
    decides: tuple[Decides, ...]
    source: str
    certainty: Certainty
    steps: tuple[str, ...]
    for_children: bool = False
    further: Mapping[str, str] = field(default_factory=dict)

    def said_at(self, step: str) -> str:
        """What a step says of it, in the language spoken."""
        more = self.further.get(step)
        return f"{say(self.text)} {say(more)}" if more else say(self.text)


@cache
def all_cautions() -> tuple[Caution, ...]:
    """Every caution, in the order of the table."""
    text = resources.files(__package__).joinpath("cautions.toml").read_text(encoding="utf-8")
    return tuple(_caution(row) for row in tomllib.loads(text)["caution"])


def _caution(row: dict[str, Any]) -> Caution:
    further = {step: each["text"] for each in row.get("further", []) for step in each["steps"]}
    return Caution(
        **row
        | {"decides": tuple(row["decides"]), "steps": tuple(row["steps"]), "further": further},
    )


def cautions_for(step: str, child: bool = False) -> tuple[Caution, ...]:
    """The cautions of a step (`kind:treated`, `page:/paper/away`), none where it needs none.

    Args:
        step: as in `Caution.steps`.
        child: a child reads it: only what is fit for one.
    """
    return tuple(each for each in _by_step().get(step, ()) if each.for_children or not child)


@cache
def _by_step() -> Mapping[str, tuple[Caution, ...]]:
    found: dict[str, tuple[Caution, ...]] = {}
    for each in all_cautions():
        for step in each.steps:
            found[step] = (*found.get(step, ()), each)
    return found


def who_decides(caution: Caution) -> str:
    """`your local code, a trained person`, in the language spoken."""
    return ", ".join(say(DECIDES[who]) for who in caution.decides)


def deciding_contacts(caution: Caution, flock: Flock) -> list[Contact]:
    """The keeper's own contacts among those who decide, with a number to ring."""
    roles = {_ROLES[who] for who in caution.decides if who in _ROLES}
    return [one for one in flock.contacts.values() if one.phone and one.role in roles]

"""Where figures come from: the published facts, by subject, as a keeper looks them up."""

from collections.abc import Sequence
from dataclasses import dataclass

from quailwright.guide.rules import printed_rules
from quailwright.husbandry import facts
from quailwright.husbandry.facts import Figure
from quailwright.language import say


@dataclass(frozen=True, slots=True)
class Fact:
    """A figure with every source's row for it; the first is the one that is used."""

    key: str
    rows: tuple[Figure, ...]

    @property
    def subject(self) -> str:
        """What it is a figure of, in words."""
        return words(self.key.partition(".")[0])

    @property
    def name(self) -> str:
        """Its name, in words."""
        return words(self.key.partition(".")[2])

    @property
    def used(self) -> Figure:
        """The row that the tool uses."""
        return self.rows[0]

    def holds(self, text: str) -> bool:
        """Whether every word of the text stands in what is told of it."""
        whole = " ".join(
            f"{row.key} {words(row.key)} {say(row.unit)} {say(row.conditions)} {row.source} "
            f"{say(row.certainty)}"
            for row in self.rows
        ).casefold()
        return all(word in whole for word in text.casefold().split())


def words(name: str) -> str:
    """`first egg age d` for `first_egg_age_d`, `storage: cool low c` for a whole key."""
    return ": ".join(say(part.replace("_", " ")) for part in name.split("."))


def subjects() -> dict[str, int]:
    """Each subject with how many figures it has."""
    return {subject: len(facts.keys(subject)) for subject in facts.subjects()}


def found(text: str = "", subject: str = "", rule: str = "") -> list[Fact]:
    """The figures in which every word of `text` stands, of one subject or of all.

    With `rule`, only those that this rule of care stands on; an unknown rule or subject has none.
    """
    keys: Sequence[str]
    if rule:
        known = printed_rules().get(rule)
        keys = known.figures if known is not None else ()
    elif subject:
        keys = facts.keys(subject) if subject in facts.subjects() else ()
    else:
        keys = facts.keys()
    each = (Fact(key, facts.rows(key)) for key in keys)
    return [fact for fact in each if not text or fact.holds(text)]

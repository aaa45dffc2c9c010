"""A sentence about the record, and the entry that would tell what it lacks."""

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Remark:
    """What a keeper must know.

    Attributes:
        says: the sentence, as it stands on a page.
        how: on a terminal, what to type; "" where nothing is to be typed.
        kind: of the entry that would tell it; "" where none would.
        known: its fields that are known already.
    """

    says: str
    how: str = ""
    kind: str = ""
    known: Mapping[str, str] = field(default_factory=dict)

    @property
    def in_full(self) -> str:
        """The sentence, and what to type."""
        return f"{self.says} {self.how}" if self.how else self.says

"""What is made of a keeper's own sheet: entries with their cells, rows left out, problems."""

from dataclasses import dataclass, field

from quailwright.exchange.tables_in_grid import (
    Book,
)
from quailwright.exchange.tables_in_guess import (
    Question,
)
from quailwright.exchange.tables_in_match import (
    Match,
)
from quailwright.journal.entries import (
    Entry,
)

MOST_PROBLEMS = 1000
"""So many are told; after that a sheet is read no further."""


@dataclass(frozen=True, slots=True)
class Row:
    """An entry, and the row that it comes from; `cells` name the cell of each field."""

    row: int
    entry: Entry
    cells: dict[str, str]


@dataclass(frozen=True, slots=True)
class Left:
    """A row that is left out: its number from 1, and why."""

    row: int
    why: str


@dataclass(frozen=True, slots=True)
class Problem:
    """What stands against the import: where in the sheet, what is wrong, how to mend it."""

    where: str
    what: str
    mend: str

    @property
    def sentence(self) -> str:
        """All of it."""
        said = f"{self.what} {self.mend}".strip()
        return f"{self.where}: {said}" if self.where else said


@dataclass(slots=True)
class Preview:
    """What a sheet becomes.

    Attributes:
        book, match: what was read, and how.
        asked: what has to be told first.
        rows: entries in the order of the sheet, those in the journal already among them.
        new: those to write, with their notes of where they came from.
        already: how many the journal holds; `taken_back` how many of them somebody took back.
        left: rows left out, and why.
        problems: what stands against it; with any, nothing can be written.
        remarks: what the keeper should know.
        import_id: the id of this import, or "" where there is nothing to write.
    """

    book: Book
    match: Match
    asked: list[Question] = field(default_factory=list)
    rows: list[Row] = field(default_factory=list)
    new: list[Entry] = field(default_factory=list)
    already: int = 0
    taken_back: int = 0
    left: list[Left] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    import_id: str = ""

    @property
    def may_be_written(self) -> bool:
        """Whether nothing stands against it and there is something to write."""
        return bool(self.new) and not self.asked and not self.problems

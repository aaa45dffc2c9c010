"""Problems as values, and the small family of errors that reach a keeper as one sentence."""

from dataclasses import dataclass
from typing import Literal

from quailwright.language import say

FindingKind = Literal["shape", "impossible", "orphan", "withheld", "conflict", "damage"]


@dataclass(frozen=True, slots=True)
class Finding:
    """Something that does not fit: what it is, where it stands, how to mend it.

    `forced` marks a contradiction that the keeper insisted on: it is kept and shown, not refused.
    `at` is when the entry says that it happened. A finding may outlive the reader it was made for:
    where it does, `what` and `mend` are kept by `later`, and said where they are shown.
    """

    kind: FindingKind
    what: str
    mend: str = ""
    entry: str = ""
    line: int | None = None
    field: str = ""
    forced: bool = False
    at: str = ""

    @property
    def sentence(self) -> str:
        """The finding as its reader reads it, place first."""
        said = say(self.what)
        if self.mend:
            said = f"{said} {say(self.mend)}"
        if self.line is None:
            return f"{self.field}: {said}" if self.field else said
        if self.field:
            return say("Line {line}, {field}: {said}", line=self.line, field=self.field, said=said)
        return say("Line {line}: {said}", line=self.line, said=said)


class QuailwrightError(Exception):
    """Base of every error that a keeper may see. `exit_code` is what the command line returns."""

    exit_code = 2

    def __init__(self, sentence: str, findings: tuple[Finding, ...] = ()) -> None:
        super().__init__(sentence)
        self.sentence = sentence
        self.findings = findings


class BadInput(QuailwrightError):
    """What was given cannot be used as it is; nothing was written."""


class Withheld(QuailwrightError):
    """The answer is no: eggs or meat are withheld, or a check did not pass."""

    exit_code = 1


class FlockUnusable(QuailwrightError):
    """The flock file cannot be opened, read or written."""

    exit_code = 3


class Moved(FlockUnusable):
    """Nothing more is written here, since the flock has moved: to try again will not do."""

"""A keeper who logs, is refused, insists, takes back and hears from a second phone, at random."""

from typing import Any

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from tests.flock.journals import BEGINNING, Draft, facts, holdings, numbered
from tests.makers import made, uid

from quailwright.flock.fold import Record, fold, refusals
from quailwright.journal.entries import Entry, Quarantine, Treated


class KeepingARecord(RuleBasedStateMachine):
    """`journal` is what was taken; `record` is kept up to date with it, never folded anew."""

    def __init__(self) -> None:
        super().__init__()
        self.journal: list[Entry] = []
        self.record = Record([])
        self.forced = self.late = False
        self.number = 0

    def _log(self, entry: Entry) -> None:
        found = refusals(Record(self.journal), [entry])
        assert all(not finding.forced for finding in found)
        if not found:
            self.journal.append(entry)
            self.record.add([entry])

    def _numbered(self, draft: Draft) -> Entry:
        self.number += 1
        return numbered(draft, self.number)

    @initialize(sound=st.booleans())
    def begins(self, sound: bool) -> None:
        """With a running flock, or with nothing."""
        for draft in BEGINNING if sound else []:
            self._log(self._numbered(draft))
            assert len(self.journal) == self.number

    @rule(draft=facts | holdings)
    def logs(self, draft: Draft) -> None:
        """Writes an entry down, and is refused where it cannot be."""
        entry = self._numbered((draft[0], {**draft[1], "force": False}))
        self._log(entry)

    @rule(draft=facts)
    def insists(self, draft: Draft) -> None:
        """Writes an entry down by force."""
        self.forced = True
        self._log(self._numbered((draft[0], {**draft[1], "force": True})))

    @rule(draft=facts)
    def hears_from_another_phone(self, draft: Draft) -> None:
        """An entry made elsewhere comes in: it is kept whatever it says."""
        self.late = True
        entry = self._numbered(draft)
        self.journal.append(entry)
        self.record.add([entry])

    @precondition(lambda self: self.journal)
    @rule(data=st.data(), draft=st.none() | facts)
    def takes_back(self, data: Any, draft: Draft | None) -> None:
        """Retracts or corrects an entry."""
        if draft is not None:
            draft = (draft[0], {**draft[1], "force": False})
        target = data.draw(st.sampled_from(self.journal))
        fields = {"at": target.at, "entry": target.id, "why": "a slip", "instead": draft}
        self._log(self._numbered(("retract", fields)))

    @rule()
    def is_refused_for_what_is_not_there(self) -> None:
        """A group that nobody logged is always refused."""
        entry = made("birds_died", "2027-04-01", id=uid(7777), group="geese", hens=1, force=True)
        assert [finding.kind for finding in refusals(Record(self.journal), [entry])] == ["orphan"]

    @invariant()
    def kept_up_to_date_is_folded_at_once(self) -> None:
        """The record that was added to stands as the journal folds."""
        assert self.record.flock == fold(self.journal)

    @invariant()
    def what_was_checked_is_taken_again_at_once(self) -> None:
        """An export of a journal whose every entry was checked comes in again as a whole."""
        if not self.late:
            assert refusals(Record([]), self.journal) == []

    @invariant()
    def what_was_checked_does_not_contradict(self) -> None:
        """While every entry went through the check unforced, nothing contradicts.

        But a treatment or a quarantine told afterwards is taken: what left meanwhile was held.
        """
        if not self.forced and not self.late:
            assert {finding.kind for finding in self.record.flock.findings} <= {"withheld"}
            if not any(isinstance(entry, Quarantine | Treated) for entry in self._told()):
                assert self.record.flock.findings == []

    def _told(self) -> list[object]:
        return [*self.journal, *(getattr(entry, "instead", None) for entry in self.journal)]


TestKeepingARecord = KeepingARecord.TestCase
TestKeepingARecord.settings = settings(max_examples=120, stateful_step_count=20)

"""What retract entries take back, and what stands in its stead."""

from collections import Counter
from collections.abc import Sequence

from quailwright.journal.entries import Entry, Retract
from quailwright.journal.findings import Finding
from quailwright.language import later


def corrections(retracts: Sequence[Retract]) -> tuple[set[str], list[Entry], list[Finding]]:
    """The ids taken back, the entries that stand instead, and findings.

    `retracts` come in the order in which they happened. A retract that is itself taken back does
    nothing; those that take each other back in a circle do nothing either. Of two corrections of
    one entry the later counts, and a finding says so: else the entry would count twice.
    """
    gone = _taken_back(retracts)
    last: dict[str, Retract] = {}
    findings = []
    for retract in retracts:
        if retract.instead is None or retract.id in gone:
            continue
        earlier = last.get(retract.entry)
        if earlier is not None:
            findings.append(_corrected_twice(retract, earlier))
        last[retract.entry] = retract
    instead: list[Entry] = [
        retract.instead
        for retract in last.values()
        if retract.instead is not None and retract.instead.id not in gone
    ]
    return gone, instead, findings


def _taken_back(retracts: Sequence[Retract]) -> set[str]:
    """Ids of what standing retracts take back, and of the retracts that stand in a circle.

    A retract stands when none that stands takes it back. Each takes back one entry, so what is
    left undecided at the end is a circle, and nothing hangs on it.
    """
    targets = {retract.id: retract.entry for retract in retracts}
    against = Counter(targets.values())
    standing = [retract_id for retract_id in targets if not against[retract_id]]
    stands = set(standing)
    gone: set[str] = set()
    while standing:
        target = targets[standing.pop()]
        if target in gone:
            continue
        gone.add(target)
        freed = targets.get(target)
        if freed is not None:
            against[freed] -= 1
            if not against[freed] and freed in targets and freed not in gone:
                stands.add(freed)
                standing.append(freed)
    return gone | (targets.keys() - stands)


def _corrected_twice(last: Retract, earlier: Retract) -> Finding:
    return Finding(
        "conflict",
        later(
            "entry {entry} was corrected already by entry {earlier}; the later counts.",
            entry=last.entry,
            earlier=earlier.id,
        ),
        later("Retract the correction that is wrong."),
        entry=last.id,
        field="entry",
        forced=last.force,
        at=last.at,
    )


def retracts_nothing(retract: Retract) -> Finding:
    """The finding on a retract whose entry the journal does not hold."""
    return Finding(
        "orphan",
        later("It takes back entry {entry}, which the journal does not hold.", entry=retract.entry),
        later("Check the id."),
        entry=retract.id,
        field="entry",
        at=retract.at,
    )

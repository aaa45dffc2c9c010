"""The one way into the journal: check against what stands, then append, all or nothing."""

import os
from collections import ChainMap
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec

from quailwright.exchange.typed import at_present, with_offset
from quailwright.flock.booking.known import near
from quailwright.flock.fold import fold, refused
from quailwright.flock.kept import Kept, facts_of
from quailwright.flock.state import Flock
from quailwright.guide import rules
from quailwright.journal.checks import build_entry, read_entry
from quailwright.journal.drafts import write_whole
from quailwright.journal.entries import (
    BirdsMoved,
    CareRule,
    CullPlanned,
    EggsSet,
    Entry,
    Group,
    Retract,
    SetPlanned,
    as_dict,
    described,
    kind_of,
)
from quailwright.journal.findings import BadInput, Finding, QuailwrightError, Withheld
from quailwright.journal.jsonl import parse_lines, write_lines
from quailwright.journal.store import NOTHING_YET, Arrival, Store, open_store
from quailwright.language import say, say_many

if TYPE_CHECKING:
    from quailwright.journal.salvage import Salvaged


@dataclass(frozen=True, slots=True)
class Recorded:
    """What was written: the new entries, and how many were in the journal already."""

    written: tuple[Entry, ...]
    already: int


def typed_entry(typed: Mapping[str, str], now: datetime, entry_id: str, zone_name: str) -> Entry:
    """An entry from fields typed as text; without `id` or `at` it gets `entry_id`, and now.

    Raises BadInput with every finding.
    """
    whole = {"id": entry_id, "at": at_present(now, zone_name), **typed}
    whole["at"] = with_offset(whole["at"], now, zone_name)
    entry, findings = build_entry(whole)
    if entry is None:
        raise BadInput(say("Not kept; nothing was written."), tuple(findings))
    return entry


def posted_entries(body: bytes) -> list[Entry]:
    """The entries of a JSON body: one, or a list of them. Raises BadInput with every finding."""
    raws: Sequence[bytes] = [body]
    if body.lstrip()[:1] == b"[":
        try:
            raws = [bytes(raw) for raw in msgspec.json.decode(body, type=list[msgspec.Raw])]
        except (msgspec.DecodeError, RecursionError) as error:
            raise BadInput(
                say("That is not a JSON list of entries ({error}).", error=error)
            ) from None
    entries: list[Entry] = []
    findings: list[Finding] = []
    for number, raw in enumerate(raws, start=1):
        entry, wrong = read_entry(raw, number if len(raws) > 1 else None)
        findings.extend(wrong)
        if entry is not None:
            entries.append(entry)
    if findings:
        raise BadInput(say("Not kept; nothing was written."), tuple(findings))
    return entries


def corrected(
    wrong: Entry,
    typed: Mapping[str, str],
    why: str,
    by: str,
    now: datetime,
    zone_name: str,
    fresh_id: Callable[[], str],
) -> Retract:
    """The entry that takes `wrong` back, from now on, and carries what was typed in its stead.

    What was typed is the whole entry but for its kind; without `at` or `by` those of `wrong` stay.
    Raises BadInput.
    """
    kept = {"at": wrong.at, **({"by": wrong.by} if wrong.by else {})}
    right = typed_entry({**kept, **typed, "kind": kind_of(wrong)}, now, fresh_id(), zone_name)
    fields: dict[str, Any] = {"kind": "retract", "id": fresh_id(), "entry": wrong.id, "why": why}
    fields |= {"at": at_present(now, zone_name), "by": by, "instead": as_dict(right)}
    entry, findings = build_entry(fields)
    if not isinstance(entry, Retract):
        raise BadInput(say("Not kept; nothing was written."), tuple(findings))
    return entry


def record(
    store: Store,
    entries: Sequence[Entry],
    now: datetime,
    as_found: bool = False,
    at_hand: tuple[list[Entry], Arrival] = ([], NOTHING_YET),
) -> Recorded:
    """Appends entries that fit what stands; those already there are passed over.

    With `as_found` those that do not fit are kept too: what they speak of may be lost for good,
    and the journal's check tells of it. Of what is `at_hand` already (as `Store.arrived_since`
    gave it) only what has arrived since is read. Raises BadInput, or Withheld when all that stands
    against them is a withholding or a quarantine, with every finding; then nothing was written.
    """
    with store.writing() as writer:
        before, last = at_hand
        arrived = writer.arrived_since(last)
        there = writer.entries() if arrived is None else [*before, *arrived[0]]
        kept = kept_at_hand(there, now)
        if as_found:
            fresh, findings = _new_among(kept.facts, entries)
            if findings:
                raise _refusal(findings)
        else:
            fresh, _ = fitting(kept, entries)
        writer.append(fresh, now)
    return Recorded(tuple(fresh), len(entries) - len(fresh))


COMES_LATE = timedelta(days=45)
"""How far back an entry that arrives now may reach before everything is folded anew for it."""


def kept_at_hand(entries: Iterable[Entry], now: datetime) -> Kept:
    """The entries folded, so that others of these weeks are added quickly."""
    return Kept(entries, (now - COMES_LATE).date())


def fitting(kept: Kept, entries: Sequence[Entry]) -> tuple[list[Entry], Kept]:
    """Those of the entries that are new, which all fit, and what is kept with them.

    Raises as `record`.
    """
    facts = kept.facts
    fresh, findings = _new_among(facts, entries)
    after = kept
    if not findings and fresh:
        after = kept.and_(fresh)
        wrong = refused(kept.entries, kept.flock.findings, after.flock, fresh)
        findings = _said_of_what_is_new(wrong, facts, fresh)
        findings += _changes_that_make_no_sense(fresh, after.flock)
        findings += _plans_of_nothing(facts, fresh)
    if findings:
        raise _refusal(findings)
    return fresh, after


def _new_among(
    existing: Mapping[str, Entry], entries: Iterable[Entry]
) -> tuple[list[Entry], list[Finding]]:
    """The entries not in the journal yet, and a finding for each id that means something else."""
    added: dict[str, Entry] = {}
    known = ChainMap(added, existing)  # type: ignore[arg-type]
    fresh: list[Entry] = []
    findings: list[Finding] = []
    for entry in entries:
        if known.get(entry.id) == entry:
            continue
        brought = {fact.id: fact for fact in facts_of(entry)}
        if any(fact_id in known for fact_id in brought):
            findings.append(_id_taken(entry))
        else:
            added |= brought
            fresh.append(entry)
    return fresh, findings


def _id_taken(entry: Entry) -> Finding:
    return Finding(
        "conflict",
        say("id {id} already belongs to another entry.", id=entry.id),
        say(
            "An entry is never changed: give this one an id of its own, and retract the wrong one."
        ),
        entry=entry.id,
        field="id",
    )


def _changes_that_make_no_sense(entries: Iterable[Entry], flock: Flock) -> list[Finding]:
    """What is wrong with changes of rules, each taken with the keeper's earlier change of it."""
    return [
        replace(finding, entry=fact.id)
        for entry in entries
        for fact in facts_of(entry)
        if isinstance(fact, CareRule)
        for finding in rules.problems(flock.care_rules.get((fact.rule, fact.place), fact))
    ]


def _plans_of_nothing(existing: Mapping[str, Entry], fresh: Sequence[Entry]) -> list[Finding]:
    """Plans for birds or eggs that no entry of the journal names: a name is mistyped.

    A name in an entry that was taken back will do: its plan waits for nothing, and does no harm.
    """
    planned = [
        fact
        for entry in fresh
        for fact in facts_of(entry)
        if isinstance(fact, SetPlanned | CullPlanned) and not fact.force
    ]
    if not planned:
        return []
    hatches: dict[str, None] = {}
    groups: dict[str, None] = {}
    new = (fact for entry in fresh for fact in facts_of(entry))
    for fact in (*existing.values(), *new):
        if isinstance(fact, EggsSet | SetPlanned):
            hatches[fact.hatch] = None
        elif isinstance(fact, Group):
            groups[fact.group] = None
        elif isinstance(fact, BirdsMoved) and fact.to_group is not None:
            groups[fact.to_group] = None
    found = []
    for fact in planned:
        named = [("group", fact.group, groups, say("Log the group first."))]
        if isinstance(fact, CullPlanned):
            named.append(("hatch", fact.hatch, hatches, say("Log set_planned or eggs_set first.")))
        found += [
            Finding(
                "orphan",
                _there_is_none(field, name),
                near(name, known) + mend,
                entry=fact.id,
                field=field,
                at=fact.at,
            )
            for field, name, known, mend in named
            if name is not None and name not in known
        ]
    return found


def _there_is_none(field: str, name: str) -> str:
    if field == "group":
        return say("there is no group {name!r}, planned or on the record.", name=name)
    return say("there is no hatch {name!r}, planned or on the record.", name=name)


def _said_of_what_is_new(
    findings: list[Finding], known: Mapping[str, Entry], fresh: Iterable[Entry]
) -> list[Finding]:
    """The findings on the new entries; where those are sound, on the entries that they upset.

    A new entry that cannot be upsets many others: only what is wrong with itself is said then.
    """
    if not findings:
        return []
    new = {fact.id: fact for entry in fresh for fact in facts_of(entry)}
    everything = ChainMap(new, known)  # type: ignore[arg-type]
    of_new = [
        _naming_what_is_taken_back(finding, new[finding.entry], everything)
        for finding in findings
        if finding.entry in new
    ]
    if of_new:
        return of_new
    taken_back = _what_is_taken_back(known, fresh)
    return [
        replace(
            finding,
            what=_does_not_fit(taken_back, finding),
            mend=say(
                "Mend what you add, or {described}, entry {id}.",
                described=described(known[finding.entry]),
                id=finding.entry,
            )
            if finding.entry in known
            else say("Mend what you add, or entry {id}.", id=finding.entry),
        )
        for finding in findings
    ]


def _does_not_fit(taken_back: str, finding: Finding) -> str:
    if taken_back:
        return say(
            "taking back {entry} does not fit what was logged for {at}: {what}",
            entry=taken_back,
            at=finding.at,
            what=say(finding.what),
        )
    return say(
        "what you add does not fit what was logged for {at}: {what}",
        at=finding.at,
        what=say(finding.what),
    )


def _naming_what_is_taken_back(
    finding: Finding, entry: Entry, known: Mapping[str, Entry]
) -> Finding:
    if not isinstance(entry, Retract) or entry.entry not in known:
        return finding
    return replace(
        finding,
        what=say(
            "{what} It is {entry}.", what=say(finding.what), entry=described(known[entry.entry])
        ),
    )


def _what_is_taken_back(known: Mapping[str, Entry], fresh: Iterable[Entry]) -> str:
    """What a single retract takes back, in words; "" of anything else that is new."""
    added = list(fresh)
    if len(added) == 1 and isinstance(added[0], Retract) and added[0].entry in known:
        return described(known[added[0].entry])
    return ""


def _refusal(findings: list[Finding]) -> QuailwrightError:
    only_withheld = all(finding.kind == "withheld" for finding in findings)
    refusal = Withheld if only_withheld else BadInput
    return refusal(say("Not kept; nothing was written."), tuple(findings))


def import_lines(store: Store, data: bytes, now: datetime, as_found: bool = False) -> Recorded:
    """Appends a journal given as JSON Lines. Raises as `record`, each finding with its line."""
    numbered, findings = parse_lines(data)
    if findings:
        lines = len({finding.line for finding in findings})
        sentence = say_many(
            "One line is not right; nothing was imported.",
            "{n:,} lines are not right; nothing was imported.",
            lines,
        )
        raise BadInput(sentence, tuple(findings))
    try:
        return record(store, [entry for _, entry in numbered], now, as_found)
    except QuailwrightError as error:
        line_of = {fact.id: number for number, entry in numbered for fact in facts_of(entry)}
        placed = [replace(f, line=line_of.get(f.entry)) for f in error.findings]
        placed.sort(key=lambda finding: finding.line or 0)
        raise type(error)(error.sentence, tuple(placed)) from error


def export_file(store: Store, path: Path) -> int:
    """Writes the whole journal as JSON Lines, whole or not at all. Returns how many entries.

    Raises BadInput when the file cannot be written.
    """
    entries = store.entries()
    _write_whole(path, write_lines(entries))
    return len(entries)


def salvage_file(location: str, path: Path) -> "Salvaged":
    """Writes what can be read of a damaged flock as JSON Lines, whole or not at all.

    Raises BadInput when there is a file of that name or it cannot be written, FlockUnusable when
    the flock cannot be read.
    """
    from quailwright.journal.damage import itself
    from quailwright.journal.salvage import salvage, salvage_rows

    if path.exists():
        # It may hold what was salvaged before, and cannot be had again.
        raise BadInput(
            say("{path} is there already: it is left as it is. Name another file.", path=path)
        )
    if "://" in location:
        with open_store(location) as store:
            found = salvage_rows(store)
    else:
        found = salvage(itself(Path(location).expanduser()))
    _write_whole(path, (body + b"\n" for _, body in found.entries))
    return found


def _write_whole(path: Path, lines: Iterable[bytes]) -> None:
    try:
        write_whole(path, lines)
    except OSError as error:
        raise BadInput(
            say("{path} could not be written: {error}.", path=path, error=error.strerror)
            if os.access(path.parent, os.W_OK)
            else say("{path} cannot be written: {error}.", path=path, error=error.strerror)
        ) from error


def check(store: Store) -> list[Finding]:
    """Everything wrong with a journal: damage to the file, then contradictions and orphans."""
    damaged = store.damage()
    if damaged:
        return damaged
    return list(fold(store.entries()).findings)

"""What holds for every journal, plausible or not."""

from collections import Counter
from dataclasses import replace
from datetime import date, datetime
from typing import Any

import msgspec
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from tests.flock.journals import DAYS, facts, holdings, journals, numbered
from tests.makers import made, uid

from quailwright.flock.fold import Record, fold
from quailwright.flock.state import Birds, Flock
from quailwright.journal import entries as kinds
from quailwright.journal.checks import read_entry
from quailwright.journal.entries import Entry, Retract, encode
from quailwright.journal.moments import order_key, until


def apart_from_counters(flock: Flock) -> Flock:
    """The flock without how many entries made it and when the first and the last was."""
    return replace(flock, entries=0, first_day=None, last_day=None)


def orphans(flock: Flock) -> set[str]:
    return {finding.entry for finding in flock.findings if finding.kind == "orphan"}


@given(journals())
def test_journals_of_these_tests_are_well_formed(journal: list[Entry]) -> None:
    for entry in journal:
        again, findings = read_entry(encode(entry))
        assert findings == []
        assert again == entry


@given(journals())
def test_birds_are_conserved(journal: list[Entry]) -> None:
    flock = fold(journal)
    groups = flock.groups.values()
    for group in groups:
        came = group.came["in"] + group.came["moved_in"] + group.came["found"]
        assert came == group.alive.total + group.gone.total(), group
        assert min(group.alive.chicks, group.alive.hens, group.alive.cocks) >= 0
        assert set(group.came) <= {"in", "moved_in", "found"}
        assert group.came["in"] >= 0
        assert group.came["moved_in"] >= 0
        assert all(count >= 0 for count in group.gone.values())
    moved_in = sum(group.came["moved_in"] for group in groups)
    assert moved_in == sum(group.gone["moved_out"] for group in groups)


@given(journals())
def test_changes_of_a_group_add_up_to_its_birds(journal: list[Entry]) -> None:
    for group in fold(journal).groups.values():
        total = Birds()
        by_reason: Counter[str] = Counter()
        for change in group.changes:
            total.add(change.birds)
            by_reason[change.why] += abs(change.birds.total) if change.why != "found" else 0
        assert total == group.alive
        assert [change.day for change in group.changes] == sorted(c.day for c in group.changes)
        for reason, count in (group.came + group.gone).items():
            assert reason == "found" or by_reason[reason] == count


@given(journals(retracts=False))
def test_birds_gone_are_those_that_entries_say(journal: list[Entry]) -> None:
    # Counted apart from the fold: what each applied entry says is what is gone, by use.
    flock = fold(journal)
    unknown = orphans(flock)
    said: Counter[str] = Counter()
    for entry in journal:
        if entry.id in unknown:
            continue
        match entry:
            case kinds.BirdsDied():
                said["died"] += entry.chicks + entry.hens + entry.cocks
            case kinds.BirdsProcessed():
                said["processed"] += entry.chicks + entry.hens + entry.cocks
            case kinds.BirdsOut():
                said[entry.use] += entry.chicks + entry.hens + entry.cocks
            case kinds.BirdLeft() if flock.birds[entry.bird].group is not None:
                said["rings"] += 1
            case _:
                pass
    gone: Counter[str] = Counter()
    for group in flock.groups.values():
        gone.update(group.gone)
    del gone["moved_out"]
    rings_without_group = (
        sum(isinstance(e, kinds.BirdLeft) and e.id not in unknown for e in journal) - said["rings"]
    )
    assert 0 <= gone.total() - (said.total() - said["rings"]) <= said["rings"] + rings_without_group
    deaths = sum(death.birds.total for group in flock.groups.values() for death in group.deaths)
    assert deaths == gone["died"]
    assert gone["died"] >= said["died"]


@given(journals())
def test_eggs_are_conserved(journal: list[Entry]) -> None:
    flock = fold(journal)
    for lot in flock.lots.values():
        assert lot.collected + lot.found == lot.on_hand + lot.out + lot.set_to_hatch
        assert min(lot.on_hand, lot.collected, lot.out, lot.set_to_hatch, lot.found) >= 0, lot
    on_hand = {key: lot for key, lot in flock.lots.items() if lot.on_hand}
    assert flock.stocked == on_hand
    assert list(flock.stocked) == sorted(flock.stocked, key=lambda key: key[0])
    for receipt in flock.receipts:
        assert receipt.good + receipt.found == receipt.on_hand + receipt.set_to_hatch
        assert min(receipt.on_hand, receipt.found, receipt.set_to_hatch) >= 0, receipt
    for hatch in flock.hatches.values():
        assert hatch.eggs_set + hatch.found == hatch.alive + hatch.removed + hatch.hatched
        assert min(hatch.alive, hatch.hatched, hatch.removed, hatch.found) >= 0, hatch
        assert hatch.hatched == hatch.housed + hatch.to_house
        assert hatch.eggs_set == sum(clutch.eggs for clutch in hatch.clutches)
        assert hatch.hatched == sum(chicks for _, chicks in hatch.hatchings)
        assert hatch.removed == sum(clear + dead for _, clear, dead in hatch.candled)
        assert (
            hatch.opened.total() <= hatch.eggs_set + hatch.found - hatch.hatched or flock.findings
        )


@given(journals(retracts=False))
def test_eggs_are_those_that_entries_say(journal: list[Entry]) -> None:
    flock = fold(journal)
    refused = {
        finding.entry for finding in flock.findings if finding.kind in ("orphan", "conflict")
    }
    applied = [entry for entry in journal if entry.id not in refused]
    collected = sum(e.eggs for e in applied if isinstance(e, kinds.EggsCollected))
    assert collected == sum(lot.collected for lot in flock.lots.values())
    out = sum(e.eggs for e in applied if isinstance(e, kinds.EggsOut))
    assert out == sum(lot.out for lot in flock.lots.values())
    sets = [e for e in applied if isinstance(e, kinds.EggsSet)]
    assert sum(e.eggs for e in sets) == sum(hatch.eggs_set for hatch in flock.hatches.values())
    own = sum(e.eggs for e in sets if e.group is not None)
    assert own == sum(lot.set_to_hatch for lot in flock.lots.values())


@given(journals())
def test_what_the_record_lacked_is_booked_and_shown(journal: list[Entry]) -> None:
    # No bird or egg comes from nowhere unless a finding, a count, or eggs of one's own set
    # without having been collected say so.
    flock = fold(journal)
    if not flock.findings and not flock.differences:
        assert all(group.came["found"] == 0 for group in flock.groups.values())
        assert all(hatch.found == 0 for hatch in flock.hatches.values())
        assert all(hatch.to_house >= 0 for hatch in flock.hatches.values())
        assert all(receipt.found == 0 for receipt in flock.receipts)
        assert all(lot.found <= lot.set_to_hatch for lot in flock.lots.values())


@given(journals(), st.randoms(use_true_random=False))
def test_order_of_arrival_does_not_change_the_result(journal: list[Entry], random: Any) -> None:
    shuffled = list(journal)
    random.shuffle(shuffled)
    assert fold(shuffled) == fold(journal)


@given(journals(), facts | holdings, st.integers(0, 20))
def test_a_retract_undoes_exactly(journal: list[Entry], draft: Any, position: int) -> None:
    wrong = numbered(draft, 500)
    back = made("retract", wrong.at, id=uid(501), entry=wrong.id, why="not so")
    longer = [*journal[:position], wrong, *journal[position:], back]
    assert apart_from_counters(fold(longer)) == apart_from_counters(fold(journal))


@given(journals(), facts, facts, st.integers(0, 20))
def test_a_correction_is_the_right_entry_alone(
    journal: list[Entry], wrong_draft: Any, right_draft: Any, position: int
) -> None:
    wrong, right = numbered(wrong_draft, 500), numbered(right_draft, 501)
    mended = made(
        "retract", wrong.at, id=uid(502), entry=wrong.id, why="not so",
        instead=msgspec.to_builtins(right),
    )  # fmt: skip
    corrected = fold([*journal[:position], wrong, *journal[position:], mended])
    assert apart_from_counters(corrected) == apart_from_counters(fold([*journal, right]))


@given(journals(), st.data())
def test_a_retract_of_a_retract_brings_the_entry_back(journal: list[Entry], data: Any) -> None:
    assume(journal)
    taken = data.draw(st.sampled_from(journal))
    assume(not isinstance(taken, Retract))
    back = made("retract", taken.at, id=uid(501), entry=taken.id, why="not so")
    again = made("retract", taken.at, id=uid(502), entry=back.id, why="it was so")
    assert apart_from_counters(fold([*journal, back, again])) == apart_from_counters(fold(journal))


@given(journals(), st.data(), st.randoms(use_true_random=False))
def test_a_fold_in_pieces_equals_a_fold_at_once(
    journal: list[Entry], data: Any, random: Any
) -> None:
    arriving = list(journal)
    if data.draw(st.booleans(), label="shuffled"):
        random.shuffle(arriving)
    record = Record([])
    while arriving:
        size = data.draw(st.integers(1, 4), label="piece")
        record.add(arriving[:size])
        arriving = arriving[size:]
    assert record.flock == fold(journal)


@given(journals())
def test_a_fold_entry_by_entry_in_sequence_equals_a_fold_at_once(journal: list[Entry]) -> None:
    zone = fold(journal).zone
    in_sequence = sorted(journal, key=lambda e: order_key(e.at, kinds.RANK[type(e)], e.id, zone))
    record = Record([])
    for entry in in_sequence:
        record.add([entry])
    assert record.flock == fold(journal)


def mended_after_the_fact(journal: list[Entry]) -> list[Entry]:
    """The journal without corrections that speak of what comes after them."""
    return [
        entry
        if not isinstance(entry, Retract) or entry.instead is None
        else msgspec.structs.replace(
            entry,
            instead=msgspec.structs.replace(entry.instead, at=min(entry.instead.at, entry.at)),
        )
        for entry in journal
    ]


def prefix(journal: list[Entry], on: date | datetime, zone: str) -> list[Entry]:
    """The entries that had happened by then, corrections that had not happened left out."""
    cut = until(on, zone)

    def happened(entry: Entry) -> bool:
        return cut.includes(order_key(entry.at, 0, entry.id, zone))

    kept = []
    for entry in filter(happened, journal):
        if isinstance(entry, Retract) and entry.instead and not happened(entry.instead):
            entry = msgspec.structs.replace(entry, instead=None)
        kept.append(entry)
    return kept


INSTANTS = [
    datetime.fromisoformat(text)
    for text in ("2027-03-27T23:30+00:00", "2027-03-28T00:30+01:00", "2027-03-29T12:00-08:00")
]


@pytest.mark.parametrize("zone", ["", "Europe/Lisbon", "Pacific/Auckland"])
@given(journals(zones=False), st.sampled_from([*DAYS, *INSTANTS]))
def test_as_of_equals_the_fold_of_what_had_happened(
    zone: str, journal: list[Entry], on: date | datetime
) -> None:
    journal = mended_after_the_fact(journal)
    if zone:
        journal = [made("holding", "2027-01-01", id=uid(900), timezone=zone), *journal]
    assert fold(journal, on) == fold(prefix(journal, on, zone))


@given(journals(), st.sampled_from([*DAYS, *INSTANTS]), st.integers(0, 20))
def test_a_record_as_of_then_takes_in_more(
    journal: list[Entry], on: date | datetime, cut: int
) -> None:
    record = Record(journal[:cut], on)
    record.add(journal[cut:])
    assert record.flock == fold(journal, on)


@given(journals(retracts=False, zones=False))
def test_findings_name_the_entry_and_are_sentences(journal: list[Entry]) -> None:
    ids = {entry.id: entry for entry in journal}
    for finding in fold(journal).findings:
        assert finding.entry in ids
        assert finding.forced == ids[finding.entry].force or not finding.forced
        assert finding.what.endswith(".")
        assert finding.mend.endswith(".")
        assert finding.field

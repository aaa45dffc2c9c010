"""The one way into the journal: all or nothing, repeats harmless, refusals with their figures."""

import json
import resource
import shutil
import sqlite3
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from tests.flock.journals import journals
from tests.makers import made, uid

from quailwright.exchange.record import (
    check,
    export_file,
    fitting,
    import_lines,
    kept_at_hand,
    record,
)
from quailwright.flock.fold import fold
from quailwright.flock.standing import standing
from quailwright.journal.damage import NOTE
from quailwright.journal.entries import Entry, as_dict, encode
from quailwright.journal.findings import BadInput, FlockUnusable, QuailwrightError, Withheld
from quailwright.journal.jsonl import read_file
from quailwright.journal.store import NOTHING_YET, Arrival, Store, open_store

NOW = datetime(2027, 6, 1, 9, 0, tzinfo=UTC)
LAYERS = made("group", "2027-05-01", group="layers", place="shed", hens=20, cocks=4)
EGGS = made("eggs_collected", "2027-05-02", group="layers", eggs=15)
SET = made("eggs_set", "2027-05-01", hatch="may", eggs=24, place="box", source="creek")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(str(tmp_path / "flock.sqlite"), create=True) as opened:
        yield opened


def refused(store: Store, *entries: Entry) -> QuailwrightError:
    """The refusal; the journal is the same as before."""
    before = store.entries()
    with pytest.raises(QuailwrightError) as caught:
        record(store, entries, NOW)
    assert store.entries() == before
    return caught.value


def sentences(error: QuailwrightError) -> str:
    return "\n".join(finding.sentence for finding in error.findings)


def test_entries_that_fit_are_kept_in_order_of_arrival(store: Store) -> None:
    recorded = record(store, [LAYERS, EGGS, SET], NOW)
    assert (recorded.written, recorded.already) == ((LAYERS, EGGS, SET), 0)
    assert store.entries() == [LAYERS, EGGS, SET]


def test_a_repeat_is_harmless(store: Store) -> None:
    record(store, [LAYERS, EGGS], NOW)
    again = record(store, [EGGS, SET, EGGS, SET], NOW)
    assert (again.written, again.already) == ((SET,), 3)
    assert store.entries() == [LAYERS, EGGS, SET]


def test_what_arrived_since_it_was_read_counts_too(store: Store) -> None:
    before = store.arrived_since(NOTHING_YET)
    record(store, [LAYERS], NOW)
    since = store.arrived_since(NOTHING_YET)
    assert before is not None
    assert since is not None
    assert record(store, [EGGS], NOW, at_hand=before).written == (EGGS,)
    assert record(store, [EGGS, SET], NOW, at_hand=since).written == (SET,)
    lost = ([LAYERS], Arrival(9, uid(9)))  # of another file: all is read anew
    assert record(store, [SET], NOW, at_hand=lost).already == 1
    assert store.entries() == [LAYERS, EGGS, SET]


def test_one_that_does_not_fit_keeps_out_all(store: Store) -> None:
    record(store, [LAYERS], NOW)
    error = refused(store, EGGS, SET, made("chicks_hatched", "2027-05-18", hatch="may", chicks=30))
    assert isinstance(error, BadInput)
    assert error.exit_code == 2
    assert error.sentence == "Not kept; nothing was written."


@pytest.mark.parametrize(
    ("kind", "fields", "figures"),
    [
        ("chicks_hatched", {"hatch": "may", "chicks": 30}, ["30 hatched", "24 eggs left"]),
        ("eggs_candled", {"hatch": "may", "clear": 20, "dead": 5}, ["25 taken out", "24 eggs"]),
        ("birds_died", {"group": "layers", "hens": 21}, ["21 hens", "20 hens"]),
        ("birds_died", {"group": "nobody", "hens": 1}, ["no group 'nobody'", "Log the group"]),
        ("birds_died", {"group": "layer", "hens": 1}, ["Did you mean 'layers'?"]),
        ("eggs_out", {"use": "eaten", "eggs": 16}, ["16 eggs eaten", "15 fitting eggs"]),
        ("hatch_closed", {"hatch": "june"}, ["no hatch 'june'"]),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_with_the_figures(
    store: Store, kind: str, fields: dict[str, Any], figures: list[str]
) -> None:
    record(store, [LAYERS, EGGS, SET], NOW)
    said = sentences(refused(store, made(kind, "2027-05-20", **fields)))
    for figure in figures:
        assert figure in said


def test_what_the_keeper_insists_on_is_kept_and_shown(store: Store) -> None:
    more = made("chicks_hatched", "2027-05-18", hatch="may", chicks=30, force=True)
    record(store, [SET, more], NOW)
    [finding] = check(store)
    assert finding.forced
    assert finding.entry == more.id


TREATED = made("treated", "2027-05-02", group="layers", product="powder",
               eggs_withheld_until="2027-05-09", meat_withheld_until="2027-05-20")  # fmt: skip
APART = made("quarantine", "2027-05-02", place="shed", until="2027-05-31")


@pytest.mark.parametrize(
    ("held", "kind", "fields"),
    [
        (TREATED, "eggs_out", {"use": "eaten", "eggs": 3}),
        (TREATED, "eggs_out", {"use": "sold", "eggs": 3}),
        (TREATED, "birds_processed", {"group": "layers", "hens": 1}),
        (APART, "birds_moved", {"group": "layers", "place": "barn"}),
        (APART, "birds_out", {"group": "layers", "use": "sold", "hens": 1}),
    ],
)
def test_withheld_is_a_no_and_not_bad_input(
    store: Store, held: Entry, kind: str, fields: dict[str, Any]
) -> None:
    record(store, [LAYERS, EGGS, held], NOW)
    error = refused(store, made(kind, "2027-05-04", **fields))
    assert isinstance(error, Withheld)
    assert error.exit_code == 1
    assert "2027-05-" in sentences(error)


def test_withheld_eggs_may_be_thrown_away_and_used_when_the_keeper_insists(store: Store) -> None:
    record(store, [LAYERS, EGGS, TREATED], NOW)
    record(store, [made("eggs_out", "2027-05-04", use="discarded", eggs=3)], NOW)
    record(store, [made("eggs_out", "2027-05-04", use="eaten", eggs=3, force=True)], NOW)
    assert [finding.kind for finding in check(store)] == ["withheld"]


def test_withheld_beside_something_else_wrong_is_bad_input(store: Store) -> None:
    record(store, [LAYERS, EGGS, TREATED], NOW)
    error = refused(
        store,
        made("eggs_out", "2027-05-04", use="eaten", eggs=3),
        made("hatch_closed", "2027-05-04", hatch="june"),
    )
    assert isinstance(error, BadInput)
    assert len(error.findings) == 2


# Ids.


def test_an_id_that_means_another_entry_is_refused(store: Store) -> None:
    record(store, [LAYERS], NOW)
    other = made("group", "2027-05-01", id=LAYERS.id, group="layers", place="shed", hens=19)
    error = refused(store, other)
    assert [finding.kind for finding in error.findings] == ["conflict"]
    assert "already belongs to another entry" in sentences(error)


def test_an_id_given_twice_in_one_file_is_refused(store: Store) -> None:
    one = made("money", "2027-05-01", id=uid(7001), amount=-5, category="straw")
    two = made("money", "2027-05-01", id=uid(7001), amount=-6, category="straw")
    assert "already belongs" in sentences(refused(store, one, two))


def test_the_right_entry_of_a_correction_needs_an_id_of_its_own(store: Store) -> None:
    record(store, [LAYERS, EGGS], NOW)
    right = {"kind": "eggs_collected", "id": LAYERS.id, "at": "2027-05-02", "group": "layers",
             "eggs": 14}  # fmt: skip
    correction = made("retract", "2027-05-03", entry=EGGS.id, why="a slip", instead=right)
    assert "already belongs" in sentences(refused(store, correction))


def test_the_id_of_a_right_entry_is_taken_from_then_on(store: Store) -> None:
    right = {"kind": "eggs_collected", "id": uid(7002), "at": "2027-05-02", "group": "layers",
             "eggs": 14}  # fmt: skip
    correction = made("retract", "2027-05-03", entry=EGGS.id, why="a slip", instead=right)
    record(store, [LAYERS, EGGS, correction], NOW)
    thief = made("money", "2027-05-04", id=uid(7002), amount=1, category="gift")
    assert "already belongs" in sentences(refused(store, thief))
    assert record(store, [correction], NOW).already == 1


def test_taking_back_what_is_not_there_is_refused(store: Store) -> None:
    record(store, [LAYERS], NOW)
    error = refused(store, made("retract", "2027-05-03", entry=uid(7003), why="a slip"))
    assert "which the journal does not hold" in sentences(error)


# Rules of care.


def test_a_change_to_a_rule_that_makes_no_sense_is_refused(store: Store) -> None:
    error = refused(store, made("care_rule", "2027-05-01", rule="wsh", every_days=45))
    assert "Did you mean wash?" in sentences(error)
    record(store, [made("care_rule", "2027-05-01", rule="wash", every_days=45)], NOW)


def test_a_correction_may_not_bring_a_rule_that_makes_no_sense(store: Store) -> None:
    sound = made("care_rule", "2027-05-01", rule="wash", every_days=45)
    record(store, [sound], NOW)
    nonsense = {"kind": "care_rule", "id": uid(7004), "at": "2027-05-01", "rule": "wsh"}
    correction = made("retract", "2027-05-02", entry=sound.id, why="typing", instead=nonsense)
    assert "no printed rule 'wsh'" in sentences(refused(store, correction))


# What comes late.


def test_a_late_entry_that_upsets_what_is_kept_names_what_it_upsets(store: Store) -> None:
    sold = made("birds_out", "2027-05-10", group="layers", use="sold", hens=20)
    record(store, [LAYERS, sold], NOW)
    late = made("birds_died", "2027-05-05", group="layers", hens=2)
    error = refused(store, late)
    assert "does not fit what was logged for 2027-05-10" in sentences(error)
    assert sold.id in sentences(error)
    record(store, [made("birds_died", "2027-05-05", group="layers", hens=2, force=True)], NOW)


def test_a_refused_retract_says_what_it_would_take_back_and_what_hangs_on_it(
    store: Store,
) -> None:
    sold = made("birds_out", "2027-05-10", group="layers", use="sold", hens=20)
    record(store, [LAYERS, sold], NOW)
    said = sentences(refused(store, made("retract", entry=LAYERS.id, why="a slip")))
    assert f"taking back the group of {LAYERS.at[:10]} (layers) does not fit" in said
    assert f"or the birds_out of 2027-05-10 (layers), entry {sold.id}" in said


def test_a_second_correction_says_what_it_corrects(store: Store) -> None:
    collected = made("eggs_collected", "2027-05-02", group="layers", eggs=12)
    right = [made("eggs_collected", "2027-05-02", group="layers", eggs=n) for n in (21, 22)]
    first, second = (
        made("retract", "2027-05-03", entry=collected.id, why="x", instead=as_dict(one))
        for one in right
    )
    record(store, [LAYERS, collected, first], NOW)
    said = sentences(refused(store, second))
    assert "It is the eggs_collected of 2027-05-02 (layers)." in said


def test_an_entry_wrong_in_itself_is_said_alone_not_with_all_that_it_upsets(store: Store) -> None:
    sold = made("birds_out", "2027-05-10", group="layers", use="sold", hens=20)
    record(store, [LAYERS, sold], NOW)
    impossible = made("birds_died", "2027-05-05", group="layers", hens=500)
    assert [finding.entry for finding in refused(store, impossible).findings] == [impossible.id]


# Import.


def lines(*entries: Entry | str | bytes) -> bytes:
    plain = [
        encode(e) if isinstance(e, Entry) else e.encode() if isinstance(e, str) else e
        for e in entries
    ]
    return b"\n".join(plain) + b"\n"


def not_imported(store: Store, data: bytes) -> QuailwrightError:
    before = store.entries()
    with pytest.raises(QuailwrightError) as caught:
        import_lines(store, data, NOW)
    assert store.entries() == before
    assert caught.value.exit_code == 2
    return caught.value


def test_import_names_every_bad_line_its_field_and_how_to_mend_it(store: Store) -> None:
    at = '"at":"2027-05-02"'
    error = not_imported(
        store,
        lines(
            LAYERS,
            f'{{"kind":"eggs_colected","id":"{uid(1)}",{at}}}',
            f'{{"kind":"eggs_collected","id":"{uid(2)}",{at},"group":"layers"}}',
            "",
            f'{{"kind":"eggs_collected","id":"{uid(3)}",{at},"group":"layers","eggs":-4}}',
            f'{{"kind":"eggs_collected","id":"{uid(4)}","at":"20260-05-02","group":"l","eggs":4}}',
            f'{{"kind":"eggs_collected","id":"four",{at},"group":"layers","eggs":4,"egs":1}}',
            EGGS,
            '{"kind":"eggs_collected","id":"',
        ),
    )
    named = {(finding.line, finding.field) for finding in error.findings}
    assert named == {
        (2, "kind"), (3, "eggs"), (5, "eggs"), (6, "at"), (7, "egs"), (9, ""),
    }  # fmt: skip
    assert error.sentence == "6 lines are not right; nothing was imported."
    for finding in error.findings:
        assert finding.mend or "Write" in finding.what or "Use" in finding.what
        assert finding.sentence.startswith(f"Line {finding.line}")


def test_import_names_the_line_of_what_does_not_fit_the_record(store: Store) -> None:
    bad = made("chicks_hatched", "2027-05-18", hatch="may", chicks=30)
    error = not_imported(store, lines(LAYERS, SET, EGGS, bad))
    [finding] = error.findings
    assert (finding.line, finding.field) == (4, "chicks")


def test_import_names_the_line_of_a_correction_by_what_it_brings(store: Store) -> None:
    right = {"kind": "eggs_collected", "id": uid(8001), "at": "2027-05-02", "group": "nobody",
             "eggs": 14}  # fmt: skip
    correction = made("retract", "2027-05-03", entry=EGGS.id, why="a slip", instead=right)
    [finding] = not_imported(store, lines(LAYERS, EGGS, correction)).findings
    assert finding.line == 3
    assert "no group 'nobody'" in finding.sentence


def test_a_late_contradiction_in_a_file_is_refused_unless_insisted_on(store: Store) -> None:
    sold = made("birds_out", "2027-05-10", group="layers", use="sold", hens=20)
    record(store, [LAYERS, sold], NOW)
    late = {"kind": "birds_died", "id": uid(8002), "at": "2027-05-05", "group": "layers", "hens": 2}
    not_imported(store, lines(json.dumps(late)))
    import_lines(store, lines(json.dumps(late | {"force": True})), NOW)
    assert len(store.entries()) == 3


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"\xff\xfe{\x00}\x00", "UTF-16"),
        (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", "not text"),
        ('{"kind":"care","note":"größer"}'.encode("latin-1"), "not UTF-8"),
        (b"[1, 2]\n", "not an entry"),
        (b"eggs,5\n", "not JSON"),
        (b"[" * 100_000 + b"\n", "nested far too deep"),
    ],
    ids=["utf-16", "binary", "latin-1", "a list", "csv", "nested"],
)
def test_files_that_are_no_journal(store: Store, data: bytes, says: str) -> None:
    error = not_imported(store, data)
    assert says in sentences(error)
    assert all(finding.line for finding in error.findings)


def test_two_hundred_megabytes_are_refused_before_they_are_read(tmp_path: Path) -> None:
    big = tmp_path / "big.jsonl"
    with big.open("wb") as stream:
        stream.truncate(200_000_000)
    with pytest.raises(BadInput, match="too large: an import takes at most 67 MB"):
        read_file(big)


@pytest.mark.parametrize(
    "dress",
    [
        lambda data: b"\xef\xbb\xbf" + data,
        lambda data: data.replace(b"\n", b"\r\n"),
        lambda data: b"\n\n" + data.replace(b"\n", b"\n\n  \n"),
        lambda data: data.rstrip(b"\n"),
    ],
    ids=["byte order mark", "Windows line ends", "blank lines", "no last line end"],
)
def test_a_sound_file_however_its_lines_end(store: Store, dress: Any) -> None:
    recorded = import_lines(store, dress(lines(LAYERS, EGGS, SET)), NOW)
    assert recorded.written == (LAYERS, EGGS, SET)


def test_an_empty_file_adds_nothing(store: Store) -> None:
    assert import_lines(store, b"", NOW).written == ()


# Export.


def accepted(journal: list[Entry]) -> list[Entry]:
    """Those of the entries that would be taken, one after the other."""
    kept: list[Entry] = []
    for entry in journal:
        try:
            fitting(kept_at_hand(kept, NOW), [entry])
        except QuailwrightError:
            continue
        kept.append(entry)
    return kept


@pytest.fixture(scope="module")
def blank(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A flock file with nothing in it."""
    path = tmp_path_factory.mktemp("blank") / "blank.sqlite"
    open_store(str(path), create=True).close()
    return path


@given(journals(size=10))
@settings(max_examples=60)
def test_export_then_import_gives_an_equal_state(blank: Path, journal: list[Entry]) -> None:
    entries = accepted(journal)
    out = blank.with_name("out.jsonl")
    for name in ("one", "two"):
        blank.with_name(name + NOTE).unlink(missing_ok=True)
    paths = [str(shutil.copy(blank, blank.with_name(name))) for name in ("one", "two")]
    with open_store(paths[0]) as one, open_store(paths[1]) as two:
        record(one, entries, NOW)
        assert export_file(one, out) == len(entries)
        data = out.read_bytes()
        assert import_lines(two, data, NOW).already == 0
        assert import_lines(two, data, NOW).already == len(entries)
        assert two.entries() == one.entries()
        on = date(2027, 4, 10)
        assert standing(fold(two.entries(), on), on) == standing(fold(entries, on), on)
        assert check(one) == check(two)


def test_export_puts_the_old_file_away_only_when_the_new_one_is_whole(
    store: Store, tmp_path: Path
) -> None:
    out = tmp_path / "out.jsonl"
    record(store, [LAYERS], NOW)
    export_file(store, out)
    before = out.read_bytes()
    record(store, [made("money", "2027-05-01", amount=n, category="x") for n in range(200)], NOW)
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (4096, hard))
    try:
        with pytest.raises(BadInput, match=r"out\.jsonl could not be written"):
            export_file(store, out)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert out.read_bytes() == before
    assert [path.name for path in tmp_path.glob("*out.jsonl*")] == ["out.jsonl"]
    assert export_file(store, out) == 201


def test_export_into_no_folder_or_over_a_folder_says_so(store: Store, tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="cannot be written"):
        export_file(store, tmp_path / "nowhere" / "out.jsonl")
    (tmp_path / "folder").mkdir()
    with pytest.raises(BadInput, match="could not be written"):
        export_file(store, tmp_path / "folder")
    assert sorted(path.name for path in tmp_path.glob(".*")) == []


# Check.


def test_check_finds_nothing_wrong_with_a_sound_journal(store: Store) -> None:
    record(store, [LAYERS, EGGS, SET], NOW)
    assert check(store) == []


def altered(path: Path, statement: str) -> None:
    """What a failing disk or a meddling program does: the row is changed behind the store."""
    raw = sqlite3.connect(path)
    triggers = "SELECT name FROM sqlite_master WHERE type = 'trigger'"
    for (trigger,) in raw.execute(triggers).fetchall():
        raw.execute(f"DROP TRIGGER {trigger}")
    raw.execute(statement)
    raw.commit()
    raw.close()


@pytest.mark.parametrize(
    ("statement", "says"),
    [
        ("UPDATE entry SET body = replace(body, '15', '51') WHERE kind = 'eggs_collected'",
         "was altered"),
        ("UPDATE entry SET at = '2027-05-03' WHERE kind = 'eggs_collected'",
         "does not match its row"),
    ],
)  # fmt: skip
def test_check_finds_an_entry_that_was_altered(tmp_path: Path, statement: str, says: str) -> None:
    path = tmp_path / "flock.sqlite"
    with open_store(str(path), create=True) as store:
        record(store, [LAYERS, EGGS, SET], NOW)
    altered(path, statement)
    with open_store(str(path)) as store:
        [finding] = check(store)
    assert (finding.kind, finding.entry) == ("damage", EGGS.id)
    assert says in finding.sentence


def test_an_entry_that_cannot_be_read_is_damage_and_stops_everything_else(tmp_path: Path) -> None:
    path = tmp_path / "flock.sqlite"
    with open_store(str(path), create=True) as store:
        record(store, [LAYERS, EGGS], NOW)
    altered(path, "UPDATE entry SET body = 'nonsense' WHERE kind = 'eggs_collected'")
    with open_store(str(path)) as store:
        assert [finding.kind for finding in check(store)] == ["damage"]
        with pytest.raises(FlockUnusable, match="is not as it was written"):
            store.entries()
        with pytest.raises(FlockUnusable):
            record(store, [SET], NOW)


def test_check_tells_of_contradictions_that_came_in_together(store: Store) -> None:
    with store.writing() as writer:
        writer.append([made("birds_died", "2027-05-02", group="nobody", hens=1)], NOW)
    [finding] = check(store)
    assert (finding.kind, finding.forced) == ("orphan", False)


def test_a_whole_plan_is_kept_in_one_go_in_any_order(store: Store) -> None:
    moment = "2027-06-01T08:00Z"
    plan = [
        made("cull_planned", moment, hatch="july", on="2027-09-01", keep_hens=6),
        made("set_planned", moment, hatch="july", on="2027-07-01", eggs=40, place="box",
             source="creek"),
        made("plan_accepted", moment, brief="[goal]\neggs_per_week = 40\n", certainty=0.8),
    ]  # fmt: skip
    record(store, plan, NOW)
    flock = fold(store.entries())
    assert flock.plan is not None
    assert list(flock.planned_sets) == ["july"]
    assert [one.hatch for one in flock.planned_culls.values()] == ["july"]
    assert check(store) == []


def test_a_plan_of_birds_that_nobody_named_is_not_kept(store: Store) -> None:
    record(store, [LAYERS, SET], NOW)
    wrong = made("cull_planned", "2027-06-01", hatch="mya", on="2027-09-01", keep_hens=6)
    said = sentences(refused(store, wrong))
    assert said.startswith("hatch: there is no hatch 'mya', planned or on the record.")
    assert "Did you mean 'may'?" in said
    right = made("cull_planned", "2027-06-01", hatch="may", on="2027-09-01", keep_hens=6)
    correction = made("retract", "2027-06-02", entry=right.id, why="slip", instead=as_dict(wrong))
    record(store, [right], NOW)
    assert "'mya'" in sentences(refused(store, correction))

"""Flocks that earlier programs truly wrote open with this one, whole, on both databases.

The files beside this one were written by programs out of git's history; README.md says by which.
"""

import gzip
import json
import os
import sqlite3
from contextlib import closing
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import psycopg
import psycopg.sql
import pytest
import sqlalchemy as sa
from alembic import op
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from starlette.testclient import TestClient
from tests.cli.conftest import quail as quail_fixture

from quailwright.exchange import backups
from quailwright.exchange.backups import state_of
from quailwright.exchange.household import Household
from quailwright.exchange.record import import_lines
from quailwright.flock.fold import fold
from quailwright.journal import store as flock_files
from quailwright.journal.entries import KINDS, Entry, Retract, kind_of
from quailwright.journal.findings import FlockUnusable
from quailwright.journal.jsonl import parse_lines
from quailwright.journal.migrations import alembic_config, upgrade_within
from quailwright.journal.store import SCHEMA, Store, metadata, open_store
from quailwright.web.app import create_app
from quailwright.web.home import Settings

quail = quail_fixture
HERE = Path(__file__).parent
WRITTEN = ("0001", "0002", "0003", "0008")
ON = date(2027, 5, 2)
NOW = datetime(2027, 5, 2, 20, tzinfo=UTC)
READINGS = 288
ENTRIES = {"0001": 72, "0002": 72, "0003": 85, "0008": 85}

EXPLAINED = {
    ("0001", "today.places[].tasks[].figures"): "candling's second day has a figure of its own now",
}
"""What is told otherwise than the old program told it, and why: docs/upgrades.md."""


def unpacked(name: str) -> bytes:
    """A file of this folder."""
    return gzip.decompress((HERE / f"{name}.gz").read_bytes())


def old_file(schema: str, folder: Path) -> Path:
    """The flock file that the program of that schema left."""
    path = folder / f"of {schema}.sqlite"
    path.write_bytes(unpacked(f"{schema}.sqlite"))
    return path


@pytest.fixture(params=[(schema, kind) for schema in WRITTEN for kind in ("sqlite", "postgresql")],
                ids="-".join)  # fmt: skip
def old(request: pytest.FixtureRequest, tmp_path: Path) -> tuple[str, str]:
    """A schema, and the location of a flock that its program wrote."""
    schema, kind = request.param
    if kind == "sqlite":
        return schema, str(old_file(schema, tmp_path))
    url: str = request.getfixturevalue("postgresql")
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute(unpacked(f"{schema}.postgresql.sql"))
    return schema, url


def imported(text: bytes, folder: Path) -> list[Entry]:
    """The entries of an export, imported into a new flock."""
    with open_store(str(folder / "imported.sqlite"), create=True) as store:
        import_lines(store, text, NOW)
        return store.entries()


def version_in(store: Store) -> str:
    """The schema that the database says it has."""
    with store.snapshot() as connection:
        return str(connection.execute(sa.text("SELECT version_num FROM alembic_version")).scalar())


def differences(old: Any, new: Any, where: str = "") -> list[tuple[str, Any, Any]]:
    """Where two JSON values differ; what only the new one has is no difference."""
    if isinstance(old, dict) and isinstance(new, dict):
        pairs = [(value, new.get(name), f"{where}.{name}".lstrip(".")) for name, value in
                 old.items()]  # fmt: skip
    elif isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        pairs = [(was, now, f"{where}[]") for was, now in zip(old, new, strict=True)]
    else:
        return [] if old == new else [(where, old, new)]
    return [found for was, now, there in pairs for found in differences(was, now, there)]


def test_it_opens_with_all_that_it_held(old: tuple[str, str], tmp_path: Path) -> None:
    schema, location = old
    export = unpacked(f"{schema}.jsonl")
    numbered, findings = parse_lines(export)
    assert findings == []
    with open_store(location) as store:
        entries = store.entries()
        assert version_in(store) == SCHEMA
        assert store.damage() == []
        with store.snapshot() as connection:
            assert compare_metadata(MigrationContext.configure(connection), metadata) == []
        # Of the database the first entry was made by `log`, which gave it an id of its own.
        assert len(entries) == ENTRIES[schema] == len(numbered)
        assert entries[1:] == [entry for _, entry in numbered][1:]
        kinds = {kind_of(entry) for entry in entries}
        assert len(kinds) == (38 if schema < "0003" else len(KINDS))
        if schema >= "0002":
            (read,) = store.readings("incubator")
            assert (read.instrument, len(read.at_ms)) == ("dial", READINGS)
            assert read.temperature_c[:3].tolist() == [37.2, 37.3, 37.4]
            assert read.humidity_pct[:3].tolist() == [48, 49, 50]
            assert read.at_ms[0] == datetime(2026, 9, 10, tzinfo=UTC).timestamp() * 1000
            (sensor,) = store.reading_sensors()
            assert sensor.readings == READINGS
        if schema >= "0003":
            home = Household(store)
            assert [(one.name, one.role) for one in home.everyone()] == [
                ("Ann", "keeper"), ("Zé", "child"),
            ]  # fmt: skip
            signed_in = home.signed_in("a-token-of-a-phone", NOW)
            assert signed_in is not None
            assert signed_in.name == "Ann"
        # What it takes in from now on stands behind the old.
        more = b'{"kind":"care","id":"%s","at":"2027-05-02","task":"feed_water"}'
        import_lines(store, more % b"0badcafe-0000-4000-8000-000000000000", NOW)
        assert len(store.entries()) == len(entries) + 1
    if "postgresql" not in location:
        assert state_of(imported(export, tmp_path)) == state_of(entries)


def test_the_oldest_export_imports(tmp_path: Path) -> None:
    entries = imported(unpacked("first.jsonl"), tmp_path)
    by_its_last = [entry for _, entry in parse_lines(unpacked("0001.jsonl"))[0]]
    assert len(entries) == ENTRIES["0001"]
    assert entries[1:] == by_its_last[1:]
    assert fold(entries, ON).findings == []


@pytest.mark.parametrize("schema", WRITTEN)
def test_it_is_told_as_the_old_program_told_it(schema: str, quail: Any, tmp_path: Path) -> None:
    path = old_file(schema, tmp_path)
    told = json.loads(unpacked(f"{schema}.told.json"))
    for command in ("flock", "today"):
        answer = quail("--flock", str(path), command, "--json", "--on", ON.isoformat())
        assert answer.code == 0, answer.err
        found = {where for where, _, _ in differences(told[command], answer.json, command)}
        assert found == {where for of, where in EXPLAINED if of == schema and
                         where.startswith(command)}  # fmt: skip
    if schema == "0001":
        ahead = quail("--flock", str(path), "outlook", "--on", ON.isoformat(), "--draws", "20",
                      "--weeks", "1")  # fmt: skip
        assert ahead.code == 0, ahead.err


@pytest.mark.parametrize("schema", WRITTEN)
def test_its_pages_answer_and_its_people_sign_in(schema: str, tmp_path: Path) -> None:
    app = create_app(Settings(str(old_file(schema, tmp_path)), lambda: NOW))
    try:
        browser = TestClient(app, base_url="http://localhost", follow_redirects=True)
        page = browser.get("/")
        token = page.text.partition('name="token" value="')[2].partition('"')[0]
        who = {"name": "Ann", "passphrase": "seven brown quail", "token": token}
        if schema < "0003":  # nobody has a passphrase yet: the first visit sets one
            assert page.url.path == "/begin"
            who["again"] = who["passphrase"]
        else:
            assert page.url.path == "/sign-in"
        assert browser.post(page.url.path, data=who).status_code == 200
        for address in ("/", "/birds", "/hatches/sep-3", "/eggs", "/journal", "/readings"):
            answer = browser.get(address)
            assert (answer.status_code, answer.url.path) == (200, address)
        assert "autumn" in browser.get("/birds").text
    finally:
        app.state.home.desk.store.close()


def revisions() -> list[str]:
    """Every schema that there ever was, the oldest first."""
    found = [each.revision for each in ScriptDirectory.from_config(alembic_config())
             .walk_revisions()]  # fmt: skip
    return sorted(found)


@pytest.mark.parametrize("schema", [each for each in revisions() if each not in WRITTEN])
def test_a_schema_that_no_program_had_as_its_newest_opens_too(schema: str, tmp_path: Path) -> None:
    path = old_file(max(each for each in WRITTEN if each < schema), tmp_path)
    engine = sa.create_engine(f"sqlite:///{path}")
    with engine.begin() as connection:
        upgrade_within(connection, schema)
    engine.dispose()
    with open_store(str(path)) as store:
        assert version_in(store) == SCHEMA
        assert len(store.entries()) == ENTRIES["0003"]
        assert store.reading_count("incubator") == READINGS
        assert [one.name for one in Household(store).everyone()] == ["Ann", "Zé"]


@pytest.mark.parametrize("schema", [each for each in WRITTEN if (HERE / f"{each}.zip").exists()])
def test_a_backup_of_then_is_restored(schema: str, tmp_path: Path) -> None:
    target = tmp_path / "again.sqlite"
    restored = backups.restore(HERE / f"{schema}.zip", str(target), False, NOW)
    assert (restored.entries, restored.readings) == (ENTRIES[schema], READINGS)
    with open_store(str(target)) as store, open_store(str(old_file(schema, tmp_path))) as as_was:
        assert store.entries() == as_was.entries()
        assert [one.name for one in Household(store).everyone()] == ["Ann", "Zé"]


def everything(location: str) -> list[str]:
    """All that stands in the database, as text."""
    if "://" not in location:
        with closing(sqlite3.connect(location)) as raw:
            return list(raw.iterdump())
    found = []
    with psycopg.connect(location) as connection:
        tables = connection.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public'")
        for (name,) in sorted(tables.fetchall()):
            rows = connection.execute(
                psycopg.sql.SQL("TABLE {}").format(psycopg.sql.Identifier(name))
            )
            found += [name, *sorted(map(str, rows.fetchall()))]
    return found


@pytest.mark.parametrize(
    "old", [("0001", "sqlite"), ("0003", "sqlite"), ("0003", "postgresql")], indirect=True
)
def test_a_migration_that_fails_midway_leaves_the_old_file_whole(
    old: tuple[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    schema, location = old
    before = everything(location)

    def fails() -> None:
        raise sa.exc.OperationalError("CREATE", {}, Exception("database or disk is full"))

    newest = ScriptDirectory.from_config(alembic_config()).get_revision(SCHEMA)
    assert newest is not None
    with monkeypatch.context() as patched:
        for made in ("create_table", "add_column", "execute"):
            real = getattr(op, made)

            def only_at_last(*arguments: Any, real: Any = real, **named: Any) -> Any:
                if op.get_context().get_current_revision() in newest._all_down_revisions:
                    return fails()
                return real(*arguments, **named)

            patched.setattr(op, made, only_at_last)
        with pytest.raises(FlockUnusable, match="the disk is full"):
            open_store(location)
    assert everything(location) == before
    with open_store(location) as store:
        assert version_in(store) == SCHEMA
        assert len(store.entries()) == ENTRIES[schema]


@pytest.mark.parametrize("schema", ["0001", "0003"])
def test_an_old_file_that_may_only_be_read_is_a_sentence(
    schema: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = old_file(schema, tmp_path)
    before = path.read_bytes()
    # Root may write everything, so the question is answered here; SQLite keeps to the answer.
    monkeypatch.setattr(flock_files, "_may", lambda _, mode: mode == os.R_OK)
    with pytest.raises(FlockUnusable) as raised:
        open_store(str(path))
    assert raised.value.sentence == f"{path} may not be written by you. Change its permissions."
    assert path.read_bytes() == before
    assert [each.name for each in tmp_path.iterdir()] == [path.name]


def test_a_newer_schema_is_refused_and_nothing_of_it_is_lost(tmp_path: Path) -> None:
    path = old_file("0003", tmp_path)
    open_store(str(path)).close()
    newer = f"{int(SCHEMA) + 1:04}"
    with closing(sqlite3.connect(path)) as raw, raw:
        raw.execute("UPDATE alembic_version SET version_num = ?", (newer,))
    before = everything(str(path))
    with pytest.raises(FlockUnusable) as raised:
        open_store(str(path))
    assert f"was written by a newer quailwright (schema {newer}; this one knows {SCHEMA})" in (
        raised.value.sentence
    )
    assert raised.value.sentence.endswith("Update quailwright.")
    assert everything(str(path)) == before


def test_every_kind_and_field_is_in_what_the_old_programs_wrote() -> None:
    """A kind or a field that comes must come into `every_kind.jsonl` too."""
    used: dict[str, set[str]] = {}
    for line in (HERE / "every_kind.jsonl").read_text(encoding="utf-8").splitlines():
        entry = json.loads(line)
        for fact in (entry, entry.get("instead")):
            if fact is not None:
                used.setdefault(fact["kind"], set()).update(fact)
    for kind, cls in KINDS.items():
        lacking = set(cls.__struct_encode_fields__) - used[kind] - {"by", "note", "force"}
        assert lacking == set(), kind
    assert kind_of(Retract(id="x", at="2027-05-02", entry="y", why="z")) in used

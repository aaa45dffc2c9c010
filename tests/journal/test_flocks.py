"""Many flocks in one database: each is alone, whoever asks and whatever fails."""

import random
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import quote

import psycopg
import pytest
import sqlalchemy as sa
from tests.makers import made

from quailwright.exchange import backups
from quailwright.journal.findings import BadInput, FlockUnusable
from quailwright.journal.flocks import open_flocks
from quailwright.journal.readings import Kept
from quailwright.journal.store import Store, open_store

NOW = datetime(2027, 5, 2, 20, 0, tzinfo=UTC)


@pytest.fixture
def plain(postgresql: str) -> Iterator[str]:
    """The database, for a role that may make schemas there, but no roles and nothing else."""
    with psycopg.connect(postgresql, autocommit=True) as connection:
        connection.execute("CREATE ROLE office LOGIN")
        connection.execute("GRANT CREATE ON DATABASE flock TO office")
    yield postgresql.replace("postgres@", "office@")
    with psycopg.connect(postgresql, autocommit=True) as connection:
        connection.execute("DROP OWNED BY office")
        connection.execute("DROP ROLE office")


@pytest.fixture(params=["roles", "no roles"])
def where(request: pytest.FixtureRequest, postgresql: str) -> str:
    """The database, with a role for every flock and without."""
    url: str = postgresql if request.param == "roles" else request.getfixturevalue("plain")
    return url


def log(store: Store, *notes: str) -> None:
    with store.writing() as writer:
        writer.append([made("care", "2027-05-01", task="water", note=note) for note in notes], NOW)


def notes(store: Store) -> list[str]:
    return [entry.note or "" for entry in store.entries()]


def test_two_flocks_and_the_public_one_stand_apart(where: str, postgresql: str) -> None:
    with open_store(postgresql, create=True) as public, open_flocks(where) as flocks:
        log(public, "of the public one")
        assert flocks.names() == []
        assert flocks.add("creek", NOW)
        assert not flocks.add("creek", NOW)
        assert flocks.add("hill-2", NOW)
        assert flocks.names() == ["creek", "hill-2"]
        assert flocks.has("creek")
        assert not flocks.has("nobody")
        creek, hill = flocks.store("creek"), flocks.store("hill-2")
        log(creek, "of the creek")
        log(hill, "of the hill", "and one more")
        creek.close()  # it closes nothing that others use
        assert (notes(creek), notes(hill)) == (["of the creek"], ["of the hill", "and one more"])
        assert notes(public) == ["of the public one"]
        for count in (3, 1500):  # few are inserted, many copied
            with creek.writing() as writer:
                at = [60_000 * n + count for n in range(count)]
                kept = writer.append_readings("pen", "", at, [20.5] * count, [None] * count)
                assert kept.written == count
                assert writer.append_readings("pen", "", at, [20.5] * count, [None] * count) == (
                    Kept(already=count)
                )
        assert hill.reading_extents() == public.reading_extents() == []
        with open_store(f"{where}&flock=creek") as alone:
            assert notes(alone) == ["of the creek"]
            assert alone.location == f"{where}&flock=creek"
        assert flocks.upgrade() == []


def test_names_are_a_hosts_label_and_nothing_else(postgresql: str) -> None:
    bad = [
        "", "-", "a-", "-a", "Creek", "creek.", "a_b", "a" * 41, "creek\n", "bäch", "a b",
        'a"; DROP SCHEMA public CASCADE; --', "a'b", "..", "%", "pg_catalog", "a,b", "$user",
    ]  # fmt: skip
    with open_flocks(f"{postgresql}&flock=not-minded") as flocks:
        for name in bad:
            assert not flocks.has(name)
            with pytest.raises(BadInput, match="cannot be the name of a flock"):
                flocks.add(name, NOW)
            with pytest.raises(FlockUnusable, match="cannot be the name of a flock"):
                flocks.store(name)
            with pytest.raises(FlockUnusable):
                open_store(f"{postgresql}&flock={quote(name)}")
        for name in ("a", "7", "public", "quailwright", "a" * 40, "a--b"):  # of none but a flock
            flocks.add(name, NOW)
            log(flocks.store(name), name)
            assert notes(flocks.store(name)) == [name]
        with pytest.raises(FlockUnusable, match="There is no flock nobody in"):
            flocks.store("nobody")
    with pytest.raises(FlockUnusable, match="holds one flock"):
        open_flocks("home.sqlite")


def test_flocks_over_a_pool_of_two_connections_never_mix(where: str) -> None:
    """Four threads, three flocks: some append, some read, some fail midway, one says SET."""
    names = ("creek", "hill", "mill")
    with open_flocks(where, connections=2) as flocks:
        for name in names:
            flocks.add(name, NOW)
        stores = {name: flocks.store(name) for name in names}

        def hammer(seed: int) -> int:
            chance, kept = random.Random(seed), 0
            for number in range(20):
                name = chance.choice(names)
                store = stores[name]
                what = chance.random()
                if what < 0.4:
                    log(store, name)
                    kept += 1
                elif what < 0.6:
                    lost = made("care", "2027-05-01", task="lost")
                    with pytest.raises(FlockUnusable), store.writing() as writer:
                        writer.append([lost, lost], NOW)
                elif what < 0.7:
                    with pytest.raises(FlockUnusable), store.household(writes=True) as connection:
                        connection.exec_driver_sql(
                            "SET search_path TO flock_creek; SELECT * FROM no"
                        )
                elif what < 0.8:
                    at = [1000 * (1000 * seed + number)]
                    with store.writing() as writer:
                        writer.append_readings(name, "", at, [20.5], [None])
                else:
                    assert set(notes(store)) <= {name}
                    assert {each.place for each in store.reading_extents()} <= {name}
            return kept

        with ThreadPoolExecutor(4) as threads:
            kept = sum(threads.map(hammer, range(4)))
        assert kept == sum(len(notes(stores[name])) for name in names)
        assert all(set(notes(stores[name])) == {name} for name in names)
        assert flocks.engine.pool.status().startswith("Pool size: 2 ")
        with flocks.engine.connect() as connection:  # what a connection is left with: nothing
            raw = connection.connection.driver_connection
            assert raw is not None
            connection.rollback()
            with raw.cursor() as cursor:
                cursor.execute("SELECT current_setting('search_path'), current_user, session_user")
                path, user, session = cursor.fetchone()
            assert (path, user) == ('"$user", public', session)


def test_a_flock_with_a_role_cannot_reach_another_by_any_name(postgresql: str) -> None:
    with open_store(postgresql, create=True) as public, open_flocks(postgresql) as flocks:
        log(public, "of the public one")
        for name in ("creek", "hill"):
            flocks.add(name, NOW)
            log(flocks.store(name), f"of the {name}")
        creek = flocks.store("creek")
        for statement in (
            "SELECT * FROM flock_hill.entry",
            "SELECT * FROM public.entry",
            "SELECT * FROM quailwright.flock",
            "INSERT INTO flock_hill.option VALUES ('a', 'b')",
            "LOCK TABLE flock_hill.entry IN ACCESS SHARE MODE",
            "TRUNCATE flock_hill.reading",
            "DROP SCHEMA flock_hill CASCADE",
            "SELECT nextval('flock_hill.entry_arrival_seq')",
            "CREATE SCHEMA mine",
            "CREATE TABLE flock_hill.mine (a integer)",
            "ALTER TABLE flock_hill.entry DISABLE TRIGGER ALL",
            "COPY flock_hill.entry TO STDOUT",
            "SELECT pg_read_file('/etc/passwd')",
            "SET search_path TO flock_hill; SELECT * FROM entry",
        ):
            with (
                pytest.raises(
                    FlockUnusable, match=r"permission denied|must be owner|does not exist"
                ),
                creek.household(writes=True) as connection,
            ):
                connection.exec_driver_sql(statement)
        assert notes(creek) == ["of the creek"]
        assert notes(flocks.store("hill")) == ["of the hill"]


def test_two_that_add_one_flock_at_once_make_one(where: str) -> None:
    with open_flocks(where, connections=4) as flocks, ThreadPoolExecutor(4) as threads:
        made_now = list(threads.map(lambda name: flocks.add(name, NOW), ["creek", "hill"] * 2))
        assert sorted(made_now) == [False, False, True, True]
        log(flocks.store("creek"), "one")
        assert notes(flocks.store("hill")) == []
        assert flocks.drop("hill", sure=True) == (0, None)
        assert flocks.names() == ["creek"]


def test_a_flock_is_added_whole_or_not_at_all(where: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: object) -> None:
        raise FlockUnusable("a fault of this test")

    with open_flocks(where) as flocks:
        with monkeypatch.context() as patched:
            patched.setattr("quailwright.journal.migrations.upgrade_within", fails)
            with pytest.raises(FlockUnusable):
                flocks.add("creek", NOW)
        assert not flocks.has("creek")
        assert flocks.add("creek", NOW)


def test_an_older_flock_is_upgraded_when_it_is_opened_or_all_at_once(postgresql: str) -> None:
    def made_older(name: str) -> None:
        with flocks.store(name).household(writes=True) as connection:
            for table in ("notice_message", "notice_told", "notice", "channel"):
                connection.execute(sa.text(f"DROP TABLE {table}"))
            connection.execute(sa.text("UPDATE alembic_version SET version_num = '0007'"))

    with open_flocks(postgresql) as flocks:
        for name in ("creek", "hill", "mill"):
            flocks.add(name, NOW)
            made_older(name)
        with flocks.store("creek").household() as connection:
            assert connection.execute(sa.text("SELECT count(*) FROM notice")).scalar() == 0
        assert flocks.upgrade() == ["hill", "mill"]
        with flocks.store("mill").household(writes=True) as connection:
            connection.execute(sa.text("UPDATE alembic_version SET version_num = '9999'"))
        with pytest.raises(FlockUnusable, match="flock=mill was written by a newer"):
            flocks.upgrade()


def end_those_at_rest(url: str) -> None:
    """Ends the connections that stand in a transaction and do nothing."""
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute(
            "SELECT pg_terminate_backend(pid, 10000) FROM pg_stat_activity "
            "WHERE state = 'idle in transaction'"
        )


def test_each_flock_has_a_caretaker_of_its_own(where: str) -> None:
    with open_flocks(where, connections=1) as one, open_flocks(where, connections=1) as two:
        for name in ("creek", "hill"):
            one.add(name, NOW)
        with (
            one.store("creek").sole_caretaker() as creek,
            one.store("creek").sole_caretaker() as again,
            one.store("hill").sole_caretaker() as hill,
            two.store("creek").sole_caretaker() as other,
        ):
            assert (creek(), again(), hill(), other()) == (True, False, True, False)
            log(one.store("creek"), "the pool has its one connection still")
        with pytest.raises(FlockUnusable), two.store("creek").sole_caretaker() as other:  # noqa: PT012
            assert other()
            end_those_at_rest(where.replace("office@", "postgres@"))
            with one.store("creek").sole_caretaker() as mine:
                assert mine()
                other()
        with two.store("creek").sole_caretaker() as other:
            assert other()


def test_a_write_waits_for_its_own_flock_and_for_no_other(postgresql: str) -> None:
    with open_flocks(postgresql) as flocks, ThreadPoolExecutor(1) as threads:
        for name in ("creek", "hill"):
            flocks.add(name, NOW)
        creek, hill = flocks.store("creek"), flocks.store("hill")
        with creek.writing():
            log(hill, "at once")
            waits = threads.submit(log, creek, "when its turn comes")
            with pytest.raises(TimeoutError):
                waits.result(0.2)
            assert notes(creek) == []
        waits.result(5)
        assert notes(creek) == ["when its turn comes"]


def test_what_a_flock_takes_is_its_own(postgresql: str) -> None:
    with open_store(postgresql, create=True) as public, open_flocks(postgresql) as flocks:
        for name in ("creek", "hill"):
            flocks.add(name, NOW)
        empty = flocks.sizes()["hill"]
        log(flocks.store("creek"), *("a note" * 50 for _ in range(500)))
        assert flocks.sizes() == {"creek": flocks.store("creek").room().size, "hill": empty}
        assert flocks.sizes()["creek"] > empty + 200_000
        assert public.room().size == empty


def test_a_backup_goes_back_into_one_flock_alone(where: str, tmp_path: Path) -> None:
    with open_flocks(where) as flocks:
        for name in ("creek", "hill"):
            flocks.add(name, NOW)
            log(flocks.store(name), f"of the {name}")
        backup = backups.back_up(flocks.store("creek"), tmp_path, NOW).path
        hill = f"{where}&flock=hill"
        with pytest.raises(FlockUnusable, match="holds a record already"):
            backups.restore(backup, hill, False, NOW)
        done = backups.restore(backup, hill, True, NOW)
        assert done.aside == "schema hill_before_20270502_200000"
        log(flocks.store("hill"), "numbers go on")
        assert notes(flocks.store("hill")) == ["of the creek", "numbers go on"]
        assert notes(flocks.store("creek")) == ["of the creek"]
        assert backups.restore(backup, f"{where}&flock=mill", False, NOW).entries == 1
        log(flocks.store("mill"), "begun so")
        assert flocks.names() == ["creek", "hill", "mill"]
        with flocks.store("mill").sole_caretaker() as mine:
            assert mine()
            with pytest.raises(FlockUnusable, match="is being served"):
                backups.restore(backup, f"{where}&flock=mill", True, NOW)
            with pytest.raises(FlockUnusable, match="cannot be the name"):
                backups.restore(backup, f"{where}&flock=Mill", False, NOW)


@pytest.fixture
def documented(postgresql: str) -> Iterator[str]:
    """The database, owned by the role that docs/growth.md has an office make."""
    with psycopg.connect(postgresql, autocommit=True) as connection:
        connection.execute("CREATE ROLE office LOGIN CREATEROLE NOINHERIT")
        connection.execute("ALTER DATABASE flock OWNER TO office")
    yield postgresql.replace("postgres@", "office@")
    with psycopg.connect(postgresql, autocommit=True) as connection:
        connection.execute("ALTER DATABASE flock OWNER TO postgres")
        roles = connection.execute("SELECT rolname FROM pg_roles WHERE rolname ~ '^(flock_|off)'")
        for (role,) in roles.fetchall():
            connection.execute(f'DROP OWNED BY "{role}"')
            connection.execute(f'DROP ROLE "{role}"')


def test_a_flock_is_dropped_with_all_that_was_kept_of_it(documented: str, tmp_path: Path) -> None:
    with open_flocks(documented) as flocks:
        for name in ("creek", "creek-before"):
            flocks.add(name, NOW)
            log(flocks.store(name), f"of the {name}")
        backup = backups.back_up(flocks.store("creek"), tmp_path, NOW).path
        assert backups.restore(backup, f"{documented}&flock=creek", True, NOW).aside
        with flocks.store("creek").passing() as passed:
            passed.prepare()
            passed.put("a kind", "a key", b"of the one that is dropped")
        with pytest.raises(BadInput, match="has not moved elsewhere"):
            flocks.drop("creek")
        with flocks.store("creek").sole_caretaker() as mine:
            assert mine()
            with pytest.raises(FlockUnusable, match="is being served or in use"):
                flocks.drop("creek", sure=True)
        served = flocks.store("creek")
        assert notes(served) == ["of the creek"]
        assert flocks.drop("creek", sure=True) == (1, None)
        with pytest.raises(FlockUnusable, match="There is no flock creek in"):
            flocks.drop("creek", sure=True)
        assert flocks.names() == ["creek-before"]
        with flocks.engine.connect() as connection:
            left = "SELECT nspname FROM pg_namespace WHERE nspname ~ 'creek'"
            assert connection.execute(sa.text(left)).scalars().all() == ["flock_creek-before"]
            left = "SELECT count(*) FROM pg_roles WHERE rolname ~ '^flock_creek_'"
            assert connection.execute(sa.text(left)).scalar() == 0
        assert notes(flocks.store("creek-before")) == ["of the creek-before"]
        # One of that name may begin anew, also for who serves it still.
        assert flocks.add("creek", NOW)
        assert notes(served) == []
        with served.passing() as passed:
            passed.my_turn()
            assert passed.get("a kind", "a key") is None
            passed.put("a kind", "a key", b"kept")

"""People, passphrases and sign-ins."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from quailwright.exchange.household import STAYS_SIGNED_IN, Household
from quailwright.journal.findings import BadInput
from quailwright.journal.store import Store, open_store

NOW = datetime(2027, 5, 2, 12, tzinfo=UTC)
WORDS = "four words of ours"


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """An empty flock file."""
    with open_store(str(tmp_path / "flock.sqlite"), create=True) as opened:
        yield opened


@pytest.fixture
def household(store: Store) -> Household:
    """A household with one keeper."""
    made = Household(store)
    made.begin("Mira", WORDS, NOW)
    return made


def test_the_first_is_a_keeper_and_there_is_only_one_first(household: Household) -> None:
    assert [(one.name, one.role) for one in household.everyone()] == [("Mira", "keeper")]
    with pytest.raises(BadInput, match="already"):
        household.begin("Tom", "another of our own", NOW)


def test_a_sign_in_lasts_until_it_ends(household: Household) -> None:
    assert household.sign_in("mira", WORDS, "a-token", NOW) is not None
    person = household.signed_in("a-token", NOW + STAYS_SIGNED_IN)
    assert person is not None
    assert person.name == "Mira"
    assert household.signed_in("a-token", NOW + STAYS_SIGNED_IN + timedelta(seconds=1)) is None
    household.sign_out("a-token")
    assert household.signed_in("a-token", NOW) is None


def test_sign_out_everywhere_ends_all_of_one_person_only(household: Household) -> None:
    household.add("Tom", "helper", "tom's own phrase", NOW)
    for name, phrase, token in (("Mira", WORDS, "a"), ("Mira", WORDS, "b")):
        assert household.sign_in(name, phrase, token, NOW) is not None
    assert household.sign_in("Tom", "tom's own phrase", "c", NOW) is not None
    household.sign_out_everywhere(household.everyone()[0].id)
    assert [household.signed_in(token, NOW) is not None for token in "abc"] == [False, False, True]


@pytest.mark.parametrize(("name", "phrase"), [("Mira", "wrong words here"), ("Nobody", WORDS)])
def test_what_does_not_fit_lets_nobody_in(household: Household, name: str, phrase: str) -> None:
    assert household.sign_in(name, phrase, "a-token", NOW) is None
    assert household.signed_in("a-token", NOW) is None


def test_no_passphrase_and_no_token_stands_in_the_file(household: Household, store: Store) -> None:
    household.sign_in("Mira", WORDS, "a-token-of-mine", NOW)
    store.close()
    files = Path(store.location).parent.glob("flock.sqlite*")
    held = b"".join(path.read_bytes() for path in files)
    assert b"Mira" in held
    assert WORDS.encode() not in held
    assert b"a-token-of-mine" not in held


def test_a_new_passphrase_signs_out_and_the_last_keeper_stays(household: Household) -> None:
    mira = household.everyone()[0].id
    household.sign_in("Mira", WORDS, "a", NOW)
    with pytest.raises(BadInput, match="There must be a keeper"):
        household.change(mira, "viewer")
    with pytest.raises(BadInput, match="There must be a keeper"):
        household.remove(mira)
    household.change(mira, "keeper", "quite another one")
    assert household.signed_in("a", NOW) is None
    assert household.sign_in("Mira", WORDS, "b", NOW) is None
    assert household.sign_in("Mira", "quite another one", "c", NOW) is not None


@pytest.mark.parametrize(
    ("name", "phrase", "says"),
    [
        ("", WORDS, "A name"),
        ("a\nb", WORDS, "A name"),
        ("x" * 41, WORDS, "A name"),
        ("Tom", "short", "at least 10"),
        ("Tom", "x" * 201, "at most"),
        ("MIRA", WORDS, "already"),
    ],
)
def test_a_person_that_cannot_be_is_refused(
    household: Household, name: str, phrase: str, says: str
) -> None:
    with pytest.raises(BadInput, match=says):
        household.add(name, "helper", phrase, NOW)
    assert len(household.everyone()) == 1

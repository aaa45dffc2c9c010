"""What is likely to be logged at a place, and the names to choose from."""

from datetime import date

from tests.makers import made

from quailwright.flock.fold import fold
from quailwright.guide.at_hand import at_hand, known_names
from quailwright.guide.told import field_words, in_a_line
from quailwright.journal.checks import field_notes
from quailwright.journal.entries import KINDS

FLOCK = fold(
    [
        made("place", place="pen", role="pen"),
        made("place", place="box", role="incubator"),
        made("group", group="hens", place="pen", hens=9, cocks=2, hatched_on="2026-10-01"),
        made("group", group="young", place="brooder", chicks=5, hatched_on="2027-04-28"),
        made("eggs_set", hatch="may", eggs=24, place="box", source="friend"),
        made("feed_given", feed="pellets", kg=1),
        made("feed_given", "2027-04-01", feed="crumb", kg=1),
    ]
)
ON = date(2027, 5, 3)


def asked_at(place: str, on: date = ON) -> dict[str, tuple[str, ...]]:
    """The kinds at hand at a place, with what they ask."""
    return {each.kind: each.asks for each in at_hand(FLOCK, place, on)}


def test_a_pen_of_layers_asks_for_eggs_first_and_for_its_own_classes() -> None:
    asked = asked_at("pen")
    assert next(iter(asked)) == "eggs_collected"
    assert asked["birds_died"] == ("hens", "cocks", "found")
    assert asked["feed_given"] == ("feed", "kg")
    assert asked["water_given"] == ("litres",)
    assert asked["temperature_seen"] == ("lowest_c", "highest_c")


def test_chicks_lay_no_eggs() -> None:
    asked = asked_at("brooder")
    assert "eggs_collected" not in asked
    assert asked["birds_died"] == ("chicks", "found", "together")


def test_a_machine_asks_for_weights_and_for_chicks_only_when_they_may_come() -> None:
    assert set(asked_at("box")) == {"eggs_weighed", "eggs_candled"}
    assert "chicks_hatched" in asked_at("box", date(2027, 5, 18))


def test_names_come_likeliest_first() -> None:
    assert known_names(FLOCK, "feed_given")["feed"] == ["pellets", "crumb"]
    assert known_names(FLOCK, "eggs_set")["place"] == ["box"]
    assert known_names(FLOCK, "eggs_set")["hatch"] == []


def test_every_field_of_every_kind_can_be_asked_for() -> None:
    for kind in KINDS:
        for note in field_notes(kind):
            assert field_words(note.name)
            assert note.takes != "entry" or (kind, note.name) == ("retract", "instead")
            assert (note.takes == "choice") == bool(note.choices)


def test_an_entry_in_a_line() -> None:
    assert in_a_line(made("eggs_collected", group="hens", eggs=12, cracked=1)) == (
        "eggs collected: hens, 12 eggs, 1 cracked"
    )
    assert in_a_line(made("care", task="feed_water", place="pen")) == "task done: feed water, pen"

"""The air of a hatch from the readings kept: gaps, places, and each instrument's own error."""

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from tests.makers import made

from quailwright.exchange.hatch_air import hatch_air, hatch_airs
from quailwright.flock.fold import fold
from quailwright.guide.hatch.air import Air
from quailwright.journal.entries import Entry
from quailwright.journal.readings import to_ms
from quailwright.journal.store import Store, open_store

SET_AT = datetime(2027, 5, 2, 19, tzinfo=UTC)
HOME = made("holding", "2027-01-01", timezone="Europe/Lisbon")


def at(day: float) -> datetime:
    return SET_AT + timedelta(days=day)


def setting(day: float = 0.0, name: str = "may", **about: Any) -> Entry:
    fields = {"hatch": name, "eggs": 24, "place": "box", "source": "post"} | about
    return made("eggs_set", at(day), **fields)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(str(tmp_path / "home.sqlite"), create=True) as opened:
        yield opened


def keep(
    store: Store,
    days: tuple[float, float],
    celsius: float | None,
    humidity: float | None,
    instrument: str = "",
    place: str = "box",
) -> None:
    """Readings every ten minutes from day to day."""
    count = round((days[1] - days[0]) * 144)
    moments = [to_ms(at(days[0] + step / 144)) for step in range(count)]
    with store.writing() as writer:
        writer.append_readings(place, instrument, moments, [celsius] * count, [humidity] * count)


def air_of(store: Store, day: float, *entries: Entry) -> Air:
    moment = at(day)
    flock = fold([HOME, setting(), *entries], moment)
    return hatch_air(store, flock, flock.hatches["may"], moment)


def instrument(name: str, place: str = "box", day: float = -30, **offsets: float) -> Entry:
    return made("instrument", at(day), instrument=name, place=place, **offsets)


def logged(air: Air) -> Sequence[tuple[float, float]]:
    """Stretches that hang together."""
    stretches: list[tuple[float, float]] = []
    for span in air.spans:
        if stretches and span.day_from == pytest.approx(stretches[-1][1]):
            stretches[-1] = stretches[-1][0], span.day_to
        else:
            stretches.append((span.day_from, span.day_to))
    return stretches


def test_without_readings_there_is_no_air(store: Store) -> None:
    assert air_of(store, 5) == Air([], moved_on=14.0)


def test_readings_become_spans_up_to_the_moment_asked(store: Store) -> None:
    keep(store, (0, 6), 37.6, 46.0)
    air = air_of(store, 2.01)
    ((first, last),) = logged(air)
    assert (first, last) == pytest.approx((0.0, 2.01))
    assert air.at(1.0) == pytest.approx((37.6, 46.0))
    assert air.has_humidity


def test_a_gap_stays_a_gap(store: Store) -> None:
    keep(store, (0, 2), 37.5, 45.0)
    keep(store, (3, 4), 37.5, 45.0)
    ((first, last),) = air_of(store, 4).gaps(4)
    assert (first, last) == pytest.approx((2.0, 3.0), abs=0.13)


def test_readings_of_before_of_elsewhere_and_of_a_later_hatch_do_not_count(store: Store) -> None:
    keep(store, (-3, 0), 30.0, 80.0)
    keep(store, (0, 5), 20.0, 60.0, place="pen")
    keep(store, (30, 32), 36.0, 60.0)
    assert air_of(store, 40).spans == []


def test_from_the_stop_of_turning_on_it_is_the_air_of_the_hatcher(store: Store) -> None:
    keep(store, (0, 16), 37.5, 45.0)
    keep(store, (0, 17), 37.0, 72.0, place="hatcher")
    moved = made("turning_stopped", at(13.5), hatch="may", place="hatcher")
    air = air_of(store, 17, moved)
    assert air.moved_on == pytest.approx(13.5)
    assert air.at(13.0) == pytest.approx((37.5, 45.0))
    assert air.at(15.0) == pytest.approx((37.0, 72.0))
    assert air.usual_humidity_pct == pytest.approx(45.0)
    begins = [span.day_from for span in air.spans]
    assert begins == sorted(begins)
    for span, after in zip(air.spans, air.spans[1:], strict=False):
        assert span.day_to <= after.day_from + 1e-9


def test_a_thermometer_known_to_be_off_is_put_right_and_a_hygrometer_is_left_as_shown(
    store: Store,
) -> None:
    keep(store, (0, 5), 38.0, 60.0)
    air = air_of(store, 5, instrument("dial", temperature_offset_c=0.5, humidity_offset_pct=15))
    assert air.at(2.0) == pytest.approx((37.5, 60.0))
    assert air.humidity_offset_pct == 15


def test_offsets_of_two_entries_are_both_known(store: Store) -> None:
    """A thermometer of its own, logged after the hygrometer, does not hide it."""
    keep(store, (0, 5), 38.0, 60.0)
    air = air_of(
        store, 5, instrument("old", day=-40, humidity_offset_pct=-9),
        instrument("new", temperature_offset_c=0.4),
    )  # fmt: skip
    assert air.humidity_offset_pct == -9
    assert air.at(2.0)[0] == pytest.approx(37.6)


def test_each_instrument_answers_for_its_own_readings(store: Store) -> None:
    """The machine's display reads 15 points low; a second, tested hygrometer stands beside it."""
    keep(store, (0, 5), 38.0, 45.0, "display")
    keep(store, (0, 5), 37.4, 60.0, "tested")
    air = air_of(
        store, 5, instrument("display", temperature_offset_c=0.6),
        instrument("tested", humidity_offset_pct=0, temperature_offset_c=0.0),
    )  # fmt: skip
    assert air.at(2.0) == pytest.approx((37.4, 60.0))
    assert (air.hygrometer, air.humidity_offset_pct) == ("tested", 0)


def test_an_instrument_that_was_logged_without_an_offset_does_not_borrow_one(store: Store) -> None:
    keep(store, (0, 5), 37.5, 45.0, "display")
    air = air_of(
        store, 5, instrument("display", temperature_offset_c=0.0),
        instrument("other", humidity_offset_pct=20),
    )  # fmt: skip
    assert (air.hygrometer, air.humidity_offset_pct) == ("display", None)


def test_hygrometers_that_nobody_checked_are_averaged(store: Store) -> None:
    keep(store, (0, 5), 37.5, 40.0, "one")
    keep(store, (0, 5), 37.5, 50.0, "two")
    air = air_of(store, 5)
    assert air.at(2.0)[1] == pytest.approx(45.0)
    assert (air.hygrometer, air.humidity_offset_pct) == ("", None)


def test_a_thermometer_without_humidity_and_the_reverse(store: Store) -> None:
    keep(store, (0, 2), 37.5, None)
    assert not air_of(store, 2).has_humidity
    keep(store, (2, 4), None, 45.0)
    air = air_of(store, 4)
    assert air.has_humidity
    assert air.gaps(4.0)[-1] == pytest.approx((2.0, 4.0), abs=0.13)


def test_days_run_through_a_change_of_clocks(store: Store) -> None:
    """Set on 26 March 2027 in Lisbon, two days before clocks go an hour ahead."""
    spring = datetime(2027, 3, 26, 20, tzinfo=UTC)
    moments = [to_ms(spring + timedelta(minutes=10 * step)) for step in range(144 * 5)]
    with store.writing() as writer:
        writer.append_readings("box", "", moments, [37.5] * len(moments), [45.0] * len(moments))
    entry = made("eggs_set", "2027-03-26T20:00+00:00", hatch="may", eggs=9, place="box", source="s")
    moment = spring + timedelta(days=5)
    flock = fold([HOME, entry], moment)
    air = hatch_air(store, flock, flock.hatches["may"], moment)
    ((first, last),) = logged(air)
    assert (first, last) == pytest.approx((0.0, 5.0), abs=0.13)


def test_of_earlier_hatches_only_those_that_tell_are_read(store: Store) -> None:
    keep(store, (-90, 5), 37.5, 45.0)
    keep(store, (-90, 5), 37.5, 45.0, place="barn")
    flock = fold(
        [
            HOME,
            setting(-90, "same both"),
            setting(-60, "same source", place="barn"),
            setting(-50, "same machine", source="hill"),
            setting(-40, "neither", place="barn", source="hill"),
            setting(),
            setting(2, "after"),
        ],
        at(5),
    )
    airs = hatch_airs(store, flock, flock.hatches["may"], at(5))
    assert sorted(airs) == ["may", "same both", "same machine", "same source"]

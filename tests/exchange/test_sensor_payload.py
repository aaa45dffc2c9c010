"""Messages of devices made readings: the standards' own examples, and whatever else may come."""

import json
import math
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quailwright.exchange.sensor_guess import guess
from quailwright.exchange.sensor_payload import (
    LONGEST_PAYLOAD,
    USUAL,
    How,
    Measured,
    pointer_problem,
    read_payload,
)
from quailwright.husbandry import facts
from quailwright.journal.readings import from_ms, to_ms

NOW = datetime(2027, 5, 3, 7, 30, tzinfo=UTC)
NUMBER, SENML = How("number"), How("senml")

# RFC 8428 (Jennings et al., 2018, Sensor Measurement Lists), section 5.1.1, the first example.
ONE_DATAPOINT = b'[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]'
# Section 5.1.3: humidity with the position, four times a minute apart; 5.1.4 tells it resolved.
MULTIPLE_MEASUREMENTS = b"""[
  {"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":20},
  {"u":"lon","v":24.30621}, {"u":"lat","v":60.07965}, {"t":60,"v":20.3},
  {"u":"lon","t":60,"v":24.30622}, {"u":"lat","t":60,"v":60.07965}, {"t":120,"v":20.7},
  {"u":"lon","t":120,"v":24.30623}, {"u":"lat","t":120,"v":60.07966}, {"u":"%EL","t":150,"v":98},
  {"t":180,"v":21.2}, {"u":"lon","t":180,"v":24.30628}, {"u":"lat","t":180,"v":60.07967}]"""
# Section 5.1.2, the second example, its current made a temperature: names, relative times.
RELATIVE = b"""[{"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"Cel","bver":5,
  "n":"lid","v":37.1}, {"n":"lid","t":-5,"v":37.2}, {"n":"lid","t":-4,"v":37.3}]"""


def values(payload: bytes, how: How) -> list[tuple[float | None, float | None]]:
    return [(one.temperature_c, one.humidity_pct) for one in read_payload(payload, how, NOW)[0]]


def why(payload: bytes, how: How) -> str:
    found = read_payload(payload, how, NOW)
    assert found.readings == ()
    return found.refused[0]


def test_senml_one_datapoint_rfc_8428() -> None:
    assert read_payload(ONE_DATAPOINT, SENML, NOW).readings == (
        Measured(to_ms(NOW), 23.1, None, own_time=False),
    )


def test_senml_multiple_measurements_rfc_8428() -> None:
    found = read_payload(MULTIPLE_MEASUREMENTS, SENML, NOW)
    assert found.refused == ()
    resolved = [(one.at_ms / 1000, one.humidity_pct) for one in found.readings]
    assert resolved == [
        (1.320067464e09, 20), (1.320067524e09, 20.3), (1.320067584e09, 20.7),
        (1.320067644e09, 21.2),
    ]  # fmt: skip
    assert from_ms(found.readings[0].at_ms) == datetime(2011, 10, 31, 13, 24, 24, tzinfo=UTC)
    assert all(one.own_time for one in found.readings)


def test_senml_times_names_and_versions_rfc_8428() -> None:
    found = read_payload(RELATIVE, SENML, NOW).readings
    assert [(one.at_ms, one.temperature_c) for one in found] == [
        (1276020071001, 37.2), (1276020072001, 37.3), (1276020076001, 37.1),
    ]  # fmt: skip
    # Below 2**28 a time is relative to the present (section 4.5.3).
    ago = b'[{"u":"Cel","v":37,"t":-60},{"u":"%RH","v":45,"t":-60}]'
    assert read_payload(ago, SENML, NOW).readings == (
        Measured(to_ms(NOW - timedelta(minutes=1)), 37.0, 45.0, own_time=False),
    )
    assert values(b'[{"u":"K","v":310.15}]', SENML) == [(37.0, None)]
    assert values(b'[{"bv":37,"u":"Cel","v":0.5}]', SENML) == [(37.5, None)]
    # A record with a field that must be understood, and is not (section 4.4); a newer version.
    assert "needs x_" in why(b'[{"u":"Cel","v":37,"x_":1}]', SENML)
    assert "newer" in why(b'[{"bver":11,"u":"Cel","v":37}]', SENML)
    several = b'[{"n":"lid","u":"Cel","v":37},{"n":"rim","u":"Cel","v":36}]'
    assert "several of one kind (lid, rim)" in why(several, SENML)
    assert values(several, How("senml", temperature="rim")) == [(36.0, None)]
    share = b'[{"n":"damp","u":"/","v":0.45}]'
    assert "no temperature" in why(share, SENML)
    assert values(share, How("senml", humidity="damp")) == [(None, 45.0)]


@pytest.mark.parametrize(
    ("pointer", "expected"),
    [("", None), ("/foo/0", "bar"), ("/", 0), ("/a~1b", 1), ("/c%d", 2), ("/e^f", 3), ("/g|h", 4),
     ("/i\\j", 5), ("/k\"l", 6), ("/ ", 7), ("/m~0n", 8)],
)  # fmt: skip
def test_json_pointers_rfc_6901(pointer: str, expected: Any) -> None:
    """RFC 6901 (Bryan et al., 2013), section 5, its own document and pointers."""
    document = {
        "foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4, "i\\j": 5, "k\"l": 6,
        " ": 7, "m~n": 8,
    }  # fmt: skip
    assert pointer_problem(pointer) == ""
    found = read_payload(json.dumps(document).encode(), How("json", temperature=pointer), NOW)
    if expected in range(9):
        assert found.readings[0].temperature_c == expected
    else:
        assert "is not a number" in found.refused[0]


def test_pointers_that_are_none() -> None:
    for pointer in ("temperature", "/a~2", "/x~", "/" + "a" * 300):
        assert pointer_problem(pointer)


@pytest.mark.parametrize(
    ("payload", "how", "celsius"),
    [
        (b"37.5", NUMBER, 37.5),
        (b" 37,5\n", NUMBER, 37.5),
        (b"99.5", How("number", temperature_unit="degF"), 37.5),
        (b"310.65", How("number", temperature_unit="K"), 37.5),
        (b'{"temperature": "37.5"}', USUAL, 37.5),
    ],
)
def test_units(payload: bytes, how: How, celsius: float) -> None:
    """0 °C is 273.15 K and 32 °F, 1.8 °F a kelvin, exactly (BIPM, The International System of
    Units, 9th edition 2019, and by definition)."""
    assert values(payload, how) == [(celsius, None)]


@pytest.mark.parametrize(
    ("time", "at"),
    [
        ("2027-05-02T21:00:00+01:00", datetime(2027, 5, 2, 20, tzinfo=UTC)),
        ("2027-05-02T20:00:00.250Z", datetime(2027, 5, 2, 20, 0, 0, 250_000, tzinfo=UTC)),
        (1_809_288_000, datetime(2027, 5, 2, 20, tzinfo=UTC)),
        (1_809_288_000.25, datetime(2027, 5, 2, 20, 0, 0, 250_000, tzinfo=UTC)),
        (1_809_288_000_250, datetime(2027, 5, 2, 20, 0, 0, 250_000, tzinfo=UTC)),
        ("1809288000", datetime(2027, 5, 2, 20, tzinfo=UTC)),
        ("2011-10-31T13:24:24Z", datetime(2011, 10, 31, 13, 24, 24, tzinfo=UTC)),
    ],
)
def test_times(time: object, at: datetime) -> None:
    sent = json.dumps({"temperature": 20, "time": time}).encode()
    assert read_payload(sent, USUAL, NOW).readings == (Measured(to_ms(at), 20.0, None, True),)


@pytest.mark.parametrize(
    ("payload", "how", "said"),
    [
        (b"nan", NUMBER, "'nan' is not a number."),
        (b"inf", NUMBER, "not a number"),
        (b"1e99", NUMBER, "is not possible"),
        (b"\xff\xfe", NUMBER, "no text"),
        (b"", NUMBER, "not a number"),
        (b'{"temperature": NaN}', USUAL, "not JSON"),
        (b'{"temperature": true}', USUAL, "not a number"),
        (b'{"temperature": [37]}', USUAL, "not a number"),
        (b'{"temperature": 1' + b"0" * 400 + b"}", USUAL, ""),
        (b'[{"n":"a","u":"Cel","v":37,"t":1e306}]', USUAL, "too large"),
        (b'[{"n":"a","u":"Cel","v":37,"t":-1e306}]', USUAL, "too large"),
        (b'{"temperature": 850}', USUAL, "850 °C is not possible: it must be -60 to 90 °C."),
        (b'{"humidity": 120}', USUAL, "humidity of 120 % is not possible"),
        (b'{"other": 1}', USUAL, "There is no value at /temperature, /humidity."),
        (b'{"temperature": null}', USUAL, "There is no value"),
        (b"[" * 50_000, USUAL, "not JSON"),
        (b"[]", USUAL, "empty"),
        (b"x" * (LONGEST_PAYLOAD + 1), USUAL, "too long"),
        (b'{"temperature": 20, "time": "2027-05-02T20:00:00"}', USUAL, "has no offset"),
        (b'{"temperature": 20, "time": "yesterday"}', USUAL, "is no time"),
        (b'{"temperature": 20, "time": "2027-05-05T00:00Z"}', USUAL, "more than a day ahead"),
        (b'{"temperature": 20, "time": 1e300}', USUAL, "more than a day ahead"),
        (b'{"temperature": 20, "time": 3600}', USUAL, "clock is not set"),
    ],
)
def test_what_is_refused_is_said(payload: bytes, how: How, said: str) -> None:
    assert said in why(payload, how)


def test_of_a_list_each_part_that_is_right_counts() -> None:
    sent = b'[{"temperature": 20}, {"temperature": 500}, {"temperature": 21, "humidity": 50}]'
    found = read_payload(sent, USUAL, NOW)
    assert [one.temperature_c for one in found.readings] == [20, 21]
    assert len(found.refused) == 1
    assert values(b"[21.5, 45]", How("json", temperature="/0", humidity="/1")) == [(21.5, 45.0)]


_HOWS = st.builds(
    How,
    st.sampled_from(["number", "json", "senml"]),
    st.sampled_from(["temperature", "humidity"]),
    st.sampled_from([None, "", "/temperature", "/0/t", "/v"]),
    st.sampled_from([None, "/humidity", "h"]),
    st.sampled_from([None, "/time", "/t"]),
    st.sampled_from(["Cel", "degF", "K"]),
    st.sampled_from(["%RH", "/"]),
)
_VALUES = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=12)
    | st.sampled_from(["Cel", "%RH", "2027-05-02T20:00:00Z", 1e308, 1809288000]),
    lambda inner: st.lists(inner, max_size=4)
    | st.dictionaries(
        st.sampled_from(["temperature", "humidity", "time", "t", "v", "u", "n", "bn", "bt", "bv",
                         "bu", "bver"]),
        inner, max_size=6,
    ),
    max_leaves=12,
)  # fmt: skip


@settings(max_examples=80)
@given(
    st.binary(max_size=60)
    | st.text(max_size=40).map(str.encode)
    | _VALUES.map(lambda value: json.dumps(value).encode()),
    _HOWS,
)
def test_any_bytes_give_readings_within_bounds_or_a_sentence(payload: bytes, how: How) -> None:
    found = read_payload(payload, how, NOW)
    assert found.readings or found.refused
    assert all(found.refused)
    low, high = facts.spread("sensors.temperature_possible")
    for one in found.readings:
        assert one.temperature_c is not None or one.humidity_pct is not None
        assert one.at_ms <= to_ms(NOW + timedelta(days=1))
        for value in (one.temperature_c, one.humidity_pct):
            assert value is None or math.isfinite(value)
        assert one.temperature_c is None or low <= one.temperature_c <= high
    guess(payload, "shed/box", NOW)


@pytest.mark.parametrize(
    ("payload", "topic", "role", "celsius", "percent"),
    [
        (b"37.5", "shed/box", None, 37.5, None),
        (b"99.5", "shed/box", "incubator", 37.5, None),
        (b"45", "shed/box/humidity", None, None, 45.0),
        (b'{"temp_f": 99.5, "rh": 0.45}', "a", None, 37.5, 45.0),
        (b'{"air": {"Temperature": 21.5, "Humidity": 55}, "on": 1}', "a", None, 21.5, 55.0),
        (ONE_DATAPOINT, "a", None, 23.1, None),
    ],
)
def test_a_guess_from_a_message(
    payload: bytes, topic: str, role: str | None, celsius: float | None, percent: float | None
) -> None:
    found = guess(payload, topic, NOW, role)
    assert found.measured is not None
    assert (found.measured.temperature_c, found.measured.humidity_pct) == (celsius, percent)
    assert "looks like" in found.words


def test_no_guess_of_what_is_no_air() -> None:
    for payload in (b"on", b'{"power": 12}', b"[]", b"\xff", b"[" * 9000):
        assert guess(payload, "shed/lamp", NOW).how is None

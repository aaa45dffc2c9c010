"""Brokers and topics as a keeper types them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt.client import topic_matches_sub

from quailwright.exchange.sensor_payload import USUAL
from quailwright.exchange.sensor_settings import Broker, Mapped, overlap, parsed_address
from quailwright.journal.findings import BadInput


@pytest.mark.parametrize(
    ("typed", "broker"),
    [
        ("192.0.2.7", Broker("192.0.2.7", 1883)),
        ("mqtt://broker.example:1999/", Broker("broker.example", 1999)),
        ("mqtts://broker.example", Broker("broker.example", 8883, tls=True)),
        ("mqtt://[2001:db8::7]:1883", Broker("2001:db8::7", 1883)),
    ],
)
def test_addresses(typed: str, broker: Broker) -> None:
    """Ports by the IANA registry: mqtt 1883, secure-mqtt 8883."""
    assert parsed_address(typed) == broker


@pytest.mark.parametrize("typed", ["", "http://a", "a b", "mqtt://a:0", "a:99999", "x" * 300])
def test_addresses_that_are_none(typed: str) -> None:
    with pytest.raises(BadInput):
        parsed_address(typed)


_LEVELS = st.lists(st.sampled_from(["a", "b", ""]), min_size=1, max_size=4)
_FILTERS = st.tuples(
    st.lists(st.sampled_from(["a", "b", "+", ""]), min_size=1, max_size=4), st.booleans()
).map(lambda made: "/".join([*made[0], "#"] if made[1] else made[0]))


@given(_FILTERS, _FILTERS, _LEVELS)
def test_filters_that_match_one_topic_overlap(one: str, other: str, levels: list[str]) -> None:
    """Held against the client library's own matching (MQTT 5.0, section 4.7)."""
    topic = "/".join(levels)
    if topic and topic_matches_sub(one, topic) and topic_matches_sub(other, topic):
        assert overlap(one, other)


def test_filters_that_do_not_overlap() -> None:
    for one, other in (("a/b", "a/c"), ("a/+", "a/b/c"), ("a/#", "b/#"), ("+/x", "a/y")):
        assert not overlap(one, other)


def test_a_topic_without_the_level_that_names_its_instrument_has_the_usual_one() -> None:
    mapped = Mapped(1, "shed/#", "box", "probe", USUAL, instrument_level=3)
    assert mapped.instrument_of("shed/box/rim") == "rim"
    for topic in ("shed/box", "shed/box/", "shed/box/ ", "shed/box/\x1b"):
        assert mapped.instrument_of(topic) == "probe"
    assert mapped.instrument_of(f"shed/box/{'x' * 79} y") == "x" * 79

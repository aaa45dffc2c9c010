"""`calendar`: the file is its own memory, and no other file is touched."""

from pathlib import Path

from ical.calendar_stream import IcsCalendarStream
from tests.calendar_client import CalendarApp
from tests.cli.conftest import Quail


def read(path: Path) -> str:
    """The file, which a parser that goes by the letter has read."""
    text = path.read_bytes().decode()
    IcsCalendarStream.calendar_from_ics(text)
    return text


def test_the_file_remembers_what_it_told(kept: Quail, tmp_path: Path) -> None:
    path, phone = tmp_path / "quail.ics", CalendarApp()
    first = kept("calendar", "quail.ics", "--on", "2027-05-03T09:00", "--round", "07:30")
    assert "events; " in first.out
    assert " 0 changed, 0 called off." in first.out
    phone.take(read(path))
    assert phone.of("Round of the birds")
    step = phone.uid_of("Stop turning: may")
    again = kept("calendar", "quail.ics", "--on", "2027-05-03T09:00", "--round", "07:30")
    assert "; 0 new, 0 changed, 0 called off." in again.out
    candled = kept("log", "eggs_candled", "hatch=may", "clear=2", "dead=0", "at=2027-05-09T20:00")
    assert candled.code == 0
    closed = kept("log", "hatch_closed", "hatch=may", "at=2027-05-10T20:00")
    assert closed.code == 0, closed.err
    later = kept("calendar", "quail.ics", "--on", "2027-05-10T21:00", "--kinds", "hatch,held")
    assert later.code == 0, later.err
    phone.take(read(path))
    assert phone.known[step].cancelled
    assert phone.known[step].sequence == 1
    assert phone.of("Done: Candle the eggs: may").sequence == 1
    assert phone.of("Last day of quarantine: pen")
    assert not any("Round" in one.summary for one in phone.shown.values())
    third = kept("calendar", "quail.ics", "--on", "2027-05-11T21:00", "--kinds", "hatch,held")
    assert " 0 changed" in third.out
    assert "Called off: Stop turning: may" in read(path)
    assert [name.name for name in tmp_path.iterdir() if name.suffix == ".ics"] == ["quail.ics"]


def test_a_file_that_is_not_of_this_flock_is_left(kept: Quail, tmp_path: Path) -> None:
    other = tmp_path / "other.ics"
    for content in (b"", b"my shopping list", b"BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n"):
        other.write_bytes(content)
        refused = kept("calendar", "other.ics")
        assert refused.code == 2
        assert "no calendar that quailwright wrote" in refused.err
        assert other.read_bytes() == content
    other.unlink()
    assert kept("calendar", "other.ics").code == 0
    before = other.read_bytes()
    assert kept("log", "--flock", "second.sqlite", "holding", "name=Second").code == 0
    refused = kept("calendar", "--flock", "second.sqlite", "other.ics")
    assert refused.code == 2
    assert "another flock" in refused.err
    assert other.read_bytes() == before
    assert kept("calendar", "missing/other.ics").code == 2


def test_standard_output_and_json_tell_as_of_then(kept: Quail) -> None:
    told = kept("calendar", "--json", "--on", "2027-05-03T09:00", "--round", "7:30").json
    assert told["timezone"] == "Europe/Lisbon"
    kinds = {one["kind"] for one in told["events"]}
    assert {"hatch", "held", "care", "round"} <= kinds
    step = next(one for one in told["events"] if one["summary"] == "Stop turning: may")
    assert step["start"] == "2027-05-16T20:00:00+01:00"
    assert step["rings_min_before"] == 60
    before = kept("calendar", "--json", "--on", "2027-05-01").json
    assert not any(one["kind"] == "hatch" for one in before["events"])
    shown = kept("calendar", "--on", "2027-05-03").out
    assert "Sun 16 May 20:00  Stop turning: may" in shown


def test_a_flock_that_told_no_time_zone_has_instants_of_the_world(
    quail: Quail, tmp_path: Path
) -> None:
    for words in (
        "place place=box role=incubator at=2027-05-01",
        "eggs_set hatch=may eggs=24 place=box source=friend at=2027-05-02T20:00+01:00",
    ):
        assert quail("log", *words.split()).code == 0
    assert quail("calendar", "quail.ics", "--on", "2027-05-03", "--round", "07:30").code == 0
    text = read(tmp_path / "quail.ics")
    assert "TZID" not in text
    assert "DTSTART:20270516T190000Z" in text
    assert "DTSTART:20270501T073000Z" in text


def test_nonsense_is_refused_in_a_sentence(kept: Quail) -> None:
    for words, sentence in (
        (("--kinds", "weather"), "Choose of: hatch, plan, orders"),
        (("--kinds", ","), "Choose at least one kind"),
        (("--round", "noon"), "'noon' is not a clock time"),
        (("--address", "javascript:alert(1)"), "is no address of your pages"),
    ):
        refused = kept("calendar", *words)
        assert refused.code == 2
        assert sentence in refused.err

"""Targets of scripts/fuzz: what is typed or sent: entries, readings, briefs, paper typed back."""

import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date
from typing import Any

from scripts import fuzz_inputs as inputs
from scripts.fuzz_common import FLOCK, NOW, ON, as_file, or_sentence, outcome, refused, scratch
from tests.makers import uid

from quailwright.journal.findings import QuailwrightError

# The journal.


def journal_target() -> Callable[[bytes], bool]:
    from quailwright.exchange.record import fitting, kept_at_hand
    from quailwright.flock.digest import digest
    from quailwright.flock.fold import fold
    from quailwright.guide.round import todays_round
    from quailwright.journal.jsonl import parse_lines, write_lines

    kept = kept_at_hand(FLOCK, NOW)

    def take(data: bytes) -> bool:
        numbered, findings = parse_lines(data)
        if findings:
            return outcome(None, findings)
        entries = [entry for _, entry in numbered]
        again, none = parse_lines(b"".join(write_lines(entries)))
        assert not none, "what was written is not read"
        assert [entry for _, entry in again] == entries, "not as it was written"
        # What another phone sends late is kept whatever it says.
        late = fold([*FLOCK, *entries])
        digest(late)
        todays_round(late, ON, ())
        fresh, after = fitting(kept, entries)
        if fresh:
            todays_round(after.as_of(NOW), ON, ())
        return True

    return or_sentence(take)


def journal_seeds() -> Iterator[bytes]:
    yield from inputs.sample_entries()
    yield b"\n".join(inputs.sample_entries())
    yield from (
        each for each in inputs.texts_of("tests/journal/test_bad_input.py",
        "tests/journal/test_jsonl.py", "tests/cli/test_bad_input.py") if b"{" in each
    )  # fmt: skip


def log_target() -> Callable[[bytes], bool]:
    from quailwright.cli.log import _split
    from quailwright.exchange.record import fitting, kept_at_hand, typed_entry

    kept = kept_at_hand(FLOCK, NOW)

    def take(data: bytes) -> bool:
        kind, *fields = data.decode(errors="surrogateescape").split("\n")
        entry = typed_entry({"kind": kind} | _split(fields), NOW, uid(990_001), "Europe/Lisbon")
        fitting(kept, [entry])
        return True

    return or_sentence(take)


def log_seeds() -> Iterator[bytes]:
    import msgspec

    for line in inputs.sample_entries():
        fields = msgspec.json.decode(line)
        typed = [f"{name}={value}" for name, value in fields.items() if name not in ("kind", "id")]
        yield "\n".join([fields["kind"], *typed]).encode()
    for text in inputs.texts_of("tests/cli/test_bad_input.py", "tests/cli/test_log.py"):
        if b"=" in text:
            yield text.replace(b" ", b"\n")


# Readings and sensors.


def readings_target() -> Callable[[bytes], bool]:
    from quailwright.exchange.readings_csv import import_csv
    from quailwright.exchange.readings_layout import Told
    from quailwright.exchange.readings_taken import taken_shape
    from quailwright.journal.store import open_store

    folder = scratch()
    store = open_store(str(folder / "flock.sqlite"), create=True)
    told = [
        Told(home_zone="Europe/Lisbon", role="incubator"),
        Told("America/New_York", units="f", dates="mdy"),
        Told(home_zone="Australia/Lord_Howe", dates="dmy", role="pen"),
    ]

    def take(data: bytes) -> bool:
        with as_file(folder, data, ".csv") as path:
            done = import_csv(store, path, "box", "", told[len(data) % 3], dry_run=True, now=NOW)
        taken_shape(done, "box", "", True)
        return True

    return or_sentence(take)


def readings_seeds() -> Iterator[bytes]:
    names = ("tests/exchange/test_readings_csv.py", "tests/cli/test_readings.py")
    yield from (each for each in inputs.texts_of(*names) if b"," in each or b";" in each)
    yield from inputs.examples_of("readings.md")
    times = ("2027-05-02T20:00Z", "2.5.2027 20:00", "05/02/2027 8:00 PM", "1809288000")
    for at, sign in zip(times, ",;\t,", strict=True):
        head = sign.join(("Time", "Temperature (°C)", "RH %", "sensor"))
        rows = "\n".join(
            sign.join((at, f"3{n},5" if sign == ";" else f"3{n}.5", "55", "a")) for n in range(4)
        )
        yield f"{head}\n{rows}\n".encode()
        yield f"{head}\n{rows}\n".encode("utf-16")


def payload_target() -> Callable[[bytes], bool]:
    """A topic on the first line, then what was sent, read in each way and by a guess."""
    from quailwright.exchange import sensor_settings as settings
    from quailwright.exchange.mqtt import _hear, _in_a_sentence
    from quailwright.exchange.sensor_guess import guess
    from quailwright.exchange.sensor_keep import Arrived, Instants
    from quailwright.exchange.sensor_payload import USUAL, How, pointer_problem, read_payload
    from quailwright.language import say

    ways = (
        USUAL, How("number"), How("number", shows="humidity", humidity_unit="/"), How("senml"),
        How("json", temperature="/0/a~1b", humidity="/h", temperature_unit="degF"),
        How("json", temperature="", time="/t", temperature_unit="K"), How("senml", temperature="t"),
    )  # fmt: skip
    heard: dict[str, Any] = {}

    def take(data: bytes) -> bool:
        first, _, payload = data.partition(b"\n")
        topic = first.decode(errors="replace")
        _hear(heard, topic, payload, NOW)
        for check in (settings.parsed_address, settings._check_filter, settings._check_name):
            try:
                check(topic)
            except QuailwrightError as error:
                refused(error)
        pointer_problem(topic)
        settings.overlap(topic, topic)
        for level in (None, 1, 3):
            mapped = settings.Mapped(1, topic, "box", "probe", USUAL, level)
            name = mapped.instrument_of(topic)
            assert 1 <= len(name) <= settings.LONGEST_NAME
        guessed = guess(payload, topic, NOW, "incubator")
        some = False
        for how in (*ways, guessed.how or USUAL):
            found = read_payload(payload, how, NOW)
            assert found.readings or found.refused, "neither readings nor a sentence"
            for sentence in found.refused:
                refused(QuailwrightError(say(sentence)))
            Instants().apart(Arrived("box", "probe", found.readings))
            some = some or bool(found.readings)
        _in_a_sentence(QuailwrightError("x"))
        return some

    return take


def payload_seeds() -> Iterator[bytes]:
    names = ("sensor_payload", "mqtt", "sensor_keep", "sensor_settings")
    for text in inputs.texts_of(*(f"tests/exchange/test_{name}.py" for name in names)):
        if text[:1] in b"[{0123456789-":
            yield b"shed/box/temperature\n" + text
    for text in inputs.examples_of("sensors.md"):
        yield b"shed/box/temperature\n" + text
    yield b'a/b\n{"temperature": 37.5, "humidity": "55", "time": "2027-05-02T20:00:00Z"}'
    yield b'a/b\n[{"bn":"x","bt":1809288000,"n":"t","u":"Cel","v":37},{"n":"h","u":"%RH","v":5}]'
    yield b"a/b\n37,5"
    yield b"mqtts://user@[::1]:8883/\n1e400"
    yield b"+/x/#\n"


# Briefs.


def brief_target() -> Callable[[bytes], bool]:
    """Lines that begin with `#!` are what is told otherwise beside the file."""
    from quailwright.exchange.plan_asked import brief_of, changed, questions
    from quailwright.flock.fold import fold
    from quailwright.planning.brief import completed, read_brief, taken_for_granted

    flock = fold(FLOCK, NOW)

    def take(data: bytes) -> bool:
        lines = data.split(b"\n")
        changes = [line[2:].decode(errors="replace") for line in lines if line.startswith(b"#!")]
        brief, findings = read_brief(data, changes)
        if brief is None:
            return outcome(None, findings)
        whole, findings = completed(brief, flock, ON)
        if findings:
            return outcome(None, findings)
        taken_for_granted(whole)
        return True

    def typed(data: bytes) -> bool:
        """The same typed into the page: name=value lines."""
        told = dict(
            line.split("=", 1) for line in data.decode(errors="replace").split("\n") if "=" in line
        )
        told = {name.strip(): value.strip() for name, value in told.items()}
        made = brief_of(told)
        brief, findings = read_brief(made)
        if brief is None:
            return outcome(None, findings)
        whole, findings = completed(brief, flock, ON)
        if not findings:
            changed(made, whole, told, told.get("machine_eggs", ""))
        questions(flock, ON)
        return True

    first, second = or_sentence(take), or_sentence(typed)

    def both(data: bytes) -> bool:
        one = first(data)
        return second(data) or one

    return both


def offers_target() -> Callable[[bytes], bool]:
    import numpy as np

    from quailwright.exchange.offers_shape import offers_shape
    from quailwright.flock.fold import fold
    from quailwright.planning.offers import answer, read_offers

    flock = fold(FLOCK, NOW)
    answered: set[bytes] = set()

    def take(data: bytes) -> bool:
        asked, findings = read_offers(data)
        if asked is None:
            return outcome(None, findings)
        if len(asked.offers) > 3:
            return True
        # Comparing takes a while: one of each shape.
        shape = re.sub(rb"\d+", b"0", data)
        if shape not in answered:
            answered.add(shape)
            offers_shape(answer(asked, flock, ON, np.random.default_rng(1)), ON)
        return True

    return or_sentence(take)


def ration_target() -> Callable[[bytes], bool]:
    from quailwright.exchange.ration_shape import ration_shape
    from quailwright.exchange.ration_told import ration_asked, ration_of
    from quailwright.flock.fold import fold

    flock = fold(FLOCK, NOW)

    def take(data: bytes) -> bool:
        asked = ration_asked("The brief", data, flock)
        if len(asked.question.choices) <= 6 and b"scoop" not in data:
            ration_shape(asked, ration_of(asked))
        return True

    return or_sentence(take)


def blend_target() -> Callable[[bytes], bool]:
    from quailwright.exchange.blend_told import blend_of, blend_shape, said
    from quailwright.flock.fold import fold

    flock = fold(FLOCK, NOW)

    def take(data: bytes) -> bool:
        blend = blend_of("The brief", data, flock, ON)
        blend_shape(blend)
        said(blend)
        return True

    return or_sentence(take)


def match_target() -> Callable[[bytes], bool]:
    from quailwright.exchange.tables_in_match import match_text, read_match

    def take(data: bytes) -> bool:
        match = read_match(data, "match.toml")
        assert read_match(match_text(match).encode(), "again") == match, "not as it was written"
        return True

    return or_sentence(take)


def match_seeds() -> Iterator[bytes]:
    yield from inputs.examples_of("tables.md")
    yield from (
        each for each in inputs.texts_of("tests/exchange/test_tables_in.py") if b"=" in each
    )
    yield (
        b'sheet = "S"\nhead = [1, 2]\nkind = "eggs_collected"\ndown = ["A"]\ndates = "dmy"\n'
        b'year = 2027\ndecimal = ","\n[columns]\nA = "day"\nB = "eggs"\n[always]\ngroup = "hens"\n'
        b'[names]\n"pen A" = "hens"\n[wide]\nfield = "eggs"\nname = "group"\n[wide.columns]\n'
        b'C = "hens"\n[[first]]\nkind = "group"\ngroup = "x"\nat = "2027-01-01"\n'
    )


# Paper typed back.


def _typed(data: bytes) -> dict[str, str]:
    lines = (line.partition("=") for line in data.decode(errors="replace").split("\n"))
    return {name: value for name, _, value in lines}


def lid_target() -> Callable[[bytes], bool]:
    from quailwright.exchange.desk import Desk
    from quailwright.exchange.hatch_told import hatch_told
    from quailwright.exchange.lid import lid_of
    from quailwright.exchange.lid_back import entries_back, lid_back
    from quailwright.exchange.record import fitting, kept_at_hand
    from quailwright.journal.store import open_store

    store = open_store(str(scratch() / "flock.sqlite"), create=True)
    with store.writing() as writer:
        writer.append(FLOCK, NOW)
    desk, kept = Desk(store), kept_at_hand(FLOCK, NOW)
    flock = desk.flock(NOW)
    form = lid_back(flock, lid_of(flock, hatch_told(store, flock, "may", NOW)), ON)
    us = replace(form, units="us")

    def take(data: bytes) -> bool:
        typed = _typed(data)
        form_id = typed.get("form", uid(7))
        for each in (form, us):
            fitting(kept, entries_back(each, typed, form_id, "Tom", NOW, desk.known(NOW)))
        return True

    return or_sentence(take)


def lid_seeds() -> Iterator[bytes]:
    yield (
        b"form=0191d5a0-5f5e-7c3a-9d52-3f0c5a1b2c3d\nweighed|1|eggs=24\nweighed|1|total_g=254,5\n"
        b"weighed|1|on=2027-05-03\ncandled|0|clear=3\ncandled|0|dead=0\ncandled|0|on=2027-05-03"
    )
    yield b"turns|2027-05-01=3\nlowest|2027-05-02=37,2\nhighest|2027-05-02=38\nturns|2027-05-02="


def week_target() -> Callable[[bytes], bool]:
    from quailwright.exchange.paper_back import entries_back, week_back
    from quailwright.exchange.record import fitting, kept_at_hand

    kept = kept_at_hand(FLOCK, NOW)
    flock = kept.as_of(NOW)
    form = week_back(flock, date(2027, 4, 27), ON)

    def take(data: bytes) -> bool:
        typed = _typed(data)
        form_id = typed.get("form", uid(7))
        entries = entries_back(form, typed, form_id, "Tom", NOW, "Europe/Lisbon", kept.facts)
        fitting(kept, entries)
        return True

    return or_sentence(take)


def week_seeds() -> Iterator[bytes]:
    yield (
        b"form=0191d5a0-5f5e-7c3a-9d52-3f0c5a1b2c3d\neggs|2027-04-30|hens=7\n"
        b"feed|2027-04-30|pellets=0,5\nwater|2027-04-30|pen=1.5\ndead|0|count=1\n"
        b"dead|0|day=2027-04-30\ndead|0|who=hens|hens"
    )

"""Readings from CSV: every common shape reads to the same, and what cannot be told is refused."""

import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from dateutil import tz
from hypothesis import given
from hypothesis import strategies as st

from quailwright.exchange.readings_csv import Imported, import_csv
from quailwright.exchange.readings_layout import Told
from quailwright.journal.findings import BadInput
from quailwright.journal.readings import Kept, from_ms
from quailwright.journal.store import Store, open_store

LISBON = Told(home_zone="Europe/Lisbon", role="incubator")
PEN = Told(home_zone="Europe/Lisbon", role="pen")
Row = tuple[str, float | None, float | None]

# What every file of the zoo says: two readings on a summer evening in Lisbon (UTC+1).
EVENING: list[Row] = [
    ("2027-05-20T19:00:00+00:00", 37.5, 45.0),
    ("2027-05-20T19:10:00+00:00", 37.7, 46.5),
]


@pytest.fixture(scope="session")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty flock file, made once."""
    path = tmp_path_factory.mktemp("readings") / "flock.sqlite"
    open_store(str(path), create=True).close()
    return path


@pytest.fixture
def store(template: Path, tmp_path: Path) -> Iterator[Store]:
    """An empty flock."""
    path = tmp_path / "flock.sqlite"
    path.write_bytes(template.read_bytes())
    with open_store(str(path)) as opened:
        yield opened


Take = Callable[..., Imported]


@pytest.fixture
def take(store: Store, tmp_path: Path) -> Take:
    """Imports a text (or bytes) as a file of readings of the place `inc`."""

    def taken(
        text: str | bytes, told: Told = LISBON, instrument: str = "", dry_run: bool = False
    ) -> Imported:
        path = tmp_path / "readings.csv"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return import_csv(store, path, "inc", instrument, told, dry_run)

    return taken


def stored(store: Store, instrument: str = "") -> list[Row]:
    """What the store holds of one instrument at `inc`."""
    return [
        (
            from_ms(int(at)).isoformat(),
            None if celsius != celsius else round(float(celsius), 9),
            None if percent != percent else float(percent),
        )
        for each in store.readings("inc")
        if each.instrument == instrument
        for at, celsius, percent in zip(
            each.at_ms, each.temperature_c, each.humidity_pct, strict=True
        )
    ]


def refused(take: Take, text: str | bytes, told: Told = LISBON) -> BadInput:
    """The refusal of a file."""
    with pytest.raises(BadInput) as error:
        take(text, told)
    return error.value


ZOO = {
    "plain": "time,temperature_c,humidity_pct\n"
    "2027-05-20T20:00+01:00,37.5,45\n2027-05-20T20:10+01:00,37.7,46.5\n",
    "no unit, a machine": "time,temperature,humidity\n"
    "2027-05-20 20:00:00,37.5,45\n2027-05-20 20:10:00,37.7,46.5\n",
    "UTC with Z": "timestamp,temp,rh\n"
    "2027-05-20T19:00:00Z,37.5,45\n2027-05-20T19:10:00.000Z,37.7,46.5\n",
    "units in brackets, quoted": '"Date/Time","Temperature (°C)","Relative Humidity (%)"\r\n'
    '"20/05/2027 20:00","37.5","45"\r\n"20/05/2027 20:10","37.7","46.5"\r\n',
    "semicolons and decimal commas": "Datum;Uhrzeit;Temperatur [°C];Luftfeuchtigkeit [%]\n"
    "20.05.2027;20:00;37,5;45,0\n20.05.2027;20:10;37,7;46,5\n",
    "tabs": "Datetime\tTemp_C\tHum\n2027/05/20 20:00\t37.5\t45\n2027/05/20 20:10\t37.7\t46.5\n",
    "bars": "time | t | rh\n2027-05-20 20:00 | 37.5 | 45\n2027-05-20 20:10 | 37.7 | 46.5\n",
    "Fahrenheit, 12 hours, month first": "Date,Time,Temperature(F),Humidity(%RH)\n"
    "5/20/2027,8:00 PM,99.5,45\n5/20/2027,8:10 PM,99.86,46.5\n",
    "Fahrenheit by its values": "time,temp,rh\n"
    "2027-05-20 20:00,99.5,45\n2027-05-20 20:10,99.86,46.5\n",
    "Fahrenheit in the cells": "time,temp,rh\n"
    "2027-05-20 20:00,99.5 °F,45%\n2027-05-20 20:10,99.86°F,46.5 %\n",
    "year of two figures": "date,time,temp,hum\n"
    "20.05.27,20:00,37.5,45\n20.05.27,20:10,37.7,46.5\n",
    "named months": "time,°C,%RH\n20-May-2027 20:00,37.5,45\n20-May-2027 20:10,37.7,46.5\n",
    "American words": 'when,temp,rh\n'
    '"May 20, 2027 8:00 p.m.",37.5,45\n"May 20, 2027 8:10 p.m.",37.7,46.5\n',
    "seconds since 1970": "epoch,temp,rh\n1810839600,37.5,45\n1810840200,37.7,46.5\n",
    "milliseconds since 1970": "ts,temp,rh\n1810839600000,37.5,45\n1810840200000,37.7,46.5\n",
    "basic ISO": "time,temp,rh\n20270520T190000Z,37.5,45\n20270520T191000Z,37.7,46.5\n",
    "zone in the heading": "Time (UTC),Temp,RH\n"
    "2027-05-20 19:00,37.5,45\n2027-05-20 19:10,37.7,46.5\n",
    "offset in the heading": '"Date Time, GMT-05:00",Temp,RH\n'
    "2027-05-20 14:00,37.5,45\n2027-05-20 14:10,37.7,46.5\n",
    "preamble and a row of units": "Logger 3\nSerial: 0042\n\ntime,temperature,humidity\n,°C,%\n"
    "2027-05-20 20:00,37.5,45\n2027-05-20 20:10,37.7,46.5\n",
    "newest first": "time,temp,rh\n2027-05-20 20:10,37.7,46.5\n2027-05-20 20:00,37.5,45\n",
    "twice the same, and blank lines": "time,temp,rh\n2027-05-20 20:00,37.5,45\n\n"
    "2027-05-20 20:10,37.7,46.5\n2027-05-20 20:00,37.5,45\n,,\n",
    "other columns": "No.,time,dew point (°C),temp (°C),temp (°F),battery %,rh\n"
    "1,2027-05-20 20:00,23.5,37.5,99.5,80,45\n2,2027-05-20 20:10,24.1,37.7,99.86,80,46.5\n",
    "date with an empty clock": "Date,Time,Temp,RH\n"
    "2027-05-20 00:00:00,20:00:00,37.5,45\n2027-05-20 00:00:00,20:10:00,37.7,46.5\n",
    "separator at the end": "time;temp;rh;\n"
    "2027-05-20 20:00;37,5;45;\n2027-05-20 20:10;37,7;46,5;\n",
}  # fmt: skip


@pytest.mark.parametrize("shape", ZOO)
def test_every_shape_reads_to_the_same(take: Take, store: Store, shape: str) -> None:
    imported = take(ZOO[shape])
    assert stored(store) == EVENING
    assert imported.kept.written == 2


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_encodings_and_byte_order_marks(take: Take, store: Store, encoding: str) -> None:
    take(ZOO["units in brackets, quoted"].encode(encoding))
    assert stored(store) == EVENING


def test_old_line_ends(take: Take, store: Store) -> None:
    take(ZOO["plain"].replace("\n", "\r"))
    assert stored(store) == EVENING


def test_passed_over_lines_are_told(take: Take) -> None:
    said = [finding.sentence for finding in take(ZOO["preamble and a row of units"]).findings]
    assert said == ["3 lines before the headings were passed over."]


@pytest.mark.parametrize("empty", ["", "--", "nan", "NaN", "N/A", "null", "unavailable", " - "])
def test_an_empty_cell_is_a_gap_and_no_zero(take: Take, store: Store, empty: str) -> None:
    imported = take(
        "time,temp,rh\n"
        f"2027-05-20 20:00,37.5,{empty}\n2027-05-20 20:10,{empty},45\n"
        f"2027-05-20 20:20,{empty},{empty}\n"
    )
    assert stored(store) == [
        ("2027-05-20T19:00:00+00:00", 37.5, None),
        ("2027-05-20T19:10:00+00:00", None, 45.0),
    ]
    assert imported.empty == 1


def test_a_column_names_the_instruments(take: Take, store: Store) -> None:
    take("time,sensor,temp,rh\n2027-05-20 20:00,dial,37.5,45\n2027-05-20 20:00,probe,37.7,\n")
    assert stored(store, "dial") == [("2027-05-20T19:00:00+00:00", 37.5, 45.0)]
    assert stored(store, "probe") == [("2027-05-20T19:00:00+00:00", 37.7, None)]


def test_a_column_of_one_zone_says_the_zone(take: Take, store: Store) -> None:
    # New York is on summer time in May, UTC-4 (IANA time zone database).
    take("time,timezone,temp\n2027-05-20 16:00,America/New_York,37.5\n")
    assert stored(store) == [("2027-05-20T20:00:00+00:00", 37.5, None)]


@pytest.mark.parametrize(
    ("second", "says"),
    [
        ("Europe/Lisbom", "Line 3, timezone: 'Europe/Lisbom' is not a time zone."),
        ("America/New_York", "line 2 is at Europe/Lisbon, line 3 is at America/New_York"),
    ],
)
def test_a_zone_that_is_none_or_another_refuses_the_file(
    take: Take, store: Store, second: str, says: str
) -> None:
    text = (
        f"time,timezone,temp\n2027-05-20 20:00,Europe/Lisbon,37.5\n2027-05-20 20:10,{second},37.5\n"
    )
    with pytest.raises(BadInput) as refused:
        take(text)
    told = " ".join([refused.value.sentence, *(f.sentence for f in refused.value.findings)])
    assert says in told
    assert stored(store) == []
    # The keeper's word goes before the file's.
    assert take(text, Told("Europe/Lisbon")).kept.written == 2


# The order of dates.


def lines(dates: list[str], heading: str = "time,temp_c") -> str:
    return "\n".join([heading, *(f"{day} {hour}:00,37.5" for day in dates for hour in (8, 20))])


@pytest.mark.parametrize(
    ("dates", "first"),
    [
        (["03/04/2027", "13/04/2027"], "2027-04-03"),
        (["03/04/2027", "03/13/2027"], "2027-03-04"),
        # One order makes them days in a row, the other months apart.
        (["01/05/2027", "02/05/2027", "03/05/2027"], "2027-05-01"),
        (["05/01/2027", "05/02/2027", "05/03/2027"], "2027-05-01"),
        (["27-05-01", "27-05-02", "27-05-03"], "2027-05-01"),
        (["2027.5.1"], "2027-05-01"),
    ],
)
def test_the_whole_file_tells_the_order_of_dates(take: Take, dates: list[str], first: str) -> None:
    assert take(lines(dates)).first == datetime.fromisoformat(f"{first}T07:00+00:00") + (
        timedelta(hours=1) if first < "2027-03-28" else timedelta(0)
    )


def test_the_order_is_told_far_down_the_file(take: Take) -> None:
    days = [f"0{1 + number % 2}/04/2027" for number in range(3000)]
    assert str(take(lines([*days, "13/04/2027"])).first)[:10] == "2027-04-01"


@pytest.mark.parametrize("dates", [["03/04/2027"], ["03/04/2027", "07/04/2027"], ["03-04-05"]])
def test_an_order_that_cannot_be_told_is_refused(
    take: Take, store: Store, dates: list[str]
) -> None:
    assert "--dates dmy" in refused(take, lines(dates)).sentence
    assert stored(store) == []


@pytest.mark.parametrize(("order", "day"), [("dmy", "2027-04-03"), ("mdy", "2027-03-04")])
def test_the_keeper_tells_the_order(take: Take, order: Any, day: str) -> None:
    told = Told(home_zone="UTC", dates=order)
    assert str(take(lines(["03/04/2027"]), told).first)[:10] == day


# Units.


@pytest.mark.parametrize("shown", ["20", "37.5"])
def test_a_pen_without_a_unit_is_refused(take: Take, shown: str) -> None:
    # 20 °C is a mild day and 20 °F a frosty one.
    text = f"time,temp\n2027-05-20 20:00,{shown}\n"
    assert "--units f" in refused(take, text, PEN).sentence
    assert take(text, Told(home_zone="UTC", role="pen", units="c")).kept.written == 1


def test_a_hot_pen_can_only_be_in_fahrenheit(take: Take, store: Store) -> None:
    take("time,temp\n2027-05-20 20:00,77\n", PEN)
    assert stored(store)[0][1] == 25


def test_the_keepers_word_stands_over_the_heading(take: Take, store: Store) -> None:
    take("time,temp (°C)\n2027-05-20 20:00,77\n", Told(home_zone="UTC", units="f"))
    assert stored(store)[0][1] == 25


def test_shares_and_kelvin_are_refused(take: Take) -> None:
    assert "percent" in refused(take, "time,rh\n2027-05-20 20:00,0.45\n").sentence
    assert "kelvin" in refused(take, "time,temp (K)\n2027-05-20 20:00,310\n").sentence


# Clocks that change. dateutil reckons the instants by its own means.


@pytest.mark.parametrize(
    ("zone", "evening"),
    [("Europe/Lisbon", "2027-10-30"), ("Australia/Sydney", "2027-04-03"),
     ("America/New_York", "2027-11-06"), ("Australia/Lord_Howe", "2027-04-03")],
)  # fmt: skip
@pytest.mark.parametrize("newest_first", [False, True])
def test_the_hour_that_comes_twice_is_told_apart_by_order(
    take: Take, store: Store, zone: str, evening: str, newest_first: bool
) -> None:
    independent = tz.gettz(zone)
    assert independent is not None
    begins = datetime.fromisoformat(f"{evening}T20:00").replace(tzinfo=independent)
    instants = [begins.astimezone(UTC) + timedelta(minutes=10 * step) for step in range(72)]
    walls = [f"{instant.astimezone(independent):%Y-%m-%d %H:%M}" for instant in instants]
    assert len(set(walls)) < len(walls)
    rows = [f"{wall},37.{number}" for number, wall in enumerate(walls)]
    take("\n".join(["time,temp_c", *(rows[::-1] if newest_first else rows)]), Told(timezone=zone))
    assert [row[0] for row in stored(store)] == [instant.isoformat() for instant in instants]


@pytest.mark.parametrize(
    ("zone", "wall"),
    [("Europe/Lisbon", "2027-03-28 01:30"), ("Australia/Sydney", "2027-10-03 02:30"),
     ("America/New_York", "2027-03-14 02:30")],
)  # fmt: skip
def test_an_hour_that_the_clock_skips_is_refused(take: Take, zone: str, wall: str) -> None:
    independent = tz.gettz(zone)
    assert not tz.datetime_exists(datetime.fromisoformat(wall), independent)
    error = refused(take, f"time,temp_c\n{wall[:10]} 00:10,37\n{wall},37.5\n", Told(timezone=zone))
    (finding,) = error.findings
    assert finding.line == 3
    assert "does not exist" in finding.what
    assert "--timezone" in finding.mend


def test_offsets_that_a_clock_change_explains_are_one_zone(take: Take, store: Store) -> None:
    take("time,temp_c\n2027-10-31T00:30+01:00,37.5\n2027-10-31T01:30+01:00,37.6\n"
         "2027-10-31T01:30+00:00,37.7\n2027-11-01T08:00+00:00,37.8\n")  # fmt: skip
    assert [row[0][11:16] for row in stored(store)] == ["23:30", "00:30", "01:30", "08:00"]


@pytest.mark.parametrize(
    ("first", "second"),
    [("2027-05-02T20:00+01:00", "2027-05-02T20:10-05:00"),
     ("2027-05-02T20:00+01:00", "2027-05-02T20:10+00:00")],
)  # fmt: skip
def test_two_zones_in_one_file_are_refused(
    take: Take, store: Store, first: str, second: str
) -> None:
    sentence = refused(take, f"time,temp_c\n{first},37.5\n{second},37.5\n").sentence
    assert sentence.startswith("The file mixes time zones: line 2 is at +01:00, line 3 is at ")
    assert stored(store) == []


def test_stamps_with_and_without_offset_are_refused(take: Take) -> None:
    error = refused(take, "time,temp_c\n2027-05-02T20:00+01:00,37.5\n2027-05-02T20:10,37.5\n")
    assert [(f.line, f.field) for f in error.findings] == [(3, "time")]
    assert "no offset" in error.findings[0].what


def test_a_zone_nobody_names_is_refused_and_this_computers_is_told(take: Take) -> None:
    assert "--timezone" in refused(take, lines(["2027-05-02"]), Told()).sentence
    told = Told(home_zone="Europe/Lisbon", home="this computer's zone")
    assert "this computer's zone" in take(lines(["2027-05-02"]), told).findings[0].sentence
    assert "not a time zone" in refused(take, lines(["2027-05-02"]), Told("Lisboa")).sentence


# What is wrong is named, and then nothing is kept.


@pytest.mark.parametrize(
    ("line", "field", "says"),
    [
        ("2027-05-20 20:00,375,45", "temp", "Was 37.5 °C meant?"),
        ("2027-05-20 20:00,99.5,45", "temp", "If it is in °F, say so."),
        ("2027-05-20 20:00,-127,45", "temp", "must be -60 to 90 °C"),
        ("2027-05-20 20:00,37.5,150", "rh", "150 % is not possible"),
        ("2027-05-20 20:00,37.5,-1", "rh", "must be 0 to 105 %"),
        ("2027-05-20 20:00,warm,45", "temp", "'warm' is not a figure"),
        ("2027-05-20 20:00,37,5,45", "time", "decimal comma"),
        ("2027-05-20 20:00", "time", "1 cells stand under 3 headings"),
        ("2027-05-20,37.5,45", "time", "the time of day is missing"),
        ("2027-02-30 20:00,37.5,45", "time", "'2027-02-30' is not a date"),
        ("2027-05-20 25:00,37.5,45", "time", "not on the clock"),
        ("2027-05-20 20:00 CET,37.5,45", "time", "not a time of day"),
        ("yesterday 20:00,37.5,45", "time", "not a date"),
    ],
)
def test_a_bad_last_line_of_many_is_named_and_nothing_kept(
    take: Take, store: Store, line: str, field: str, says: str
) -> None:
    good = "\n".join(f"2027-05-{d:02d} {h:02d}:00,37.5,45" for d in range(1, 20) for h in range(24))
    error = refused(take, f"time,temp (°C),rh\n{good}\n{line}\n")
    (finding,) = error.findings
    assert finding.line == 19 * 24 + 2
    assert finding.field.startswith(field)
    assert says in finding.sentence
    assert finding.mend
    assert error.exit_code == 2
    assert stored(store) == []
    assert store.reading_extents() == []


def test_every_bad_line_is_named_up_to_a_thousand(take: Take) -> None:
    error = refused(take, "time,temp_c\n" + "2027-05-20 20:00,375\n" * 1500)
    assert error.sentence.startswith("1,500 lines are not right; nothing was imported.")
    assert [finding.line for finding in error.findings] == list(range(2, 1002))


def test_lines_are_counted_through_cells_of_several_lines(take: Take) -> None:
    text = 'time,temp_c,note\n2027-05-20 20:00,37.5,"a\nb\r\nc"\n\n2027-05-20 20:10,375,\n'
    assert refused(take, text).findings[0].line == 6


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "is empty"),
        ("2027-05-20 20:00,37.5\n", "No headings"),
        ("time,temp_c\n", "no readings under them"),
        ("time,temp_c\n2027-05-20 20:00,--\n", "every cell of them is empty"),
        ("time,temp_c\n20:00,37.5\n", "is not a date with a time of day"),
        ("time,inside temp,outside temp\n2027-05-20 20:00,37,20\n", "inside temp and outside temp"),
        ("time,temp_c\n" + '2027-05-20 20:00,"37.5\n' + "2027-05-20 20:00,37.5\n" * 9_000, "quote"),
        (b"time\0,temp", "zero byte"),
        (b"x" * 70_000, "no end"),
    ],
)  # fmt: skip
def test_a_file_that_is_no_table_of_readings_gets_a_sentence(
    take: Take, text: str | bytes, says: str
) -> None:
    error = refused(take, text)
    assert says in " ".join([error.sentence, *(finding.sentence for finding in error.findings)])


def test_a_missing_file_and_a_folder_get_a_sentence(store: Store, tmp_path: Path) -> None:
    for path, says in ((tmp_path / "no.csv", "no file"), (tmp_path, "is a folder")):
        with pytest.raises(BadInput, match=says):
            import_csv(store, path, "inc", "", LISBON)


@pytest.mark.parametrize("name", ["", " inc", "x" * 81, "a\nb", "a\0b"])
def test_a_place_needs_a_name(store: Store, tmp_path: Path, name: str) -> None:
    (tmp_path / "a.csv").write_text(ZOO["plain"])
    with pytest.raises(BadInput, match="--place"):
        import_csv(store, tmp_path / "a.csv", name, "", LISBON)


# Repeats, rehearsals, size.


def test_importing_again_changes_nothing(take: Take, store: Store) -> None:
    assert take(ZOO["plain"]).kept == Kept(2, 0, 0)
    assert take(ZOO["plain"]).kept == Kept(0, 2, 0)
    assert stored(store) == EVENING


def test_another_figure_at_the_same_instant_is_told_and_the_first_stays(
    take: Take, store: Store
) -> None:
    take(ZOO["plain"])
    imported = take(ZOO["plain"].replace("37.7", "36.0"))
    assert imported.kept == Kept(0, 1, 1)
    assert "came first was kept" in imported.findings[0].sentence
    assert stored(store) == EVENING


def test_a_dry_run_says_the_same_and_keeps_nothing(take: Take, store: Store) -> None:
    assert take(ZOO["plain"], dry_run=True).kept == Kept(2, 0, 0)
    assert stored(store) == []


MEMORY = """
import resource, sys
from pathlib import Path
from quailwright.exchange.readings_csv import import_csv
from quailwright.exchange.readings_layout import Told
from quailwright.journal.store import open_store
def rows(path, count):
    with open(path, "w") as file:
        file.write("time,temp_c,rh\\n")
        for n in range(count):
            file.write(f"{1_700_000_000 + 60 * n},{37 + n % 97 / 100:.2f},{n % 100}\\n")
    return Path(path)
store = open_store(sys.argv[1], create=True)
small, large = rows(sys.argv[2], 60_000), rows(sys.argv[3], 1_000_000)
import_csv(store, small, "a", "", Told())
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
assert import_csv(store, large, "b", "", Told()).kept.written == 1_000_000
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before)
"""


def test_a_million_readings_need_no_more_memory_than_a_few(tmp_path: Path) -> None:
    names = [str(tmp_path / name) for name in ("flock.sqlite", "small.csv", "large.csv")]
    ran = subprocess.run(
        [sys.executable, "-c", MEMORY, *names], capture_output=True, text=True, check=True
    )
    kilobytes = 1 if sys.platform != "darwin" else 1024
    # As tuples in one list they would take some 150 MB.
    assert int(ran.stdout) / kilobytes < 30_000


# Whatever is in the file.

ZONES = ("UTC", "Europe/Lisbon", "Australia/Sydney", "Asia/Kolkata")
FORMS = (
    "%Y-%m-%d %H:%M",
    "%d.%m.%Y %H:%M",
    "%m/%d/%Y %I:%M %p",
    "%d-%b-%y %H:%M",
    "%d/%m/%y %H:%M",
)


@given(
    readings=st.lists(
        st.tuples(
            st.integers(0, 60 * 24 * 900),
            st.integers(-300, 450),
            st.none() | st.integers(0, 1000),
        ),
        min_size=1,
        max_size=30,
        unique_by=lambda reading: reading[0],
    ),
    zone=st.sampled_from(ZONES),
    form=st.sampled_from(FORMS),
    separator=st.sampled_from([",", ";", "\t", "|"]),
    fahrenheit=st.booleans(),
    two_columns=st.booleans(),
)
def test_any_readings_in_any_shape_read_back_equal(
    tmp_path_factory: pytest.TempPathFactory,
    template: Path,
    readings: list[tuple[int, int, int | None]],
    zone: str,
    form: str,
    separator: str,
    fahrenheit: bool,
    two_columns: bool,
) -> None:
    begin, here = datetime(2026, 1, 1, tzinfo=UTC), ZoneInfo(zone)
    point = "," if separator == ";" else "."
    split = separator if two_columns else " "
    rows = [separator.join([f"date{separator}time" if two_columns else "time",
                            "temp_f" if fahrenheit else "temp_c", "rh"])]  # fmt: skip
    expected: list[Row] = []
    for minute, tenths, permille in sorted(readings):
        instant = begin + timedelta(minutes=minute)
        wall = instant.astimezone(here)
        if tz.datetime_ambiguous(wall.replace(tzinfo=None), tz.gettz(zone)):
            continue
        shown = tenths * 9 / 50 + 32 if fahrenheit else tenths / 10
        rows.append(separator.join([
            wall.strftime(form).replace(" ", split, 1),
            f"{shown:.2f}".replace(".", point),
            "" if permille is None else f"{permille / 10:.1f}".replace(".", point),
        ]))  # fmt: skip
        percent = None if permille is None else permille / 10
        expected.append((instant.isoformat(), tenths / 10, percent))
    folder = tmp_path_factory.mktemp("shape")
    (folder / "flock.sqlite").write_bytes(template.read_bytes())
    path = folder / "readings.csv"
    path.write_text("\n".join(rows), encoding="utf-8")
    if not expected or max((row[2] or 0) for row in expected) <= 1:
        return
    told = Told(timezone=zone, dates="mdy" if form.startswith("%m") else "dmy")
    with open_store(str(folder / "flock.sqlite")) as store:
        import_csv(store, path, "inc", "", told)
        assert stored(store) == expected


TABLE = ZOO["units in brackets, quoted"].encode()


@given(
    st.binary(max_size=300)
    | st.builds(
        lambda start, end, put: TABLE[:start] + put + TABLE[max(start, end) :],
        st.integers(0, len(TABLE)),
        st.integers(0, len(TABLE)),
        st.binary(max_size=30) | st.text(alphabet='0123456789,;:-/."\n\rTZ+APM° ').map(str.encode),
    )
)
def test_no_bytes_whatever_raise_anything_but_a_sentence(
    tmp_path_factory: pytest.TempPathFactory, scratch: Store, data: bytes
) -> None:
    path = tmp_path_factory.getbasetemp() / "whatever.csv"
    path.write_bytes(data)
    with suppress(BadInput):
        assert import_csv(scratch, path, "inc", "", LISBON, dry_run=True).kept.written >= 1


@pytest.fixture(scope="module")
def scratch(template: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    """A flock in which nothing is kept."""
    path = tmp_path_factory.mktemp("scratch") / "flock.sqlite"
    path.write_bytes(template.read_bytes())
    with open_store(str(path)) as opened:
        yield opened

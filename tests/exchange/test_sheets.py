"""Sheets as PDF, read back by an independent reader: size, text, codes, dates, and no markup.

PDFium reads and draws them, zxing-cpp reads the codes. Dates are reckoned by hand from the moment
of setting; the figures they rest on are those of husbandry/facts/incubation.csv.
"""

import re
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, date, datetime
from importlib import resources
from urllib.parse import unquote

import numpy as np
import pypdfium2  # type: ignore[import-untyped]
import pytest
import zxingcpp
from pypdfium2 import raw
from tests.makers import made

from quailwright.exchange.paper_back import counts_of, week_back
from quailwright.exchange.sheets.press import OURS, Paper, Press, paper_of
from quailwright.exchange.sheets.printed import WHATS, offered, printed
from quailwright.exchange.year_told import year_told
from quailwright.flock.fold import fold
from quailwright.journal.findings import BadInput, Withheld
from quailwright.journal.store import open_store
from quailwright.language import speaking

NOW = datetime(2027, 5, 3, 7, 30, tzinfo=UTC)
HERE = "http://192.168.1.20:8765"
MARKUP = "#x $a$ \\ @r <l> *b*"
LONG = "APenWhoseNameGoesOnAndOnWithoutAnySpaceAtAllUntilItEndsHere"
POINTS_IN_MM = 72 / 25.4
FLOCK = (
    made("holding", "2027-01-01", name="Home & <b>", timezone="Europe/Lisbon", currency="EUR",
         label_name="Home", label_contact="555 0100"),
    made("place", "2027-01-01", place="pen", role="pen", floor_m2=4, walk_order=2),
    made("place", "2027-01-01", place=MARKUP, role="pen", floor_m2=4, walk_order=3),
    made("place", "2027-01-01", place=LONG, role="pen", floor_m2=4, walk_order=4),
    made("place", "2027-01-01", place="box", role="incubator", capacity_eggs=60, walk_order=1),
    made("place", "2027-01-01", place="warm box", role="brooder", floor_m2=1, height_m=0.6,
         heater_w=100, walk_order=5),
    made("group", "2027-01-01", group="hens", place="pen", hens=10, cocks=2,
         hatched_on="2026-10-01"),
    made("group", "2027-01-01", group=MARKUP, place=MARKUP, hens=5, hatched_on="2026-10-01"),
    made("group", "2027-01-01", group=LONG, place=LONG, hens=5, hatched_on="2026-10-01"),
    made("eggs_set", "2027-03-20T20:00+00:00", hatch="old", eggs=40, place="box", source="friend"),
    made("chicks_hatched", "2027-04-07T10:00+01:00", hatch="old", chicks=30),
    made("group", "2027-04-08", group="chicks", place="warm box", hatch="old", chicks=30,
         hatched_on="2027-04-07"),
    made("eggs_opened", "2027-04-10", hatch="old", infertile=6, late=4),
    made("hatch_closed", "2027-04-10", hatch="old"),
    made("eggs_set", "2027-04-28T20:00+01:00", hatch="may", eggs=24, place="box", source="friend"),
    made("eggs_weighed", "2027-04-28T20:00+01:00", hatch="may", eggs=24, total_g=264),
    made("feed_bought", "2027-04-01", feed="pellets", kg=20, cost=18),
    made("eggs_collected", "2027-05-01", group="hens", eggs=8),
    made("eggs_collected", "2027-05-02", group=MARKUP, eggs=4),
    made("treated", "2027-05-02", group=LONG, product="powder", eggs_withheld_until="2027-05-09",
         meat_withheld_until="2027-05-09"),
    made("eggs_collected", "2027-05-02", group=LONG, eggs=3),
    made("birds_died", "2027-04-20", group="chicks", chicks=2),
)  # fmt: skip
ABOUT = {"lid": {"hatch": "may"}, "hatch": {"hatch": "old"}}
SIZES = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""In mm: ISO 216:2007; ANSI/ASME Y14.1."""
EACH = [(what.name, paper) for what in WHATS for paper in SIZES]


@pytest.fixture(scope="module")
def press(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Press]:
    """What sheets of that flock are made from."""
    with open_store(str(tmp_path_factory.mktemp("sheets") / "flock.sqlite"), create=True) as kept:
        yield Press(kept, fold(FLOCK, NOW), NOW, NOW, "a4", HERE)


Made = Callable[..., bytes]
Sheet = Callable[..., pypdfium2.PdfDocument]


@pytest.fixture(scope="module")
def made_once(press: Press) -> Made:
    """Makes a sheet, each once."""
    before: dict[tuple[object, ...], bytes] = {}

    def of(what: str, paper: Paper = "a4", **about: str) -> bytes:
        asked = about or ABOUT.get(what, {})
        key = (what, paper, *sorted(asked.items()))
        if key not in before:
            before[key] = printed(replace(press, paper=paper), what, asked).data
        return before[key]

    return of


@pytest.fixture(scope="module")
def sheet(made_once: Made) -> Sheet:
    """A sheet, opened by an independent reader."""

    def of(what: str, paper: Paper = "a4", **about: str) -> pypdfium2.PdfDocument:
        return pypdfium2.PdfDocument(made_once(what, paper, **about))

    return of


def text_of(document: pypdfium2.PdfDocument) -> str:
    """All text of it, a space where a line ends, the places to break in long names left out."""
    pages = [page.get_textpage().get_text_range() for page in document]
    return re.sub(r"\s+", " ", " ".join(pages).replace("\u200b", ""))


def codes_of(document: pypdfium2.PdfDocument) -> list[str]:
    """What the codes on it say, page by page, as an independent reader reads them off a drawing."""
    found = []
    for page in document:
        drawn = page.render(scale=2.5, grayscale=True).to_numpy()
        codes = zxingcpp.read_barcodes(np.ascontiguousarray(drawn.squeeze()))
        found += [code.text for code in sorted(codes, key=lambda code: code.position.top_left.y)]
    return found


@pytest.mark.parametrize(("what", "paper"), EACH)
def test_a_sheet_fits_its_paper_iso_216_and_ansi_y14_1(
    sheet: Sheet, what: str, paper: Paper
) -> None:
    document = sheet(what, paper)
    wide, tall = (length * POINTS_IN_MM for length in SIZES[paper])
    edge = 4 * POINTS_IN_MM  # what printers leave white; common practice, no source
    smallest = 7.99 if what == "labels" else 8.99
    for page in document:
        assert page.get_size() == pytest.approx((wide, tall), abs=0.5)
        words = page.get_textpage()
        assert words.count_chars()
        for n in range(words.count_chars()):
            if not words.get_text_range(n, 1).strip("\u200b \r\n"):
                continue
            left, bottom, right, top = words.get_charbox(n)
            assert edge < left < right < wide - edge, (what, n)
            assert edge < bottom <= top < tall - edge, (what, n)
            assert raw.FPDFText_GetFontSize(words, n) > smallest


@pytest.mark.parametrize("what", [what.name for what in WHATS if what.name != "labels"])
def test_pages_say_which_of_how_many_whose_and_when(sheet: Sheet, what: str) -> None:
    document = sheet(what)
    for number, page in enumerate(document, 1):
        foot = page.get_textpage().get_text_range()
        assert f"{number} of {len(document)}" in foot
        assert "Home & <b> · As of Monday 3 May 2027" in foot
        assert "Invented" not in foot


@pytest.mark.parametrize("what", [what.name for what in WHATS])
def test_the_same_data_and_clock_give_the_same_bytes(
    press: Press, made_once: Made, what: str
) -> None:
    once, again = made_once(what), printed(press, what, ABOUT.get(what, {})).data
    assert once == again
    assert OURS in once
    assert b"20270503073000" in once  # made at the clock's instant, and at no other


# Dates, by hand.


def test_the_lid_has_every_date_in_both_counts(sheet: Sheet) -> None:
    # Set Wednesday 28 April, 20:00. Weighed on days 0, 5, 10, 14, candled on 7 and 14, turning
    # stops on 14, opened on 20: facts/incubation.csv.
    text = text_of(sheet("lid"))
    for line in (
        "Set Wednesday 28 April 2027, 20:00.",
        "day 14 is your 15th day",
        "Stop turning Wed 12 May 20:00: day 14, the 15th day",
        "1 Wed 28 Apr 20:00 day 0 1st day Weigh the eggs",
        "2 Mon 3 May 20:00 day 5 6th day Weigh the eggs",
        "3 Wed 5 May 20:00 day 7 8th day Candle",
        "4 Sat 8 May 20:00 day 10 11th day Weigh",
        "Tue 18 May 20:00 day 20 21st day Open the eggs",
        "Thu 13 May 15 16",
    ):
        assert line in text, line


def test_the_lid_has_the_weight_to_aim_for_on_each_day(sheet: Sheet) -> None:
    # 264 g of 24 eggs are 11.00 g each. 10 to 13 % by day 14 (facts/incubation.csv) are by day 5
    # 5/14 of it, 3.57 to 4.64 %: 95.4 to 96.4 % are left, 10.49 to 10.61 g, 251.7 to 254.6 g.
    text = text_of(sheet("lid"))
    assert "day 5 95.4 to 96.4 % 10.49 to 10.61 251.7 to 254.6" in text
    assert "day 14 87.0 to 90.0 % 9.57 to 9.90 229.7 to 237.6" in text
    assert "In the journal: 24 eggs weighed 264 g on Wed 28 Apr 20:00." in text


def test_days_of_24_hours_over_a_change_of_clocks(sheet: Sheet) -> None:
    # Set 20 March 20:00 UTC; Lisbon's clocks went forward on 28 March 2027 (IANA tz database), so
    # that 14 times 24 hours later is 21:00 by the clock.
    assert "Stop turning Sat 3 Apr 21:00: day 14, the 15th day" in text_of(
        sheet("lid", "a4", hatch="old")
    )


def test_the_brooder_card_holds_the_warmth_of_each_week(sheet: Sheet) -> None:
    # Hatched 7 April: 26 days old on 3 May, in week 4, and a week older from 5 May on.
    text = text_of(sheet("brooder"))
    assert "warm box: chicks" in text
    assert "28 chicks, hatched Wednesday 7 April 2027." in text
    assert re.search(r"week 4 Mon 3 May 2\d[\d.]* °C", text)
    assert "week 5 Wed 5 May" in text
    assert "grower feed" in text
    assert "Caution: Heat lamps start fires" in text
    assert "Mon 3 May 26" in text


def test_a_hatch_report_tells_result_losses_and_causes(sheet: Sheet) -> None:
    text = text_of(sheet("hatch"))
    assert len(sheet("hatch")) == 1
    # Wilson's interval of 30 of 40: 59.8 to 85.8 % (Wilson 1927).
    assert "hatch of set 75% (95 % interval 60% to 86%)" in text
    assert "late 4 of 34 fertile" in text
    assert "Check:" in text


def test_the_year_counts_what_was_counted(press: Press, sheet: Sheet) -> None:
    told = year_told(press.store, press.flock, NOW, 2027)
    assert [(month.first, month.eggs) for month in told.months if month.eggs] == [
        (date(2027, 5, 1), 15)
    ]
    assert (sum(m.deaths for m in told.months), sum(m.hatched for m in told.months)) == (2, 30)
    text = text_of(sheet("year"))
    assert "15 eggs were counted. Eggs were counted on 2 of 123 days" in text
    assert "of an egg a hen" not in text  # two days counted of 123 tell no rate
    assert "30 of 40 eggs hatched in those that are over: 75% (95 % interval 60% to 86%)" in text
    assert "These are small numbers" in text
    with pytest.raises(BadInput, match="year 2026"):
        year_told(press.store, press.flock, NOW, 2026)


# Codes, names, labels.


def test_codes_lead_to_the_places_and_to_the_very_week(sheet: Sheet) -> None:
    places = ["box", "pen", MARKUP, LONG, "warm box"]
    assert [unquote(code) for code in codes_of(sheet("places"))] == [
        f"{HERE}/places/{place}" for place in places
    ]
    assert codes_of(sheet("lid")) == [f"{HERE}/paper/back/hatch?hatch=may"]
    # 3 May 2027 is a Monday; seven days from the 5th lie in two weeks.
    assert codes_of(sheet("round")) == [f"{HERE}/paper/back?week=2027-05-03"]
    assert codes_of(sheet("week", "letter", day="2027-05-05")) == [
        f"{HERE}/paper/back?week={monday}" for monday in ("2027-05-03", "2027-05-10")
    ]


def test_without_an_address_no_sheet_bears_a_code(press: Press) -> None:
    for what in ("places", "lid", "round"):
        data = printed(replace(press, address=""), what, ABOUT.get(what, {})).data
        assert codes_of(pypdfium2.PdfDocument(data)) == []


@pytest.mark.parametrize("what", ["round", "week", "places", "away", "labels"])
def test_names_are_never_markup(sheet: Sheet, what: str) -> None:
    text = text_of(sheet(what))
    assert MARKUP in text
    if what != "labels":
        assert LONG in text.replace(" ", "")


def test_names_in_other_scripts_come_out_or_break_nothing(press: Press) -> None:
    # The fonts that typst brings have the first; for the others the computer's own are taken.
    brought = ("Łódź", "Žluťoučký", "Açaí", "Ελλάδα", "Привет", "מלון")
    others = ("鶉の小屋", "메추리", "🐣", "हिन्दी")
    kept = [
        made("place", "2027-01-01", place=name, role="pen", walk_order=n)
        for n, name in enumerate((*brought, *others), 1)
    ]
    data = printed(replace(press, flock=fold(kept, NOW)), "places", {}).data
    document = pypdfium2.PdfDocument(data)
    assert [name for name in brought if name not in text_of(document)] == []
    assert [unquote(code).rpartition("/")[2] for code in codes_of(document)] == [*brought, *others]


def test_counts_stand_as_on_the_page_that_types_them_back(press: Press, sheet: Sheet) -> None:
    counts = counts_of([week_back(press.flock, date(2027, 5, 3), press.on)])
    assert [each.heading for each in counts] == [
        "Eggs collected", "Deaths", "Feed given, kg", "Water filled in, litres",
    ]  # fmt: skip
    text = text_of(sheet("week"))
    after = text[text.index("Counts, to type back") :].replace(" ", "")
    at = 0
    for each in counts:
        for words in (each.heading, *each.rows):
            found = after.find(words.replace(" ", ""), at)
            assert found >= 0, words
            at = found


def test_only_eggs_that_may_be_sold_get_a_label(press: Press, sheet: Sheet) -> None:
    text = text_of(sheet("labels"))
    assert "8 quail eggs laid Sat 1 May 2027 lot 2027-05-01 hens" in text
    assert "3 quail eggs" not in text  # withheld until 9 May
    assert text.count("Eggs are an allergen.") == 2
    assert text_of(sheet("labels", "a4", copies="3")).count("8 quail eggs") == 3
    held = fold([each for each in FLOCK if getattr(each, "eggs", 0) not in (8, 4)], NOW)
    with pytest.raises(Withheld, match="3 eggs are held"):
        printed(replace(press, flock=held), "labels", {})


@pytest.mark.parametrize(
    ("what", "asked", "says"),
    [
        ("lid", {"hatch": "june"}, "no hatch 'june'"),
        ("brooder", {"place": "pen"}, "No chicks"),
        ("brooder", {"place": "moon"}, "no place 'moon'"),
        ("round", {"day": "soon"}, "not a day"),
        ("round", {"day": "2026-01-01"}, "next 60 days"),
        ("year", {"year": "27"}, "not a year"),
        ("labels", {"copies": "0"}, "1 to 50"),
        ("sonnet", {}, "There are: round"),
        ("away", {"from": "2026-01-01"}, "is past"),
        ("hatch", {}, "Say which hatch: may, old"),
    ],
)
def test_what_cannot_be_printed_is_refused(
    press: Press, what: str, asked: dict[str, str], says: str
) -> None:
    with pytest.raises(BadInput, match=re.escape(says)):
        printed(press, what, asked)


def test_a_sheet_is_found_by_what_there_is(press: Press) -> None:
    there = offered(press.flock, press.on)
    assert (there.lids, there.brooders, there.hatches, there.years) == (
        ["may"], ["warm box"], ["may", "old"], [2027],
    )  # fmt: skip
    assert printed(press, "lid", {}).name == "lid-may.pdf"
    assert printed(press, "brooder", {}).name == "brooder-warm-box.pdf"


def test_paper_is_by_the_keepers_units() -> None:
    metric = fold(FLOCK, NOW)
    us = fold([*FLOCK, made("holding", "2027-05-02", units="us")], NOW)
    assert [paper_of(text, metric) for text in ("", "letter")] == ["a4", "letter"]
    assert [paper_of(text, us) for text in ("", "A4")] == ["letter", "a4"]
    with pytest.raises(BadInput, match="a4 or letter"):
        paper_of("a5", us)


@pytest.mark.parametrize("what", [what.name for what in WHATS])
def test_every_sheet_in_portuguese(press: Press, what: str) -> None:
    with speaking("pt"):
        data = printed(press, what, ABOUT.get(what, {})).data
    text = text_of(pypdfium2.PdfDocument(data))
    assert re.search(r"de mai|de abril|de maio|mai\.", text), text
    assert re.search(rb"/Lang\s*\(pt", data)
    assert "Monday" not in text


def test_templates_read_nothing_but_their_data() -> None:
    for each in resources.files("quailwright.exchange.sheets").iterdir():
        if each.name.endswith(".typ"):
            source = re.sub(r"//.*", "", each.read_text(encoding="utf-8"))
            assert not re.search(r"\b(import|include|read|csv|toml|yaml|xml|eval|plugin)\b", source)
            assert source.count("json(") == (each.name == "frame.typ")
            assert not re.search(r'(image|bibliography)\(\s*"|@', source), each.name


def test_no_sheet_is_set_within_the_process_that_serves(
    press: Press, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Typst keeps what it worked out for as long as its process lasts: megabytes a sheet."""
    monkeypatch.setitem(sys.modules, "typst", None)
    assert OURS in printed(press, "places", {}).data

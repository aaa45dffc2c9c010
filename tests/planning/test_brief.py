"""A plan brief: what a keeper writes is what is asked, and what cannot be gets a sentence."""

import math
from calendar import monthrange
from datetime import date, timedelta

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from tests.makers import made

from quailwright.flock.fold import fold
from quailwright.flock.state import Flock
from quailwright.planning.brief import (
    Brief,
    Months,
    completed,
    read_brief,
    spans_between,
    taken_for_granted,
)
from quailwright.planning.problem import Span

WHOLE = """
[goal]
eggs_per_week = 100
table_birds_per_month = 4
from = 2027-06-01
until = 2028-05-31
certainty = 0.9
cushion = 0.1
season = [
  {from = "06", until = "09", eggs_per_week = 120},
  {from = "11", until = "02", eggs_per_week = 60},
]

[limits]
budget_per_month = 80
minutes_per_day = {mon = 20, sat = 60.5}
max_birds = 60
no_hatching = [["12", "01"], [2027-08-01, 2027-08-14]]
absences = [[2027-07-03, 2027-07-17]]
earliest_eggs = 2027-04-01
lamp = 15
hens_per_cock = 5
keep_hens_until_weeks = 60

[[place]]
place = "box"
role = "incubator"
capacity_eggs = 60

[[place]]
place = "old box"
role = "incubator"
closed = true

[[source]]
source = "creek-farm"
route = "shipped"
price_per_egg = 0.5
postage = 9
least_eggs = 12
most_eggs = 48
hatch_of_set = 0.7
from = 2027-03-01
until = 2027-09-30

[[feed]]
feed = "pellets"
stage = "layer"
price_per_kg = 0.9

[prices]
egg = 0.2
minute = 0.1
kwh = 0.3

[holding]
latitude = 54
timezone = "Europe/London"
currency = "GBP"
"""
ON = date(2027, 5, 2)


def read(text: str) -> Brief:
    brief, findings = read_brief(text.encode())
    assert brief is not None, [finding.sentence for finding in findings]
    assert findings == []
    return brief


def refused(text: str | bytes) -> list[str]:
    brief, findings = read_brief(text if isinstance(text, bytes) else text.encode())
    assert brief is None
    assert findings
    return [finding.sentence for finding in findings]


def test_a_whole_brief_is_read_as_it_is_written() -> None:
    brief = read(WHOLE)
    goal, limits = brief.goal, brief.limits
    assert (goal.eggs_per_week, goal.table_birds_per_month, goal.sure) == (100, 4, 0.9)
    assert goal.days(ON) == Span(date(2027, 6, 1), date(2028, 5, 31))
    assert list(limits.minutes_by_weekday) == [20, *[math.inf] * 4, 60.5, math.inf]
    assert limits.no_hatching == (Months(12, 1), Span(date(2027, 8, 1), date(2027, 8, 14)))
    assert limits.absences == (Span(date(2027, 7, 3), date(2027, 7, 17)),)
    assert (limits.budget_per_month, limits.max_birds, limits.lamp_h) == (80, 60, 15)
    assert (limits.hens_per_cock, limits.keep_hens_until_w) == (5, 60)
    assert [place.name for place in brief.places_for("incubator")] == ["box"]
    assert brief.closed == {"old box"}
    (source,) = brief.sources
    assert (source.least_eggs, source.most_eggs, source.postage) == (12, 48, 9)
    assert (source.claimed_hatch_of_set, source.last) == (0.7, date(2027, 9, 30))
    assert brief.feeds[0].price_per_kg == 0.9
    assert (brief.prices.egg, brief.prices.kwh, brief.prices.bird) == (0.2, 0.3, None)
    assert brief.holding is not None
    assert (brief.holding.latitude, brief.holding.currency) == (54, "GBP")


def test_eggs_a_week_follow_the_season_and_the_cushion() -> None:
    goal = read(WHOLE).goal
    wanted = {day: goal.eggs_per_week_on(day) for day in (
        date(2027, 6, 1), date(2027, 9, 30), date(2027, 10, 1), date(2027, 11, 1),
        date(2028, 2, 29), date(2028, 3, 1),
    )}  # fmt: skip
    assert list(wanted.values()) == pytest.approx([132, 132, 110, 66, 66, 110])


@given(
    st.integers(1, 12), st.integers(1, 12), st.dates(date(2026, 1, 1), date(2027, 12, 31)),
    st.integers(0, 800),
)  # fmt: skip
def test_months_written_out_are_the_days_of_those_months(
    first_month: int, last_month: int, first: date, days: int
) -> None:
    """By the calendar of Python's standard library, day by day."""
    months = Months(first_month, last_month)
    last = first + timedelta(days=days)
    named = [first_month]
    while named[-1] != last_month:
        named.append(named[-1] % 12 + 1)
    spans = spans_between([months], first, last)
    for number in range(days + 1):
        day = first + timedelta(days=number)
        assert day.day <= monthrange(day.year, day.month)[1]
        assert months.holds(day) == (day.month in named)
        assert any(span.holds(day) for span in spans) == (day.month in named)
    assert all(first <= span.first <= span.last <= last for span in spans)


NONSENSE = {
    "an unknown key": (
        "[goal]\neggs_per_weak = 9",
        "Line 2, goal.eggs_per_weak: ",
        "eggs_per_week?",
    ),
    "an unknown table": ("[goals]\n", "Line 1, goals: ", "Did you mean goal?"),
    "not a number": (
        "[goal]\neggs_per_week = nan",
        "Line 2, goal.eggs_per_week: nan ",
        "0 or more",
    ),
    "without end": ("[prices]\nkwh = inf", "Line 2, prices.kwh: inf ", "Give a number"),
    "a negative price": ("[prices]\negg = -0.1", "Line 2, prices.egg: -0.1 ", "0 or more"),
    "true for a number": ("[prices]\negg = true", "Line 2, prices.egg: true ", "Give a number"),
    "text for a number": ('[limits]\nmax_birds = "9"', 'Line 2, limits.max_birds: "9" ', "whole"),
    "no bird allowed": ("[limits]\nmax_birds = 0", "Line 2, limits.max_birds: 0 ", "1 or more"),
    "until before from": (
        "[goal]\neggs_per_week = 9\nfrom = 2027-06-01\nuntil = 2027-05-01",
        "Line 4, goal.until: until 2027-05-01 is before from 2027-06-01.",
        "Swap",
    ),
    "more than two years": (
        "[goal]\neggs_per_week = 9\nfrom = 2027-06-01\nuntil = 2029-06-02",
        "Line 4, goal.until: ",
        "up to 2029-06-01",
    ),
    "nothing wanted": (
        "[goal]\neggs_per_week = 0",
        "Line 1, goal: the goal asks for nothing.",
        "above 0",
    ),
    "an empty goal": ("[goal]\n", "Line 1, goal: the goal asks for nothing.", "leave [goal] out"),
    "certainty as percent": (
        "[goal]\ncertainty = 80",
        "Line 2, goal.certainty: 80 ",
        "0.5 to 0.99",
    ),
    "certain beyond doubt": ("[goal]\ncertainty = 1.0", "Line 2, goal.certainty: 1.0 ", "0.99"),
    "no eggs in a machine": (
        '[[place]]\nplace = "a"\nrole = "incubator"\ncapacity_eggs = 0',
        "Line 4, place 1, capacity_eggs: ",
        "closed = true",
    ),
    "no floor": (
        '[[place]]\nplace = "a"\nrole = "pen"\nfloor_m2 = 0.0',
        "Line 4, place 1, floor_m2: ",
        "Give its size",
    ),
    "a place without a role": ('[[place]]\nplace = "a"', "Line 1, place 1, role: ", "Add role"),
    "a name twice": (
        '[[feed]]\nfeed = "a"\n[[feed]]\nfeed = "a"',
        "Line 4, feed 2, feed: ",
        "as feed 1",
    ),
    "single brackets": ('[source]\nsource = "a"', "Line 1, source: ", "[[source]]"),
    "least above most": (
        '[[source]]\nsource = "a"\nroute = "own"\nleast_eggs = 9\nmost_eggs = 3',
        "Line 5, source 1, most_eggs: most_eggs 3 is less than least_eggs 9.",
        "Swap",
    ),
    "months and dates mixed": (
        '[limits]\nno_hatching = [["08", 2027-09-01]]',
        "Line 2, limits.no_hatching 1: ",
        "two dates, or two months",
    ),
    "not a pair": (
        '[limits]\nno_hatching = ["08"]',
        "Line 2, limits.no_hatching 1: ",
        '[["08", "08"]]',
    ),
    "months for an absence": (
        '[limits]\nabsences = [["08", 2027-08-31]]',
        "Line 2, limits.absences 1, from: ",
        "2027-05-02",
    ),
    "an absence of an hour": (
        "[limits]\nabsences = [[2027-05-02T08:00:00, 2027-05-03]]",
        "Line 2, limits.absences 1, from: ",
        "a date such as",
    ),
    "a day that is none": (
        "[limits]\nminutes_per_day = {tues = 9}",
        "Line 2, ",
        "Did you mean tue?",
    ),
    "a day too long": ("[limits]\nminutes_per_day = 1441", "Line 2, ", "0 to 1440"),
    "a place on no map": (
        '[holding]\ntimezone = "Mars/Base"',
        "Line 2, holding.timezone: ",
        "Lisbon",
    ),
    "a year long gone": ("[goal]\nfrom = 0099-01-01", "Line 2, goal.from: ", "out of range"),
    "a season for nobody": (
        '[goal]\nseason = [{from = "06", until = "08"}]',
        "Line 2, goal.season 1, eggs_per_week: ",
        "Add eggs_per_week",
    ),
    "half a line": ("[goal]\neggs_per_week =", "Line 2: this is not TOML", "key = value"),
    "cut off": ("[goal]\nseason = [", "Line 2: this is not TOML", "key = value"),
    "thousands of digits": (
        "[goal]\neggs_per_week = " + "9" * 5_000,
        "Line 2: this is not TOML: a number in it has thousands of digits.",
        "key = value",
    ),
    "a key twice": ("[goal]\nfrom = 2027-06-01\nfrom = 2027-06-01", "Line 3: this is not", "key"),
}


@pytest.mark.parametrize(("text", "begins", "mends"), NONSENSE.values(), ids=list(NONSENSE))
def test_nonsense_gets_a_sentence_with_its_place_and_how_to_mend_it(
    text: str, begins: str, mends: str
) -> None:
    (sentence,) = refused(text)
    assert sentence.startswith(begins), sentence
    assert mends in sentence
    assert sentence.endswith((".", "?"))


def test_all_problems_are_told_at_once_in_the_order_of_the_lines() -> None:
    told = refused("[prices]\negg = -1\nbirds = 2\n[limits]\nlamp = 25\n[goal]\nfrom = 7\n")
    assert [sentence.split(",")[0] for sentence in told] == ["Line 2", "Line 3", "Line 5", "Line 7"]


def test_lines_are_right_below_lists_and_texts_of_several_lines() -> None:
    text = '''[limits]
absences = [
  [2027-08-01, 2027-08-02], # away
]
[holding]
name = """
[goal]
from = 1
"""
units = "feet"
'''
    told = refused(text)
    assert [sentence.split(":")[0] for sentence in told] == [
        "Line 6, holding.name",
        "Line 10, holding.units",
    ]


def test_bytes_that_are_no_text_are_told_with_their_line() -> None:
    (sentence,) = refused(b"[goal]\nnote = '\xff'\n")
    assert sentence == "Line 2: this is not UTF-8 text (byte 0xff). Save the file as UTF-8."


def test_a_byte_order_mark_is_passed_over() -> None:
    """Editors on some systems begin UTF-8 files with one."""
    assert read("\ufeff[goal]\neggs_per_week = 9\n").goal.eggs_per_week == 9


_TABLES = {
    "goal": ("eggs_per_week", "from", "until", "certainty", "season", "cushion"),
    "limits": ("minutes_per_day", "max_birds", "no_hatching", "absences", "lamp"),
    "prices": ("egg", "feed_per_kg"),
    "holding": ("latitude", "timezone", "units", "name"),
}
_VALUES = st.sampled_from([
    "1", "-1", "0", "1e308", "nan", "-inf", "true", '""', '"08"', '"2027-05-02"', "2027-05-02",
    "9999-12-31", "0001-01-01", "2027-05-02T10:00:00Z", "10:00:00", "[]", "{}", "[[]]", "[1, 2]",
    "[[2027-05-02, 2027-05-01]]", '[["08", "13"]]', "[{}]", '[{from = "08", until = 3}]',
    "99999999999999999999", '"\\u001b[31m"', '{mon = 1, "x\\u0000" = 2}', "0.7",
])  # fmt: skip


@given(
    st.dictionaries(
        st.sampled_from([(table, key) for table, keys in _TABLES.items() for key in keys]),
        _VALUES,
        max_size=6,
    )
)
@example({("goal", "season"): "[{}]", ("limits", "no_hatching"): "[[]]"})
def test_whatever_is_written_is_read_or_explained(written: dict[tuple[str, str], str]) -> None:
    """Property: no value of any key ends in anything but a brief or sentences."""
    text = "\n".join(
        f"[{table}]\n"
        + "\n".join(f"{key} = {value}" for (where, key), value in written.items() if where == table)
        for table in {table for table, _ in written}
    )
    brief, findings = read_brief(text.encode())
    assert (brief is None) == bool(findings)
    for finding in findings:
        assert finding.line is not None
        assert finding.sentence.isprintable()
        assert finding.mend or finding.field == "holding.timezone"
    if brief is not None:
        completed(brief, Flock(), ON)


@given(st.binary(max_size=60))
def test_whatever_the_file_holds_nothing_breaks(data: bytes) -> None:
    brief, findings = read_brief(data)
    assert (brief is None) == bool(findings)


# Completed from the journal.


def kept() -> Flock:
    return fold(
        [
            made("holding", name="Home", timezone="Europe/Lisbon", latitude=38.7, currency="EUR",
                 light_target_h=14.5),
            made("goal", eggs_per_week=70, from_="2027-01-01", certainty=0.75),
            made("place", place="box", role="incubator", capacity_eggs=48),
            made("place", place="pen", role="pen", floor_m2=4),
            made("place", place="old pen", role="pen", floor_m2=2, closed=True),
            made("source", source="friend", route="collected", price_per_egg=0.4),
            made("feed", feed="pellets", price_per_kg=0.8, stage="layer"),
            made("group", group="layers", place="pen", hens=10, cocks=2, hatched_on="2027-01-01"),
            made("group", group="young hens", place="pen", hens=5, hatched_on="2027-03-01"),
        ],
        ON,
    )  # fmt: skip


def test_what_the_brief_leaves_out_comes_from_the_journal() -> None:
    brief, findings = completed(read(""), kept(), ON)
    assert findings == []
    goal = brief.goal
    assert (goal.eggs_per_week, goal.certainty) == (70, 0.75)
    assert (goal.first, goal.last) == (date(2027, 5, 3), date(2028, 4, 30))
    assert [(p.name, p.capacity_eggs, p.floor_m2) for p in brief.places] == [
        ("box", 48, None),
        ("pen", None, 4.0),
    ]
    assert [(s.name, s.route, s.price_per_egg) for s in brief.sources] == [
        ("friend", "collected", 0.4),
        ("layers", "own", 0.0),
    ]
    assert brief.feeds[0].price_per_kg == 0.8
    assert brief.holding is not None
    assert brief.holding.latitude == 38.7


def test_what_the_brief_says_goes_before_the_journal() -> None:
    text = """
        [goal]
        table_birds_per_month = 6
        [limits]
        lamp = true
        [[place]]
        place = "box"
        role = "incubator"
        capacity_eggs = 24
        [[place]]
        place = "pen"
        role = "pen"
        closed = true
        [[source]]
        source = "friend"
        route = "shipped"
        postage = 8
        [holding]
        latitude = 0
        """
    brief, findings = completed(read(text), kept(), ON)
    assert findings == []
    assert (brief.goal.eggs_per_week, brief.goal.table_birds_per_month) == (None, 6)
    assert brief.goal.certainty == 0.8
    assert [(p.name, p.capacity_eggs) for p in brief.places] == [("box", 24)]
    friend = brief.sources[0]
    assert (friend.route, friend.postage, friend.price_per_egg) == ("shipped", 8, 0.4)
    assert brief.limits.lamp_h == 14.5
    assert brief.holding is not None
    assert (brief.holding.latitude, brief.holding.name) == (0, "Home")


def test_certainty_alone_is_added_to_the_goal_of_the_journal() -> None:
    brief, findings = completed(read("[goal]\ncertainty = 0.95"), kept(), ON)
    assert findings == []
    assert (brief.goal.eggs_per_week, brief.goal.certainty) == (70, 0.95)


def test_what_nobody_told_is_asked_for() -> None:
    _, findings = completed(read(""), Flock(), ON)
    told = " ".join(finding.sentence for finding in findings)
    assert len(findings) == 3
    for words in ("what is wanted", "no incubator", "hatching eggs from"):
        assert words in told


def test_an_incubator_of_unknown_size_is_asked_about() -> None:
    flock = fold([made("place", place="box", role="incubator")], ON)
    text = '[goal]\neggs_per_week = 9\n[[source]]\nsource = "a"\nroute = "collected"\n'
    brief, (finding,) = completed(read(text), flock, ON)
    assert 'how many eggs "box" holds' in finding.sentence
    granted = " ".join(taken_for_granted(brief))
    assert "No price of an egg is told for a" in granted
    assert "short days are not reckoned with" in granted


START = """
[[place]]
place = "a"
role = "incubator"
capacity_eggs = 9
[[source]]
source = "b"
route = "own"
"""


def test_a_goal_that_ends_before_any_bird_can_lay_is_refused() -> None:
    """Eggs set today hatch after some 16 days at the earliest (common practice, no source) and no
    hen was seen to lay before 35 days (Narinc et al. 2013, literature range 35 to 45 days)."""
    text = "[goal]\neggs_per_week = 9\nuntil = {}\n" + START
    _, (finding,) = completed(read(text.format("2027-06-15")), Flock(), ON)
    assert "before any bird can lay" in finding.sentence
    assert "2027-06-22" in finding.sentence
    assert completed(read(text.format("2027-06-22")), Flock(), ON)[1] == []
    assert completed(read(text.format("2027-06-15")), kept(), ON)[1] == []


@pytest.mark.parametrize(
    ("goal", "says"),
    [
        ("until = 2027-05-02", "the goal ended on 2027-05-02."),
        ("until = 2029-05-03", "more than two years after 2027-05-02. Plan up to 2029-05-02"),
        ("from = 2030-01-01", "begins on 2030-01-01"),
    ],
)
def test_days_that_no_plan_can_reach_are_refused(goal: str, says: str) -> None:
    _, (finding,) = completed(read(f"[goal]\neggs_per_week = 9\n{goal}\n" + START), kept(), ON)
    assert says in finding.sentence


def test_a_certainty_logged_below_even_chances_is_refused() -> None:
    flock = fold([made("goal", eggs_per_week=9, certainty=0.3)], ON)
    _, (finding,) = completed(read(START), flock, ON)
    assert "a certainty of 0.3 cannot be planned for" in finding.sentence

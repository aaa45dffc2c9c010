"""`eggs`, and the firm no of `log`, as a script and a keeper at a terminal meet them."""

from tests.cli.conftest import Quail

STOCK = (
    "group group=north place=shed hens=15 at=2027-05-01",
    "group group=south place=barn hens=15 at=2027-05-01",
    "eggs_collected group=north eggs=4 at=2027-05-04T23:30",
    "eggs_collected group=south eggs=8 at=2027-05-05",
    "eggs_boxed box=carton eggs=12 at=2027-05-05T12:00",
    "eggs_ordered order=ann-1 eggs=6 on=2027-05-20 to=Ann at=2027-05-05",
)
TREATED = "treated group=north product=powder eggs_withheld_until=2027-05-04 at=2027-05-03"


def stocked(quail: Quail, zone: str = "America/Los_Angeles") -> None:
    for words in (f"holding timezone={zone} at=2027-01-01", *STOCK):
        answer = quail("log", *words.split())
        assert answer.code == 0, answer.err


def test_a_withheld_pen_in_a_shared_box_is_refused_with_exit_code_1(quail: Quail) -> None:
    """Laid at half past eleven at night in Los Angeles, when the date is another in UTC."""
    stocked(quail)
    late = quail("log", *TREATED.split())
    assert late.code == 0, late.err
    sale = quail(
        "log", *["eggs_out", "use=sold", "eggs=6", "box=carton", "at=2027-05-06", "to=Ann"]
    )
    assert sale.code == 1
    said = " ".join(sale.err.split())
    assert "the whole box is withheld: 4 of north laid 2027-05-04 in box carton." in said
    assert "Eggs of north laid from 2027-05-05 on may be sold again." in said
    away = quail("log", *["eggs_out", "use=discarded", "eggs=12", "box=carton", "at=2027-05-06"])
    assert away.code == 0, away.err


def test_an_egg_laid_the_day_after_is_free_right_to_the_day(quail: Quail) -> None:
    stocked(quail)
    assert quail("log", *TREATED.split()).code == 0
    for at, code in (("2027-05-04T23:59", 1), ("2027-05-05T00:01", 0)):
        day = at[:10]
        quail("log", *f"eggs_collected group=north eggs=2 at={at}".split())
        sale = f"eggs_out use=sold eggs=2 group=north laid_from={day} laid_to={day} at=2027-05-06"
        assert quail("log", *sale.split()).code == code


def test_what_was_sold_before_the_treatment_was_logged_is_listed(quail: Quail) -> None:
    stocked(quail)
    sale = "eggs_out use=sold eggs=6 box=carton at=2027-05-06 order=ann-1"
    assert quail("log", *sale.split()).code == 0
    assert quail("log", *TREATED.split()).code == 0
    told = quail("eggs", "--on", "2027-05-07", "--json").json
    (one,) = told["sold_although_held"]
    assert (one["to"], one["affected"]) == (
        "Ann", [{"laid": "2027-05-04", "group": "north", "eggs": 4}],
    )  # fmt: skip
    assert told["orders"][0]["state"] == "filled"
    shown = quail("eggs", "--on", "2027-05-07").out
    assert "NOT TO HAVE LEFT: 2027-05-06, sold, to Ann: 4 of north laid 2027-05-04." in shown
    assert quail("journal", "check").code == 1


def test_the_store_is_told_with_orders_and_lots(quail: Quail) -> None:
    stocked(quail)
    shown = quail("eggs", "--on", "2027-05-06").out
    assert shown.startswith("Thursday 6 May 2027: 12 eggs may be sold.")
    assert "Nobody has told how long eggs may be kept." in shown
    told = quail("eggs", "--on", "2027-05-06", "--json").json
    assert told["orders"][0]["chance"] == 1.0
    assert [lot["group"] for lot in told["lots"]] == ["north", "south"]
    assert told["free"] == 12


def test_who_may_have_received_eggs_of_a_treatment_logged_late(quail: Quail) -> None:
    """Loose eggs of two pens: which of them were sold nobody can tell any more."""
    stocked(quail)
    quail("log", *["eggs_collected", "group=north", "eggs=3", "at=2027-05-06"])
    quail("log", *["eggs_collected", "group=south", "eggs=3", "at=2027-05-06"])
    sale = "eggs_out use=sold eggs=3 at=2027-05-07 to=Bo"
    assert quail("log", *sale.split()).code == 0
    late = "treated group=north product=drops eggs_withheld_until=2027-05-09 at=2027-05-05"
    assert quail("log", *late.split()).code == 0
    (one,) = quail("eggs", "--on", "2027-05-08", "--json").json["sold_although_held"]
    assert one["to"] == "Bo"
    assert one["affected"] == []
    assert one["maybe"] == [{"laid": "2027-05-06", "group": "north", "eggs": 3}]
    quail("log", *["eggs_collected", "group=south", "eggs=3", "at=2027-05-08"])
    quail("log", *["eggs_out", "use=sold", "eggs=3", "at=2027-05-08", "to=Cy"])
    told = quail("eggs", "--on", "2027-05-08", "--json").json
    assert [each["to"] for each in told["sold_although_held"]] == ["Bo"]
    assert (
        "MAY HAVE LEFT: 2027-05-07, sold, to Bo: 3 of north"
        in quail("eggs", "--on", "2027-05-08").out
    )


def test_part_of_a_mixed_box_may_have_held_any_lot_packed_into_it(quail: Quail) -> None:
    """Eggs in a box cannot be told apart: who got some of them is told of every lot in it."""
    stocked(quail)  # 4 of north and 8 of south
    sale = "eggs_out use=sold eggs=4 box=carton at=2027-05-06 to=Ann"
    assert quail("log", *sale.split()).code == 0  # the oldest by the book: those of north
    assert "in the same box: 8 of south" in quail("eggs", "--on", "2027-05-07").out
    late = "treated group=south product=drops eggs_withheld_until=2027-05-09 at=2027-05-05"
    assert quail("log", *late.split()).code == 0
    (one,) = quail("eggs", "--on", "2027-05-07", "--json").json["sold_although_held"]
    assert (one["to"], one["affected"]) == ("Ann", [])
    assert one["maybe"] == [{"laid": "2027-05-05", "group": "south", "eggs": 8}]
    shown = " ".join(quail("eggs", "--of", "south", "--on", "2027-05-07").out.split())
    assert "to Ann: they came from a box into which 8 of south laid 2027-05-05 were packed" in shown


def test_a_box_stays_held_when_the_withheld_lot_is_gone_by_the_book(quail: Quail) -> None:
    stocked(quail)
    sale = "eggs_out use=sold eggs=4 box=carton at=2027-05-06 to=Ann"
    assert quail("log", *sale.split()).code == 0
    assert quail("log", *TREATED.split()).code == 0
    more = quail("log", *["eggs_out", "use=sold", "eggs=4", "box=carton", "at=2027-05-07", "to=Bo"])
    assert more.code == 1
    assert "4 of north laid 2027-05-04 in box carton" in " ".join(more.err.split())
    (box,) = quail("eggs", "--on", "2027-05-07", "--json").json["boxes"]
    assert box["held"]


def test_eggs_of_the_evening_before_are_spoken_of_when_a_withholding_ends(quail: Quail) -> None:
    """Most are laid some 11 h after the lights come on: Sonoda, Ibaraki and Imai 1985."""
    stocked(quail)
    assert quail("log", *TREATED.split()).code == 0
    for day, told in (("2027-05-03", True), ("2027-05-05", True), ("2027-05-06", False)):
        shown = " ".join(quail("eggs", "--on", day).out.split())
        assert ("on the morning of 2027-05-05 may have been laid on 2027-05-04" in shown) == told


def test_a_group_without_birds_is_not_treated(quail: Quail) -> None:
    """Its birds are in another group now: what is logged of it would withhold nothing there."""
    stocked(quail)
    move = "birds_moved group=north to_group=south place=barn hens=15 at=2027-05-06"
    assert quail("log", *move.split()).code == 0
    late = "treated group=north product=drops eggs_withheld_until=2027-05-20 at=2027-05-07"
    answer = quail("log", *late.split())
    assert answer.code == 2
    assert "north has no birds at that time" in " ".join(answer.err.split())
    assert quail("log", *late.replace("05-07", "05-05").split()).code == 0
    told = "treated group=north product=drops eggs_withheld_until=2027-05-25 at=2027-05-08"
    assert quail("log", *told.split()).code == 0  # of birds that were treated while there

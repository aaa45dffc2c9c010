"""Crosses as they are asked for and told: rings, looks and genes; nonsense; counts of chicks."""

from datetime import date
from functools import cache

import pytest
from tests.makers import made

from quailwright.exchange.cross_page import CrossPage, cross_page
from quailwright.exchange.cross_parents import asked
from quailwright.exchange.hidden_told import HiddenTold, counts_of, hidden_told
from quailwright.flock.fold import fold
from quailwright.flock.state import Flock
from quailwright.journal.findings import BadInput

COLOURED = (
    {"bird": "Rex", "sex": "cock", "plumage": "brown"},
    {"bird": "Ada", "sex": "hen", "plumage": "wild"},
    {"bird": "Dot", "sex": "hen", "plumage": "white"},
    {"bird": "Una", "sex": "hen"},
)


@cache
def flock() -> Flock:
    return fold([made("bird", "2027-05-01", **ring) for ring in COLOURED], date(2027, 5, 2))


def page(cock: str, hen: str, counted: dict[str, str] | None = None, **more: str) -> CrossPage:
    return cross_page(flock(), {"cock": cock, "hen": hen, **more}, counted or {})


def learnt(cock: str, hen: str, *counts: str) -> HiddenTold:
    return hidden_told(flock(), asked({"cock": cock, "hen": hen}), counts_of(counts))


@pytest.mark.parametrize(
    ("cock", "hen", "sentence"),
    [
        ("", "wild", "Name a cock: its ring, its colour"),
        ("wild", "", "Name a hen: her ring, her colour"),
        ("white", "wild", "white may be silver white, recessive white, panda"),
        ("pansy", "wild", "'pansy' is no ring"),
        ("qqqq", "wild", "it cannot be predicted. Colours that can: wild, extended dark"),
        ("Ada", "Rex", "Ada is a hen. Name a cock first, then a hen."),
        ("Rex", "Rex", "Rex is a cock. Name a cock first, then a hen."),
        ("Rex", "Dot", "Dot is white, which may be"),
        ("Rex", "Una", "Nothing tells the colour of Una"),
        ("B/B", "wild", "Write the locus before it: B: B/B, BR: B/B"),
        ("AL: C/W", "wild", "a cock has two Z and no W"),
        ("<script>", "wild", "'<script>' is no ring"),
        ("I/i", "panda", "may be one locus under two names"),
    ],
)
def test_nonsense_is_answered_with_a_sentence(cock: str, hen: str, sentence: str) -> None:
    with pytest.raises(BadInput) as raised:
        cross_page(flock(), {"cock": cock, "hen": hen}, {})
    assert sentence in raised.value.sentence


@pytest.mark.parametrize(
    ("field", "text", "sentence"),
    [
        ("carriers", "many", "Carriers are a share, such as 0.1, not 'many'"),
        ("carriers", "1.5", "Carriers are a share"),
        ("carriers", "0", "Carriers are a share"),
        ("carriers", "nan", "Carriers are a share"),
        ("carriers", "1/0", "Carriers are a share"),
        ("recombination", "0.7", "Recombination is a share from 0 to 0.5"),
    ],
)
def test_settings_out_of_range_are_refused(field: str, text: str, sentence: str) -> None:
    with pytest.raises(BadInput) as raised:
        cross_page(flock(), {"cock": "brown", "hen": "wild", field: text}, {})
    assert sentence in raised.value.sentence


def test_settings_are_taken_as_keepers_type_them() -> None:
    for text in ("0.2", "0,2", "20%", "20 %"):
        told = page("wild", "lavender", carriers=text).cross
        assert told is not None
        assert float(told.carriers) == 0.2
        assert told.answer == ["Chicks: 90% wild, 10% lavender. Cocks and hens alike."]
        assert [row.between for row in told.rows] == ["50% to 100%", "0% to 50%"]


@pytest.mark.parametrize(
    ("count", "sentence"),
    [
        ("x", "'x' is no count: write a look and a number, as in silver=5."),
        ("wild=-1", "'-1' is no count of chicks"),
        ("wild=99999999999999999999", "is no count of chicks"),
        ("wild=0", "No chicks are counted"),
        ("white=3", "white may be silver white"),
        ("slver=3", "Did you mean silver"),
        ("qqqq=3", "'qqqq' is no colour known here. There are wild"),
    ],
)
def test_bad_counts_are_refused(count: str, sentence: str) -> None:
    with pytest.raises(BadInput) as raised:
        learnt("wild", "wild", count)
    assert sentence in raised.value.sentence


def test_a_word_of_several_is_taken_for_what_the_parents_can_make() -> None:
    told = learnt("silver", "silver", "white=3", "silver=6", "wild=2")
    assert told.counts[0].looks == frozenset({("silver_white",)})
    assert told.expected[0] == ("silver white", 3, "2.8")


def test_sexes_are_read_and_uneven_ones_are_a_warning_only() -> None:
    # X25 of the published crosses: 29 cocks to 9 hens, p 0.0017 (derived).
    told = learnt("wild", "wild", "wild cocks=29", "wild hens=9")
    assert [one.sex for one in told.counts] == ["cock", "hen"]
    (warning,) = told.warnings
    assert "so uneven 0.17% of the time. Chance does it too" in warning
    assert [row[1:] for row in told.expected] == [(29, "19.0"), (9, "19.0")]


def test_what_no_genes_explain_is_told_with_what_may_be() -> None:
    told = learnt("lavender", "lavender", "wild=3")
    assert told.warnings[0].startswith("No genes that lavender and lavender can have")
    assert "Another cock may be the father" in told.warnings[1]
    assert not told.answer


def test_chicks_still_needed_are_told() -> None:
    told = learnt("wild", "lavender", "wild=4")
    assert "5 chicks without it make 95% sure that the cock is not LAV: +/lav" in told.more[0]
    assert learnt("wild", "lavender", "wild=5").more == []


def test_the_form_keeps_what_was_typed() -> None:
    told = page(
        "silver", "silver",
        {"look-1": "silver", "chicks-1": "9", "look-2": "roux", "hens-2": "1", "look-9": "x"},
    )  # fmt: skip
    assert [(row.look, row.typed["chicks"], row.typed["hens"]) for row in told.counting] == [
        ("silver", "9", ""), ("silver white", "", ""), ("wild", "", ""), ("roux", "", "1"),
        ("", "", ""),
    ]  # fmt: skip
    assert told.hidden is not None
    # A cock that hides roux is possible, but such chicks of it are not likely.
    assert told.hidden.warnings[0].startswith("The counts fit poorly")


def test_care_is_told_for_genes_as_for_looks() -> None:
    for cock in ("orange", "or/or"):
        told = page(cock, "wild").cross
        assert told is not None
        (care,) = told.cares
        assert "72.8 % hatched in place of 93.5 %" in care
        assert "do not breed it on" in care


def test_loci_in_dispute_and_looks_not_described_are_marked() -> None:
    told = page("panda", "silver").cross
    assert told is not None
    assert any(note.startswith("S (panda) is in dispute") for note in told.notes)
    mixed = [row for row in told.rows if not row.published]
    assert [row.name for row in mixed] == ["silver + panda"]
    assert any("together is not published" in note for note in told.notes)

"""`print`: what there is, where it is written, and what is never written over."""

from pathlib import Path

import pypdfium2  # type: ignore[import-untyped]
import pytest
from tests.cli.conftest import Quail

DAY = ("--on", "2027-05-03")


def test_without_a_name_it_tells_what_can_be_printed(quail: Quail, kept: Quail) -> None:
    answer = kept("print", *DAY)
    assert answer.code == 0
    for what in ("round", "week", "lid      HATCH", "brooder  PLACE", "away     FROM UNTIL"):
        assert what in answer.out
    assert "Hatches under way: may" in answer.out


def test_with_no_flock_it_tells_what_can_be_printed_all_the_same(quail: Quail) -> None:
    assert "labels" in quail("print").out


def test_it_names_the_file_and_writes_over_its_own_only(kept: Quail) -> None:
    assert kept("print", "lid", "may", *DAY).out == "Written: lid-may.pdf\n"
    assert pypdfium2.PdfDocument(Path("lid-may.pdf"))[0].get_width() == pytest.approx(595.3, abs=1)
    again = kept("print", "lid", *DAY, "--paper", "letter")
    assert again.out == "Written anew: lid-may.pdf\n"
    assert pypdfium2.PdfDocument(Path("lid-may.pdf"))[0].get_width() == pytest.approx(612, abs=1)
    Path("mine.pdf").write_text("a letter")
    refused = kept("print", "round", "mine.pdf", *DAY)
    assert (refused.code, Path("mine.pdf").read_text()) == (2, "a letter")
    assert "was not made here" in refused.err
    assert kept("print", "round", "mine.pdf", "--force", *DAY).out == "Written anew: mine.pdf\n"


def test_away_takes_its_days(kept: Quail) -> None:
    answer = kept("print", "away", "2027-05-04", "2027-05-06", "sitter.pdf", *DAY)
    assert (answer.code, answer.out) == (0, "Written: sitter.pdf\n")
    assert kept("print", "away", "2027-05-04", *DAY).code == 2


def test_no_eggs_that_may_be_sold_are_a_no(kept: Quail) -> None:
    assert kept("print", "labels", *DAY).code == 0  # laid on 2 May, before the treatment
    answer = kept("print", "labels", "--on", "2027-05-01")
    assert (answer.code, Path("labels-2027-05-01.pdf").exists()) == (1, False)
    assert "No eggs that may be sold" in answer.err


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("sonnet",), "There are: round, week"),
        (("lid", "june"), "no hatch 'june'"),
        (("places", "a", "b"), "takes no 'a'"),
        (("week", "--paper", "a5"), "a4 or letter"),
        (("week", "--address", "ftp://x"), "is no address"),
        (("week", "no/such/folder/x.pdf"), "cannot be written"),
    ],
)
def test_what_cannot_be_done_is_said(kept: Quail, words: tuple[str, ...], says: str) -> None:
    answer = kept("print", *words, *DAY)
    assert answer.code == 2
    assert says in answer.err
    assert not list(Path().glob("*.pdf"))

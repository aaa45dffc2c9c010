"""Every benchmark gives rows, and the page says what they hold: no timing is asserted."""

import pytest
from benchmarks.all import PARTS, Came, page, rows_of, table
from benchmarks.rows import Row


@pytest.mark.parametrize("name", ["matings", "sensors", "readings"])
def test_a_part_gives_rows_of_its_subject(name: str) -> None:
    rows = list(rows_of(name, quick=True))
    assert rows
    for row in rows:
        assert row.subject == name
        assert row.figure > 0
        assert row.reference
        assert row.ratio is not None
        assert not row.says  # one turn tells nothing of the noise


def test_the_page_calls_nothing_a_difference_that_is_noise() -> None:
    noisy = Row("plans", "solve", 10.0, "ms", "the solver alone", 11.0, 0.8, 1.2, 5)
    sure = Row("plans", "build", 30.0, "ms", "the solver alone", 10.0, 2.5, 3.4, 5)
    lines = table([noisy, sure])
    assert "| 0.909 (0.8 to 1.2) | 5 | no difference beyond the noise |" in lines[2]
    assert "| 3 (2.5 to 3.4) | 5 | slower |" in lines[3]
    text = page({"plans": Came("2027-05-02 12:00", "abc1234", 60.0, 99.0, [noisy, sure])})
    assert "| Plans | 2027-05-02 12:00 | abc1234 | 60 s | 99.0 |" in text
    assert "read their ratios and not their times: Plans." in text
    assert text.count("Not run.") == len(PARTS) - 1

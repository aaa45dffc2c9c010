"""A programme is told in words a keeper could read, and refuses what is not a number."""

import math

import pytest

from quailwright.planning.program import Program

NAN, INF = math.nan, math.inf


def test_rows_and_columns_keep_their_names_and_terms() -> None:
    program = Program()
    hens = program.column("hens", upper=12.0, cost=2.0, whole=True)
    eggs = program.column("eggs")
    first = program.row("eggs in June", [(hens, 5.0), (eggs, 1.0)], lower=40.0)
    second = program.row("floor", [(hens, 0.1)], upper=1.0)
    assert [program.column_names[n] for n in (hens, eggs)] == ["hens", "eggs"]
    assert [program.row_names[n] for n in (first, second)] == ["eggs in June", "floor"]
    assert (program.lower, program.upper) == ([0.0, 0.0], [12.0, INF])
    assert (program.row_lower, program.row_upper) == ([40.0, -INF], [INF, 1.0])
    assert (program.cost, program.whole) == ([2.0, 0.0], [True, False])
    assert program.row_value(first, [6.0, 3.0]) == 33.0
    assert program.row_value(second, [6.0, 3.0]) == pytest.approx(0.6)


def test_terms_of_one_column_are_added_up() -> None:
    program = Program()
    hens, cocks = program.column("hens"), program.column("cocks")
    row = program.row("birds", [(hens, 1.0), (cocks, 2.0), (hens, 0.5), (cocks, -2.0)])
    assert program.row_value(row, [10.0, 7.0]) == 15.0
    assert program.columns == [hens]


def test_a_row_may_be_empty() -> None:
    program = Program()
    row = program.row("nothing", [], lower=1.0)
    assert program.row_value(row, []) == 0.0
    assert program.starts == [0, 0]


@pytest.mark.parametrize(
    "bad",
    [
        {"lower": NAN},
        {"upper": NAN},
        {"cost": NAN},
        {"cost": INF},
        {"lower": 2.0, "upper": 1.0},
    ],
)
def test_a_column_of_nonsense_is_refused_by_name(bad: dict[str, float]) -> None:
    program = Program()
    with pytest.raises(ValueError, match="'hens of May'"):
        program.column("hens of May", **bad)  # type: ignore[arg-type]
    assert program.column_names == []


@pytest.mark.parametrize(
    ("factor", "bad"),
    [
        (NAN, {}),
        (INF, {}),
        (1.0, {"lower": NAN}),
        (1.0, {"upper": NAN}),
        (1.0, {"lower": 2.0, "upper": 1.0}),
    ],
)
def test_a_row_of_nonsense_is_refused_by_name(factor: float, bad: dict[str, float]) -> None:
    program = Program()
    hens = program.column("hens")
    with pytest.raises(ValueError, match="'floor of the pens'"):
        program.row("floor of the pens", [(hens, factor)], **bad)
    assert program.row_names == []
    assert program.starts == [0]


@pytest.mark.parametrize("column", [-1, 1])
def test_a_row_of_a_column_that_is_not_there_is_refused(column: int) -> None:
    program = Program()
    hens = program.column("hens")
    with pytest.raises(ValueError, match="'floor of the pens'"):
        program.row("floor of the pens", [(hens, 1.0), (column, 1.0)], upper=1.0)

"""A mixed-integer programme as named columns and rows, built step by step and kept sparse."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field


@dataclass(slots=True)
class Program:
    """Minimise the cost of columns within the bounds of columns and rows.

    A column and a row have a name that a keeper could read, so that a bound that binds can be told.
    """

    column_names: list[str] = field(default_factory=list)
    lower: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)
    cost: list[float] = field(default_factory=list)
    whole: list[bool] = field(default_factory=list)
    row_names: list[str] = field(default_factory=list)
    row_lower: list[float] = field(default_factory=list)
    row_upper: list[float] = field(default_factory=list)
    starts: list[int] = field(default_factory=lambda: [0])
    columns: list[int] = field(default_factory=list)
    values: list[float] = field(default_factory=list)

    def column(
        self,
        name: str,
        *,
        lower: float = 0.0,
        upper: float = math.inf,
        cost: float = 0.0,
        whole: bool = False,
    ) -> int:
        """Adds a column and gives its number.

        Raises:
            ValueError: a bound or cost that is not a number, or an empty range.
        """
        if math.isnan(lower) or math.isnan(upper) or not math.isfinite(cost) or lower > upper:
            raise ValueError(f"'{name}' cannot run from {lower} to {upper} at a cost of {cost}.")
        self.column_names.append(name)
        self.lower.append(lower)
        self.upper.append(upper)
        self.cost.append(cost)
        self.whole.append(whole)
        return len(self.cost) - 1

    def row(
        self,
        name: str,
        terms: Iterable[tuple[int, float]],
        *,
        lower: float = -math.inf,
        upper: float = math.inf,
    ) -> int:
        """Adds a row and gives its number; terms of one column are added up.

        Raises:
            ValueError: a bound or a factor that is not a number, an empty range, or a column that
                is not there.
        """
        together: dict[int, float] = {}
        for column, factor in terms:
            together[column] = together.get(column, 0.0) + factor
        if math.isnan(lower) or math.isnan(upper) or not all(map(math.isfinite, together.values())):
            raise ValueError(f"The row '{name}' holds something that is not a number.")
        if lower > upper:
            raise ValueError(f"The row '{name}' cannot run from {lower} to {upper}.")
        if not all(0 <= column < len(self.cost) for column in together):
            raise ValueError(f"The row '{name}' names a column that is not there.")
        kept = {column: factor for column, factor in together.items() if factor}
        self.columns.extend(kept)
        self.values.extend(kept.values())
        self.starts.append(len(self.columns))
        self.row_names.append(name)
        self.row_lower.append(lower)
        self.row_upper.append(upper)
        return len(self.row_names) - 1

    def row_value(self, row: int, solution: Sequence[float]) -> float:
        """What a row comes to in a solution."""
        inside = range(self.starts[row], self.starts[row + 1])
        return math.fsum(self.values[n] * solution[self.columns[n]] for n in inside)

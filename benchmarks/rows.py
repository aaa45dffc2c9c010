"""What every benchmark gives: rows of one shape, each a figure beside that of a named reference."""

from typing import NamedTuple

from benchmarks.measure import Ratio

MILLI, MICRO = 1e3, 1e6
_FEWEST_TURNS = 3
_UNITS = {MILLI: "ms", MICRO: "µs"}


class Row(NamedTuple):
    """A figure and its reference, both medians of `repeats` runs in turns.

    Attributes:
        subject: the part that it belongs to.
        what: what was measured.
        figure, unit: how long it took, and in what.
        reference, reference_figure: what it ran beside, and how long that took; "" and None where
            a figure stands by itself.
        low, high: the least and greatest ratio of a single turn.
        repeats: how many turns.
    """

    subject: str
    what: str
    figure: float
    unit: str
    reference: str = ""
    reference_figure: float | None = None
    low: float | None = None
    high: float | None = None
    repeats: int = 1

    @property
    def ratio(self) -> float | None:
        """How many times as long as the reference."""
        return None if self.reference_figure is None else self.figure / self.reference_figure

    @property
    def says(self) -> str:
        """Which is quicker, unless single turns disagree; nothing after fewer than three."""
        if self.low is None or self.high is None or self.repeats < _FEWEST_TURNS:
            return ""
        if self.high < 1.0:
            return "quicker"
        return "slower" if self.low > 1.0 else "no difference beyond the noise"


def row_of(subject: str, ratio: Ratio, scale: float = MILLI, each: int = 1) -> Row:
    """The row of a pair that ran side by side, in milli- or microseconds for one of `each`."""
    low, high = ratio.spread
    return Row(
        subject, ratio.what, ratio.seconds * scale / each, _UNITS[scale], ratio.against,
        ratio.reference_seconds * scale / each, low, high, ratio.rounds,
    )  # fmt: skip


def alone(subject: str, what: str, seconds: float, repeats: int = 1) -> Row:
    """A figure that stands by itself [ms]."""
    return Row(subject, what, seconds * MILLI, "ms", repeats=repeats)

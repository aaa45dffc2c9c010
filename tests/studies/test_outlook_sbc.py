"""The calibration study still runs on the outlook's own parts, and its table finds false ranks."""

from collections.abc import Callable

import numpy as np
import pytest
from numpy.random import Generator, default_rng

from studies import outlook_sbc


@pytest.mark.parametrize(
    "model",
    [
        outlook_sbc.hatches,
        outlook_sbc.brooder_losses,
        lambda rng: outlook_sbc.deaths(rng, 0.0),
        lambda rng: outlook_sbc.lay(rng, False),
        lambda rng: outlook_sbc.lay(rng, True),
    ],
    ids=["hatches", "brooder losses", "deaths", "lay", "lay beside the model"],
)
def test_truths_are_ranked(model: Callable[[Generator], outlook_sbc.Ranks]) -> None:
    """With short days without a lamp among them, where no eggs are due."""
    for rng in default_rng(1).spawn(12):
        ranked = list(model(rng))
        assert ranked
        assert all(0.0 <= rank <= 1.0 for _, rank in ranked)


def test_the_table_tells_even_ranks_from_false_ones() -> None:
    even = np.linspace(0.0, 1.0, 2000).tolist()
    sure = np.where(np.arange(2000) % 2, 0.01, 0.99).tolist()
    _, first, second = outlook_sbc.table_of({"even": even, "sure": sure})
    assert "NOT UNIFORM" not in first
    assert "NOT UNIFORM: believed too surely" in second

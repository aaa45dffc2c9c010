"""Briefs written as TOML, against Python's own reader of TOML 1.0 (tomllib)."""

import math
import tomllib
from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quailwright.planning.brief import read_brief
from quailwright.planning.brief_text import brief_text

NAMES = st.text(min_size=1, max_size=20)
PLAIN = (
    st.text(max_size=40)
    | st.booleans()
    | st.integers(-(2**63), 2**63 - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.dates(date(1900, 1, 1))
)
VALUES = st.recursive(
    PLAIN,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(NAMES, inner, max_size=3),
    max_leaves=6,
)
TABLES = st.dictionaries(NAMES, VALUES, max_size=4)
DOCUMENTS = st.dictionaries(NAMES, TABLES | st.lists(TABLES, max_size=3) | PLAIN, max_size=4)


@given(DOCUMENTS)
def test_tomllib_reads_back_what_was_written(values: dict[str, Any]) -> None:
    assert tomllib.loads(brief_text(values)) == values


@pytest.mark.parametrize(
    "name",
    ['"]\n[goal]\neggs_per_week = 9999\n#', "\\", "'''", "\x7f", "\x00\x1f", "é 鶉 🥚", "\u2028"],
)
def test_a_hostile_name_stays_a_name(name: str) -> None:
    values = {
        "goal": {"eggs_per_week": 60, "from": date(2027, 6, 1)},
        "source": [{"source": name, "route": "collected", "price_per_egg": 0.5}],
    }
    assert tomllib.loads(brief_text(values)) == values


def test_the_planner_reads_what_was_written() -> None:
    values = {
        "goal": {"eggs_per_week": 60, "certainty": 0.8, "from": date(2027, 6, 1)},
        "limits": {"absences": [[date(2027, 8, 1), date(2027, 8, 9)]], "lamp": True},
        "place": [{"place": "box [1]", "role": "incubator", "capacity_eggs": 40}],
    }
    brief, findings = read_brief(brief_text(values).encode())
    assert findings == []
    assert brief is not None
    assert (brief.goal.eggs_per_week, brief.goal.certainty) == (60, 0.8)
    assert brief.limits.lamp
    assert brief.limits.absences[0].last == date(2027, 8, 9)
    assert brief.places[0].name == "box [1]"


@pytest.mark.parametrize("value", [math.nan, math.inf, None, b"x", "\ud800"])
def test_what_toml_has_no_form_for_is_refused(value: object) -> None:
    with pytest.raises(ValueError, match=r"TOML|number|surrogate"):
        brief_text({"goal": {"x": value}})

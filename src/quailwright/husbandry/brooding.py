"""Heat for chicks by age."""

from quailwright.husbandry import facts
from quailwright.husbandry.age import checked_age_d, week_of_life


def heat_c(age_d: float) -> float:
    """Temperature to give at chick level, at the edge of the heat; it drops once a week.

    The birds' behaviour decides: a huddle is cold, panting at the far edge is hot. Heat ends when
    they are fully feathered (``brooding.heat_end_age_d``), later in winter.

    Args:
        age_d: age [d] from hatch, 0 or more.

    Returns:
        Temperature [°C], never below ``brooding.heat_floor``.

    Raises:
        ValueError: age below 0.

    Source: start, New South Wales DPI, Raising Japanese quail (Primefact 602); weekly drop,
    common practice; floor, Mississippi State University Extension. Certainty: published and
    common practice.
    """
    steps = week_of_life(age_d) - 1
    start = facts.value("brooding.heat_start")
    drop = facts.value("brooding.heat_drop_per_week")
    return max(facts.value("brooding.heat_floor"), start - drop * steps)


def heat_range_c(age_d: float) -> tuple[float, float]:
    """Lowest and highest temperature that the sources give at chick level for this age.

    Whole-room temperatures (``brooding.room_week_1`` and on) have another basis and are left out.

    Args:
        age_d: age [d] from hatch, 0 or more.

    Returns:
        (low, high) [°C], with `heat_c` inside.

    Raises:
        ValueError: age below 0.

    Source: New South Wales DPI, Raising Japanese quail (Primefact 602); Mississippi State
    University Extension, Quail brooding temperatures (bobwhite-type guide). Certainty: published.
    """
    weeks = [key for key in facts.keys("brooding") if key.startswith("brooding.heat_week_")]
    low, high = facts.spread(f"brooding.heat_week_{min(week_of_life(age_d), len(weeks))}")
    return min(low, heat_c(age_d)), max(high, heat_c(age_d))


def danger_c(age_d: float) -> tuple[float, float]:
    """Air in which chicks without heat are in danger: (line used, lowest that is told) [°C].

    Chicks huddle and hold out longer; wet ones and few ones less long. It is a line to act before,
    and no line down to which it is safe.

    Args:
        age_d: age [d] from hatch, 0 or more.

    Raises:
        ValueError: age below 0.

    Source: Marjoniemi et al. 1995, Wildlife Biology 1:1 (grey partridge); Wentworth, Cigan and
    Schaaf 2009, Poult Sci; keepers. Certainty: inferred, and common practice without a source.
    """
    age = checked_age_d(age_d)
    if age <= facts.value("brooding.danger_until_1_d"):
        key = "brooding.danger_day_10_c"
    elif age <= facts.value("brooding.danger_until_2_d"):
        key = "brooding.danger_day_21_c"
    else:
        key = "brooding.danger_feathering_c"
    return facts.value(key), facts.spread(key)[0]


def danger_away_c(age_d: float) -> float:
    """Air away from the heat, which birds can leave, in which strays are in danger [°C].

    Away from a plate it is nearly as cold as the room, and rightly so: birds come back to the heat.
    Below this a chick that strays, or that the others keep out, chills.

    Args:
        age_d: age [d] from hatch, 0 or more.

    Raises:
        ValueError: age below 0.

    Source: keepers' accounts; Wentworth, Cigan and Schaaf 2009, Poult Sci, for 13 °C at 6 days.
    Certainty: common practice, no source.
    """
    weeks = [key for key in facts.keys("brooding") if key.startswith("brooding.away_danger_week_")]
    return facts.value(f"brooding.away_danger_week_{min(week_of_life(age_d), len(weeks))}")

"""What-if on sliders: what was left alone stays, ends mean what they say, the brief holds it."""

import pytest

from quailwright.exchange.plan_asked import changed
from quailwright.exchange.sliders import MACHINE, Slider, slid, sliders
from quailwright.journal.findings import BadInput
from quailwright.planning.brief import Brief, read_brief

BRIEF = b"""
[goal]
eggs_per_week = 63
certainty = 0.8
from = 2027-06-01
[[place]]
place = "box"
role = "incubator"
capacity_eggs = 48
heater_w = 15
"""


def read() -> Brief:
    brief, findings = read_brief(BRIEF)
    assert brief is not None, findings
    return brief


def offered() -> dict[str, Slider]:
    return {one.name: one for one in sliders(read(), None, 0.8, 30)}


LIMITS = {"goal.eggs_per_week": "63", "limits.max_birds": "", "limits.lamp": "",
          "goal.certainty": "0.8"}  # fmt: skip


def at(slider: Slider) -> str:
    return f"{slider.value:g}"


def test_sliders_stand_at_what_was_asked() -> None:
    found = offered()
    assert {name: one.words for name, one in found.items()} == {
        "goal.eggs_per_week": "63 eggs a week",
        "goal.certainty": "80 % of the weeks",
        "limits.max_birds": "no limit",
        "limits.lamp": "as it is now",
        MACHINE: "it holds 48 eggs",
    }
    for one in found.values():
        assert one.low <= one.value <= one.high
        # A range takes only whole steps from its low end: it must stand where it says.
        assert (one.value - one.low) / one.step == pytest.approx(
            round((one.value - one.low) / one.step)
        )


def test_sliders_left_alone_change_nothing() -> None:
    found = offered()
    typed = {name: at(one) for name, one in found.items()}
    assert slid(list(found.values()), LIMITS, typed) == (LIMITS, "")


@pytest.mark.parametrize(
    ("name", "value", "answer"),
    [
        ("goal.eggs_per_week", "80", "80"),
        ("goal.certainty", "95", "0.95"),
        ("limits.max_birds", "40", "40"),
        ("limits.lamp", "15.5", "15.5"),
    ],
)
def test_what_was_slid_is_asked(name: str, value: str, answer: str) -> None:
    answers, _ = slid(list(offered().values()), LIMITS, {name: value})
    assert answers == {**LIMITS, name: answer}


def test_the_ends_mean_none_and_no_limit() -> None:
    lit = {one.name: one for one in sliders(read(), 15.0, 0.8, 30)}
    lamp, birds = lit["limits.lamp"], lit["limits.max_birds"]
    limits = {**LIMITS, "limits.lamp": "15", "limits.max_birds": "30"}
    dark, _ = slid([lamp], limits, {"limits.lamp": f"{lamp.low:g}"})
    assert dark["limits.lamp"] == "0"
    assert birds.answer(birds.high) == ""


def test_the_machine_is_told_in_the_brief_with_all_else_of_it() -> None:
    answers, machine = slid(list(offered().values()), LIMITS, {MACHINE: "60"})
    brief, findings = read_brief(changed(BRIEF, read(), answers, machine))
    assert findings == []
    assert brief is not None
    (box,) = brief.places
    assert (box.name, box.capacity_eggs, box.heater_w) == ("box", 60, 15)
    assert brief.goal.eggs_per_week == 63


@pytest.mark.parametrize("text", ["many", "-1", "nan", "inf", "100000000000"])
def test_what_no_slider_can_say_is_refused(text: str) -> None:
    with pytest.raises(BadInput, match="eggs a week: from 2 to"):
        slid(list(offered().values()), LIMITS, {"goal.eggs_per_week": text})

"""The light of a flock as a page and the terminal tell it: what to set, when, and what if not."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from quailwright.exchange.light_chart import LightChart, light_chart
from quailwright.exchange.typed import day_typed
from quailwright.flock.state import Flock
from quailwright.guide import wording
from quailwright.guide.light import Ask, Light, Step, Turn, begin_h, light, place_of
from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.husbandry.lamp import ENDS, most_light_h
from quailwright.journal.findings import BadInput
from quailwright.language import figure, mark, say, say_many, with_point

FIELDS = ("hours", "until", "end", "watts", "price")
"""Of the form, as the page and the API have them."""

END_WORDS = {
    "morning": mark("in the morning"),
    "evening": mark("in the evening"),
    "both": mark("at both ends"),
}

FIGURES = (
    "laying.light_target_h",
    "laying.light_full_h",
    "laying.light_none_h",
    "laying.light_step_h_per_week",
    "laying.light_dark_least_h",
    "laying.light_start_age_d",
)
"""What the page stands on."""


@dataclass(frozen=True, slots=True)
class StepRow:
    """A day on which the timer is touched, in words."""

    on: date
    lamp: str
    day_h: str
    lit_h: str
    note: str


@dataclass(frozen=True, slots=True)
class WeekRow:
    """The first day of a week: hours, and share of full lay."""

    first: date
    day_h: str
    lit_h: str
    with_lamp: str
    without: str


@dataclass(frozen=True, slots=True)
class LightPage:
    """All of it, said.

    Attributes:
        summary: the sun and the lamp of the day, in a line.
        answer: what to do next.
        steps: the dates on which the timer is set.
        if_not: what follows without a lamp; `year`: the year in words.
        rest: what resting costs and gives; `choice`: whether the flock rests now.
        notes: what is to be known of these figures.
        power: what the lamp burns, or "".
    """

    on: date
    last: date
    summary: str
    answer: list[str]
    steps: list[StepRow]
    if_not: list[str]
    year: str
    weeks: list[WeekRow]
    chart: LightChart
    rest: list[str]
    rests: bool
    notes: list[str]
    power: str
    end: str
    wanted_h: float


def asked(typed: Mapping[str, str]) -> Ask:
    """What is asked, from fields as typed. Raises BadInput."""
    end = typed.get("end", "").strip()
    if end and end not in ENDS:
        raise BadInput(
            say("The lamp burns in the morning, in the evening or both, not {told!r}.", told=end)
        )
    return Ask(
        _number(
            typed.get("hours", ""),
            mark("The hours of light are a number, such as 14, not {told!r}."),
        ),
        day_typed(typed.get("until", "")),
        next((one for one in ENDS if one == end), None),
        _number(
            typed.get("watts", ""),
            mark("The watts of the lamp are a number, such as 8, not {told!r}."),
        ),
        _number(
            typed.get("price", ""),
            mark("The price of a kilowatt hour is a number, such as 0.30, not {told!r}."),
        ),
    )


def _number(text: str, sentence: str) -> float | None:
    if not text.strip():
        return None
    try:
        return float(with_point(text))
    except ValueError:
        raise BadInput(say(sentence, told=text)) from None


def place_known(flock: Flock) -> bool:
    """Whether it is known where the flock lives."""
    return place_of(flock) is not None


def light_page(flock: Flock, on: date, ask: Ask) -> tuple[Light, LightPage]:
    """The light of a flock from a day on, and the page of it. Raises BadInput."""
    found = light(flock, on, ask)
    currency = flock.holding.currency if flock.holding is not None else ""
    return found, LightPage(
        found.on,
        found.last,
        _summary(found),
        _answer(found),
        [_step(one) for one in found.steps],
        _if_not(found),
        _year(found),
        _weeks(found),
        light_chart(found),
        _rest(found),
        found.rests,
        _notes(found),
        _power(found, currency),
        found.end,
        found.wanted_h,
    )


def lamp_words(lamp: tuple[tuple[str, str], ...]) -> str:
    """`on 05:30, off 08:00`, or that no lamp burns."""
    if not lamp:
        return say("no lamp")
    return "; ".join(say("on {on}, off {off}", on=on, off=off) for on, off in lamp)


def span_words(lamp: tuple[tuple[str, str], ...]) -> str:
    """The same for a table: `05:30 to 08:00`."""
    if not lamp:
        return say("no lamp")
    return ", ".join(say("{begin} to {end}", begin=on, end=off) for on, off in lamp)


def _summary(found: Light) -> str:
    sun = found.sun
    if sun.sunrise is None or sun.sunset is None:
        day = say("The sun does not set.") if sun.day_h else say("The sun does not rise.")
    else:
        day = say(
            "Sun {rise} to {set}, {hours:.1f} h.",
            rise=_minute(sun.sunrise),
            set=_minute(sun.sunset),
            hours=sun.day_h,
        )
    if found.told is None:
        return day
    lamp = say(
        "Lamp {on} to {off} makes {hours:.1f} h.",
        on=found.told[0],
        off=found.told[1],
        hours=found.now_h,
    )
    return f"{day} {lamp}"


def _minute(moment: datetime) -> str:
    """The nearest minute of a clock."""
    return f"{moment + timedelta(seconds=30):%H:%M}"


def _answer(found: Light) -> list[str]:
    if found.rests:
        return [say("The hens rest in the dark months, by your choice: no lamp is needed.")]
    today, *later = found.steps
    said = []
    if today.lamp and _same(today.lamp, found):
        said.append(say("The lamp does as it is."))
    elif today.lamp:
        said.append(
            say(
                "Set the timer today: {lamp}. That makes {hours:.1f} h.",
                lamp=lamp_words(today.lamp),
                hours=today.lit_h,
            )
        )
    elif found.told is not None and found.now_h > today.day_h:
        said.append(say("The day is long enough today: the lamp can stay off."))
    else:
        said.append(say("No lamp is needed today."))
    change = next((one for one in later if one.lamp != today.lamp), None)
    if change is not None:
        said.append(
            say("Next change: {day}, {lamp}.", day=wording.when(change.on, found.on),
                lamp=lamp_words(change.lamp))
        )  # fmt: skip
    reached = next(
        (n for n, hours in enumerate(found.lit_h) if hours >= found.wanted_h - _NEAR_H), None
    )
    if reached:
        said.append(
            say(
                "{hours:g} h are reached by {day}.",
                hours=found.wanted_h,
                day=wording.when(found.on + timedelta(days=reached), found.on),
            )
        )
    if found.wanted_h < min(found.now_h - _NEAR_H, facts.value("laying.light_full_h")):
        said.append(
            say(
                "That shortens the light of laying hens: below {full:g} h they lay less, below "
                "{none:g} h they stop within weeks.",
                full=facts.value("laying.light_full_h"),
                none=facts.value("laying.light_none_h"),
            )
        )
    return said


_NEAR_H = 0.3
"""So near is as aimed for: a notch of the timer."""


def _same(lamp: tuple[tuple[str, str], ...], found: Light) -> bool:
    return found.told is not None and lamp == (found.told,)


def _step(one: Step) -> StepRow:
    if one.clock_h > 0:
        note = say(
            "Clocks go forward {minutes:.0f} min that day: set the timer's own clock.",
            minutes=one.clock_h * 60,
        )
    elif one.clock_h < 0:
        note = say(
            "Clocks go back {minutes:.0f} min that day: set the timer's own clock.",
            minutes=-one.clock_h * 60,
        )
    else:
        note = ""
    return StepRow(
        one.on, span_words(one.lamp), figure(one.day_h, ".1f"), figure(one.lit_h, ".1f"), note
    )


def _turn(turn: Turn, on: date) -> str:
    return say(
        "{day} (from {early} to {late}, as flocks differ)",
        day=wording.when(turn.middle, on),
        early=wording.when(turn.early, on),
        late=wording.when(turn.late, on),
    )


def _if_not(found: Light) -> list[str]:
    lays = found.without[0] >= _STOPPED
    steady = found.stops is not None and found.stops.late == found.on
    stops = (
        say(
            "Without a lamp, flocks differ by how they take days as short as these: some lay in "
            "full, others less than half; about {share:.0%} of full lay is the middle.",
            share=found.without[0],
        )
        if steady
        else say(
            "Without a lamp, half of the lay is gone by about {day}.",
            day=_turn(found.stops, found.on),
        )
        if found.stops is not None
        else ""
    )
    starts = (
        say("It comes back by itself about {day}.", day=_turn(found.starts, found.on))
        if found.starts is not None
        else ""
    )
    said = [stops, starts] if lays else [
        say("By the light so far, grown hens do not lay now, or few of them."), starts, stops,
    ]  # fmt: skip
    if found.stops is not None and found.stops.some_never and not steady:
        said.append(say("Not every flock stops in these days."))
    if found.stops is None and lays:
        said.append(say("Without a lamp, hens lay on: no day is too short for them here."))
    if not found.rests and found.hens and found.eggs >= 1:
        said.append(
            say_many(
                "Until {day} the lamp brings about {eggs:.0f} eggs of the {n} hen there now.",
                "Until {day} the lamp brings about {eggs:.0f} eggs of the {n} hens there now.",
                found.hens,
                day=wording.when(found.last, found.on),
                eggs=found.eggs,
            )
        )
    return [sentence for sentence in said if sentence]


_STOPPED = 0.5


def _year(found: Light) -> str:
    shortest, longest = int(found.day_h.argmin()), int(found.day_h.argmax())
    if found.rests:
        return say(
            "Shortest day {short:.1f} h on {when_short}, longest {long:.1f} h on {when_long}.",
            short=found.day_h[shortest],
            when_short=wording.when(found.on + timedelta(days=shortest), found.on),
            long=found.day_h[longest],
            when_long=wording.when(found.on + timedelta(days=longest), found.on),
        )
    return say(
        "Shortest day {short:.1f} h on {when_short}, longest {long:.1f} h on {when_long}; with the "
        "lamp never under {least:.1f} h.",
        short=found.day_h[shortest],
        when_short=wording.when(found.on + timedelta(days=shortest), found.on),
        long=found.day_h[longest],
        when_long=wording.when(found.on + timedelta(days=longest), found.on),
        least=found.lit_h.min(),
    )


def _weeks(found: Light) -> list[WeekRow]:
    return [
        WeekRow(
            found.on + timedelta(days=n),
            figure(found.day_h[n], ".1f"),
            figure(found.lit_h[n], ".1f"),
            figure(found.with_lamp[n], ".0%"),
            say(
                "{middle:.0%} ({low:.0%} to {high:.0%})",
                middle=found.without[n],
                low=found.without_low[n],
                high=found.without_high[n],
            ),
        )
        for n in range(0, found.days, int(DAYS_A_WEEK))
    ]


def _rest(found: Light) -> list[str]:
    said = [
        say(
            "To let them rest is a choice as good as a lamp, and yours: no power, no timer, less "
            "feed, a moult in its own time. Many keepers find that rested hens lay longer "
            "(common practice, no source)."
        )
    ]
    if found.rests and found.hens and found.eggs >= 1:
        said.append(
            say_many(
                "Until {day} it costs about {eggs:.0f} eggs of the {n} hen there now.",
                "Until {day} it costs about {eggs:.0f} eggs of the {n} hens there now.",
                found.hens,
                day=wording.when(found.last, found.on),
                eggs=found.eggs,
            )
        )
    if found.rests:
        said.append(say("Nothing here will remind you of a lamp meanwhile."))
    elif found.hens and found.eggs >= 1:
        said.append(
            say(
                "It costs those {eggs:.0f} eggs; say so in the settings, and no sign and no task "
                "speaks of the lamp again.",
                eggs=found.eggs,
            )
        )
    return said


def _notes(found: Light) -> list[str]:
    said = []
    if found.place.by_zone:
        said.append(
            say(
                "Reckoned for the city of your time zone: latitude and longitude in the settings "
                "make it your own."
            )
        )
    if found.told is None and not found.rests:
        said.append(say("The lamp's times are not written down, so this begins from the bare day."))
    if not found.rests and begin_h(found.now_h) > found.now_h:
        said.append(
            say(
                "So short a day is too short to eat by: the lamp makes {least:g} h at once. Up to "
                "{none:g} h brings no hen into lay.",
                least=facts.value("laying.light_least_h"),
                none=facts.value("laying.light_none_h"),
            )
        )
    if not found.wanted_told and not found.rests:
        said.append(
            say(
                "You have not said what you aim for: {hours:g} h is the usual advice.",
                hours=found.wanted_h,
            )
        )
    if found.lowered:
        said.append(
            say(
                "More than {most:g} h is not planned: birds need {dark:g} h of dark.",
                most=most_light_h(),
                dark=facts.value("laying.light_dark_least_h"),
            )
        )
    if found.sun.sunrise is not None and not found.sun.day_h < most_light_h():
        said.append(say("The day itself leaves less dark than that now; no lamp shortens it."))
    said += [
        say(
            "{group}: too young for long days before {day}.",
            group=group,
            day=wording.when(day, found.on),
        )
        for group, day in found.young
    ]
    if not found.rests:
        said += [
            say(
                "On {day} clocks go forward by {minutes:.0f} min: a timer does not.",
                day=wording.when(day, found.on),
                minutes=hours * 60,
            )
            if hours > 0
            else say(
                "On {day} clocks go back by {minutes:.0f} min: a timer does not.",
                day=wording.when(day, found.on),
                minutes=-hours * 60,
            )
            for day, hours in found.clock_changes
        ]
        said.append(
            say(
                "The morning is the usual end for a lamp: birds then settle as dusk falls by "
                "itself (common practice, no source). Once reached, do not shorten the light of "
                "hens in lay."
            )
        )
    return said


def _power(found: Light, currency: str) -> str:
    if found.kwh is None:
        return ""
    burns = {"hours": found.burns_h, "kwh": found.kwh, "day": wording.when(found.last, found.on)}
    if found.cost is None:
        return say("The lamp burns {hours:.0f} h until {day}: {kwh:.1f} kWh.", **burns)
    return say(
        "The lamp burns {hours:.0f} h until {day}: {kwh:.1f} kWh, {cost}.",
        cost=wording.money(found.cost, currency),
        **burns,
    )

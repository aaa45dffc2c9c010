"""The sheet for the lid of an incubator: every date worked out, and boxes for what is seen."""

from datetime import datetime
from typing import Any

from quailwright.exchange.hatch_told import hatch_told
from quailwright.exchange.lid import Lid, LidDay, lid_of
from quailwright.exchange.sheets.press import Press, day_and_clock, pdf
from quailwright.guide import wording
from quailwright.guide.hatch import words
from quailwright.guide.hatch.report import step_times
from quailwright.guide.hatch.targets import Target
from quailwright.guide.occasions import hatch_day
from quailwright.husbandry import facts
from quailwright.language import figure, say, say_many


def lid_pdf(press: Press, name: str) -> bytes:
    """The sheet of that hatch. Raises BadInput where there is none of that name."""
    report = hatch_told(press.store, press.flock, name, press.asked)
    lid = lid_of(press.flock, report)
    hatch, dates = report.hatch, step_times(report)
    first = report.window.first_of(report.likely_chicks)
    title = say("{hatch}: {eggs} eggs in {place}", hatch=name, eggs=hatch.eggs_set,
                place=hatch.set_in)  # fmt: skip
    says = [
        say("Set {when}.", when=day_and_clock(hatch.set_at)),
        say(
            "Day 0 is the moment of setting. If you count the day of setting as day 1, add one: "
            "day {day} is your {nth} day.",
            day=figure(facts.value("incubation.turning_stop_day"), "g"),
            nth=wording.ordinal(int(facts.value("incubation.turning_stop_day")) + 1),
        ),
    ]
    loss = report.weight
    aim = say(
        "Weight to aim for: {low:g} to {high:g} % lost by day {day:.0f}. Weigh without the tray.",
        low=loss.corridor_pct[0],
        high=loss.corridor_pct[1],
        day=loss.stop_day,
    )
    advice = [] if loss.advice is None else [words.advised(loss, loss.advice)]
    return pdf(
        press,
        "lid",
        title,
        {
            "name": title,
            "says": says,
            "codes": [
                press.code(
                    "/paper/back/hatch", say("Type back {hatch}", hatch=name), hatch=name
                )
            ],
            "window": [
                [say("Stop turning"), _both(lid, dates["stop_turning"])],
                [say("First pip, about"), _both(lid, dates["first_pip"])],
                [
                    say("First chick, likely"),
                    say(
                        "{first} to {last}",
                        first=wording.when(first["q10"], press.on),
                        last=wording.when(first["q90"], press.on),
                    ),
                ],
                [say("Chicks out by"), _both(lid, dates["pull_out"])],
                [say("Stop waiting"), _both(lid, dates["stop_waiting"])],
            ],
            "steps_heading": say("Steps"),
            "step_columns": [
                "", say("when"), say("day 0 is setting"), say("setting day is day 1"),
                say("what"), say("done"),
            ],
            "steps": [
                {
                    "number": str(number),
                    "when": wording.when(step.at, press.on),
                    "day": say("day {day}", day=hatch_day(hatch, step.at)),
                    "other": say("{nth} day", nth=wording.ordinal(hatch_day(hatch, step.at) + 1)),
                    "what": step.what,
                    "done": step.done,
                }
                for number, step in enumerate(lid.steps, 1)
            ],
            "done": say("done"),
            "weights_heading": say("Weights"),
            "aim": [aim, *advice],
            "weight_columns": [
                say("due on"), say("should weigh, of the weight when set"), say("an egg, g"),
                say_many("{n} egg, g", "{n} eggs, g", max(0, hatch.alive)), say("done on"),
                say("eggs on the scale"), say("total, g"),
            ],
            "weights": [_weight(target, hatch.alive, press) for target in lid.weighings],
            "weighed": _weighed(lid, press),
            "candled": _candled(lid, press),
            "candling_heading": say("Candling"),
            "candling_columns": [say("due on"), say("done on"), say("clear"), say("dead")],
            "candlings": [wording.when(step.at, press.on) for step in lid.candlings],
            "days_heading": say("Day by day"),
            "day_columns": [
                say("date"), say("day"), say("your day"), say("turned"),
                say("lowest, {unit}", unit=_unit(press)), say("highest, {unit}", unit=_unit(press)),
                say("humidity, %"), say("water"), say("step"),
            ],
            "days": [_day(each) for each in lid.days],
            "caution": say("Electricity and water: keep plugs and switches dry."),
            "note": say(
                "Read at egg height, on an instrument you have checked. Steps are numbered as "
                "above."
            ),
            "begins": _begins(hatch.set_at),
            "seen": say("Seen, to tell"),
        },
    )  # fmt: skip


def _begins(set_at: datetime) -> str:
    """From which hour the day of a row counts, so that it is the day that the steps tell."""
    clock = f"{set_at:%H:%M}"
    if clock == "00:00":
        return ""
    return say(
        "The day of a row begins at the hour of setting, {clock}: before it, count one less.",
        clock=clock,
    )


def _both(lid: Lid, at: Any) -> str:
    """A moment of the hatch, with its day in both counts."""
    return say(
        "{when}: {counts}",
        when=wording.clock(at),
        counts=wording.both_counts(hatch_day(lid.report.hatch, at)),
    )


def _unit(press: Press) -> str:
    return "°F" if press.units == "us" else "°C"


def _weight(target: Target, eggs: int, press: Press) -> dict[str, str]:
    low, high = target.left_pct
    each = target.each_g
    return {
        "due": say("{when}, day {day:.0f}", when=wording.when(target.at, press.on), day=target.day),
        "share": say("all of it")
        if low == high
        else say("{low:.1f} to {high:.1f} %", low=low, high=high),
        "each": "" if each is None else _span(each, 1, ".2f"),
        "all": "" if each is None or eggs <= 0 else _span(each, eggs, ".1f"),
    }


def _span(each: tuple[float, float], eggs: int, spec: str) -> str:
    low, high = (figure(one * eggs, spec) for one in each)
    return low if low == high else say("{low} to {high}", low=low, high=high)


def _weighed(lid: Lid, press: Press) -> list[str]:
    """What is in the journal already, so that it is not typed twice."""
    return [
        say(
            "In the journal: {eggs} eggs weighed {grams:g} g on {when}.",
            eggs=eggs,
            grams=grams,
            when=wording.when(at, press.on),
        )
        for at, eggs, grams in sorted(lid.report.hatch.weighed)
    ]


def _candled(lid: Lid, press: Press) -> list[str]:
    return [
        say(
            "In the journal: candled on {when}, {clear} clear, {dead} dead.",
            when=wording.when(at, press.on),
            clear=clear,
            dead=dead,
        )
        for at, clear, dead in sorted(lid.report.hatch.candled)
    ]


def _day(each: LidDay) -> dict[str, Any]:
    return {
        "date": wording.weekday(each.day),
        "day": str(each.number),
        "other": str(each.number + 1),
        "turns": each.turns,
        "steps": ", ".join(str(number) for number in each.steps),
    }

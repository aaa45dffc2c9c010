"""The round of a day or a week on paper: boxes by place, then the counts that are typed back."""

from datetime import date, timedelta

from quailwright.exchange.air_seen import air_seen
from quailwright.exchange.paper import Sheet, Step, round_sheet
from quailwright.exchange.paper_back import counts_of, monday_of, week_back
from quailwright.exchange.sheets.press import Press, pdf
from quailwright.guide import wording
from quailwright.guide.round import Held, Round, todays_round
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.language import say


def round_pdf(press: Press, first: date, days: int) -> bytes:
    """The round of so many days from `first`. Raises BadInput for days that cannot be told."""
    flock, on = press.flock, press.on
    air = air_seen(press.store, flock, press.asked)

    def round_of(day: date) -> Round:
        return todays_round(flock, day, air)

    sheet = round_sheet(flock, on, first, days, round_of)
    mondays = list(dict.fromkeys(monday_of(day) for day in sheet.days))
    weeks = [week_back(flock, monday, on) for monday in mondays]
    counts = counts_of(weeks)
    left_out = list(dict.fromkeys(name for week in weeks for name in week.left_out))
    name = _title(sheet, on)
    says = [say("As the record stands on {day}.", day=wording.full_day(on))]
    if days == 1:
        says.insert(0, say("About {minutes:.0f} minutes.", minutes=sheet.minutes))
    return pdf(
        press,
        "round",
        name,
        {
            "name": name,
            "says": says,
            "codes": [_code_of(press, monday) for monday in mondays],
            "held": [_held(held, on) for held in sheet.withheld],
            "nothing": ""
            if sheet.places or sheet.steps
            else say("Nothing to do, as far as the record knows."),
            "once": say("To do once"),
            "steps": [_step(step, on) for step in sheet.steps],
            "daily": say("Day by day"),
            "task": say("task"),
            "days": [wording.weekday(day) for day in sheet.days],
            "places": [
                {
                    "place": place.place or say("Anywhere"),
                    "rows": [
                        {
                            "task": row.task,
                            "minutes": say("{minutes:g} min", minutes=row.minutes),
                            "caution": row.caution,
                            "boxes": row.boxes,
                        }
                        for row in place.rows
                    ],
                }
                for place in sheet.places
                if place.rows
            ],
            "counts": [{"heading": each.heading, "rows": each.rows} for each in counts],
            "left_out": say(
                "There is no room here for {groups}: write their eggs down one by one.",
                groups=", ".join(left_out),
            )
            if left_out
            else "",
            "counting": say("Counts, to type back"),
            "count": say("count"),
            "done_by": say("Done by"),
            "seen": say("Seen, to tell"),
        },
    )


def _title(sheet: Sheet, on: date) -> str:
    if len(sheet.days) == 1:
        return say("Round of {day}", day=wording.full_day(sheet.days[0]))
    return say(
        "Round from {first} to {last}",
        first=wording.when(sheet.days[0], on),
        last=wording.when(sheet.days[-1], on),
    )


def _code_of(press: Press, monday: date) -> dict[str, str] | None:
    last = monday + timedelta(days=DAYS_A_WEEK - 1)
    caption = say(
        "Type back {first} to {last}",
        first=wording.weekday(monday),
        last=wording.weekday(last),
    )
    return press.code("/paper/back", caption, week=monday.isoformat())


def _step(step: Step, on: date) -> dict[str, str]:
    bits = [step.place, step.subject, step.count]
    return {
        "when": wording.when(step.due, on),
        "overdue": say("overdue") if step.overdue else "",
        "of": " · ".join(bit for bit in bits if bit),
        "task": step.task,
        "caution": step.caution,
    }


def _held(held: Held, on: date) -> str:
    """What may not be used or moved, in words of its own for each of the three."""
    until = wording.when(held.until, on) if held.until is not None else ""
    match held.what, bool(until):
        case "birds", True:
            return say("No bird leaves {place}, up to and on {day}.", place=held.of, day=until)
        case "birds", False:
            return say("No bird leaves {place}, until the vet has told a date.", place=held.of)
    return no_use(held, on)


def no_use(held: Held, on: date) -> str:
    """That eggs or meat of a group may not be eaten, sold or given."""
    what = {"eggs": say("eggs"), "meat": say("meat")}[held.what]
    if held.until is not None:
        return say(
            "No {what} of {whose} to eat, sell or give, up to and on {day}.",
            what=what,
            whose=held.of,
            day=wording.when(held.until, on),
        )
    return say(
        "No {what} of {whose} to eat, sell or give, until the vet or the label has told a date.",
        what=what,
        whose=held.of,
    )

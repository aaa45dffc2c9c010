"""The sitter's sheet: a page a week with rounds and boxes, then what to hang beside it."""

from typing import Any

from quailwright.exchange.sheets.press import Press, pdf
from quailwright.exchange.sitter import Asked, SitterSheet, Week, hot_day, sitter_sheet
from quailwright.guide import told, wording
from quailwright.guide.away import Falls
from quailwright.journal.findings import BadInput
from quailwright.language import say


def away_pdf(press: Press, asked: Asked) -> bytes:
    """The sheet of those days. Raises BadInput where there is nothing to look after."""
    sheet = sitter_sheet(press.flock, press.on, asked)
    if sheet.empty:
        raise BadInput(
            say("No birds and no eggs in a machine are written down: there is nothing to do.")
        )
    title = say(
        "For the sitter: {first} to {last}",
        first=wording.full_day(asked.first),
        last=wording.full_day(asked.last),
    )
    headings = {
        "warm": say("Thermometer"),
        "feed": say("Feed"),
        "water": say("Water"),
        "hot": say("Hot day, {hot} or more", hot=hot_day(press.flock)),
        "birds": say("Count"),
        "turn": say("Turn the eggs"),
        "eggs": say("Eggs"),
        "latch": say("Latch"),
    }
    return pdf(
        press,
        "away",
        title,
        {
            "name": title,
            "place": say("place"),
            "held": sheet.held,
            "weeks": [_week(press, sheet, week, headings) for week in sheet.weeks],
            "fill": say("Tick, sign, count"),
            "each_time": say("tick and initials each time"),
            "ring_heading": say("Whom to ring"),
            "ring": [
                *(
                    {
                        "who": f"{one.contact}, {told.choice_words(one.role)}",
                        "phone": one.phone,
                    }
                    for one in sheet.contacts
                ),
                *({"who": told.choice_words(role), "phone": ""} for role in sheet.lacking),
                {"who": say("The keeper"), "phone": ""},
            ],
            "lists": [
                {"heading": heading, "lines": lines}
                for heading, lines in (
                    (say("Ring if"), sheet.ring_if),
                    (say("To mind"), sheet.never),
                    (say("Hands and children"), sheet.hands),
                    (say("Power, heat and cold"), sheet.failing),
                )
                if lines
            ],
            "seen": say("Seen, to tell"),
        },
    )


def _week(press: Press, sheet: SitterSheet, week: Week, headings: dict[str, str]) -> dict[str, Any]:
    def usual(rows: list[str], amounts: list[str]) -> list[str]:
        return [
            f"{row} {say('(told: {amount})', amount=amount)}" if amount else row
            for row, amount in zip(rows, amounts, strict=True)
        ]

    counts = (
        (say("Eggs collected"), week.eggs),
        (say("Deaths"), week.deaths),
        (say("Feed given, kg"), usual(week.feeds, week.feeds_usual)),
        (say("Water filled in, litres"), usual(week.waters, week.waters_usual)),
    )
    first, last = (wording.when(day, press.on) for day in (week.days[0], week.days[-1]))
    return {
        "name": say("{first} to {last}", first=first, last=last),
        "code": press.code(
            "/paper/back",
            say("Type back {first} to {last}", first=first, last=last),
            week=week.monday.isoformat(),
        ),
        "days": [wording.weekday(day) for day in week.days],
        "steps": [_step(press, step) for step in sheet.on_sheet if week.shows(step)],
        "visits": [
            {
                "clock": f"{visit.at:%H:%M}",
                "name": visit.name,
                "columns": [headings[column] for column in visit.columns],
                "stops": [
                    {
                        "place": stop.place,
                        "holds": stop.holds,
                        "held": stop.held,
                        "cells": [
                            [line.short for line in stop.at(column)] for column in visit.columns
                        ],
                    }
                    for stop in visit.stops
                ],
            }
            for visit in week.visits
        ],
        "counts": [{"heading": name, "rows": rows} for name, rows in counts if rows],
    }


def _step(press: Press, step: Falls) -> dict[str, str]:
    at = wording.when(step.at, press.on)
    if step.until is not None:
        at = say("{first} to {last}", first=at, last=wording.when(step.until, press.on))
    return {"when": at, "of": f"{step.place} · {step.subject}", "task": step.task}

"""A brooder in words: the same for the terminal, the page and the API."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Final

from quailwright.exchange.brooding_asked import asked
from quailwright.flock.climate import climate
from quailwright.flock.state import Flock
from quailwright.guide import wording
from quailwright.guide.brooding import (
    ROOM_CHANGE_K,
    SEEN_DAYS,
    Air,
    Brooding,
    Changed,
    SeenDay,
    Span,
    Week,
    air_seen,
    brooding,
)
from quailwright.guide.cautions import cautions_for
from quailwright.guide.round import units_of
from quailwright.husbandry import facts
from quailwright.husbandry.heat_balance import LID_WORDS, MATERIAL_WORDS
from quailwright.journal.entries import Units
from quailwright.journal.findings import BadInput
from quailwright.journal.moments import zone
from quailwright.journal.store import Store
from quailwright.language import figure, mark, say, say_many

ABOUT: Final = (
    mark(
        "It is the mean air of a closed box, held steady. Heat that shines from a lamp or a plate "
        "is another thing: it warms the birds and the floor before the air, so an open brooder "
        "with a lamp can be right where this balance says it never gets warm."
    ),
    mark(
        "The warmth wanted is at chick level at the edge of the heat, with a cooler end to go to: "
        "a whole box held at it takes more watts than a warm corner."
    ),
    mark(
        "The birds decide: spread out and quiet is right, a huddle that cheeps is cold, panting at "
        "the far edge is hot, all on one side is a draught."
    ),
    mark(
        "Ranges run from the box that loses least heat (still air, dry board) to the one that "
        "loses most (wind along it, more fresh air). Measure yours: one night with the thermometer "
        "at chick level says more."
    ),
)
CLEARANCE: Final = mark("A lamp hangs {clearance} from what burns, or more.")
NO_LAMP: Final = mark(
    "This box is lower than {clearance}: it has no room for a lamp. A plate, or a closed heater "
    "made for chicks."
)
IF_POWER_FAILS: Final = (
    mark("Bring the chicks together into a small box with dry litter, in the warmest room."),
    mark(
        "Unplug the heater first: power that comes back under blankets starts a fire. Then close "
        "the lid and lay blankets over the box, with holes for air at the top."
    ),
    mark(
        "Bottles of warm water, wrapped in cloth, at one side: room to move away from them. Renew "
        "them."
    ),
    mark(
        "Count at once and again within the hour. A chick that lies cold and still may come round: "
        "warm it before you give it up."
    ),
    mark("Write the outage down, with the lowest temperature that you saw."),
)
_ENOUGH: Final = {
    "yes": mark("holds"),
    "likely": mark("likely holds"),
    "perhaps": mark("may not hold"),
    "no": mark("too weak"),
}
_VERDICTS: Final = {
    "well": mark("within what sources want"),
    "cold": mark("colder than any source wants"),
    "hot": mark("warmer than any source wants"),
    "danger": mark("dangerously cold"),
}
_COOLER = mark("cooler than wanted under the heat; away from it that may be")
_SPOTS: Final = {
    "heated": mark("under the heat"),
    "away": mark("away from the heat"),
    "room": mark("the room"),
}
_CHANGES: Final = {
    "foam": mark("walls of polystyrene foam, 30 mm"),
    "thicker": mark("walls twice as thick"),
    "lid closed": mark("the lid closed, with a few holes"),
    "lid half": mark("the lid half open"),
    "lid open": mark("the lid off"),
    "room warmer": mark("the room {degrees} warmer"),
    "room colder": mark("the room {degrees} colder"),
}
SEEN_COLUMNS: Final = (
    mark("day"),
    mark("where"),
    mark("lowest"),
    mark("highest"),
    mark("sources want"),
    mark("so it was"),
)
_INCHES_IN_M = 1.0 / 0.0254


@dataclass(frozen=True, slots=True)
class Told:
    """A brooder, said.

    Attributes:
        answer: warmth wanted now, and whether the heater holds it.
        heat: watts, cost, and what they rest on; `missing` what would tell more.
        columns, weeks: the heat plan by week as a table.
        cut: what happens without power; `changes` what would change the watts.
        seen_answer, seen: what was logged, against what was wanted.
        ends, out: when heat can end, and when birds can go out.
        lamp: how far it hangs from what burns, or that there is no room for one.
    """

    found: Brooding
    answer: list[str]
    heat: list[str]
    missing: list[str]
    columns: list[str]
    weeks: list[list[str]]
    cut: list[str]
    changes: list[tuple[str, str]]
    changes_answer: str
    seen_answer: str
    seen_columns: list[str]
    seen: list[list[str]]
    ends: list[str]
    out: list[str]
    lamp: str
    about: list[str]
    if_power_fails: list[str]

    @property
    def cautions(self) -> list[str]:
        """All of them; on a page each stands at its step."""
        step = "command:brooding"
        return [each.said_at(step) for each in cautions_for(step)]


def air_of(store: Store | None, flock: Flock, on: date) -> list[Air]:
    """Lowest and highest by day: written down, and read by instruments of brooders and pens."""
    seen = air_seen(flock)
    if store is None:
        return seen
    here = zone(flock.zone or "UTC")
    start = datetime.combine(on - timedelta(days=SEEN_DAYS - 1), time(0), tzinfo=here)
    end = datetime.combine(on + timedelta(days=1), time(0), tzinfo=here)
    for place in flock.places.values():
        if place.closed or place.role not in ("brooder", "pen"):
            continue
        for readings in store.readings(place.name, start, end):
            seen += [
                Air(day.on, place.name, day.temperature_low_c, day.temperature_high_c, None, True)
                for day in climate(readings, start, end, here).days
                if day.temperature_low_c is not None
            ]
    return seen


def brooding_of(store: Store | None, flock: Flock, on: date, typed: Mapping[str, str]) -> Told:
    """What is asked, answered. Raises BadInput."""
    try:
        return told(brooding(flock, on, asked(typed, flock, on), air_of(store, flock, on)), flock)
    except ValueError as error:
        raise BadInput(str(error)) from None


def told(found: Brooding, flock: Flock) -> Told:
    """A brooding said in words, in the keeper's units."""
    units = units_of(flock)
    currency = flock.holding.currency if flock.holding is not None else ""
    columns, weeks = _weeks(found, units)
    return Told(
        found,
        _answer(found, units),
        _heat(found, units, currency),
        _missing(found),
        columns,
        weeks,
        _cut(found, units),
        [(_change(one, units), _watts(one.needed_w)) for one in found.changes],
        _changes_answer(found, units),
        _seen_answer(found, units),
        [say(name) for name in SEEN_COLUMNS],
        [_seen(day, units) for day in found.seen],
        _ends(found, units),
        _out(found, units),
        _lamp(found, units),
        [say(text) for text in ABOUT],
        [say(text) for text in IF_POWER_FAILS],
    )


def _lamp(found: Brooding, units: Units) -> str:
    clearance_m, box = facts.value("brooding.lamp_clearance_m"), found.asked.box
    fits = box is None or box.height_m >= clearance_m
    return say(CLEARANCE if fits else NO_LAMP, clearance=wording.length(clearance_m, units))


def _watts(watts: float) -> str:
    return say("{watts:.0f} W", watts=watts)


def _span_watts(span: Span) -> str:
    low, middle, high = (figure(each, ".0f") for each in span)
    if low == high:
        return say("{watts} W", watts=middle)
    return say("{watts} W ({low} to {high})", watts=middle, low=low, high=high)


def _answer(found: Brooding, units: Units) -> list[str]:
    said = []
    if found.weeks:
        now = found.weeks[0]
        said.append(
            say(
                "Wanted at chick level now: {heat}, by sources {range}.",
                heat=wording.heat(now.wanted_c, units),
                range=wording.heats(now.low_c, now.high_c, units),
            )
        )
    else:
        said.append(say("Past six weeks no source asks for heat any more."))
        return said
    if found.room_c is not None and found.room_c >= now.wanted_c:
        said.append(
            say(
                "The room, {room}, is as warm as that or warmer: no heat is needed. See to shade, "
                "moving air and water.",
                room=wording.temperature(round(found.room_c, 1), units),
            )
        )
    elif now.needed_w is not None and now.enough is not None and found.held_c is not None:
        verdict = {
            "yes": mark("Your {watts:.0f} W hold it: the box needs about {needed}."),
            "likely": mark(
                "Your {watts:.0f} W likely hold it, and not in a draught: the box needs about "
                "{needed}."
            ),
            "perhaps": mark(
                "Your {watts:.0f} W may not hold it in the whole box, which needs about {needed}: "
                "a warm corner only."
            ),
            "no": mark(
                "Your {watts:.0f} W do not hold it in the whole box, which needs about {needed}: "
                "close or line the box, warm the room, or rely on a heater that shines on the "
                "birds."
            ),
        }[now.enough]
        said.append(say(verdict, watts=found.asked.watts, needed=_span_watts(now.needed_w)))
    elif now.needed_w is not None:
        said.append(say("The box needs about {needed}.", needed=_span_watts(now.needed_w)))
    return said


def _heat(found: Brooding, units: Units, currency: str) -> list[str]:
    box = found.asked.box
    said: list[str] = []
    if box is None or found.room_c is None or found.room_low_c is None or not found.weeks:
        return said
    now = found.weeks[0]
    if found.held_c is not None and found.asked.watts is not None:
        low, middle, high = (wording.temperature(round(each), units) for each in found.held_c)
        said.append(
            say(
                "{watts:.0f} W running all the time would bring the air of the box to about "
                "{middle} ({low} to {high}) with the room at {room}.",
                watts=found.asked.watts,
                middle=middle,
                low=low,
                high=high,
                room=wording.temperature(round(found.room_c, 1), units),
            )
        )
    if now.duty is not None:
        said.append(
            say("A thermostat would have it on about {share:.0%} of the time.", share=now.duty)
            if now.duty < 1
            else say("With a thermostat it would never rest.")
        )
    said.append(
        say_many(
            "{n} bird gives about {watts:.1f} W of it itself.",
            "{n} birds give about {watts:.1f} W of it themselves.",
            found.birds,
            watts=now.birds_w,
        )
        if found.birds
        else say("No birds are counted: what they warm themselves is left out.")
    )
    if now.kwh_a_day is not None and found.kwh is not None:
        said.append(
            say(
                "Electricity: about {day:.1f} kWh a day now ({low:.1f} to {high:.1f}), {whole:.0f} "
                "kWh ({whole_low:.0f} to {whole_high:.0f}) in the {days} days until heat usually "
                "ends.",
                day=now.kwh_a_day.usual,
                low=now.kwh_a_day.least,
                high=now.kwh_a_day.most,
                whole=found.kwh.usual,
                whole_low=found.kwh.least,
                whole_high=found.kwh.most,
                days=found.heat_days,
            )
        )
        if found.asked.price is not None:
            said.append(
                say(
                    "At {price} a kWh that is {day} a day and {whole} ({low} to {high}) in all.",
                    price=wording.money(found.asked.price, currency),
                    day=wording.money(now.kwh_a_day.usual * found.asked.price, currency),
                    whole=wording.money(found.kwh.usual * found.asked.price, currency),
                    low=wording.money(found.kwh.least * found.asked.price, currency),
                    high=wording.money(found.kwh.most * found.asked.price, currency),
                )
            )
    said.append(
        say(
            "Reckoned with a box of {size} inside, {wall} of {thickness}, lid {lid}, {litter} of "
            "litter.",
            size=_long((box.length_m, box.width_m, box.height_m), units),
            wall=say(MATERIAL_WORDS[box.wall]),
            thickness=_thick(box.thickness_m, units),
            lid=say(LID_WORDS[box.lid]),
            litter=_long((box.litter_m,), units),
        )
    )
    if found.room_told:
        room = wording.temperature(round(found.room_c, 1), units)
        said.append(say("The room is taken at {room}, as told.", room=room))
    else:
        said.append(
            say_many(
                "The room was seen on {n} day of the last seven: {room} in the mean, {cold} at its "
                "coldest, which sizes the heater.",
                "The room was seen on {n} days of the last seven: {room} in the mean, {cold} at "
                "its coldest, which sizes the heater.",
                found.room_seen,
                room=wording.temperature(round(found.room_c, 1), units),
                cold=wording.temperature(round(found.room_low_c, 1), units),
            )
        )
    return said


def _long(metres: Sequence[float], units: Units) -> str:
    """`80 x 60 x 45 cm`, or in inches."""
    in_m, name = (_INCHES_IN_M, "in") if units == "us" else (100.0, "cm")
    return f"{' x '.join(figure(each * in_m, '.0f') for each in metres)} {name}"


def _thick(metres: float, units: Units) -> str:
    if units == "us":
        return f"{figure(round(metres * _INCHES_IN_M, 2), 'g')} in"
    return f"{figure(round(metres * 1000.0, 1), 'g')} mm"


def _missing(found: Brooding) -> list[str]:
    said = []
    if found.asked.box is None:
        said.append(say("For watts, tell the inside of the box: length x width x height."))
    if found.room_c is None:
        said.append(
            say(
                "For watts, tell the room's temperature, or log what a thermometer shows there at "
                "dawn, as temperature seen at the brooder, in the room."
            )
        )
    if found.asked.box is not None and found.room_c is not None and found.asked.price is None:
        said.append(say("For the cost, tell the price of a kWh on your bill."))
    return said


def _weeks(found: Brooding, units: Units) -> tuple[list[str], list[list[str]]]:
    with_watts = any(week.needed_w is not None for week in found.weeks)
    with_heater = any(week.enough is not None for week in found.weeks)
    columns = [say("week"), say("wanted")]
    if with_watts:
        columns += [say("needed, W")]
    if with_heater:
        columns += [say("your heater"), say("on")]
    if with_watts:
        columns += [say("kWh a day")]
    if any(week.room_c is not None for week in found.weeks):
        columns += [say("room")]
    columns += [say("sources want"), say("from")]
    return columns, [_week(week, units) for week in found.weeks]


def _week(week: Week, units: Units) -> list[str]:
    row = [say("week {number}", number=week.week), wording.heat(week.wanted_c, units)]
    if week.needed_w is not None:
        row.append(
            say(
                "{middle:.0f} ({low:.0f} to {high:.0f})",
                middle=week.needed_w.usual,
                low=week.needed_w.least,
                high=week.needed_w.most,
            )
        )
    if week.duty is not None and week.enough is not None:
        row += [say(_ENOUGH[week.enough]), figure(week.duty, ".0%")]
    if week.kwh_a_day is not None:
        row.append(figure(week.kwh_a_day.usual, ".1f"))
    if week.room_c is not None:
        row.append(wording.temperature(round(week.room_c, 1), units))
    return [*row, wording.heats(week.low_c, week.high_c, units), wording.weekday(week.first)]


def _hours(hours: float) -> str:
    """`40 minutes`, `2.5 hours`, or that it never gets so cold."""
    if math.isinf(hours):
        return say("never")
    minutes = round(hours * 60)
    if minutes < 90:
        return say_many("{n} minute", "{n} minutes", minutes)
    return say("{hours:.1f} hours", hours=hours)


def _cut(found: Brooding, units: Units) -> list[str]:
    cut = found.cut
    if cut is None:
        return []
    cold, danger = cut.to_cold_h, cut.to_danger_h
    said = [
        say(
            "From {warm} in a room at {room}, the box is below {cold}, colder than any source "
            "wants at this age, after about {hours} ({soonest} to {latest}).",
            warm=wording.temperature(round(cut.from_c, 1), units),
            room=wording.temperature(round(cut.room_c, 1), units),
            cold=wording.heat(cut.cold_c, units),
            hours=_hours(cold.usual),
            soonest=_hours(cold.least),
            latest=_hours(cold.most),
        )
        if cut.from_c > cut.cold_c
        else say(
            "With the room at {room} the heater holds {warm}: already colder than any source wants "
            "at this age.",
            room=wording.temperature(round(cut.room_c, 1), units),
            warm=wording.temperature(round(cut.from_c, 1), units),
        )
    ]
    line = wording.temperature(cut.danger_c, units)
    if math.isinf(danger.least):
        said.append(say("It does not get down to {line}, the danger line.", line=line))
    elif danger.most <= 0.0:
        said.append(
            say("It is below {line}, the danger line at this age, as it stands.", line=line)
        )
    else:
        said.append(
            say(
                "It is at {line}, the danger line at this age, after about {hours} ({soonest} to "
                "{latest}).",
                line=line,
                hours=_hours(danger.usual),
                soonest=_hours(danger.least),
                latest=_hours(danger.most),
            )
        )
    said.append(
        say(
            "The danger line is no promise: it is a judgement between another species, one trial "
            "and keepers' losses, and some came through as low as {low}. Birds cool slower than "
            "the air, and last longer in a huddle; wet or few ones less long.",
            low=wording.temperature(cut.danger_low_c, units),
        )
    )
    return said


def _change(one: Changed, units: Units) -> str:
    return say(_CHANGES[one.what], degrees=wording.degrees(ROOM_CHANGE_K, units))


def _changes_answer(found: Brooding, units: Units) -> str:
    if not found.changes or not found.weeks or found.weeks[0].needed_w is None:
        return ""
    best: Changed = min(found.changes, key=lambda one: one.needed_w)
    now = found.weeks[0].needed_w.usual
    if best.needed_w >= now:
        return say("Now it is {now:.0f} W; nothing looked at here lowers it.", now=now)
    return say(
        "Now it is {now:.0f} W. Most would be saved by this: {what}, {watts:.0f} W.",
        now=now,
        what=_change(best, units),
        watts=best.needed_w,
    )


def _seen_answer(found: Brooding, units: Units) -> str:
    if not found.place:
        return ""
    if not found.seen:
        return say(
            "No lowest and highest are written down of {place}. Read a thermometer that keeps them "
            "at chick level, under the heat and away from it, at dawn and at dusk.",
            place=found.place,
        )
    bad = [one for one in found.seen if one.verdict in ("danger", "cold")]
    hot = [one for one in found.seen if one.verdict == "hot"]
    if bad:
        worst = min(bad, key=lambda one: one.air.lowest_c or 0.0)
        return " ".join(
            [
                say_many(
                    "Too cold on {n} line of the last two weeks, the worst on {day}.",
                    "Too cold on {n} lines of the last two weeks, the worst on {day}.",
                    len(bad),
                    day=wording.weekday(worst.air.day),
                ),
                say(
                    "Tonight: draw the brooder in so that no corner lies far from the heat, close "
                    "the lid but for holes (never over a lamp), stop draughts, and look at dusk, "
                    "before bed and at dawn."
                ),
            ]
        )
    if hot:
        return say_many(
            "Too hot on {n} line of the last two weeks.",
            "Too hot on {n} lines of the last two weeks.",
            len(hot),
        )
    cooler = [one for one in found.seen if _cooler(one) and one.air.spot is None]
    if cooler:
        worst = min(cooler, key=lambda one: one.air.lowest_c or 0.0)
        return say(
            "On {day} it fell to {lowest}, colder than is wanted under the heat. If the "
            "thermometer lies there, see whether the heater is weak.",
            day=wording.weekday(worst.air.day),
            lowest=wording.temperature(round(worst.air.lowest_c or 0.0, 1), units),
        )
    return say("All that was logged of the last two weeks is within what sources want.")


def _seen(one: SeenDay, units: Units) -> list[str]:
    air = one.air
    where = (
        say("by readings")
        if air.by_readings
        else say("not said where")
        if air.spot is None
        else say(_SPOTS[air.spot])
    )
    low, high = (
        "" if each is None else wording.temperature(round(each, 1), units)
        for each in (air.lowest_c, air.highest_c)
    )
    wanted = wording.heats(one.low_c, one.high_c, units)
    verdict = say(_COOLER) if _cooler(one) else say(_VERDICTS[one.verdict])
    return [wording.weekday(air.day), where, low, high, wanted, verdict]


def _cooler(one: SeenDay) -> bool:
    """Whether it was colder than is wanted under the heat, where nobody says that it lay there."""
    lowest = one.air.lowest_c
    clearly = lowest is not None and lowest < one.low_c - facts.value("signs.air_heated_short_c")
    return one.verdict == "well" and clearly


def _ends(found: Brooding, units: Units) -> list[str]:
    out = found.out
    said = []
    if out.room_enough_on is not None:
        said.append(
            say(
                "The room's coldest, {room}, is as warm as is wanted from {day} on: from then no "
                "heat is needed if it stays so.",
                room=wording.temperature(round(found.room_low_c or 0.0, 1), units),
                day=wording.full_day(max(found.on, out.room_enough_on)),
            )
        )
    elif found.room_low_c is not None:
        said.append(
            say(
                "The room's coldest, {room}, stays below the last step, {floor}: feathers decide.",
                room=wording.temperature(round(found.room_low_c, 1), units),
                floor=wording.heat(facts.value("brooding.heat_floor"), units),
            )
        )
    said.append(
        say(
            "Feathered, by the trade's bulletin, between {first} and {last}.",
            first=wording.weekday(out.feathered_on[0]),
            last=wording.weekday(out.feathered_on[1]),
        )
    )
    said.append(
        say(
            "Sources disagree: keepers stop heat indoors at about three weeks, {first} (common "
            "practice, no source); a bulletin says three to four weeks; in winter keepers go on to "
            "six weeks, {last}. Look at feathers on back and neck, and at the dusk huddle.",
            first=wording.weekday(out.heat_ends_on[0]),
            last=wording.weekday(out.heat_ends_on[1]),
        )
    )
    return said


def _out(found: Brooding, units: Units) -> list[str]:
    out = found.out
    low, high = facts.spread("brooding.night_out_c")
    said = [
        say(
            "Keepers move birds outside at four to six weeks, {first} to {last}, when nights allow "
            "and after {days:.0f} days without heat (common practice, no source).",
            days=facts.value("brooding.off_heat_before_out_d"),
            first=wording.weekday(out.out_on[0]),
            last=wording.weekday(out.out_on[1]),
        )
    ]
    for night in out.nights:
        coldest = wording.temperature(round(night.lowest_c, 1), units)
        said.append(
            say_many(
                "{pen}: the coldest of {n} night logged of late was {coldest}.",
                "{pen}: the coldest of {n} nights logged of late was {coldest}.",
                night.nights,
                pen=night.of,
                coldest=coldest,
            )
            if night.nights
            else say(
                "Lowest night of {month}, as you told: {coldest}.", month=night.of, coldest=coldest
            )
        )
    span = say(
        "{low} to {high}",
        low=wording.temperature(low, units),
        high=wording.temperature(high, units),
    )
    if out.allows == "yes":
        said.append(
            say(
                "Such nights allow it for feathered birds, dry and out of the wind: groups of "
                "three and a half weeks came through nights of {span} (common practice, no "
                "source).",
                span=span,
            )
        )
    elif out.allows == "in groups":
        said.append(
            say(
                "Nights of {span} were survived by feathered birds in groups, dry and out of the "
                "wind (common practice, no source): wait for milder ones if you can, and look at "
                "dawn.",
                span=span,
            )
        )
    elif out.allows == "no":
        said.append(
            say(
                "Such nights are colder than {low}, below what keepers tell of young birds: wait, "
                "or give them a warm shelter.",
                low=wording.temperature(low, units),
            )
        )
    else:
        said.append(
            say(
                "What nights are like where they will live is not known. Hang a thermometer that "
                "keeps its lowest in the pen for a week and write it down there (temperature "
                "seen), or tell the lowest night of those months."
            )
        )
    if any(night.nights for night in out.nights) and found.on < out.out_on[0]:
        said.append(say("Nights change until then: look again in the week before."))
    dead_low, dead_high = facts.spread("brooding.danger_day_21_c")
    said.append(
        say(
            "Not before they are feathered: chicks of two weeks died in nights of {low} to {high} "
            "(common practice, no source).",
            low=wording.temperature(dead_low, units),
            high=wording.temperature(dead_high, units),
        )
    )
    return said


def heading(found: Brooding) -> str:
    """Whose heat is told, of what age and where."""
    day = wording.full_day(found.on)
    if found.group and found.place:
        return say(
            "Heat for {group} at {place}, {age} days old, {birds} birds, as of {day}",
            group=found.group,
            place=found.place,
            age=found.age_d,
            birds=found.birds,
            day=day,
        )
    return say(
        "Heat for {birds} birds of {age} days, as of {day}",
        birds=found.birds,
        age=found.age_d,
        day=day,
    )


def said(told_: Told) -> list[str]:
    """Every sentence of it, in order, but cautions and what it is."""
    answer = [*told_.answer, told_.lamp]
    parts = (answer, told_.heat, told_.missing, told_.cut, told_.ends, told_.out)
    return [sentence for part in parts for sentence in part]

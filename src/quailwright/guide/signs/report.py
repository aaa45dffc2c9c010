"""What looks wrong in full, what is watched to see it, and what cannot be seen."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from quailwright.flock.state import AirSeen, Flock
from quailwright.guide.occasions import may_lay
from quailwright.guide.signs import signs
from quailwright.guide.signs.sign import Sign
from quailwright.guide.signs.streams import Stream, false_signs_a_year, streams
from quailwright.guide.signs.watch import each, enough
from quailwright.husbandry import facts
from quailwright.language import figure, mark, say

_WEEK = timedelta(days=7)


@dataclass(frozen=True, slots=True)
class Watched:
    """One thing that is watched.

    Attributes:
        place, group: where; `group` is "" for what belongs to the place.
        what: "eggs", "cracked", "feed" or "water".
        usual, now: for each hen, egg or bird and day, over the weeks before and the last 7 days;
            None where nothing was seen then. Eggs and cracked eggs are shares, feed is kg, water L.
        last: the day last seen.
        ready: whether enough was seen to tell a change.
        since: the day since which it is off, or None.
    """

    place: str
    group: str
    what: str
    usual: float | None
    now: float | None
    last: date
    ready: bool
    since: date | None

    @property
    def name(self) -> str:
        """What is watched, in words."""
        return say(NAMES[self.what])

    @property
    def said(self) -> str:
        """What was usual and what it is of late, in a sentence."""
        if self.now is None:
            return say(
                "nothing seen in the last 7 days; {usual} was usual.", usual=self.amount(self.usual)
            )
        if not self.ready or self.usual is None:
            return say(
                "{now} in the last 7 days; too few days yet to say what is usual.",
                now=self.amount(self.now),
            )
        return say(
            "{now} in the last 7 days; {usual} is usual.",
            now=self.amount(self.now),
            usual=self.amount(self.usual),
        )

    def amount(self, value: float | None) -> str:
        """`0.81 a hen and day`, `23 g a bird and day`, `2 %`."""
        if value is None:
            return say("not known")
        match self.what:
            case "eggs":
                return say("{eggs} a hen and day", eggs=figure(value, ".2f"))
            case "cracked":
                return say("{share:.1%}", share=value)
            case "feed":
                return say("{grams:.0f} g a bird and day", grams=value * 1000.0)
            case _:
                return say("{millilitres:.0f} ml a bird and day", millilitres=value * 1000.0)


NAMES = {
    "eggs": mark("eggs"),
    "cracked": mark("cracked eggs"),
    "feed": mark("feed"),
    "water": mark("water"),
}


@dataclass(frozen=True, slots=True)
class Blind:
    """Something of a pen that nobody logs, and what it would show."""

    place: str
    what: str
    kind: str
    why: str


@dataclass(frozen=True, slots=True)
class SignsReport:
    """Everything that looks wrong on a day, what is watched, and what is not.

    `false_signs_a_year` is how many false signs a pen and year may give.
    """

    on: date
    signs: tuple[Sign, ...]
    watched: tuple[Watched, ...]
    blind: tuple[Blind, ...]
    false_signs_a_year: float

    @property
    def by_place(self) -> dict[str, list[Watched]]:
        """What is watched, by place in the order of the walk."""
        found: dict[str, list[Watched]] = {}
        for row in self.watched:
            found.setdefault(row.place, []).append(row)
        return found

    @property
    def answer(self) -> str:
        """The page's first line."""
        if self.signs:
            return say("Look at these first, in this order.")
        if self.watched:
            return say("Nothing looks wrong, as far as the record tells.")
        return say("Nothing looks wrong, but too little is logged to tell.")


def signs_report(flock: Flock, on: date, air: Sequence[AirSeen] = ()) -> SignsReport:
    """What looks wrong on the day `on`; `air` as for `signs`."""
    watched = streams(flock, on)
    return SignsReport(
        on,
        tuple(signs(flock, on, air)),
        tuple(_watched(stream, on) for stream in watched if stream.seen),
        tuple(_blind(flock, watched, on)),
        false_signs_a_year(flock),
    )


def _watched(stream: Stream, on: date) -> Watched:
    reach = timedelta(days=facts.value("signs.usual_over_d"))
    ends = on - _WEEK if stream.off is None else stream.off.since - timedelta(days=1)
    before = [one for one in stream.seen if ends - reach < one.day <= ends]
    late = [one for one in stream.seen if on - _WEEK < one.day <= on]
    usual = each(before) if before else None
    now = each(late) if late else None
    return Watched(
        stream.place,
        stream.group,
        stream.what,
        usual,
        now,
        stream.seen[-1].day,
        enough(before),
        None if stream.off is None else stream.off.since,
    )


_SILENT_FOR = timedelta(days=14)


def _blind(flock: Flock, watched: Sequence[Stream], on: date) -> Iterator[Blind]:
    """What is not logged of pens with birds, where it would show trouble earlier."""
    seen = {
        (stream.place, stream.what)
        for stream in watched
        if stream.seen and on - stream.seen[-1].day <= _SILENT_FOR
    }
    for place in flock.in_walking_order():
        groups = flock.groups_at(place.name)
        if place.role not in ("pen", None) or not groups:
            continue
        if any(may_lay(group, on) for group in groups) and (place.name, "eggs") not in seen:
            yield Blind(
                place.name, "eggs", "eggs_collected",
                say("Eggs by pen are what shows most trouble first."),
            )  # fmt: skip
        if (place.name, "water") not in seen:
            yield Blind(
                place.name, "water", "water_given",
                say("A blocked drinker shows in the water a day or two before the eggs."),
            )  # fmt: skip
        if (place.name, "feed") not in seen:
            yield Blind(
                place.name, "feed", "feed_given",
                say("They eat less before they lay less."),
            )  # fmt: skip

"""`flock`: what stands."""

from datetime import datetime

import typer

from quailwright.cli import show
from quailwright.cli.options import FlockOption, JsonOption, OnOption
from quailwright.cli.standing import flock_on
from quailwright.exchange import shapes
from quailwright.flock.standing import CullStanding, PlaceStanding, SetStanding, Standing, standing
from quailwright.guide import wording
from quailwright.guide.round import units_of
from quailwright.journal.entries import Units
from quailwright.language import figure, mark, say, say_many

EXAMPLES = """Examples:

\b
  quailwright flock
  quailwright flock --on 2027-05-02 --json"""


def flock(
    ctx: typer.Context,
    flock_file: FlockOption = None,
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """What stands: places, birds, room, hatches, eggs, feed and money."""
    state, day = flock_on(ctx, flock_file, on)
    stands = standing(state, day)
    if as_json:
        show.json_document(shapes.standing_shape(stands))
        return
    _show(stands, units_of(state), state.holding.currency if state.holding is not None else "")


def _show(stands: Standing, units: Units, currency: str) -> None:
    name = f"{stands.holding}: " if stands.holding else ""
    print(f"{name}{wording.full_day(stands.on)}")
    if not stands.entries:
        show.first_steps()
        return
    totals = stands.totals
    print(
        say(
            "{birds}: {hens}, {cocks}, {chicks} not sexed.",
            birds=say_many("{n} bird", "{n} birds", totals["birds"]),
            hens=say_many("{n} hen", "{n} hens", totals["hens"]),
            cocks=say_many("{n} cock", "{n} cocks", totals["cocks"]),
            chicks=say_many("{n} chick", "{n} chicks", totals["chicks"]),
        )
    )
    birds = [row for place in stands.places for row in _group_rows(place, units)]
    if birds:
        show.heading(say("Birds"))
        show.table(
            (
                say("place"),
                say("group"),
                say("hens"),
                say("cocks"),
                say("chicks"),
                say("age"),
                say("hens a cock"),
                say("room each"),
            ),
            birds,
        )
    hatches = [hatch for place in stands.places for hatch in place.hatches]
    if hatches:
        show.heading(say("Hatches under way"))
        show.table(
            (
                say("hatch"),
                say("place"),
                say("set on"),
                say("set"),
                say("taken out"),
                say("hatched"),
                say("left"),
            ),
            [
                (
                    h.hatch,
                    h.place,
                    wording.clock(datetime.fromisoformat(h.set_at)),
                    h.set,
                    h.removed,
                    h.hatched,
                    h.alive,
                )
                for h in hatches
            ],
        )
    _show_planned(stands)
    _show_eggs(stands)
    if stands.feeds:
        unit = wording.feed_unit(units)
        show.heading(say("Feed"))
        show.table(
            (
                say("feed"),
                say("stage"),
                unit,
                say("given beyond what was bought, {unit}", unit=unit),
            ),
            [
                (
                    f.feed,
                    say(f.stage) if f.stage else "",
                    figure(wording.feed_mass(f.kg, units)),
                    figure(unbought) if unbought else None,
                )
                for f in stands.feeds
                for unbought in [wording.feed_mass(f.unbought_kg, units)]
            ],
        )
    if stands.money:
        show.heading(say("Money"))
        paid = [(say(what), wording.money(sum_, currency)) for what, sum_ in stands.money.items()]
        show.table((say("for"), say("in or out")), paid)
    _show_doubts(stands)


def _show_planned(stands: Standing) -> None:
    if stands.planned_sets:
        show.heading(say("Planned sets"))
        show.table(
            (say("hatch"), say("on"), say("eggs"), say("of"), say("in"), ""),
            [
                (s.hatch, s.on, s.eggs, s.group or s.source, s.place, _how_far(s))
                for s in stands.planned_sets
            ],
        )
    if stands.planned_culls:
        show.heading(say("Planned: birds let go"))
        show.table(
            (
                say("from"),
                say("of"),
                say("hens stay"),
                say("cocks stay"),
                say("hens now"),
                say("cocks now"),
                say("not sexed"),
                "",
            ),
            [
                (
                    c.on,
                    _of(c),
                    c.keep_hens,
                    c.keep_cocks,
                    c.hens,
                    c.cocks,
                    c.chicks,
                    say(_PROGRESS[c.progress]),
                )
                for c in stands.planned_culls
            ],
        )


_PROGRESS = {
    "ahead": mark("ahead"),
    "due": mark("due"),
    "done": mark("done"),
    "lapsed": mark("lapsed"),
}


def _how_far(planned: SetStanding) -> str:
    progress = say(_PROGRESS[planned.progress])
    if planned.set_as in (None, planned.hatch):
        return progress
    return say("{progress}, as {hatch}", progress=progress, hatch=planned.set_as)


def _of(cull: CullStanding) -> str:
    name = cull.hatch or cull.group or ""
    if cull.hatched_on is None:
        return name
    return say("{group}, hatched on {day}", group=name, day=cull.hatched_on)


_LOTS_SHOWN = 14
_DIFFERENCES_SHOWN = 5


def _show_eggs(stands: Standing) -> None:
    eggs = stands.eggs
    show.heading(say("Eggs"))
    if eggs["withheld"]:
        print(
            "  "
            + say(
                "{eggs} on hand, {withheld} of them withheld",
                eggs=eggs["on_hand"],
                withheld=eggs["withheld"],
            )
        )
    else:
        print("  " + say("{eggs} on hand", eggs=eggs["on_hand"]))
    show.table(
        (say("laid"), say("group"), say("eggs"), say("days old"), say("withheld until")),
        [
            (
                lot.laid,
                lot.group,
                lot.eggs,
                lot.age_days,
                lot.withheld_until or (say("a date is told") if lot.withheld else None),
            )
            for lot in stands.lots[-_LOTS_SHOWN:]
        ],
    )
    older = len(stands.lots) - _LOTS_SHOWN
    if older > 0:
        print("  " + say_many("and {n} older lot", "and {n} older lots", older))
    if stands.hatching_eggs:
        show.heading(say("Hatching eggs received, not set yet"))
        show.table(
            (
                say("source"),
                say("lot"),
                say("came"),
                say("eggs"),
                say("laid from"),
                say("laid to"),
            ),
            [tuple(each[name] for name in _OF_RECEIPTS) for each in stands.hatching_eggs],
        )


_OF_RECEIPTS = ("source", "lot", "came", "eggs", "laid_from", "laid_to")


def _show_doubts(stands: Standing) -> None:
    """Counts that differed from the record, newest last, and contradictions that were kept.

    What is left of a feed seldom agrees with what was logged, and stands under `Feed` as counted.
    """
    differed = [each for each in stands.differences if each.what != "feed_kg"]
    if differed:
        show.heading(say("Counts that differed from the record"))
        show.table(
            (say("day"), say("of"), say("what"), say("in the record"), say("counted")),
            [
                (d.day, d.of, say(_DIFFERS[d.what]), int(d.recorded), int(d.counted))
                for d in differed[-_DIFFERENCES_SHOWN:]
            ],
        )
        older = len(differed) - _DIFFERENCES_SHOWN
        if older > 0:
            print("  " + say("and {n} before", n=older))
    if stands.kept_contradictions:
        print()
        print(
            say_many(
                "{n} contradiction in the record; `quailwright journal check` shows where.",
                "{n} contradictions in the record; `quailwright journal check` shows where.",
                stands.kept_contradictions,
            )
        )


_DIFFERS = {
    "chicks": mark("chicks"),
    "hens": mark("hens"),
    "cocks": mark("cocks"),
    "eggs_set": mark("eggs set"),
}


def _group_rows(place: PlaceStanding, units: Units) -> list[tuple[object, ...]]:
    room = place.floor_m2_per_bird
    return [
        (
            place.place,
            group.group,
            group.hens,
            group.cocks,
            group.chicks,
            "" if group.age_days is None else say("{days} d", days=group.age_days),
            None if group.hens_per_cock is None else figure(group.hens_per_cock),
            "" if room is None else wording.area(room, units),
        )
        for group in place.groups
    ]

"""`flock`: what stands."""

from datetime import datetime

import typer

from quailwright.cli import show
from quailwright.cli.options import FlockOption, JsonOption, OnOption, moment_asked, opened
from quailwright.exchange import shapes
from quailwright.flock.fold import fold, newest_zone
from quailwright.flock.standing import CullStanding, PlaceStanding, SetStanding, Standing, standing
from quailwright.guide import wording
from quailwright.guide.round import day_at, units_of
from quailwright.journal.entries import Units

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
    with opened(ctx, flock_file) as store:
        entries = store.entries()
    asked = moment_asked(on, newest_zone(entries))
    state = fold(entries, asked)
    stands = standing(state, day_at(state, asked))
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
    hens, cocks = (wording.counted(totals[f"{sex}s"], sex) for sex in ("hen", "cock"))
    print(
        f"{wording.counted(totals['birds'], 'bird')}: {hens}, {cocks}, "
        f"{wording.counted(totals['chicks'], 'chick')} not sexed."
    )
    birds = [row for place in stands.places for row in _group_rows(place, units)]
    if birds:
        show.heading("Birds")
        show.table(
            ("place", "group", "hens", "cocks", "chicks", "age", "hens a cock", "room each"), birds
        )
    hatches = [hatch for place in stands.places for hatch in place.hatches]
    if hatches:
        show.heading("Hatches under way")
        show.table(
            ("hatch", "place", "set on", "set", "taken out", "hatched", "left"),
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
        show.heading("Feed")
        show.table(
            ("feed", "stage", unit, f"given beyond what was bought, {unit}"),
            [
                (
                    f.feed,
                    f.stage,
                    wording.feed_mass(f.kg, units),
                    wording.feed_mass(f.unbought_kg, units) or None,
                )
                for f in stands.feeds
            ],
        )
    if stands.money:
        show.heading("Money")
        paid = [(what, wording.money(sum_, currency)) for what, sum_ in stands.money.items()]
        show.table(("for", "in or out"), paid)
    _show_doubts(stands)


def _show_planned(stands: Standing) -> None:
    if stands.planned_sets:
        show.heading("Planned sets")
        show.table(
            ("hatch", "on", "eggs", "of", "in", ""),
            [
                (s.hatch, s.on, s.eggs, s.group or s.source, s.place, _how_far(s))
                for s in stands.planned_sets
            ],
        )
    if stands.planned_culls:
        show.heading("Planned: birds let go")
        show.table(
            ("from", "of", "hens stay", "cocks stay", "hens now", "cocks now", "not sexed", ""),
            [
                (c.on, _of(c), c.keep_hens, c.keep_cocks, c.hens, c.cocks, c.chicks, c.progress)
                for c in stands.planned_culls
            ],
        )


def _how_far(planned: SetStanding) -> str:
    other = planned.set_as not in (None, planned.hatch)
    return f"{planned.progress}, as {planned.set_as}" if other else planned.progress


def _of(cull: CullStanding) -> str:
    of_day = "" if cull.hatched_on is None else f", hatched on {cull.hatched_on}"
    return f"{cull.hatch or cull.group}{of_day}"


_LOTS_SHOWN = 14
_DIFFERENCES_SHOWN = 5


def _show_eggs(stands: Standing) -> None:
    eggs = stands.eggs
    held = f", {eggs['withheld']} of them withheld" if eggs["withheld"] else ""
    show.heading("Eggs")
    print(f"  {eggs['on_hand']} on hand{held}")
    show.table(
        ("laid", "group", "eggs", "days old", "withheld until"),
        [
            (lot.laid, lot.group, lot.eggs, lot.age_days, lot.withheld_until)
            for lot in stands.lots[-_LOTS_SHOWN:]
        ],
    )
    older = len(stands.lots) - _LOTS_SHOWN
    if older > 0:
        print(f"  and {wording.counted(older, 'older lot')}")
    if stands.hatching_eggs:
        show.heading("Hatching eggs received, not set yet")
        show.table(
            ("source", "lot", "came", "eggs", "laid from", "laid to"),
            [tuple(each[name] for name in _OF_RECEIPTS) for each in stands.hatching_eggs],
        )


_OF_RECEIPTS = ("source", "lot", "came", "eggs", "laid_from", "laid_to")


def _show_doubts(stands: Standing) -> None:
    """Counts that differed from the record, newest last, and contradictions that were kept.

    What is left of a feed seldom agrees with what was logged, and stands under `Feed` as counted.
    """
    differed = [each for each in stands.differences if each.what != "feed_kg"]
    if differed:
        show.heading("Counts that differed from the record")
        show.table(
            ("day", "of", "what", "in the record", "counted"),
            [
                (d.day, d.of, d.what.replace("_", " "), int(d.recorded), int(d.counted))
                for d in differed[-_DIFFERENCES_SHOWN:]
            ],
        )
        older = len(differed) - _DIFFERENCES_SHOWN
        if older > 0:
            print(f"  and {older} before")
    if stands.kept_contradictions:
        kept = wording.counted(stands.kept_contradictions, "contradiction")
        print()
        print(f"{kept} in the record; `quailwright journal check` shows where.")


def _group_rows(place: PlaceStanding, units: Units) -> list[tuple[object, ...]]:
    room = place.floor_m2_per_bird
    return [
        (
            place.place,
            group.group,
            group.hens,
            group.cocks,
            group.chicks,
            "" if group.age_days is None else f"{group.age_days} d",
            group.hens_per_cock,
            "" if room is None else wording.area(room, units),
        )
        for group in place.groups
    ]

"""`flock`: what stands."""

import typer

from quailwright.cli import show
from quailwright.cli.options import FlockOption, JsonOption, OnOption, moment_asked, opened
from quailwright.exchange import shapes
from quailwright.flock.fold import fold, newest_zone
from quailwright.flock.standing import PlaceStanding, Standing, standing
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
    _show(stands, units_of(state))


def _show(stands: Standing, units: Units) -> None:
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
                (h.hatch, h.place, h.set_at[:16], h.set, h.removed, h.hatched, h.alive)
                for h in hatches
            ],
        )
    eggs = stands.eggs
    show.heading("Eggs")
    print(
        f"  {eggs['free']} on hand" + (f", {eggs['withheld']} withheld" if eggs["withheld"] else "")
    )
    show.table(
        ("laid", "group", "eggs", "days old", "withheld until"),
        [(lot.laid, lot.group, lot.eggs, lot.age_days, lot.withheld_until) for lot in stands.lots][
            -_LOTS_SHOWN:
        ],
    )
    if stands.feeds:
        show.heading("Feed")
        show.table(
            ("feed", "stage", "kg", "given beyond what was bought, kg"),
            [(f.feed, f.stage, f.kg, f.unbought_kg or None) for f in stands.feeds],
        )
    if stands.money:
        show.heading("Money")
        show.table(("for", "in or out"), list(stands.money.items()))


_LOTS_SHOWN = 14


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

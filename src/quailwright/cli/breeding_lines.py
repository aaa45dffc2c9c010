"""`breeding`: lines."""

import math
from typing import TYPE_CHECKING, Annotated

import typer

from quailwright.cli import show
from quailwright.cli.options import FlockOption, JsonOption, OnOption
from quailwright.cli.standing import flock_on
from quailwright.language import figure, say

if TYPE_CHECKING:
    from quailwright.exchange.family_page import Family
    from quailwright.exchange.lines_page import LinesPage
    from quailwright.flock.breeding import GroupKin
    from quailwright.flock.state import Flock

app = typer.Typer(rich_markup_mode=None)

_WIDEST = 8
"""Birds or groups of which a table of all pairs still fits a terminal."""

_MOST_PAIRS = 30

INBREEDING_EXAMPLES = """Examples:

\b
  quailwright breeding inbreeding
  quailwright breeding inbreeding --json
  quailwright log bird bird=Kim sex=hen sire=Rex dam=Ada group=layers

docs/breeding.md tells how it is reckoned."""
KINSHIP_EXAMPLES = """Examples:

\b
  quailwright breeding kinship
  quailwright breeding kinship Rex
  quailwright breeding kinship Rex Ada Bea --json"""
LINES_EXAMPLES = """Examples:

\b
  quailwright breeding lines
  quailwright breeding lines --on 2027-05-02 --json"""
FAMILY_EXAMPLES = """Examples:

\b
  quailwright breeding family Kim"""


@app.command("inbreeding", epilog=INBREEDING_EXAMPLES)
def inbreeding(
    ctx: typer.Context,
    flock_file: FlockOption = None,
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """How inbred each ringed bird is."""
    flock, _ = flock_on(ctx, flock_file, on)
    from quailwright.exchange.lines_page import inbred_told
    from quailwright.exchange.lines_shape import inbreeding_shape

    rows, problems = inbred_told(flock)
    if as_json:
        show.json_document(inbreeding_shape(rows))
        return
    if not rows:
        _no_rings()
        return
    show.table(
        (say("bird"), say("inbreeding"), say("as"), ""),
        [(row.bird, row.percent, row.words, "" if row.alive else say("gone")) for row in rows],
    )
    if problems:
        show.heading(say("To know"))
        for sentence in problems:
            _wrapped(sentence)


@app.command("kinship", epilog=KINSHIP_EXAMPLES)
def kinship(
    ctx: typer.Context,
    birds: Annotated[
        list[str] | None, typer.Argument(metavar="[BIRD ...]", help="Rings. Default: all.")
    ] = None,
    flock_file: FlockOption = None,
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """How related birds are: of one its nearest, of several all pairs, of none by group."""
    flock, _ = flock_on(ctx, flock_file, on)
    from quailwright.exchange.lines_shape import kinship_shape
    from quailwright.flock.breeding import kinships

    named = birds or []
    if as_json:
        show.json_document(kinship_shape(kinships(flock, named)))
    elif len(named) == 1:
        _nearest(flock, named[0])
    elif named:
        _pairs(flock, kinships(flock, named))
    else:
        _by_group(flock)


@app.command("lines", epilog=LINES_EXAMPLES)
def lines(
    ctx: typer.Context,
    flock_file: FlockOption = None,
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Who breeds, how fast inbreeding rises, what it brings, what to do next."""
    flock, day = flock_on(ctx, flock_file, on)
    from quailwright.exchange.lines_page import lines_page

    found, told = lines_page(flock, day)
    if as_json:
        from quailwright.exchange.lines_shape import lines_shape

        show.json_document(lines_shape(found, told))
        return
    _show_lines(told)


@app.command("family", epilog=FAMILY_EXAMPLES)
def family(
    ctx: typer.Context,
    bird: Annotated[str, typer.Argument(metavar="BIRD", help="Its ring.")],
    flock_file: FlockOption = None,
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """A bird's forebears, sibs and chicks."""
    flock, day = flock_on(ctx, flock_file, on)
    from quailwright.exchange.family_page import family

    told = family(flock, bird, day)
    if as_json:
        from quailwright.exchange.lines_shape import family_shape

        show.json_document(family_shape(told))
        return
    _show_family(told)


def _no_rings() -> None:
    _wrapped(
        say(
            "No ringed birds are logged. Log them with father and mother: quailwright log bird "
            "bird=Kim sex=hen sire=Rex dam=Ada. Breeding lines tells what pens alone tell."
        )
    )


def _nearest(flock: "Flock", ring: str) -> None:
    from quailwright.exchange.lines_page import nearest
    from quailwright.flock.breeding import known_rings

    (ring,) = known_rings(flock, [ring])
    rows = nearest(flock, ring)
    if not rows:
        print(say("By the record no ringed bird is related to {bird}.", bird=ring))
        return
    print(say("The nearest to {bird}", bird=ring))
    show.table(
        (say("bird"), say("kinship"), say("is its")),
        [(row.bird, figure(row.kinship, ".3f"), row.how) for row in rows],
    )


def _pairs(flock: "Flock", found: dict[str, dict[str, float]]) -> None:
    from quailwright.exchange.lines_page import pair_rows

    names = list(found)
    if len(names) <= _WIDEST:
        show.table(
            ("", *names),
            [
                (
                    one,
                    *("" if one == other else figure(found[one][other], ".3f") for other in names),
                )
                for one in names
            ],
        )
        return
    rows = pair_rows(flock, found)
    show.table(
        (say("bird"), say("other"), say("kinship"), say("the other is its")),
        [(row.bird, row.other, figure(row.kinship, ".3f"), row.how) for row in rows[:_MOST_PAIRS]],
    )
    if len(rows) > _MOST_PAIRS:
        print(say("The nearest {n} of {all} pairs.", n=_MOST_PAIRS, all=len(rows)))


def _by_group(flock: "Flock") -> None:
    from quailwright.exchange.lines_page import groups_kin
    from quailwright.flock.breeding import kinships
    from quailwright.flock.pedigree import lines_of

    groups = groups_kin(flock)
    if not groups.groups and not flock.birds:
        _no_rings()
        return
    if groups.groups:
        print(say("Mean kinship of two birds, by group"))
        _groups_table(groups)
    pedigree = lines_of(flock)
    living = [ring for ring in flock.birds if pedigree.members[pedigree.places[ring]].alive]
    if len(living) > 1:
        show.heading(say("Ringed birds"))
        _pairs(flock, kinships(flock, living))


def _groups_table(groups: "GroupKin") -> None:
    names = [name or say("no group") for name in groups.groups]
    if len(names) <= _WIDEST:
        rows = [
            (name, *("" if math.isnan(kin) else figure(kin, ".3f") for kin in groups.kinship[n]))
            for n, name in enumerate(names)
        ]
        show.table(("", *names), rows)
        return
    show.table(
        (say("group"), say("within"), say("nearest other"), say("kinship")),
        [
            (name, "" if math.isnan(within) else figure(within, ".3f"), names[m],
             figure(groups.kinship[n][m], ".3f"))
            for n, name in enumerate(names)
            for within in (groups.kinship[n][n],)
            for m in (max((m for m in range(len(names)) if m != n),
                          key=lambda m: groups.kinship[n][m]),)
        ],
    )  # fmt: skip


def _show_lines(told: "LinesPage") -> None:
    for sentence in (told.summary, *told.answer):
        _wrapped(sentence)
    if told.pens:
        show.heading(say("Pens"))
        show.table(
            (say("pen"), say("birds"), say("chicks inbred by"), say("as"), ""),
            [(row.place, row.birds, row.chicks, row.words, row.sure) for row in told.pens],
        )
    if told.between:
        show.heading(say("How related pens are"))
        show.table((say("pen"), say("and"), say("kinship"), say("as")), told.between)
    if told.brings:
        show.heading(say("What it brings"))
        for sentence in told.brings:
            _wrapped(sentence)
    show.heading(say("So far"))
    _wrapped(told.realised)
    if told.generations:
        show.table(
            (say("generation"), say("birds"), say("inbreeding, mean"), say("most")),
            [(row.number, row.birds, row.mean, row.most) for row in told.generations],
        )
    if told.founders:
        show.heading(say("Whose genes they carry"))
        _wrapped(told.founders_say)
        show.table(
            (say("founders"), say("birds"), say("share")),
            [(row.name, row.birds, row.percent) for row in told.founders],
        )
    if told.inbred and told.inbred[0].share:
        show.heading(say("The most inbred"))
        show.table(
            (say("bird"), say("inbreeding"), say("as")),
            [(row.bird, row.percent, row.words) for row in told.inbred if row.share],
        )
    show.heading(say("To know"))
    for sentence in (*told.problems, *told.notes):
        _wrapped(sentence)


def _show_family(told: "Family") -> None:
    print(f"{told.bird}: {', '.join(told.about)}")
    for sentence in (told.says, told.parents_say, told.eggs):
        if sentence:
            _wrapped(sentence)
    show.heading(say("Forebears"))
    for top in told.tree:
        for up, node in top.lines:
            note = f" ({node.note})" if node.note else ""
            print(f"  {'  ' * up}{node.role}: {node.name}{note}")
    for title, rows in ((say("Sibs"), told.sibs), (say("Nearest kin"), told.kin)):
        if rows:
            show.heading(title)
            show.table(
                (say("bird"), say("kinship"), say("is its")),
                [(row.bird, figure(row.kinship, ".3f"), row.how) for row in rows],
            )
    if told.broods:
        show.heading(say("Chicks"))
        for brood in told.broods:
            rings = [f"{ring} ({note})" if note else ring for ring, note in brood.rings]
            _wrapped(
                f"{brood.of}: {', '.join([*rings, *([brood.others] if brood.others else [])])}"
            )
    if told.weights:
        show.heading(say("Weights"))
        show.table((say("day"), say("weight")), told.weights)
    if told.problems:
        show.heading(say("To know"))
        for sentence in told.problems:
            _wrapped(sentence)


def _wrapped(text: str) -> None:
    show.paragraph(text)

"""`signs`: what looks wrong, in full, and what is watched to see it."""

import textwrap

import typer

from quailwright.cli import show
from quailwright.cli.options import FlockOption, JsonOption, OnOption, moment_asked, opened
from quailwright.exchange.air_seen import air_seen
from quailwright.flock.fold import fold, newest_zone
from quailwright.guide import wording
from quailwright.guide.round import day_at
from quailwright.guide.signs import Sign
from quailwright.guide.signs.report import SignsReport, signs_report
from quailwright.language import say

EXAMPLES = """Examples:

\b
  quailwright signs
  quailwright signs --on 2027-05-28 --json

Fewer or more signs: quailwright log holding false_signs_a_year=2"""


def signs(
    ctx: typer.Context,
    flock_file: FlockOption = None,
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """What looks wrong, what to check first, what is watched."""
    with opened(ctx, flock_file) as store:
        entries = store.entries()
        asked = moment_asked(on, newest_zone(entries))
        flock = fold(entries, asked)
        told = signs_report(flock, day_at(flock, asked), air_seen(store, flock, asked))
    if as_json:
        from quailwright.exchange.shapes import signs_shape

        show.json_document(signs_shape(told))
        return
    _show(told)


def _show(told: SignsReport) -> None:
    print(told.answer)
    for sign in told.signs:
        show_sign(sign)
    if told.watched:
        show.heading(say("What is watched"))
        rows = [
            (
                f"{row.place} ({row.group})" if row.group else row.place,
                row.name,
                row.amount(row.usual),
                row.amount(row.now),
                say("off since {day}", day=wording.weekday(row.since))
                if row.since is not None
                else ("" if row.ready else say("too few days yet")),
            )
            for row in told.watched
        ]
        show.table((say("where"), say("what"), say("usual"), say("last 7 days"), ""), rows)
        print(
            say(
                "False signs to be expected while nothing is wrong: about {number:g} a pen and "
                "year.",
                number=told.false_signs_a_year,
            )
        )
    if told.blind:
        show.heading(say("What would be seen sooner if it were logged"))
        for one in told.blind:
            line = say("{place}: {what}. {why}", place=one.place, what=say(one.what), why=one.why)
            print(f"  {line}")
    print()
    show.cautions("command:signs")


def show_sign(sign: Sign) -> None:
    """A sign in full."""
    title = say("{where}: {sign}", where=sign.where, sign=say(sign.sign))
    show.heading(say("{title}, since {day}", title=title, day=wording.weekday(sign.since)))
    lines = [sign.evidence, say("First: {check}", check=sign.check)]
    if sign.unshared:
        lines.append(say("More likely: {causes}", causes=" ".join(sign.unshared)))
    if sign.shared:
        held = " ".join(sign.shared)
        lines.append(say("Less likely, as another pen holds: {causes}", causes=held))
    lines += [f"{number}. {step}" for number, step in enumerate(sign.then, 2)]
    for line in lines:
        print(textwrap.fill(line, 98, initial_indent="  ", subsequent_indent="  "))
    if sign.ring:
        show.caution(sign.ring)

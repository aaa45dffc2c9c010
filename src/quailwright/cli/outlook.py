"""`outlook`: the weeks ahead with their chance."""

import contextlib
import shutil
import sys
import textwrap
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Annotated

import typer

from quailwright.cli import show
from quailwright.cli.options import FlockOption, JsonOption, OnOption, moment_asked, opened
from quailwright.flock.fold import fold, newest_zone
from quailwright.flock.state import Flock
from quailwright.guide import wording
from quailwright.guide.round import day_at
from quailwright.journal.findings import BadInput
from quailwright.language import figure, mark, say

if TYPE_CHECKING:
    from quailwright.outlook.forecast import Outlook, Question
    from quailwright.outlook.report import Array, Rate

EXAMPLES = """Examples:

\b
  quailwright outlook
  quailwright outlook --weeks 12 --json
  quailwright outlook --lamp 15
  quailwright outlook --set "2027-06-01 40 creek-farm" --fewer-cocks 3
  quailwright outlook --no-hatches
  quailwright outlook --no-planned
  quailwright outlook --feed
  quailwright outlook --rates
  quailwright outlook --past

With a question (--lamp, --set, --fewer-cocks, --fewer-hens, --no-hatches) it also says what the
answer changes. What you have planned (set_planned, cull_planned) is counted unless --no-planned.
--past makes forecasts as of past days again and says how they did."""

_SHOWN_WEEKS = 26
_LONG_DAY_H = 17
_MOST = 50_000_000
_MOST_DRAWS = 1_000_000
_LARGE = 4_000_000
"""Draws times weeks from which a progress bar is shown."""


def outlook(
    ctx: typer.Context,
    flock_file: FlockOption = None,
    on: OnOption = None,
    as_json: JsonOption = False,
    weeks: Annotated[int, typer.Option("--weeks", metavar="N", help="Weeks ahead, 1 to 520.")] = 26,
    draws: Annotated[
        int, typer.Option("--draws", metavar="N", help="How many ways it may go are drawn.")
    ] = 4000,
    seed: Annotated[
        int, typer.Option("--seed", metavar="N", help="The same number draws the same again.")
    ] = 1,
    lamp: Annotated[
        float | None,
        typer.Option("--lamp", metavar="HOURS", help="If a lamp made each day so long."),
    ] = None,
    fewer_cocks: Annotated[
        int, typer.Option("--fewer-cocks", metavar="N", help="If so many cocks went.")
    ] = 0,
    fewer_hens: Annotated[
        int, typer.Option("--fewer-hens", metavar="N", help="If so many hens went.")
    ] = 0,
    no_hatches: Annotated[
        bool, typer.Option("--no-hatches", help="If nothing more hatched.")
    ] = False,
    sets: Annotated[
        list[str] | None,
        typer.Option(
            "--set",
            metavar="'DAY EGGS SOURCE'",
            help="If these eggs were set too; may be repeated.",
        ),
    ] = None,
    no_planned: Annotated[
        bool, typer.Option("--no-planned", help="Leave out the sets and culls of your plan.")
    ] = False,
    feed: Annotated[
        bool, typer.Option("--feed", help="Feed by stage and week, and when each bag runs out.")
    ] = False,
    rates: Annotated[
        bool, typer.Option("--rates", help="The rates it stands on, and what each rests on.")
    ] = False,
    past: Annotated[
        bool, typer.Option("--past", help="How its own forecasts of the past did.")
    ] = False,
) -> None:
    """The weeks ahead: eggs, birds and feed, with their chance."""
    _check(weeks, draws, seed, lamp, fewer_cocks, fewer_hens)
    with opened(ctx, flock_file) as store:
        entries = store.entries()
        asked = moment_asked(on, newest_zone(entries))
        flock = fold(entries, asked)
        day = day_at(flock, asked)
        from quailwright.exchange import outlook_told

        known = outlook_told.believed(store, flock, asked)
    import numpy as np

    from quailwright.outlook.forecast import Question
    from quailwright.outlook.scores import past_scores

    if past:
        with progress_bar(say("Forecasts made again"), True) as made:
            scores = past_scores(entries, day, np.random.default_rng(seed), made)
        if as_json:
            from quailwright.exchange.outlook_shape import scores_shape

            show.json_document(scores_shape(scores))
            return
        if not scores:
            print(say("The record is too short: past forecasts need some five weeks of eggs."))
        for score in scores:
            print(score.sentence)
        return
    stands = outlook_told.as_it_stands(known, weeks, with_planned=not no_planned)
    question = Question(
        lamp,
        fewer_cocks,
        fewer_hens,
        no_hatches,
        tuple(outlook_told.asked_set("--set", text, day, weeks) for text in sets or ()),
        planned=stands.planned,
    )
    with progress_bar(say("Weeks drawn"), draws * weeks > _LARGE) as drawn:
        ahead = outlook_told.ahead(
            known, weeks, draws, seed, question, progress=lambda week: drawn(week, weeks)
        )
    if feed:
        from quailwright.cli.feed import show_feed

        show_feed(ahead, flock, seed, as_json)
        return
    table, said = outlook_told.rests_on(known, ahead, seed)
    if as_json:
        from quailwright.exchange.outlook_shape import outlook_shape

        show.json_document(outlook_shape(ahead, flock, seed, table, said))
        return
    if rates:
        _show_rates(table)
        return
    _show(ahead, flock, said)
    if question != stands:
        as_it_stands = outlook_told.ahead(known, weeks, draws, seed, stands)
        _show_answer(ahead, as_it_stands, question)


def _check(
    weeks: int, draws: int, seed: int, lamp: float | None, fewer_cocks: int, fewer_hens: int
) -> None:
    if not 1 <= weeks <= 520:
        raise BadInput(say("--weeks is 1 to 520, not {weeks}.", weeks=weeks))
    if not 1 <= draws <= _MOST_DRAWS:
        raise BadInput(say("--draws is 1 to {most:,}, not {draws}.", most=_MOST_DRAWS, draws=draws))
    if draws * weeks > _MOST:
        raise BadInput(
            say(
                "--draws times --weeks is {product:,}: no more than {most:,}.",
                product=draws * weeks,
                most=_MOST,
            )
        )
    if seed < 0:
        raise BadInput(say("--seed is 0 or more, not {number}.", number=seed))
    if lamp is not None and not 0 < lamp <= 24:
        raise BadInput(say("--lamp is hours of light a day, up to 24, not {hours:g}.", hours=lamp))
    if min(fewer_cocks, fewer_hens) < 0:
        raise BadInput(say("--fewer-cocks and --fewer-hens take birds away: 0 or more."))


@contextlib.contextmanager
def progress_bar(text: str, long: bool) -> Iterator[Callable[..., None]]:
    """A bar on standard error while something long runs on a terminal: called with how much is
    done, of how much, and words if there is something to say."""
    if not (long and sys.stderr.isatty()):
        yield lambda done, of, words="": None
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(text, total=None)
        yield lambda done, of, words=text: bar.update(
            task, completed=done, total=of, description=words
        )


def _show(ahead: "Outlook", flock: Flock, said: list[str]) -> None:
    from quailwright.outlook.report import chance_of_goal

    name = flock.holding.name if flock.holding is not None else ""
    told = say("the weeks after {day}", day=wording.full_day(ahead.as_of))
    print(f"{name + ': ' if name else ''}{told}")
    for sentence in said:
        print(textwrap.fill(sentence, 100, initial_indent="  ", subsequent_indent="  "))
    if not flock.entries:
        show.first_steps()
        return
    if not any(own.any() for own in ahead.samples.values()):
        return
    goal = chance_of_goal(ahead, flock)
    wanted = flock.goal.eggs_per_week if flock.goal is not None else None
    show.heading(say("Eggs a week: how many, and how sure?"))
    print(f"  {_in_words(ahead)}")
    step = -(-ahead.weeks // _SHOWN_WEEKS)
    shown = range(0, ahead.weeks, step)
    show.fan(
        [wording.weekday(ahead.first_day(week)) for week in shown],
        [_likely(ahead, "eggs", week) for week in shown],
        wanted,
    )
    show.heading(say("Likely, week by week (four times in five)"))
    quantities = _FITTING if _is_narrow() else _ALL
    columns = [say("week from"), *(say(_HEADS[name]) for name in quantities)]
    rows: list[list[object]] = []
    for week in range(min(ahead.weeks, _SHOWN_WEEKS)):
        row: list[object] = [wording.weekday(ahead.first_day(week))]
        row += [
            _range(_likely(ahead, quantity, week), 1 if quantity == "feed_kg" else 0)
            for quantity in quantities
        ]
        rows.append(row + ([_percent(goal[week])] if goal is not None else []))
    if goal is not None:
        columns.append(
            say("goal met")
            if quantities == _FITTING
            else say("chance of {eggs:g} eggs", eggs=wanted)
        )
    show.table(columns, rows)
    if quantities == _FITTING:
        print("  " + say("Cocks, chicks and deaths: in a wider window, or --json."))
    if ahead.hatches:
        is_all_set = all(one.hatch in flock.hatches for one in ahead.hatches)
        show.heading(
            say("Hatches under way") if is_all_set else say("Hatches under way or planned")
        )
        show.table(
            (say("hatch"), say("chicks"), say("hens at 8 weeks")),
            [
                (
                    say(one.hatch),
                    _range(_quantiles(one.chicks_samples)),
                    _range(_quantiles(one.hens_at_8_weeks)),
                )
                for one in ahead.hatches
            ],
        )
    print()
    print(say("What these rates rest on: outlook --rates. How past forecasts did: outlook --past."))


_ALL = ("eggs", "hens", "cocks", "chicks", "deaths", "feed_kg")
_FITTING = ("eggs", "hens", "feed_kg")
_HEADS = {
    "eggs": mark("eggs"),
    "hens": mark("hens"),
    "cocks": mark("cocks"),
    "chicks": mark("chicks"),
    "deaths": mark("deaths"),
    "feed_kg": mark("feed, kg"),
}
_WIDE = 120


def _is_narrow() -> bool:
    """Whether a terminal is too narrow for every column."""
    return sys.stdout.isatty() and shutil.get_terminal_size().columns < _WIDE


def _percent(share: float | None) -> str:
    return "" if share is None else f"{share:.0%}"


def _in_words(ahead: "Outlook") -> str:
    first, last = _likely(ahead, "eggs", 0), _likely(ahead, "eggs", ahead.weeks - 1)
    if ahead.weeks == 1:
        return say(
            "{next:.0f} next week, likely {low:.0f} to {high:.0f}.",
            next=first[2],
            low=first[0],
            high=first[4],
        )
    return say(
        "{next:.0f} next week, likely {low:.0f} to {high:.0f}; {last:.0f} in week {week}, likely "
        "{last_low:.0f} to {last_high:.0f}.",
        next=first[2],
        low=first[0],
        high=first[4],
        last=last[2],
        week=ahead.weeks,
        last_low=last[0],
        last_high=last[4],
    )


def _likely(ahead: "Outlook", quantity: str, week: int) -> tuple[float, ...]:
    return _quantiles(ahead.samples[quantity][:, week])


def _quantiles(samples: "Array") -> tuple[float, ...]:
    from quailwright.outlook.report import spread_of

    spread = spread_of(samples)
    return tuple(spread[name] for name in ("q10", "q25", "q50", "q75", "q90"))


def _range(quantiles: tuple[float, ...], decimals: int = 0) -> str:
    low, middle, high = (figure(quantiles[n], f".{decimals}f") for n in (0, 2, 4))
    if low == high:
        return middle
    return say("{middle} ({low} to {high})", middle=middle, low=low, high=high)


def _show_rates(table: "list[Rate]") -> None:
    from quailwright.exchange.outlook_told import rate_figure, rate_words

    print(say("What the outlook stands on; likely is nine times in ten. Weights in percent."))
    show.table(
        (
            say("rate"),
            say("of"),
            say("believed"),
            say("likely"),
            say("published"),
            say("records"),
            say("publ."),
            say("others"),
            say("own"),
        ),
        [
            (
                rate_words(rate.name),
                rate.of or say("the holding, and any new one"),
                rate_figure(rate.mean, rate.name),
                say(
                    "{low} to {high}",
                    low=rate_figure(rate.q05, rate.name),
                    high=rate_figure(rate.q95, rate.name),
                ),
                rate_figure(rate.prior_mean, rate.name),
                f"{figure(rate.records, 'g')} {say(rate.unit)}",
                f"{100 * rate.weight_published:.0f}",
                f"{100 * rate.weight_others:.0f}",
                f"{100 * rate.weight_own:.0f}",
            )
            for rate in table
        ],
    )


def _show_answer(ahead: "Outlook", as_it_stands: "Outlook", question: "Question") -> None:
    from quailwright.outlook.report import compared

    show.heading(
        say(
            "What {question} would change, in all {weeks} weeks together",
            question=question.words,
            weeks=ahead.weeks,
        )
    )
    if question.lamp_h is not None and question.lamp_h > _LONG_DAY_H:
        show.caution(
            say("Birds need a dark rest: keepers light to 14 to 17 h, and more adds no eggs.")
        )
    for name, spread in compared(ahead, as_it_stands).items():
        text = (
            mark("{middle:+.0f} eggs, likely {low:+.0f} to {high:+.0f}")
            if name == "eggs"
            else mark("{middle:+.0f} kg of feed, likely {low:+.0f} to {high:+.0f}")
        )
        print("  " + say(text, middle=spread["q50"], low=spread["q10"], high=spread["q90"]))

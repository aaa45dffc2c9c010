"""`outlook`: the weeks ahead with their chance."""

import contextlib
import shutil
import sys
import textwrap
from collections.abc import Callable, Iterator
from datetime import date
from typing import TYPE_CHECKING, Annotated

import typer

from quailwright.cli import show
from quailwright.cli.options import FlockOption, JsonOption, OnOption, moment_asked, opened
from quailwright.flock.fold import fold, newest_zone
from quailwright.flock.state import Flock
from quailwright.guide import wording
from quailwright.guide.round import day_at
from quailwright.journal.findings import BadInput

if TYPE_CHECKING:
    from quailwright.outlook.forecast import Outlook, Question
    from quailwright.outlook.hatching import PlannedSet
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
        with progress_bar("Forecasts made again", True) as made:
            scores = past_scores(entries, day, np.random.default_rng(seed), made)
        if as_json:
            from quailwright.exchange.outlook_shape import scores_shape

            show.json_document(scores_shape(scores))
            return
        if not scores:
            print("The record is too short: past forecasts need some five weeks of eggs.")
        for score in scores:
            print(score.sentence)
        return
    stands = outlook_told.as_it_stands(known, weeks, with_planned=not no_planned)
    question = Question(
        lamp,
        fewer_cocks,
        fewer_hens,
        no_hatches,
        tuple(_asked_set(text, day, weeks) for text in sets or ()),
        planned=stands.planned,
    )
    with progress_bar("Weeks drawn", draws * weeks > _LARGE) as drawn:
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
        raise BadInput(f"--weeks is 1 to 520, not {weeks}.")
    if not 1 <= draws <= 1_000_000:
        raise BadInput(f"--draws is 1 to 1,000,000, not {draws}.")
    if draws * weeks > _MOST:
        raise BadInput(f"--draws times --weeks is {draws * weeks:,}: no more than {_MOST:,}.")
    if seed < 0:
        raise BadInput(f"--seed is 0 or more, not {seed}.")
    if lamp is not None and not 0 < lamp <= 24:
        raise BadInput(f"--lamp is hours of light a day, up to 24, not {lamp:g}.")
    if min(fewer_cocks, fewer_hens) < 0:
        raise BadInput("--fewer-cocks and --fewer-hens take birds away: 0 or more.")


def _asked_set(text: str, day: date, weeks: int) -> "PlannedSet":
    from quailwright.outlook.hatching import PlannedSet

    parts = text.split(maxsplit=2)
    try:
        on, eggs = date.fromisoformat(parts[0]), int(parts[1])
        source = parts[2]
    except (ValueError, IndexError):
        raise BadInput(
            f"--set '{text}' is not understood: a day, a number of eggs and whose they are, as in "
            "--set '2027-06-01 40 creek-farm'."
        ) from None
    if on <= day:
        raise BadInput(
            f"--set '{text}': that day is not ahead. Log eggs_set for eggs that are set."
        )
    if (on - day).days > 7 * weeks:
        raise BadInput(f"--set '{text}': that is after the {weeks} weeks looked at (--weeks).")
    if not 1 <= eggs <= 100_000:
        raise BadInput(f"--set '{text}': 1 to 100,000 eggs.")
    return PlannedSet(on, eggs, source)


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
    print(f"{name + ': ' if name else ''}the weeks after {wording.full_day(ahead.as_of)}")
    for sentence in said:
        print(textwrap.fill(sentence, 100, initial_indent="  ", subsequent_indent="  "))
    if not flock.entries:
        show.first_steps()
        return
    if not any(own.any() for own in ahead.samples.values()):
        return
    goal = chance_of_goal(ahead, flock)
    wanted = flock.goal.eggs_per_week if flock.goal is not None else None
    show.heading("Eggs a week: how many, and how sure?")
    print(f"  {_in_words(ahead)}")
    step = -(-ahead.weeks // _SHOWN_WEEKS)
    shown = range(0, ahead.weeks, step)
    show.fan(
        [wording.weekday(ahead.first_day(week)) for week in shown],
        [_likely(ahead, "eggs", week) for week in shown],
        wanted,
    )
    show.heading("Likely, week by week (four times in five)")
    quantities = _FITTING if _is_narrow() else _ALL
    columns = ["week from", *(_HEADS.get(name, name) for name in quantities)]
    rows: list[list[object]] = []
    for week in range(min(ahead.weeks, _SHOWN_WEEKS)):
        row: list[object] = [wording.weekday(ahead.first_day(week))]
        row += [
            _range(_likely(ahead, quantity, week), 1 if quantity == "feed_kg" else 0)
            for quantity in quantities
        ]
        rows.append(row + ([_percent(goal[week])] if goal is not None else []))
    if goal is not None:
        columns.append("goal met" if quantities == _FITTING else f"chance of {wanted:g} eggs")
    show.table(columns, rows)
    if quantities == _FITTING:
        print("  Cocks, chicks and deaths: in a wider window, or --json.")
    if ahead.hatches:
        is_all_set = all(one.hatch in flock.hatches for one in ahead.hatches)
        show.heading("Hatches under way" if is_all_set else "Hatches under way or planned")
        show.table(
            ("hatch", "chicks", "hens at 8 weeks"),
            [
                (
                    one.hatch,
                    _range(_quantiles(one.chicks_samples)),
                    _range(_quantiles(one.hens_at_8_weeks)),
                )
                for one in ahead.hatches
            ],
        )
    print()
    print("What these rates rest on: outlook --rates. How past forecasts did: outlook --past.")


_ALL = ("eggs", "hens", "cocks", "chicks", "deaths", "feed_kg")
_FITTING = ("eggs", "hens", "feed_kg")
_HEADS = {"feed_kg": "feed, kg"}
_WIDE = 120


def _is_narrow() -> bool:
    """Whether a terminal is too narrow for every column."""
    return sys.stdout.isatty() and shutil.get_terminal_size().columns < _WIDE


def _percent(share: float | None) -> str:
    return "" if share is None else f"{share:.0%}"


def _in_words(ahead: "Outlook") -> str:
    first, last = _likely(ahead, "eggs", 0), _likely(ahead, "eggs", ahead.weeks - 1)
    if ahead.weeks == 1:
        return f"{first[2]:.0f} next week, likely {first[0]:.0f} to {first[4]:.0f}."
    return (
        f"{first[2]:.0f} next week, likely {first[0]:.0f} to {first[4]:.0f}; "
        f"{last[2]:.0f} in week {ahead.weeks}, likely {last[0]:.0f} to {last[4]:.0f}."
    )


def _likely(ahead: "Outlook", quantity: str, week: int) -> tuple[float, ...]:
    return _quantiles(ahead.samples[quantity][:, week])


def _quantiles(samples: "Array") -> tuple[float, ...]:
    from quailwright.outlook.report import spread_of

    spread = spread_of(samples)
    return tuple(spread[name] for name in ("q10", "q25", "q50", "q75", "q90"))


def _range(quantiles: tuple[float, ...], decimals: int = 0) -> str:
    low, middle, high = (f"{quantiles[n]:.{decimals}f}" for n in (0, 2, 4))
    return middle if low == high else f"{middle} ({low} to {high})"


def _show_rates(table: "list[Rate]") -> None:
    print("What the outlook stands on; likely is nine times in ten. Weights in percent.")
    show.table(
        ("rate", "of", "believed", "likely", "published", "records", "publ.", "others", "own"),
        [
            (
                rate.name.replace("_", " "),
                rate.of or "the holding, and any new one",
                _figure(rate.mean, rate.name),
                f"{_figure(rate.q05, rate.name)} to {_figure(rate.q95, rate.name)}",
                _figure(rate.prior_mean, rate.name),
                f"{rate.records:g} {rate.unit}",
                f"{100 * rate.weight_published:.0f}",
                f"{100 * rate.weight_others:.0f}",
                f"{100 * rate.weight_own:.0f}",
            )
            for rate in table
        ],
    )


def _figure(share: float, of: str = "") -> str:
    if of in ("feed_used_over_eaten", "weight_over_usual"):
        return f"{share:.2f}"
    return f"{share:.0%}" if share >= 0.1 else f"{share:.1%}"


def _show_answer(ahead: "Outlook", as_it_stands: "Outlook", question: "Question") -> None:
    from quailwright.outlook.report import compared

    show.heading(f"What {question.words} would change, in all {ahead.weeks} weeks together")
    if question.lamp_h is not None and question.lamp_h > _LONG_DAY_H:
        show.caution("Birds need a dark rest: keepers light to 14 to 17 h, and more adds no eggs.")
    for name, spread in compared(ahead, as_it_stands).items():
        what = "eggs" if name == "eggs" else "kg of feed"
        print(f"  {spread['q50']:+.0f} {what}, likely {spread['q10']:+.0f} to {spread['q90']:+.0f}")

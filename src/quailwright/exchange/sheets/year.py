"""The year in review: charts with what they show in a sentence, and tables behind them."""

from datetime import date
from typing import Any

from quailwright.exchange.costs_told import kind_words, small
from quailwright.exchange.outlook_told import rate_figure, rate_words
from quailwright.exchange.sheets.press import Press, pdf
from quailwright.exchange.year_told import (
    FEW_EGGS,
    FEW_HATCHES,
    Year,
    YearMonth,
    shares,
    year_told,
)
from quailwright.flock.state import Hatch
from quailwright.guide import wording
from quailwright.husbandry.proportion import interval
from quailwright.language import dated, figure, say, say_many

_MOST_LEARNT = 12
_MOST_KINDS = 6


def year_pdf(press: Press, year: int) -> bytes:
    """The review of that year, up to the day. Raises BadInput where nothing is known of it."""
    told = year_told(press.store, press.flock, press.asked, year)
    title = say("The year {year}", year=str(year))
    says = []
    if not told.whole:
        says.append(
            say(
                "From {first} to {last}: not the whole year.",
                first=wording.full_day(told.first),
                last=wording.full_day(told.last),
            )
        )
    return pdf(
        press,
        "year",
        title,
        {
            "name": title,
            "says": says,
            "sections": [
                _eggs(told),
                _hatches(told, press),
                _birds(told),
                _feed(told),
                _money(told),
                _learnt(told),
            ],
        },
    )


def _section(
    heading: str,
    says: list[str],
    *,
    bars: list[dict[str, Any]] | None = None,
    columns: list[str] | None = None,
    rows: list[list[str]] | None = None,
    left: int = 1,
) -> dict[str, Any]:
    return {
        "heading": heading,
        "says": [sentence for sentence in says if sentence],
        "bars": bars or [],
        "columns": columns or [],
        "rows": rows or [],
        "left": left,
    }


def _short(day: date) -> str:
    return dated(day, f"{day:%b}", "MMM").rstrip(".")


def _long(day: date) -> str:
    return dated(day, f"{day:%B}", "MMMM")


def _bars(months: list[YearMonth], values: list[float], spec: str) -> list[dict[str, Any]]:
    """A bar a month: its height against the tallest, and its figure above."""
    most = max(values, default=0.0)
    return [
        {
            "label": _short(month.first),
            "says": figure(value, spec) if value else "",
            "height": value / most if most > 0 else 0.0,
        }
        for month, value in zip(months, values, strict=True)
    ]


def _eggs(told: Year) -> dict[str, Any]:
    found = told.account
    says = [
        say_many("{n} egg was counted.", "{n} eggs were counted.", found.eggs),
        say("That is {rate:.0%} of an egg a hen and day.", rate=told.rate) if told.rate else "",
    ]
    if told.counted < told.days:
        says.append(
            say(
                "Eggs were counted on {counted} of {days} days; what was laid on the others is not "
                "known.",
                counted=told.counted,
                days=told.days,
            )
        )
    ends = told.extremes()
    if ends is not None:
        best, worst = ends
        says.append(
            say(
                "A hen laid most in {best} ({most:.0%} a day) and least in {worst} ({least:.0%}).",
                best=_long(best.first),
                most=best.rate or 0.0,
                worst=_long(worst.first),
                least=worst.rate or 0.0,
            )
        )
    elif found.eggs:
        says.append(say("Too few months are counted well enough to say which was best."))
    uses = {
        "eaten": say("eaten"),
        "sold": say("sold"),
        "given": say("given"),
        "discarded": say("discarded"),
    }
    gone = [f"{found.gone[use]} {words}" for use, words in uses.items() if found.gone[use]]
    if gone:
        says.append(say("Where they went: {uses}.", uses=", ".join(gone)))
    return _section(
        say("Eggs by month"),
        says,
        bars=_bars(told.months, [float(month.eggs) for month in told.months], ".0f"),
    )


def _hatches(told: Year, press: Press) -> dict[str, Any]:
    if not told.hatches:
        return _section(say("Hatches"), [say("No eggs were set.")])
    eggs, chicks = shares(told.hatches)
    says = [
        say_many("{n} hatch was set.", "{n} hatches were set.", len(told.hatches)),
    ]
    if eggs:
        share = interval(chicks, eggs)
        says.append(
            say(
                "{chicks} of {eggs} eggs hatched in those that are over: {share:.0%} (95 % "
                "interval {low:.0%} to {high:.0%}).",
                chicks=chicks,
                eggs=eggs,
                share=share.value,
                low=share.low95,
                high=share.high95,
            )
        )
    ends = told.ends()
    if ends is not None:
        best, worst = ends
        says.append(
            say(
                "Best: {best} ({most:.0%} of eggs set). Worst: {worst} ({least:.0%}).",
                best=best.name,
                most=best.hatched / best.eggs_set,
                worst=worst.name,
                least=worst.hatched / worst.eggs_set,
            )
        )
    if len(told.hatches) < FEW_HATCHES or eggs < FEW_EGGS:
        says.append(say("These are small numbers: chance alone makes hatches differ as much."))
    return _section(
        say("Hatches"),
        says,
        columns=[
            say("hatch"), say("set"), say("eggs"), say("taken out"), say("hatched"),
            say("of eggs set"),
        ],
        rows=[_hatch(hatch, press) for hatch in told.hatches],
        left=2,
    )  # fmt: skip


def _hatch(hatch: Hatch, press: Press) -> list[str]:
    over = hatch.closed_at is not None and hatch.eggs_set > 0
    return [
        hatch.name,
        wording.when(hatch.set_at.date(), press.on),
        figure(hatch.eggs_set),
        figure(hatch.removed),
        figure(hatch.hatched),
        figure(hatch.hatched / hatch.eggs_set, ".0%") if over else say("under way"),
    ]


def _birds(told: Year) -> dict[str, Any]:
    died = sum(month.deaths for month in told.months)
    hatched = sum(month.hatched for month in told.months)
    says = [
        say_many("{n} chick hatched.", "{n} chicks hatched.", hatched),
        say_many("{n} bird died.", "{n} birds died.", died),
    ]
    worst = max(told.months, key=lambda month: month.deaths, default=None)
    if worst is not None and worst.deaths > 1:
        says.append(say("Most died in {month}: {n}.", month=_long(worst.first), n=worst.deaths))
    return _section(
        say("Birds by month"),
        says,
        columns=["", *(_short(month.first) for month in told.months)],
        rows=[
            [say("hens"), *(figure(month.hens, ".0f") for month in told.months)],
            [say("hatched"), *(figure(month.hatched) for month in told.months)],
            [say("died"), *(figure(month.deaths) for month in told.months)],
        ],
    )


def _feed(told: Year) -> dict[str, Any]:
    found = told.account
    if not found.feed_kg:
        return _section(say("Feed by month, kg"), [say("No feed was written down.")])
    return _section(
        say("Feed by month, kg"),
        [say("{kg:.0f} kg of feed were used.", kg=found.feed_kg)],
        bars=_bars(told.months, [month.feed_kg for month in told.months], ".0f"),
    )


def _money(told: Year) -> dict[str, Any]:
    found = told.account

    def amount(value: float) -> str:
        return f"{small(value)} {found.currency}".rstrip()

    income = sum(found.income.values())
    if not found.cost and not income:
        return _section(say("What it cost"), [say("No money was written down.")])
    says = [
        say(
            "It cost {cost} and brought in {income}.",
            cost=amount(found.cost),
            income=amount(income),
        )
    ]
    if found.per_dozen.value is not None:
        says.append(say("A dozen eggs cost {cost}.", cost=amount(found.per_dozen.value)))
    kinds = sorted(found.costs.items(), key=lambda each: (-each[1], each[0]))
    return _section(
        say("What it cost"),
        says,
        columns=[say("for"), say("cost")],
        rows=[[kind_words(kind), amount(value)] for kind, value in kinds[:_MOST_KINDS] if value],
    )


def _learnt(told: Year) -> dict[str, Any]:
    heading = say("What was learnt")
    if not told.learnt:
        return _section(heading, [say("Too little is on the record to learn from.")])
    ordered = sorted(told.learnt, key=lambda rate: rate.weight_published)
    return _section(
        heading,
        [
            say(
                "What this flock's own record has made of published figures. Likely is nine times "
                "in ten: a wide range says that little is known."
            )
        ],
        columns=[say("rate"), say("of"), say("published"), say("believed"), say("likely")],
        rows=[
            [
                rate_words(rate.name),
                rate.of or say("the holding, and any new one"),
                rate_figure(rate.prior_mean, rate.name),
                rate_figure(rate.mean, rate.name),
                say(
                    "{low} to {high}",
                    low=rate_figure(rate.q05, rate.name),
                    high=rate_figure(rate.q95, rate.name),
                ),
            ]
            for rate in ordered[:_MOST_LEARNT]
        ],
        left=2,
    )

"""How a keeper's sheet is to be read: what one row tells, and which column is what. As TOML."""

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Any, get_args

import msgspec

from quailwright.exchange.readings_stamps import ORDERS, DateOrder
from quailwright.exchange.tables_in_cells import Decimal
from quailwright.exchange.tables_in_grid import column_of
from quailwright.journal.checks import FieldNote, field_notes
from quailwright.journal.entries import KINDS
from quailwright.journal.findings import BadInput
from quailwright.language import mark, say

HATCH, JOURNAL = "hatch", "journal"
"""What one row tells beside a single entry: a hatch from setting to result; any entry whole."""

SPENT = "spent"
"""A column of money that was spent, written without a minus."""

OF_BIRDS = ("birds_died", "birds_out", "birds_processed")
"""Kinds whose birds may stand in one column, and what they were in another."""

TICK = "tick"
"""The field of columns that each stand for a task and hold ticks."""

CLOCK = "clock"
"""A column with the time of day to the date in another."""

_MONTHS = range(1, 13)
_NOT_OF_A_SHEET = ("id", "force", "by")
_NOT_KINDS = ("retract", "holding", "plan_accepted", "care_rule")

OFFERED: Mapping[str, str] = {
    "eggs_collected": mark("eggs collected on a day"),
    HATCH: mark("a hatch: eggs set, candled, hatched"),
    "eggs_out": mark("eggs sold, eaten or given away"),
    "birds_died": mark("birds that died"),
    "birds_out": mark("birds sold, given away or lost"),
    "birds_processed": mark("birds taken for the table"),
    "group": mark("birds that came: a group begun or added to"),
    "birds_counted": mark("a head count"),
    "birds_weighed": mark("birds weighed together"),
    "bird": mark("one ringed bird"),
    "bird_weighed": mark("one ringed bird weighed"),
    "feed_bought": mark("feed bought"),
    "feed_given": mark("feed given"),
    "water_given": mark("water filled in"),
    "temperature_seen": mark("lowest and highest temperature"),
    "money": mark("money in or out"),
    "care": mark("tasks done, ticked"),
    "treated": mark("a treatment"),
    "eggs_received": mark("hatching eggs that came"),
    "place": mark("a place"),
    "source": mark("where eggs come from"),
    JOURNAL: mark("any entry: the journal as quailwright wrote it"),
}
"""What one row may tell, in words to be said, the most common first."""

WIDE: Mapping[str, tuple[str, str]] = {
    "eggs_collected": ("eggs", "group"),
    "birds_died": ("hens", "group"),
    "feed_given": ("kg", "place"),
    "water_given": ("litres", "place"),
    "care": (TICK, "task"),
}
"""Kinds of which a sheet may have a column for each pen: the figure in it, and what heads it."""


@dataclass(frozen=True, slots=True)
class Wide:
    """Columns that hold one figure each: of which field, and whose it is by column."""

    field: str
    name: str
    columns: dict[str, str]


@dataclass(frozen=True, slots=True)
class Match:
    """How a sheet is to be read.

    Attributes:
        sheet: its name.
        head: first and last row of its head, from 1; (0, 0) where it has none.
        kind: what one row tells: a kind of entry, `HATCH` or `JOURNAL`.
        columns: by letters of a column the field that stands in it.
        wide: columns that stand for pens or tasks.
        always: fields that are the same in every row.
        names: what the sheet calls something, and what the journal calls it.
        down: columns in which a blank cell means the one above.
        dates: order of days in figures; None where it was not told.
        year: of days without one.
        month: of days that are only a number, 1 to 31.
        decimal: the sign before decimals.
        first: entries to write before the rows: groups that the journal lacks.
    """

    sheet: str
    head: tuple[int, int] = (0, 0)
    kind: str = ""
    columns: dict[str, str] = field(default_factory=dict)
    wide: Wide | None = None
    always: dict[str, str] = field(default_factory=dict)
    names: dict[str, str] = field(default_factory=dict)
    down: tuple[str, ...] = ()
    dates: DateOrder | None = None
    year: int | None = None
    decimal: Decimal | None = None
    first: tuple[dict[str, str], ...] = ()
    month: int | None = None

    def column(self, name: str) -> str:
        """The letters of the column that holds a field, or ""."""
        return next((column for column, each in self.columns.items() if each == name), "")


@cache
def fields_of(kind: str) -> tuple[FieldNote, ...]:
    """The fields that a row of that kind may have."""
    if kind == JOURNAL:
        return ()
    if kind == HATCH:
        return tuple(_of_a_hatch())
    notes = [note for note in field_notes(kind) if note.name not in _NOT_OF_A_SHEET]
    if kind == "money":
        notes = list(_with_spent(notes))
    if kind in OF_BIRDS:
        notes += _birds_of_one_sex()
    order = {"at": 0, "note": 2}
    return tuple(sorted(notes, key=lambda note: order.get(note.name, 1)))


def _birds_of_one_sex() -> Iterable[FieldNote]:
    """A column of how many, beside one of what they were."""
    count = next(note for note in field_notes("birds_weighed") if note.name == "birds")
    yield replace(count, needed=False, meaning=mark("how many, where another column tells the sex"))
    sex = next(note for note in field_notes("bird") if note.name == "sex")
    yield replace(
        sex, needed=False, choices=("hen", "cock", "chick"), meaning=mark("hen, cock or chick")
    )


def _with_spent(notes: Iterable[FieldNote]) -> Iterable[FieldNote]:
    """The fields of money, of which a sheet may have one column for what came in and one for what
    was spent."""
    for note in notes:
        if note.name == "amount":
            yield replace(note, needed=False)
            yield replace(
                note, name=SPENT, needed=False, meaning=mark("money spent, without a minus")
            )
        else:
            yield note


def _of_a_hatch() -> Iterable[FieldNote]:
    """What a row of a sheet of hatches may tell. Days of candling and hatching are dates, or
    counted from the setting."""
    setting = {note.name: note for note in field_notes("eggs_set")}
    yield replace(setting["at"], meaning=mark("when the eggs were set"))
    yield replace(setting["hatch"], needed=False)
    for name in ("eggs", "place", "source", "group", "lot", "laid_from", "laid_to", "mean_egg_g"):
        yield setting[name]
    day = setting["laid_from"]
    whole = next(note for note in field_notes("hen_laid") if note.name == "days")
    counts = {note.name: note for note in field_notes("eggs_candled")}
    opened = {note.name: note for note in field_notes("eggs_opened")}
    chicks = next(note for note in field_notes("chicks_hatched") if note.name == "chicks")
    yield replace(day, name="candled_on", meaning=mark("when they were candled"))
    yield replace(whole, name="candled_day", needed=False, meaning=mark("or: on which day"))
    for name in ("clear", "dead"):
        yield replace(counts[name], needed=False)
    yield replace(day, name="hatched_on", meaning=mark("when the chicks were counted"))
    yield replace(whole, name="hatched_day", needed=False, meaning=mark("or: on which day"))
    yield replace(chicks, needed=False)
    for name in ("infertile", "early", "middle", "late", "pipped", "contaminated"):
        yield opened[name]
    yield setting["note"]


class _Written(msgspec.Struct, forbid_unknown_fields=True, omit_defaults=True):
    """The file."""

    sheet: str = ""
    kind: str = ""
    head: list[int] = []
    dates: str = ""
    year: int = 0
    month: int = 0
    decimal: str = ""
    down: list[str] = []
    columns: dict[str, str] = {}
    always: dict[str, str | int | float | bool] = {}
    names: dict[str, str] = {}
    wide: "_WrittenWide | None" = None
    first: list[dict[str, Any]] = []


class _WrittenWide(msgspec.Struct, forbid_unknown_fields=True):
    field: str
    name: str
    columns: dict[str, str]


def read_match(text: bytes, file: str) -> Match:
    """The match in a TOML file. Raises BadInput with a sentence."""
    try:
        told = msgspec.convert(tomllib.loads(text.decode("utf-8")), _Written)
    except (ValueError, RecursionError) as error:
        raise BadInput(
            say("{file} is no match for a sheet: {why}.", file=file, why=error)
        ) from None
    return checked(
        Match(
            told.sheet,
            (told.head[0], told.head[-1]) if told.head else (0, 0),
            told.kind,
            told.columns,
            None if told.wide is None else Wide(told.wide.field, told.wide.name, told.wide.columns),
            {name: as_text(value) for name, value in told.always.items()},
            told.names,
            tuple(told.down),
            told.dates or None,  # type: ignore[arg-type]
            told.year or None,
            told.decimal or None,  # type: ignore[arg-type]
            tuple({name: as_text(v) for name, v in each.items()} for each in told.first),
            told.month or None,
        )
    )


def as_text(value: object) -> str:
    """A value of TOML as it would be typed."""
    if isinstance(value, bool):
        return "true" if value else "false"
    return f"{value:.15g}" if isinstance(value, float) else str(value)


def checked(match: Match) -> Match:
    """The same. Raises BadInput with a sentence for what cannot be meant."""
    if match.kind and match.kind not in OFFERED:
        kinds = [kind for kind in KINDS if kind not in _NOT_KINDS]
        if match.kind not in kinds:
            raise BadInput(
                say(
                    "kind: {kind!r} is nothing that a row may tell. Say one of {kinds}.",
                    kind=match.kind,
                    kinds=", ".join(dict.fromkeys((*OFFERED, *kinds))),
                )
            )
    first, last = match.head
    if not 0 <= first <= last:
        raise BadInput(say("head: give the first and the last row of the head, as in [3, 4]."))
    if match.dates is not None and match.dates not in ORDERS:
        raise BadInput(say("dates: say dmy, mdy or ymd."))
    if match.month is not None and not 1 <= match.month <= len(_MONTHS):
        raise BadInput(say("month: give 1 to 12."))
    if match.decimal is not None and match.decimal not in get_args(Decimal):
        raise BadInput(say("decimal: say a point or a comma."))
    wide = match.wide.columns if match.wide is not None else {}
    for letters in (*match.columns, *match.down, *wide):
        if column_of(letters) is None:
            raise BadInput(
                say("columns: {given!r} is no column: write its letters, as in B.", given=letters)
            )
    if match.kind and match.kind != JOURNAL:
        _fields_fit(match)
    return match


def _fields_fit(match: Match) -> None:
    known = {note.name for note in fields_of(match.kind)} | {CLOCK}
    wide = () if match.wide is None else (match.wide.field, match.wide.name)
    for name in (*match.columns.values(), *match.always, *wide):
        if name and name not in known and not (name == TICK and match.kind == "care"):
            raise BadInput(
                say(
                    "columns: {kind} has no field {field!r}. It has {fields}.",
                    kind=match.kind,
                    field=name,
                    fields=", ".join(sorted(known)),
                )
            )
    twice = [name for name in match.columns.values() if name and name != "note"]
    for name in twice:
        if twice.count(name) > 1:
            raise BadInput(
                say(
                    "columns: {field} stands in several columns. Keep the one that counts.",
                    field=name,
                )
            )


def match_text(match: Match) -> str:
    """The match as a TOML file that `read_match` reads."""
    lines = [
        f"sheet = {_quoted(match.sheet)}",
        f"head = [{match.head[0]}, {match.head[1]}]",
        f"kind = {_quoted(match.kind)}",
    ]
    if match.dates is not None:
        lines.append(f"dates = {_quoted(match.dates)}")
    if match.year is not None:
        lines.append(f"year = {match.year}")
    if match.month is not None:
        lines.append(f"month = {match.month}")
    if match.decimal is not None:
        lines.append(f"decimal = {_quoted(match.decimal)}")
    if match.down:
        lines.append(f"down = [{', '.join(map(_quoted, match.down))}]")
    for title, table in (
        ("columns", match.columns),
        ("always", match.always),
        ("names", match.names),
    ):
        if table:
            lines += ["", f"[{title}]", *_pairs(table)]
    if match.wide is not None:
        lines += ["", "[wide]", f"field = {_quoted(match.wide.field)}"]
        lines += [f"name = {_quoted(match.wide.name)}", "", "[wide.columns]"]
        lines += _pairs(match.wide.columns)
    for each in match.first:
        lines += ["", "[[first]]", *_pairs(each)]
    return "\n".join(lines) + "\n"


def questions_text(asked: Sequence[tuple[str, str]]) -> str:
    """What is still to be told, as comments under a match: each part of it, and its question.

    Parts and examples are TOML; the questions are said.
    """
    lines = []
    for about, question in asked:
        part, _, name = about.partition(".")
        lines += ["", *(f"# {line}" for line in question.splitlines())]
        match part:
            case "names":
                lines += ["# [names]", f'# {_quoted(name)} = "the name in the journal"']
                lines += ["#", "# [[first]]", '# kind = "group"', '# at = "2026-01-31"']
                lines += [f"# group = {_quoted(name)}", '# place = "its place"', "# hens = 10"]
            case "columns":
                lines += ["# [columns]", f'# "A" = "{name}"']
                if name != "at":
                    lines += ["#", "# [always]", f'# {name} = "..."']
            case "head":
                lines += ["# head = [1, 1]"]
            case "month":
                lines += ["# month = 1"]
            case "year":
                lines += ["# year = 2026"]
            case _:
                lines += [f'# {part} = "..."']
    return "\n".join(lines) + "\n" if lines else ""


def _pairs(table: Mapping[str, str]) -> Sequence[str]:
    return [f"{_quoted(name)} = {_quoted(value)}" for name, value in table.items()]


def _quoted(text: str) -> str:
    """A basic string of TOML 1.0.0, whose escapes are those of JSON."""
    quoted = msgspec.json.encode(text).decode()
    return quoted.replace("\x7f", "\\u007f")

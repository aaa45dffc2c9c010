"""The guide through an import as a page asks it: choices for each column, and what was chosen."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from quailwright.exchange.shared import Held, OwnMemory, Shared
from quailwright.exchange.tables_in_cells import looks_like_day
from quailwright.exchange.tables_in_grid import Book, Grid, Value, column_of, letters
from quailwright.exchange.tables_in_guess import columns_guessed, label, labels, seems
from quailwright.exchange.tables_in_match import (
    CLOCK,
    HATCH,
    JOURNAL,
    OFFERED,
    WIDE,
    Match,
    Wide,
    checked,
    fields_of,
)
from quailwright.exchange.tables_in_seen import Preview
from quailwright.exchange.tables_in_told import field_told
from quailwright.flock.state import Flock
from quailwright.guide.at_hand import known_names
from quailwright.journal.findings import BadInput
from quailwright.language import say

MOST_COLUMNS_SHOWN = 60
_ROWS_SHOWN, _EXAMPLES = 8, 3
OWN = "*"
"""What a column is that stands for one pen or task."""


@dataclass(slots=True)
class Kept:
    """A sheet on its way in: the book, how it is to be read so far, and since when it is here."""

    book: Book
    match: Match
    since: datetime


class Uploads:
    """The sheets that people are taking in, one for each; they are let go after an hour.

    They are remembered for a while alone: nothing of them is left when the server stops.
    """

    MOST = 3
    STAYS = timedelta(hours=1)

    def __init__(self, shared: Shared | None = None) -> None:
        self._shared = shared or OwnMemory()

    def keep(self, whose: str, kept: Kept) -> None:
        """Takes the place of what this person brought before."""
        with self._shared.turn(_SHEET) as held:
            sheets = self._held(held, kept.since)
            sheets.pop(_key(whose), None)
            while len(sheets) >= self.MOST:
                oldest = min(sheets, key=lambda each: sheets[each].since)
                held.drop(oldest)
                del sheets[oldest]
            held.put(_key(whose), kept)

    def of(self, whose: str, now: datetime) -> Kept | None:
        """What this person brought; None where it is no longer here."""
        kept: Kept | None = self._shared.look(_SHEET, _key(whose))
        return None if kept is None or now - kept.since > self.STAYS else kept

    def forget(self, whose: str) -> None:
        """Lets go of what this person brought."""
        with self._shared.turn(_SHEET) as held:
            held.drop(_key(whose))

    def _held(self, held: Held, now: datetime) -> dict[str, Kept]:
        """Those that are still kept; the others are let go of."""
        sheets: dict[str, Kept] = held.every()
        for whose, kept in list(sheets.items()):
            if now - kept.since > self.STAYS:
                held.drop(whose)
                del sheets[whose]
        return sheets


_SHEET = "sheet"


def _key(whose: str) -> str:
    """Whose it is, without what signs them in."""
    return hashlib.sha256(whose.encode()).hexdigest()


# What the page asks.


@dataclass(frozen=True, slots=True)
class ColumnAsked:
    """One column: its letters, head, some of its cells, what it is so far, and whose."""

    letters: str
    head: str
    examples: str
    field: str
    name: str


@dataclass(frozen=True, slots=True)
class FieldAsked:
    """A field that is the same in every row."""

    name: str
    words: str
    value: str
    choices: tuple[str, ...]
    known: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NameAsked:
    """A group that the sheet names: which of the journal it is, or since when it is there."""

    number: int
    name: str
    is_: str
    begun: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Guide:
    """All that the page asks."""

    sheets: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    kinds: tuple[tuple[str, str], ...]
    fields: tuple[tuple[str, str], ...]
    columns: tuple[ColumnAsked, ...]
    more_columns: int
    always: tuple[FieldAsked, ...]
    names: tuple[NameAsked, ...]
    groups: tuple[str, ...]
    asks_dates: bool
    asks_year: bool
    asks_month: bool
    about: frozenset[str]


def guide(seen: Preview, flock: Flock) -> Guide:
    """What is to be chosen, and what was so far."""
    match = seen.match
    grid = seen.book.sheet(match.sheet)
    about = frozenset(one.about for one in seen.asked)
    heads = labels(grid, match.head) if match.head[1] <= len(grid.rows) else [()] * grid.width
    wide = match.wide.columns if match.wide is not None else {}
    columns = []
    if match.kind not in ("", JOURNAL):
        for column in range(min(grid.width, MOST_COLUMNS_SHOWN)):
            name = letters(column)
            own = OWN if name in wide else match.columns.get(name, "")
            columns.append(
                ColumnAsked(
                    name,
                    label(heads[column])[:60],
                    _examples(grid, match, column),
                    own,
                    wide.get(name, ""),
                )
            )
    fields = []
    if match.kind not in ("", JOURNAL):
        fields = [(note.name, field_told(note.name)) for note in fields_of(match.kind)]
        fields.insert(1, (CLOCK, field_told(CLOCK)))
        if match.kind in WIDE:
            main, name = WIDE[match.kind]
            name = match.wide.name if match.wide is not None else name
            words = say("{field} of one {name}", field=field_told(main), name=field_told(name))
            fields.append((OWN, words))
    return Guide(
        tuple(sheet.name for sheet in seen.book.sheets),
        _first_rows(grid),
        tuple((kind, say(words)) for kind, words in OFFERED.items()),
        tuple(fields),
        tuple(columns),
        max(0, grid.width - MOST_COLUMNS_SHOWN),
        tuple(_always(seen, flock, about)),
        tuple(_names(seen)),
        tuple(flock.groups),
        "dates" in about or match.dates is not None,
        "year" in about or match.year is not None,
        "month" in about or match.month is not None,
        about,
    )


def _shown(value: Value) -> str:
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.15g}"
    return " ".join(str(value).split())[:24]


def _examples(grid: Grid, match: Match, column: int) -> str:
    found: list[str] = []
    for row in range(match.head[1], len(grid.rows)):
        text = _shown(grid.own(row, column))
        if text and text not in found:
            found.append(text)
        if len(found) == _EXAMPLES:
            break
    return " · ".join(found)


def _first_rows(grid: Grid) -> tuple[tuple[int, tuple[str, ...]], ...]:
    rows = range(min(len(grid.rows), _ROWS_SHOWN))
    width = min(grid.width, MOST_COLUMNS_SHOWN)
    return tuple(
        (row + 1, tuple(_shown(grid.own(row, column)) for column in range(width))) for row in rows
    )


def _always(seen: Preview, flock: Flock, about: frozenset[str]) -> list[FieldAsked]:
    """Fields that no column tells and every row needs, or that were told for all rows."""
    match = seen.match
    if match.kind in ("", JOURNAL):
        return []
    known = known_names(flock, "eggs_set" if match.kind == HATCH else match.kind)
    asked = [
        note
        for note in fields_of(match.kind)
        if note.name != "at"
        and (f"columns.{note.name}" in about or note.name in match.always or (
            note.name == "group" and "columns.source" in about and match.kind == HATCH))
    ]  # fmt: skip
    return [
        FieldAsked(
            note.name,
            field_told(note.name),
            match.always.get(note.name, ""),
            note.choices,
            tuple(known.get(note.name, ())),
        )
        for note in asked
    ]


def _names(seen: Preview) -> list[NameAsked]:
    """Groups that are asked after, and those told so far."""
    match = seen.match
    begun = {each.get("group", ""): each for each in match.first}
    names = [one.about.partition(".")[2] for one in seen.asked if one.about.startswith("names.")]
    names += [name for name in (*match.names, *begun) if name not in names]
    return [
        NameAsked(number, name, match.names.get(name, ""), begun.get(name, {}))
        for number, name in enumerate(dict.fromkeys(names))
    ]


# What was chosen.


def chosen(form: Mapping[str, str], book: Book, match: Match, flock: Flock) -> Match:
    """The match with what the form says. Raises BadInput for what cannot be meant.

    Where another sheet, head or kind was chosen, the columns are looked at anew.
    """
    sheet = form.get("sheet") or match.sheet
    if sheet != match.sheet:
        return seems(book, flock, sheet)
    grid = book.sheet(sheet)
    head = _head(form, match.head, len(grid.rows))
    kind = form.get("kind", match.kind)
    if (head, kind) != (match.head, match.kind):
        fresh = Match(sheet, head, kind, dates=match.dates, year=match.year)
        return columns_guessed(grid, checked(fresh), flock)
    if kind in ("", JOURNAL):
        return match
    columns = dict(match.columns)
    own = dict(match.wide.columns) if match.wide is not None else {}
    heads = labels(grid, head)
    for column in range(min(grid.width, MOST_COLUMNS_SHOWN)):
        name = letters(column)
        field = form.get(f"column-{name}")
        if field is None:
            continue
        columns.pop(name, None)
        before = own.pop(name, "")
        if field == OWN:
            own[name] = form.get(f"own-{name}", before) or (heads[column] or (name,))[-1]
        elif field:
            columns[name] = field
    wide = None
    if own and kind in WIDE:
        field, whose = WIDE[kind]
        wide = Wide(field, match.wide.name if match.wide is not None else whose, own)
    always = {
        note.name: value
        for note in fields_of(kind)
        if (value := form.get(f"always-{note.name}", match.always.get(note.name, "")))
        and note.name not in columns.values()
    }
    names, first = _groups(form, match)
    ordered = {name: columns[name] for name in sorted(columns, key=lambda n: column_of(n) or 0)}
    return checked(
        replace(
            match, columns=ordered, wide=wide, always=always, names=names, first=first,
            dates=form.get("dates", match.dates or "") or None,  # type: ignore[arg-type]
            year=_year(form, match),
            month=_month(form, match),
            decimal=form.get("decimal", match.decimal or "") or None,  # type: ignore[arg-type]
            down=_down(form, match, ordered),
        )
    )  # fmt: skip


def _head(form: Mapping[str, str], before: tuple[int, int], rows: int) -> tuple[int, int]:
    told = []
    for name, was in zip(("head-first", "head-last"), before, strict=True):
        text = form.get(name, str(was)).strip()
        if not text.isascii() or not text.isdigit() or not 0 <= int(text[:6]) <= rows:
            raise BadInput(
                say("{given!r} is no row of the sheet, which has {rows}.", given=text, rows=rows)
            )
        told.append(int(text))
    return told[0], max(told)


def _year(form: Mapping[str, str], match: Match) -> int | None:
    text = form.get("year", str(match.year or "")).strip()
    if not text:
        return None
    if not (text.isascii() and text.isdigit() and len(text) == len("2027")):
        raise BadInput(say("{given!r} is no year: write it as 2027.", given=text))
    return int(text)


def _month(form: Mapping[str, str], match: Match) -> int | None:
    text = form.get("month", str(match.month or "")).strip()
    if text and not (text.isascii() and text.isdigit() and len(text) <= len("12")):
        raise BadInput(say("{given!r} is no month: give 1 to 12.", given=text))
    return int(text) if text else None


def _down(form: Mapping[str, str], match: Match, columns: Mapping[str, str]) -> tuple[str, ...]:
    if "asked-down" not in form:
        return match.down
    at = next((name for name, field in columns.items() if field == "at"), "")
    return (at,) if form.get("down") == "yes" and at else ()


def _groups(
    form: Mapping[str, str], match: Match
) -> tuple[dict[str, str], tuple[dict[str, str], ...]]:
    """Which group of the journal each name means, and the groups that begin."""
    names, first = dict(match.names), {each.get("group", ""): each for each in match.first}
    for number in range(MOST_COLUMNS_SHOWN):
        name = form.get(f"group-{number}")
        if name is None:
            continue
        names.pop(name, None)
        first.pop(name, None)
        if form.get(f"group-{number}-is"):
            names[name] = form[f"group-{number}-is"]
        elif form.get(f"group-{number}-since"):
            told = {"kind": "group", "group": name, "at": form[f"group-{number}-since"]}
            for field in ("place", "hens", "cocks", "chicks"):
                if form.get(f"group-{number}-{field}"):
                    told[field] = form[f"group-{number}-{field}"]
            first[name] = told
    return names, tuple(first.values())


def day_is_left_out(seen: Preview) -> bool:
    """Whether days may be left out under the first of each, so that the page asks for it."""
    match = seen.match
    column = column_of(match.column("at") or "")
    if column is None or match.kind in ("", JOURNAL):
        return False
    grid = seen.book.sheet(match.sheet)
    below = range(match.head[1], len(grid.rows))
    return any(grid.shown(row, column) is None and not grid.blank(row) for row in below) and any(
        looks_like_day(grid.own(row, column)) for row in below
    )

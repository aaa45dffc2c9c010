"""What a keeper's sheet seems to say: where its head is, what a row tells, which column is what.

Heads are known in English and Portuguese. All of it is shown to the keeper, and what cannot be
told is asked.
"""

import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import islice

from quailwright.exchange import readings_stamps as stamps
from quailwright.exchange.readings_stamps import DateOrder
from quailwright.exchange.tables_in_cells import (
    NotRead,
    bare_day,
    figure_of,
    in_figures,
    is_nothing,
    is_unknown,
    lacks_year,
    looks_like_day,
    months_named,
    ticked,
)
from quailwright.exchange.tables_in_grid import Book, Grid, Value, column_of, letters
from quailwright.exchange.tables_in_match import (
    CLOCK,
    HATCH,
    JOURNAL,
    OF_BIRDS,
    OFFERED,
    SPENT,
    TICK,
    WIDE,
    Match,
    Wide,
    fields_of,
)
from quailwright.flock.state import Flock
from quailwright.language import say

_HEAD_WITHIN = 40
_MOST_HEAD_ROWS = 3
_SAMPLE = 200
_MANY = 0.6
_MOST_ASKED = 20
"""So many names are asked after at once; more of them are mostly a column taken for another."""

TOTALS = re.compile(
    r"(sub-?\s?|grand )?tota(l|is|ls)\b|(sum|soma|average|mean|avg|média|media|all)\W*\Z"
    r"|(\w+\s){1,2}totals?\W*\Z"
)
"""How the label of a row or column begins that sums others up."""

_HEADS: Mapping[str, tuple[str, ...]] = {
    "at": ("date", "day", "data", "dia", "when", "quando", "set on", "date set", "set date",
           "collected on", "bought on", "posta em", "data de entrada"),
    CLOCK: ("time", "hour", "hora", "horário"),
    "eggs": ("eggs", "egg", "ovos", "ovo", "eggs collected", "eggs laid", "laid", "collected",
             "eggs set", "number of eggs", "no of eggs", "total eggs", "eggs sold", "qty",
             "quantity", "count", "quantidade", "qtd", "postos", "set", "coletados", "dozens",
             "dozens sold", "dúzias"),
    "cracked": ("cracked", "broken", "soft", "quebrados", "trincados", "rachados", "bad"),
    "broken": ("broken", "cracked", "quebrados", "trincados"),
    "group": ("group", "flock", "batch", "pen", "cage", "hutch", "lote", "grupo", "viveiro",
              "gaiola", "plantel"),
    "place": ("place", "pen", "cage", "where", "incubator", "machine", "local", "chocadeira",
              "viveiro", "gaiola", "location"),
    "note": ("note", "notes", "remark", "remarks", "comment", "comments", "obs", "observações",
             "observação", "nota", "notas"),
    "feed": ("feed", "kind of feed", "feed type", "ração", "type", "tipo", "name"),
    "kg": ("kg", "feed kg", "weight", "amount", "quantity", "qty", "peso", "quantidade", "feed g",
           "feed lb", "g", "lb", "feed given", "feed bought", "ração kg", "kilos", "quilos", "lbs",
           "kgs", "pounds", "libras"),
    "cost": ("cost", "price", "paid", "custo", "preço", "valor", "total cost", "spent"),
    "amount": ("amount", "sum", "money", "value", "valor", "quantia", "in out", "total", "in",
               "income", "received", "entrada", "receita"),
    SPENT: ("cost", "spent", "price", "paid", "out", "expense", "expenses", "custo", "preço",
            "gasto", "despesa", "pago", "saída"),
    "category": ("category", "what", "what for", "item", "description", "for", "categoria",
                 "descrição", "o que", "motivo", "type"),
    "to": ("to", "customer", "buyer", "who", "to whom", "from whom", "para quem", "cliente",
           "comprador", "sold to", "vendor"),
    "income": ("income", "paid", "price", "received", "receita", "valor", "value", "amount",
               "money"),
    "hens": ("hens", "hen", "females", "female", "fêmeas", "femeas"),
    "cocks": ("cocks", "cock", "males", "male", "roosters", "machos"),
    "chicks": ("chicks", "chick", "hatched", "codorninhas", "filhotes", "pintos", "nascidos",
               "eclodidos", "chicks hatched", "born"),
    "use": ("use", "what", "reason", "sold given", "destino", "motivo", "what happened", "went to"),
    "found": ("found", "cause", "reason", "how", "causa", "motivo"),
    "total_g": ("total weight", "weight", "total g", "g", "peso", "peso total", "weight g",
                "grams"),
    "birds": ("birds", "number", "how many", "aves", "count", "quantas", "quantidade", "qtd", "qty",
              "no", "deaths", "mortes", "died", "sold"),
    "weights_g": ("weights", "each weight", "pesos"),
    "bird": ("bird", "ring", "band", "ring no", "band no", "id", "anilha", "tag", "leg band"),
    "mass_g": ("weight", "mass", "g", "grams", "peso", "weight g"),
    "sex": ("sex", "sexo"),
    "sire": ("sire", "father", "pai"),
    "dam": ("dam", "mother", "mãe"),
    "plumage": ("plumage", "colour", "color", "cor", "plumagem"),
    "hatch": ("hatch", "batch", "setting", "name", "hatch name", "no", "lote", "eclosão", "nome"),
    "source": ("source", "supplier", "where from", "from", "fornecedor", "origem",
               "bought from", "origin"),
    "lot": ("lot",),
    "clear": ("clear", "clears", "infertile", "claros", "inférteis", "candled clear"),
    "dead": ("dead", "dead at candling", "mortos", "quitters"),
    "candled_on": ("candled", "candled on", "candling", "ovoscopia", "date candled"),
    "hatched_on": ("hatched on", "hatch date", "date hatched", "born", "data de eclosão",
                   "nascimento", "nasceram em", "hatched"),
    "minutes": ("minutes", "min", "minutos"),
    "task": ("task", "what", "tarefa", "job"),
    "litres": ("litres", "liters", "water", "l", "litros", "água", "water l"),
    "lowest_c": ("lowest", "min", "minimum", "low", "mín", "mínima", "min temp", "night"),
    "highest_c": ("highest", "max", "maximum", "high", "máx", "máxima", "max temp"),
    "product": ("product", "medicine", "treatment", "produto", "remédio"),
    "dose": ("dose",),
    "directed_by": ("vet", "directed by", "veterinário"),
    "eggs_withheld_until": ("eggs withheld until", "withdrawal eggs", "carência ovos"),
    "meat_withheld_until": ("meat withheld until", "withdrawal meat", "carência carne"),
    "live_g": ("live weight", "live", "peso vivo"),
    "dressed_g": ("dressed weight", "dressed", "carcass", "peso limpo"),
    "role": ("role", "kind", "tipo"),
    "route": ("route",),
    "floor_m2": ("floor", "area", "m2", "m²", "área"),
    "capacity_eggs": ("capacity", "capacidade"),
    "price_per_egg": ("price per egg", "price", "preço"),
    "infertile": ("infertile opened",),
    "early": ("early", "early dead"),
    "middle": ("middle", "mid"),
    "late": ("late", "late dead", "dead in shell", "morto na casca"),
    "pipped": ("pipped", "bicados"),
    "contaminated": ("contaminated", "rotten", "podres"),
}  # fmt: skip
"""How heads name a field, the likeliest first."""

_KINDS: Mapping[str, str] = {
    "eggs_collected": r"\beggs?\b(?! (sold|sales|given|out|set|bought|received))|laid|\bovos\b"
                      r"|postura|coleta",
    HATCH: r"hatch(es|ing)?\b|incubat|settings?\b|eclos|incuba|chocad",
    "eggs_out": r"eggs? (sold|sales|given|out)|egg sales|vendas? de ovos|ovos vendidos",
    "birds_died": r"death|died|dead birds|loss(es)?\b|mortes|mortalidade|perdas",
    "birds_out": r"birds? (sold|out)|bird sales|aves vendidas",
    "birds_processed": r"process|butcher|abate|carcass|dressed",
    "feed_bought": r"feed (bought|purchase)|bags?\b|ração comprada|compras? de ração",
    "feed_given": r"feed (given|used|log)|feeding|ração (dada|fornecida)|consumo",
    "water_given": r"water|água",
    "temperature_seen": r"temperature|temperatura",
    "money": r"money|expens|costs?\b|account|cash|gastos|despesas|dinheiro|caixa|receitas",
    "care": r"tasks?\b|chores?|clean|tarefas|limpeza|checklist",
    "birds_weighed": r"weights?\b|weigh|pesos|pesagem",
    "bird_weighed": r"weights?\b|weigh|pesos|pesagem",
    "bird": r"breed(ers|ing)|birds\b|pedigree|matrizes|plantel",
    "treated": r"treat|medicin|tratament",
    "eggs_received": r"eggs (bought|received)|ovos comprados",
}  # fmt: skip
"""What the title over a table, or the sheet's name, says of a kind."""

_BY_TITLE = 100
"""What a word in the title counts for a kind, beside 30 for each field that is told."""

_WIDE_UNNAMED = ("eggs_collected", "care")
"""Kinds with a column for each pen or task that need no word to be taken for it."""

_SHARES = re.compile(r"%|\bpercent|\bpct\b|\brates?\b|\btaxa\b|\bporcent")
"""A head that tells a share, which no field but one of a share takes."""
_EACH = re.compile(r"\beach\b|\bper\b|\bunit\b|unit[áa]ri[oa]|\bcada\b|/\s?(dozen|dz|egg|un|kg|lb)")
"""A head that tells the money for one, and not for all."""

_MEAN = re.compile(r"\bav(g|erage|\.)|\bmean\b|m[ée]di[oa]")
"""A head that tells a mean, and not the total."""

_WORDS = re.compile(r"[^\W\d_]+")


@dataclass(frozen=True, slots=True)
class Question:
    """What the sheet does not tell. `about` is the part of the match that would tell it."""

    about: str
    text: str
    choices: tuple[str, ...] = ()


def seems(book: Book, flock: Flock, sheet: str = "", kind: str = "") -> Match:
    """How a file seems to be meant to be read; where nothing tells, that part stays empty.

    Raises BadInput where it has no such sheet.
    """
    if sheet:
        grid = book.sheet(sheet)
    else:
        open_sheets = [grid for grid in book.sheets if not grid.hidden] or list(book.sheets)
        grid = max(open_sheets, key=_table_like)
    head = head_of(grid)
    if _is_journal(grid):
        return Match(grid.name, (1, 1), kind or JOURNAL)
    match = Match(grid.name, head, kind)
    if not kind:
        match = replace(match, kind=_kind(book, grid, match, flock))
    return columns_guessed(grid, match, flock)


def _table_like(grid: Grid) -> tuple[bool, int]:
    return head_of(grid) != (0, 0), len(grid.rows) * grid.width


def _is_journal(grid: Grid) -> bool:
    heads = {cell for cell in grid.rows[0] if isinstance(cell, str)}
    return {"id", "kind", "at"} <= heads


# The head.


def head_of(grid: Grid) -> tuple[int, int]:
    """First and last row of the head, from 1; (0, 0) where none was found."""
    for row in range(min(len(grid.rows), _HEAD_WITHIN)):
        if row and _holds_data(grid, row):
            first = row
            while first > 0 and row - first < _MOST_HEAD_ROWS and _heads(grid, first - 1):
                first -= 1
            # A line of titles right above a head names no column.
            while row - first > 1 and _names(grid, first) < 2:
                first += 1
            if first < row:
                return first + 1, row
    return (0, 0)


def days_across(grid: Grid) -> bool:
    """Whether a row holds days side by side."""
    return any(
        sum(looks_like_day(cell) for cell in row) > _MOST_HEAD_ROWS
        for row in grid.rows[:_HEAD_WITHIN]
    )


def _holds_data(grid: Grid, row: int) -> bool:
    """Whether a row has a day or a figure beside something else, or a figure under a text."""
    cells = [cell for cell in grid.rows[row] if cell is not None]
    figures = sum(not isinstance(cell, str) for cell in cells)
    days = sum(looks_like_day(cell) for cell in cells)
    figured = figures + sum(_is_figure(cell) for cell in cells if isinstance(cell, str))
    return len(cells) > 1 and (days > 0 or figures > 0 or figured > 0) and _heads(grid, row - 1)


def _is_figure(cell: Value) -> bool:
    try:
        figure_of(cell, "", "", ".")
    except NotRead:
        return False
    return True


def _heads(grid: Grid, row: int) -> bool:
    """Whether a row may be one of a head: texts, no day and no figure."""
    cells = [cell for cell in grid.rows[row] if cell is not None]
    return bool(cells) and all(
        isinstance(cell, str) and not looks_like_day(cell) and not _is_figure(cell)
        for cell in cells
    )


def _names(grid: Grid, row: int) -> int:
    """How many columns or spans of them a row names."""
    return sum(cell is not None for cell in grid.rows[row])


def labels(grid: Grid, head: tuple[int, int]) -> list[tuple[str, ...]]:
    """What stands over each column, from the top down, merged cells seen over all their columns."""
    first, last = head
    found = []
    for column in range(grid.width):
        parts: dict[str, None] = {}
        for row in range(first - 1, last) if first else ():
            value = grid.shown(row, column)
            if value is None and row < last - 1 and not grid.knows_merged:
                value = _from_the_left(grid, row, column)
            if value is not None:
                parts[" ".join(str(value).split())] = None
        found.append(tuple(parts))
    return found


def _from_the_left(grid: Grid, row: int, column: int) -> Value:
    """Where merged cells cannot be seen: the text that stands to the left in the upper head,
    unless the head below begins anew there without it."""
    for left in range(column - 1, -1, -1):
        if grid.rows[row][left] is not None:
            return grid.rows[row][left]
    return None


def label(parts: Sequence[str]) -> str:
    """The parts of a head in one line."""
    return " / ".join(parts)


def _bare(text: str) -> str:
    """A heading in lower case, without units in brackets and signs."""
    text = re.sub(r"[(\[].*?[)\]]", " ", text.casefold())
    return " ".join(re.findall(r"[^\W_]+²?", text))


def _fit(field: str, parts: Sequence[str]) -> int:
    """How well a head fits a field: 0 not at all; more for likelier words and for the whole."""
    words = _HEADS.get(field, ())
    own = field.replace("_", " ")
    best = 0
    for depth, part in enumerate(reversed(parts)):
        bare = _bare(part)
        if not bare:
            continue
        here = 0
        if bare == own or part.casefold() == field:
            here = 100
        elif bare in words:
            here = 90 - words.index(bare)
        else:
            inside = set(_WORDS.findall(bare))
            for number, word in enumerate(words):
                if len(word) > 2 and set(word.split()) <= inside:
                    here = max(here, 50 - number)
        best = max(best, here - 30 * depth)
    return max(best, 0)


# What a row tells.


def _kind(book: Book, grid: Grid, match: Match, flock: Flock) -> str:
    """The kind whose fields take in most of the columns, or that the title names; "" for none."""
    heads = labels(grid, match.head)
    over = [str(cell) for row in grid.rows[: max(match.head[0] - 1, 0)] for cell in row if cell]
    title = " ".join([*over, grid.name, book.file.rpartition(".")[0]]).casefold()
    title = re.sub(r"[_\-]", " ", title)
    said = " | ".join(map(label, heads)).casefold()
    best, most = "", 0
    for kind in OFFERED:
        if kind == JOURNAL:
            continue
        seemed = columns_guessed(grid, replace(match, kind=kind), flock)
        score = _takes_in(seemed)
        pattern = _KINDS.get(kind)
        named = 0
        if pattern is not None:
            named = _BY_TITLE * bool(re.search(pattern, title))
            named += 30 * bool(score and re.search(pattern, said))
        if seemed.wide is not None and kind not in _WIDE_UNNAMED and named < _BY_TITLE:
            # Figures side by side are eggs by pen where no title says otherwise.
            continue
        score += named
        if score > most:
            best, most = kind, score
    return best


def _takes_in(match: Match) -> int:
    """How well the columns serve a kind: what they tell, less what is needed and they do not."""
    given = {*match.columns.values()}
    if match.wide is not None:
        given |= {match.wide.field, match.wide.name}
    told = given - {"at", "note", CLOCK}
    score = 30 * len(told) + 40 * (match.wide is not None)
    score -= 40 * sum(note.needed and note.name not in given for note in fields_of(match.kind))
    if match.kind == HATCH and not {"chicks", "clear", "dead", "hatched_on"} & told:
        score -= 120
    return score if told else 0


# Columns.


def columns_guessed(grid: Grid, match: Match, flock: Flock) -> Match:
    """The match with a field for each column whose head and cells fit one, and wide columns."""
    if not match.kind or match.kind == JOURNAL:
        return match
    heads = labels(grid, match.head)
    notes = {note.name: note for note in fields_of(match.kind)}
    fields = [*notes, CLOCK]
    wide = _wide(grid, match, heads, flock)
    taken = {column_of(each) for each in wide.columns} if wide is not None else set()
    chances = []
    for column, parts in enumerate(heads):
        if column in taken or (_sums_up(parts) and wide is not None):
            continue
        for rank, name in enumerate(fields):
            fit = _fit(name, parts)
            if _sums_up(parts):
                # A column of totals is taken where no other tells its field.
                fit = 1 if name in _MAY_BE_TOTAL and (fit or _is_total(parts)) else 0
            if _is_of_other(name, parts):
                fit = 0
            takes = notes[name].takes if name in notes else "clock"
            if fit and _holds(grid, match, column, name, takes):
                # What is needed goes first; of equal heads the field that stands first.
                needed = name in notes and notes[name].needed
                chances.append((fit + 5 * needed, -rank, -column, name, column))
    found: dict[int, str] = {}
    done = {wide.field, wide.name} if wide is not None else set()
    for _, _, _, name, column in sorted(chances, reverse=True):
        if column not in found and name not in done:
            found[column] = name
            done.add(name)
    if "at" not in done:
        free = (column for column in range(grid.width) if column not in {*found, *taken})
        days = [column for column in free if _days(grid, match, column)]
        if len(days) == 1:
            found[days[0]] = "at"
    if match.kind in OF_BIRDS and done & {"hens", "cocks", "chicks"}:
        found = {column: name for column, name in found.items() if name not in ("birds", "sex")}
    columns = {letters(column): found[column] for column in sorted(found)}
    match = replace(match, columns=columns, wide=wide)
    return replace(
        match,
        down=_down(grid, match),
        year=_year(grid, match) or match.year,
        month=_month(grid, match) or match.month,
    )


_NO_TASKS = {"eggs", "cracked", "hens", "cocks", "chicks", "kg", "cost", "income", "group"}
"""Fields whose heads name no task."""

_MAY_BE_TOTAL = ("eggs", "income", "cost", "total_g", "kg")


def _is_total(parts: Sequence[str]) -> bool:
    """Whether a head says Total and nothing else."""
    return _bare(parts[-1]) in ("total", "totals", "soma", "sum") if parts else False


def _is_of_other(name: str, parts: Sequence[str]) -> bool:
    """Whether a head tells a share, or the money for one, and not what the field holds."""
    text = label(parts).casefold()
    if _SHARES.search(text) and not name.endswith("_pct"):
        return True
    if name == "total_g" and _MEAN.search(text):
        return True
    return name in ("income", "cost", "amount", SPENT, "total_g") and bool(_EACH.search(text))


def _cells(grid: Grid, match: Match, column: int) -> list[Value]:
    """Cells of a column under the head that say something."""
    below = range(match.head[1], min(len(grid.rows), match.head[1] + _SAMPLE))
    values = (grid.own(row, column) for row in below)
    return [value for value in values if not is_nothing(value) and not is_unknown(value)]


def _days(grid: Grid, match: Match, column: int) -> bool:
    cells = _cells(grid, match, column)
    return bool(cells) and sum(map(looks_like_day, cells)) >= _MANY * len(cells)


def _holds(grid: Grid, match: Match, column: int, name: str, takes: str) -> bool:
    """Whether what stands in a column may be that field."""
    cells = _cells(grid, match, column)
    if not cells:
        return True
    if name == "at" or takes == "day":
        serial = sum(isinstance(cell, int | float) and cell > 25_569 for cell in cells)
        if name == "at" and all(bare_day(cell) is not None for cell in _but_totals(cells)):
            return True
        return sum(map(looks_like_day, cells)) + serial >= len(cells) / 2
    if takes in ("whole", "number"):
        return sum(map(_is_figure, cells)) >= len(cells) / 2
    if takes == "clock":
        return not _days(grid, match, column)
    # A count is no name, but a ring may be a number.
    return name in ("bird", "sire", "dam", "hatch", "lot", "note") or not all(
        isinstance(cell, int | float) for cell in cells
    )


def _but_totals(cells: Iterable[Value]) -> list[Value]:
    return [c for c in cells if not (isinstance(c, str) and TOTALS.match(c.strip().casefold()))]


def _bare_days(grid: Grid, match: Match) -> bool:
    """Whether the days of a sheet are only numbers, 1 to 31."""
    column = column_of(match.column("at") or "")
    if column is None or column >= grid.width:
        return False
    cells = _but_totals(_cells(grid, match, column))
    return bool(cells) and sum(bare_day(cell) is not None for cell in cells) > len(cells) / 2


def _title(grid: Grid, match: Match) -> str:
    """What stands over the head, and the name of the sheet."""
    over = [str(cell) for row in grid.rows[: max(match.head[0] - 1, 0)] for cell in row if cell]
    return " ".join([*over, grid.name])


def _month(grid: Grid, match: Match) -> int | None:
    """The only month that the title or the name of a sheet tells, where days are only numbers."""
    months = months_named(_title(grid, match)) if _bare_days(grid, match) else set()
    return months.pop() if len(months) == 1 else None


def _sums_up(parts: Sequence[str]) -> bool:
    return any(TOTALS.match(part.casefold()) for part in parts[-1:])


def _wide(grid: Grid, match: Match, heads: Sequence[tuple[str, ...]], flock: Flock) -> Wide | None:
    """Columns that stand for pens or tasks, where the sheet has such."""
    if match.kind not in WIDE:
        return None
    main, name = WIDE[match.kind]
    known = {each.casefold() for each in (*flock.groups, *flock.places)}
    named = {}
    for column, parts in enumerate(heads):
        if not parts or _sums_up(parts):
            continue
        cells = _cells(grid, match, column)
        plain = [ticked(cell) is not None for cell in cells] if main == TICK else list(
            map(_is_figure, cells)
        )  # fmt: skip
        if not cells or sum(plain) < _MANY * len(cells) or _days(grid, match, column):
            continue
        own = parts[-1]
        names = {note.name for note in fields_of(match.kind)} if main == TICK else {*_HEADS}
        if main == TICK:
            names |= _NO_TASKS
        other = any(_fit(each, (own,)) >= 80 for each in names - {name, "group", "place"})
        if own.casefold() in known or (main != TICK and len(parts) > 1 and _fit(main, parts[:1])):
            if not (other and own.casefold() not in known):
                named[letters(column)] = own
        elif not other and not _fit("note", parts):
            named[letters(column)] = own
    direct = any(
        _fit(main, parts) >= 80 and letters(column) not in named and not _sums_up(parts)
        for column, parts in enumerate(heads)
    )
    if main == TICK:
        direct = any(_fit("task", parts) >= 80 for parts in heads)
    feeds = {each.casefold() for each in flock.feeds}
    if match.kind == "feed_given" and any(each.casefold() in feeds for each in named.values()):
        name = "feed"
    several = len(named) > 1 or any(each.casefold() in known for each in named.values())
    return None if direct or not named or not several else Wide(main, name, named)


def _down(grid: Grid, match: Match) -> tuple[str, ...]:
    """The column of days, where days are left out under the first of each, and nothing tells
    that the cells are merged."""
    column = column_of(match.column("at") or "")
    if column is None or grid.merged:
        return ()
    below = range(match.head[1], min(len(grid.rows), match.head[1] + _SAMPLE))
    filled = [row for row in below if not grid.blank(row)]
    without = [row for row in filled[1:] if grid.own(row, column) is None]
    return (letters(column),) if len(without) > 2 and len(without) > len(filled) / 4 else ()


def _year(grid: Grid, match: Match) -> int | None:
    """The only year that the days of the sheet name, for days without one."""
    column = column_of(match.column("at") or "")
    if column is None:
        return None
    cells = _cells(grid, match, column)
    if _bare_days(grid, match):
        told = set(re.findall(r"(?<!\d)20\d\d(?!\d)", _title(grid, match)))
        return int(told.pop()) if len(told) == 1 else None
    if not any(map(lacks_year, cells)):
        return None
    years = set()
    for cell in cells:
        if isinstance(cell, date):
            years.add(cell.year)
        elif isinstance(cell, str) and not lacks_year(cell):
            for text in re.findall(r"(?<!\d)(?:19|20)\d\d(?!\d)", cell):
                years.add(int(text))
    return years.pop() if len(years) == 1 else None


# What is to be asked.


def order_told(grid: Grid, match: Match) -> tuple[DateOrder | None, bool, list[str]]:
    """The order of days in figures as all of them allow it, whether only their run tells it, and
    the days so written."""
    written: dict[str, None] = {}
    for name in ("at", "candled_on", "hatched_on"):
        column = column_of(match.column(name) or "")
        if column is None or column >= grid.width:
            continue
        for row in range(match.head[1], len(grid.rows)):
            text = in_figures(grid.own(row, column))
            if text is not None:
                written[text] = None
    if not written:
        return None, False, []
    order, by_run = stamps.settle_order(written)
    return order, by_run, list(written)


def settled(grid: Grid, match: Match) -> Match:
    """The match with the order of days, where their figures leave no doubt."""
    if match.dates is not None:
        return match
    order, by_run, _ = order_told(grid, match)
    return match if by_run else replace(match, dates=order)


def questions(grid: Grid, match: Match, flock: Flock) -> list[Question]:
    """What has to be told before rows can be read, in the order in which it is asked."""
    if not match.kind:
        return [Question("kind", say("What does one row of this sheet tell?"), tuple(OFFERED))]
    if match.kind == JOURNAL:
        return []
    asked: list[Question] = []
    if match.head == (0, 0) and not match.columns:
        asked.append(Question("head", say("In which row does the head of the table stand?")))
    given = {*match.columns.values(), *match.always}
    if match.wide is not None:
        given |= {match.wide.field, match.wide.name}
    asked += [
        Question(f"columns.{name}", text, choices) for name, text, choices in _missing(match, given)
    ]
    if match.dates is None:
        order, by_run, written = order_told(grid, match)
        if written and (order is None or by_run):
            asked.append(Question("dates", _which_first(written[0], order), ("dmy", "mdy", "ymd")))
    if _bare_days(grid, match):
        if match.month is None:
            asked.append(Question("month", say("Of which month are the days (1 to 12)?")))
        if match.year is None:
            asked.append(Question("year", say("Of which year are the days that name none?")))
    elif match.year is None and _some_lack_a_year(grid, match):
        asked.append(Question("year", say("Of which year are the days that name none?")))
    unknown = _unknown_groups(grid, match, flock)
    asked += [
        Question(
            f"names.{name}",
            say(
                "The journal has no group {name!r}. Which group is it, or since when is it there?",
                name=name,
            ),
            tuple(flock.groups),
        )
        for name in unknown
    ]
    return asked


def _which_first(example: str, likely: DateOrder | None) -> str:
    if likely is not None:
        return say(
            "Days such as {example} may be read in two ways. Only as {order} are they days in a "
            "row: is that so?",
            example=example,
            order=likely,
        )
    return say(
        "Days such as {example} may be read in two ways. Does the day come first (dmy), the month "
        "(mdy) or the year (ymd)?",
        example=example,
    )


def _missing(match: Match, given: Collection[str]) -> Iterable[tuple[str, str, tuple[str, ...]]]:
    """Fields that every row needs and no column holds."""
    for note in fields_of(match.kind):
        if note.needed and note.name not in given:
            if note.name == "at":
                text = say("In which column stands the day?")
            else:
                text = say(
                    "Which column tells {field} ({meaning}), or what is it in every row?",
                    field=note.name,
                    meaning=say(note.meaning),
                )
            yield note.name, text, note.choices
    if match.kind in OF_BIRDS:
        if "birds" in given and "sex" not in given:
            yield "sex", say("Were they hens, cocks or chicks?"), ("hen", "cock", "chick")
        if not {"birds", "hens", "cocks", "chicks"} & set(given):
            yield "birds", say("In which column stands how many birds they were?"), ()
    if match.kind == "money" and not {"amount", SPENT} & set(given):
        yield "amount", say("In which column stands the money?"), ()
    if match.kind == HATCH:
        if not {"source", "group"} & set(given):
            yield "source", say("Whose eggs were set: from which source, or of which group?"), ()
        if {"clear", "dead"} & set(given) and not {"candled_on", "candled_day"} & set(given):
            yield "candled_day", say("On which day after setting were the eggs candled?"), ()
        if "chicks" in given and not {"hatched_on", "hatched_day"} & set(given):
            yield "hatched_day", say("On which day after setting were the chicks counted?"), ()


def _some_lack_a_year(grid: Grid, match: Match) -> bool:
    return any(
        lacks_year(grid.own(row, column))
        for name in ("at", "candled_on", "hatched_on")
        if (column := column_of(match.column(name) or "")) is not None and column < grid.width
        for row in range(match.head[1], len(grid.rows))
    )


def _unknown_groups(grid: Grid, match: Match, flock: Flock) -> list[str]:
    """Groups that rows name and the journal does not hold."""
    if match.kind == "group" or "group" not in {note.name for note in fields_of(match.kind)}:
        return []
    found: dict[str, None] = {}
    if match.wide is not None and match.wide.name == "group":
        found |= dict.fromkeys(match.wide.columns.values())
    if match.always.get("group"):
        found[match.always["group"]] = None
    column = column_of(match.column("group") or "")
    if column is not None and column < grid.width:
        for row in range(match.head[1], len(grid.rows)):
            value = grid.shown(row, column)
            if isinstance(value, int | float) and not isinstance(value, bool):
                found[f"{value:.15g}"] = None
            elif (
                isinstance(value, str)
                and not is_nothing(value)
                and not TOTALS.match(value.strip().casefold())
            ):
                found[" ".join(value.split())] = None
    begun = {each.get("group", "") for each in match.first if each.get("kind") == "group"}
    unknown = (
        name
        for name in found
        if match.names.get(name, name) not in flock.groups
        and match.names.get(name, name) not in begun
    )
    return list(islice(unknown, _MOST_ASKED))

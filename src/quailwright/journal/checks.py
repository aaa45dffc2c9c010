"""Whether an entry is well formed, and if not, sentences that say what, where and how to mend it.

These checks know one entry at a time. Whether it fits the rest of the record (a group that does
not exist, more hatched than set) is for `flock.fold`.
"""

import difflib
import json
import re
import tomllib
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from typing import Any, Literal

import msgspec
from msgspec import inspect

from quailwright.journal import entries as kinds
from quailwright.journal.entries import KINDS, Entry
from quailwright.journal.findings import Finding
from quailwright.journal.moments import FIRST_YEAR, LAST_YEAR, NotAMoment, parse_moment, zone
from quailwright.language import Said, TwoReadings, later, say, says_commas, with_point

Problem = tuple[str, str, str]
"""Field, what is wrong, how to mend it."""


def read_entry(raw: bytes, line: int | None = None) -> tuple[Entry | None, list[Finding]]:
    """One entry from a line of JSON: the entry, or None and every problem found in the line."""
    try:
        entry = kinds.decode(raw)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        try:
            return None, _explain_line(raw, line, error)
        except RecursionError:
            return None, [_too_deep(line)]
    twice = _given_twice(raw)
    if twice:
        return None, [
            Finding("shape", say("it is given twice."), say("Give it once."), entry.id, line, field)
            for field in twice
        ]
    return _checked(entry, line)


def _given_twice(raw: bytes) -> list[str]:
    """Names given twice in one object of a line that is JSON; of two values one would be lost."""
    once = msgspec.json.encode(msgspec.json.decode(raw))
    if b"\\u" not in raw and raw.count(b":") == once.count(b":"):
        return []  # a name given twice has a colon more than is left of it
    twice: dict[str, None] = {}

    def look(pairs: list[tuple[str, Any]]) -> None:
        times = Counter(name for name, _ in pairs)
        twice.update(dict.fromkeys(name for name, count in times.items() if count > 1))

    json.loads(raw, object_pairs_hook=look)
    return list(twice)


def build_entry(
    fields: Mapping[str, Any], line: int | None = None
) -> tuple[Entry | None, list[Finding]]:
    """One entry from typed-in text fields (`{"kind": "care", "task": "..."}`).

    Numbers, true/false and lists may stand as text, as a keeper types them.
    """
    cls = KINDS.get(str(fields.get("kind", "")))
    try:
        if cls is not None:
            fields, doubtful = _parsed(cls, fields, line)
            if doubtful:
                return None, doubtful
        entry: Entry = msgspec.convert(dict(fields), kinds.AnyEntry, strict=False)
    except (msgspec.ValidationError, UnicodeEncodeError) as error:
        # The latter of bytes in a command that are no UTF-8: Python keeps them as half a pair.
        return None, _explain(fields, line, error, strict=False)
    except RecursionError:
        return None, [_too_deep(line)]
    return _checked(entry, line)


def _parsed(
    cls: type[Entry], fields: Mapping[str, Any], line: int | None
) -> tuple[dict[str, Any], list[Finding]]:
    """Text to a list, a number with its point or a JSON object, where the field is one.

    With what may be read in two ways.
    """
    parsed, doubtful = dict(fields), []
    for field in msgspec.structs.fields(cls):
        text = parsed.get(field.encode_name)
        if not isinstance(text, str):
            continue
        shapes = _shapes(field.type)
        lists = [shape for shape in shapes if isinstance(shape, inspect.ListType)]
        try:
            if lists and isinstance(lists[0].item_type, _NUMBERS):
                parsed[field.encode_name] = [with_point(part) for part in _apart(text)]
            elif lists:
                parts = [part.strip() for part in text.split(",")]
                parsed[field.encode_name] = [part for part in parts if part]
            elif any(isinstance(shape, _NUMBERS) for shape in shapes):
                parsed[field.encode_name] = with_point(text.strip())
        except TwoReadings as number:
            what = say("{number} may be read in two ways.", number=str(number))
            mend = say("Write it without a sign for thousands, such as 1250 or 1.25.")
            doubtful.append(Finding("shape", what, mend, line=line, field=field.encode_name))
            continue
        if not lists and any(isinstance(shape, inspect.StructType) for shape in shapes):
            try:
                parsed[field.encode_name] = json.loads(text)
            except ValueError:
                continue
    return parsed, doubtful


def _apart(text: str) -> list[str]:
    """The numbers of a list as typed: apart by semicolons, by spaces, or by commas.

    Where decimals have a comma, one that stands without a space belongs to a number.
    """
    if ";" in text:
        parts = text.split(";")
    elif says_commas():
        parts = re.split(r",?\s+", text.strip())
    else:
        parts = text.split(",")
    return [part.strip() for part in parts if part.strip()]


def _checked(entry: Entry, line: int | None) -> tuple[Entry | None, list[Finding]]:
    entry = _with_lower_case_ids(entry)
    problems = list(own_problems(entry))
    if not problems:
        return entry, []
    return None, [_finding(problem, entry.id, line) for problem in problems]


def _finding(problem: Problem, entry_id: str, line: int | None) -> Finding:
    field, what, mend = problem
    return Finding("shape", what, mend, entry=entry_id, line=line, field=field)


# What one well-typed entry can still get wrong.


def own_problems(entry: Entry) -> Iterable[Problem]:
    """Every problem that the entry shows by itself, beyond its field types."""
    if not _is_uuid(entry.id):
        yield (
            "id",
            say("{given} is not a UUID.", given=_shown(entry.id)),
            say("Use one such as 0191d5a0-5f5e-7c3a-9d52-3f0c5a1b2c3d."),
        )
    try:
        parse_moment(entry.at)
    except NotAMoment as error:
        yield ("at", str(error), "")
    for name, encoded in _date_fields(type(entry)):
        day: date | None = getattr(entry, name)
        if day is not None and not FIRST_YEAR <= day.year <= LAST_YEAR:
            yield (
                encoded,
                say("the year {year} is out of range.", year=day.year),
                say("Use {first} to {last}.", first=FIRST_YEAR, last=LAST_YEAR),
            )
    rule = _OWN_RULES.get(type(entry))
    if rule is not None:
        yield from rule(entry)


@cache
def _date_fields(cls: type[Entry]) -> tuple[tuple[str, str], ...]:
    return tuple(
        (field.name, field.encode_name)
        for field in msgspec.structs.fields(cls)
        if any(isinstance(shape, inspect.DateType) for shape in _shapes(field.type))
    )


def _with_lower_case_ids(entry: Entry) -> Entry:
    """UUIDs may be written in either case (RFC 9562); the journal keeps them in lower case."""
    if isinstance(entry, kinds.Retract):
        entry = msgspec.structs.replace(entry, entry=entry.entry.lower())
        if entry.instead is not None:
            instead: Any = _with_lower_case_ids(entry.instead)
            entry = msgspec.structs.replace(entry, instead=instead)
    if entry.id.islower() or entry.id.isdigit():
        return entry
    return msgspec.structs.replace(entry, id=entry.id.lower())


_is_uuid = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}\Z").match


def _in_order(entry: Any, first: str, last: str) -> Iterable[Problem]:
    low: date | None = getattr(entry, first)
    high: date | None = getattr(entry, last)
    if low is not None and high is not None and low > high:
        name = first.rstrip("_")
        yield (
            name,
            say("{name} {low} is after {last} {high}.", name=name, low=low, last=last, high=high),
            say("Swap them, or mend the wrong one."),
        )


def _eggs_out(entry: kinds.EggsOut) -> Iterable[Problem]:
    yield from _in_order(entry, "laid_from", "laid_to")
    if entry.order is not None and entry.use not in ("sold", "given"):
        yield (
            "order",
            say("eggs that are {use} fill no order.", use=say(entry.use)),
            say("Leave order out, or mend use."),
        )


def _some_birds(entry: Any) -> Iterable[Problem]:
    names = [name for name in ("chicks", "hens", "cocks") if hasattr(entry, name)]
    if not any(getattr(entry, name) for name in names):
        counts = say("Say how many: hens or cocks.")
        if "chicks" in names:
            counts = say("Say how many: chicks, hens or cocks.")
        yield (names[0], say("no birds are named."), counts)


def _some_count(entry: kinds.BirdsCounted) -> Iterable[Problem]:
    if entry.chicks is None and entry.hens is None and entry.cocks is None:
        yield (
            "hens",
            say("nothing is counted."),
            say("Say how many: chicks, hens or cocks (0 is a count)."),
        )


def _eggs_received(entry: kinds.EggsReceived) -> Iterable[Problem]:
    if entry.broken > entry.eggs:
        yield (
            "broken",
            say("{broken} broken of {eggs} eggs cannot be.", broken=entry.broken, eggs=entry.eggs),
            say("`eggs` counts all of them, the broken ones too."),
        )
    yield from _in_order(entry, "laid_from", "laid_to")


def _eggs_collected(entry: kinds.EggsCollected) -> Iterable[Problem]:
    if entry.cracked > entry.eggs:
        yield (
            "cracked",
            say(
                "{cracked} cracked of {eggs} eggs cannot be.",
                cracked=entry.cracked,
                eggs=entry.eggs,
            ),
            say("`eggs` counts all of them, the cracked ones too."),
        )


def _eggs_set(entry: kinds.EggsSet) -> Iterable[Problem]:
    if entry.source is None and entry.group is None:
        yield ("source", say("nothing says whose eggs these are."), say("Give source or group."))
    yield from _in_order(entry, "laid_from", "laid_to")


_KEY = r"""(?:[\w-]{1,99}|"[^"\n]{0,99}"|'[^'\n]{0,99}')"""
_DEEP = re.compile(rf"""(?<![\w"'-])(?:{_KEY}[ \t]*\.[ \t]*){{50}}""")


def has_deep_keys(toml: str) -> bool:
    """Whether a key of TOML has fifty parts or more: to read one of thousands takes long."""
    return _DEEP.search(toml) is not None


def _plan_accepted(entry: kinds.PlanAccepted) -> Iterable[Problem]:
    if has_deep_keys(entry.brief):
        yield (
            "brief",
            say("a key in it has too many parts."),
            say("Give the brief as `plan` reads it."),
        )
        return
    try:
        tomllib.loads(entry.brief)
    except (ValueError, RecursionError) as error:
        yield (
            "brief",
            say("it is not TOML ({error}).", error=error),
            say("Give the brief as `plan` reads it."),
        )


MOST_YEARS_AHEAD = 10
"""What is planned later than so many years after the entry has a mistyped year."""


def _planned_on(entry: kinds.SetPlanned | kinds.CullPlanned) -> Iterable[Problem]:
    """What is planned lies ahead; clocks apart by a day are let pass."""
    if not FIRST_YEAR <= entry.on.year <= LAST_YEAR:
        return
    if (entry.on + timedelta(days=1)).isoformat() < entry.at[:10]:
        yield (
            "on",
            say(
                "{day} is before {written}: a plan is for days to come.",
                day=entry.on,
                written=entry.at[:10],
            ),
            say("Give a day ahead; log what was done as what it was (eggs_set, birds_out)."),
        )
    elif entry.at[:4].isdigit() and entry.on.year > int(entry.at[:4]) + MOST_YEARS_AHEAD:
        yield (
            "on",
            say(
                "{day} is more than {years} years after {written}.",
                day=entry.on,
                years=MOST_YEARS_AHEAD,
                written=entry.at[:10],
            ),
            say("Mend the year."),
        )


def _set_planned(entry: kinds.SetPlanned) -> Iterable[Problem]:
    if entry.source is None and entry.group is None:
        yield (
            "source",
            say("nothing says whose eggs these are to be."),
            say("Give source or group."),
        )
    yield from _planned_on(entry)


def _cull_planned(entry: kinds.CullPlanned) -> Iterable[Problem]:
    if (entry.hatch is None) == (entry.group is None):
        neither = entry.hatch is None
        wrong = say("nothing says which birds.") if neither else say("hatch and group are given.")
        yield ("hatch", wrong, say("Give either hatch or group."))
    if entry.hatched_on is not None and entry.group is None:
        yield (
            "hatched_on",
            say("a hatch has a hatching day of its own."),
            say("Leave hatched_on out, or name the group that they live in."),
        )
    if entry.keep_hens is None and entry.keep_cocks is None:
        yield (
            "keep_hens",
            say("nothing says how many stay."),
            say("Give keep_hens, keep_cocks or both."),
        )
    yield from _planned_on(entry)


def _birds_weighed(entry: kinds.BirdsWeighed) -> Iterable[Problem]:
    together = entry.birds is not None and entry.total_g is not None
    if not entry.weights_g and not together:
        yield (
            "weights_g",
            say("no weight is given."),
            say("Give weights_g, or birds and total_g."),
        )


def _holding(entry: kinds.Holding) -> Iterable[Problem]:
    if entry.timezone:
        try:
            zone(entry.timezone)
        except NotAMoment as error:
            yield ("timezone", str(error), "")


def _treated(entry: kinds.Treated) -> Iterable[Problem]:
    for name in ("eggs_withheld_until", "meat_withheld_until"):
        day: date | None = getattr(entry, name)
        if day is not None and day.isoformat() < entry.at[:10]:
            yield (
                name,
                say("{day} is before the treatment on {treated}.", day=day, treated=entry.at[:10]),
                say("Give the last day on which they are withheld."),
            )


def _egg_rule(entry: kinds.EggRule) -> Iterable[Problem]:
    try:
        written = date.fromisoformat(entry.at[:10])
    except ValueError:
        return  # That it is no moment is told already.
    # The day after may have begun where the rule was told.
    if entry.checked_on > written + timedelta(days=1):
        yield (
            "checked_on",
            say("{day} lies after the entry of {written}.", day=entry.checked_on, written=written),
            say("Give the day on which somebody told you, so that it is asked again in time."),
        )


def _retract(entry: kinds.Retract) -> Iterable[Problem]:
    if not _is_uuid(entry.entry):
        yield (
            "entry",
            say("{given} is not the id of an entry.", given=_shown(entry.entry)),
            say("Give its UUID."),
        )
    if entry.entry == entry.id:
        yield (
            "entry",
            say("an entry cannot take itself back."),
            say("Give the id of the wrong entry."),
        )
    if entry.instead is not None:
        if entry.instead.id in (entry.entry, entry.id):
            yield (
                "instead.id",
                say("the right entry needs an id of its own."),
                say("Make a new UUID."),
            )
        for field, what, mend in own_problems(entry.instead):
            yield (f"instead.{field}", what, mend)


def _hatched_before(entry: kinds.Group | kinds.Bird) -> Iterable[Problem]:
    """A bird has hatched by the day on which it is logged; clocks apart by a day are let pass."""
    if entry.hatched_on is None or entry.hatched_on.year < FIRST_YEAR:
        return
    if (entry.hatched_on - timedelta(days=1)).isoformat() > entry.at[:10]:
        yield (
            "hatched_on",
            say(
                "hatched on {day} is after {written}.", day=entry.hatched_on, written=entry.at[:10]
            ),
            say("Mend the one that is wrong."),
        )


def _bird(entry: kinds.Bird) -> Iterable[Problem]:
    yield from _hatched_before(entry)
    if entry.genotype:
        from quailwright.husbandry.plumage.genotypes import NotAGenotype, read

        try:
            read(entry.genotype, entry.sex)
        except NotAGenotype as error:
            yield ("genotype", error.sentence, "")


_OWN_RULES: dict[type[Entry], Callable[[Any], Iterable[Problem]]] = {
    kinds.Holding: _holding,
    kinds.Goal: lambda entry: _in_order(entry, "from_", "until"),
    kinds.EggsReceived: _eggs_received,
    kinds.PlanAccepted: _plan_accepted,
    kinds.SetPlanned: _set_planned,
    kinds.CullPlanned: _cull_planned,
    kinds.EggsSet: _eggs_set,
    kinds.EggsCollected: _eggs_collected,
    kinds.EggsOut: _eggs_out,
    kinds.EggsBoxed: lambda entry: _in_order(entry, "laid_from", "laid_to"),
    kinds.BirdsDied: _some_birds,
    kinds.BirdsProcessed: _some_birds,
    kinds.BirdsOut: _some_birds,
    kinds.BirdsSexed: _some_birds,
    kinds.BirdsCounted: _some_count,
    kinds.BirdsWeighed: _birds_weighed,
    kinds.EggRule: _egg_rule,
    kinds.Treated: _treated,
    kinds.Group: _hatched_before,
    kinds.Bird: _bird,
    kinds.Retract: _retract,
}


# What a badly typed entry gets wrong, in words.


def _too_deep(line: int | None) -> Finding:
    return Finding(
        "shape",
        say("this is nested far too deep for an entry."),
        say("Write one flat JSON object."),
        line=line,
    )


def _explain_line(raw: bytes, line: int | None, error: Exception) -> list[Finding]:
    def found(what: str, mend: str) -> list[Finding]:
        return [Finding("shape", what, mend, line=line)]

    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError as bad:
        byte = raw[bad.start]
        return found(
            say(
                "byte {byte} at column {column} is not UTF-8 text.",
                byte=f"0x{byte:02x}",
                column=bad.start + 1,
            ),
            say("Save the file as UTF-8 and import it again."),
        )
    try:
        value = json.loads(text, parse_int=_whole)
    except ValueError as bad:
        if _cut_off(text):
            return found(
                say("the entry stops in the middle, as if the file had been cut off."),
                say("Copy the whole file again, or delete this line."),
            )
        column = getattr(bad, "colno", 1)
        return found(
            say("this is not JSON (at column {column}).", column=column),
            say("Write one JSON object on each line."),
        )
    if not isinstance(value, dict):
        return found(
            say("this is not an entry."), say('Write a JSON object: {"kind": ..., "at": ...}.')
        )
    return _explain(value, line, error, strict=True)


_MOST_DIGITS = 300
"""Python refuses to read whole numbers of some thousand digits."""


def _whole(digits: str) -> int | float:
    return int(digits) if len(digits) < _MOST_DIGITS else float(digits)


def _cut_off(text: str) -> bool:
    stripped = text.strip()
    return stripped.startswith("{") and not stripped.endswith("}")


def _explain(
    value: Mapping[str, Any], line: int | None, error: Exception, strict: bool
) -> list[Finding]:
    entry_id = value.get("id")
    known_id = entry_id if isinstance(entry_id, str) else ""
    problems = list(_field_problems(value, strict))
    if not problems:  # what the two JSON readers see differently, such as a field given twice
        problems = [
            ("", say("this cannot be read ({error}).", error=error), say("Write each field once."))
        ]
    return [_finding(problem, known_id, line) for problem in problems]


def _field_problems(value: Mapping[str, Any], strict: bool) -> Iterable[Problem]:
    kind = value.get("kind")
    if not isinstance(kind, str) or kind not in KINDS:
        yield _kind_problem(kind)
        return
    fields = {field.encode_name: field for field in msgspec.structs.fields(KINDS[kind])}
    for name in value:
        if name not in fields and name != "kind":
            near = difflib.get_close_matches(name, fields, 1)
            hint = (
                say("Did you mean {name}?", name=near[0])
                if near
                else say("It has {names}.", names=", ".join(fields))
            )
            yield (_shown(name)[1:-1], say("{kind} has no field of this name.", kind=kind), hint)
    for name, field in fields.items():
        if name not in value:
            if field.required:
                yield (
                    name,
                    say("{kind} needs it, and it is missing.", kind=kind),
                    say("Add {wanted}.", wanted=say(_wanted(field.type))),
                )
            continue
        given = value[name]
        if name == "instead" and isinstance(given, Mapping):
            if given.get("kind") == "retract":
                yield (
                    "instead.kind",
                    say("a retract cannot stand in the stead of an entry."),
                    say("Retract by an entry of its own."),
                )
                continue
            for inner, what, mend in _field_problems(given, strict):
                yield (f"instead.{inner}", what, mend)
            continue
        if _fits(given, field.type, strict):
            continue
        if isinstance(given, str) and _fits(_printable(given), field.type, strict):
            yield (
                name,
                say("{given} holds a control character.", given=_shown(given)),
                say("Type it again without."),
            )
        else:
            yield (
                name,
                say("{given} will not do.", given=_shown(given)),
                say("Give {wanted}.", wanted=say(_wanted(field.type))),
            )


def _fits(given: object, field_type: Any, strict: bool) -> bool:
    try:
        msgspec.convert(given, field_type, strict=strict)
    except (msgspec.ValidationError, RecursionError, UnicodeEncodeError):
        return False
    return True


def _printable(text: str) -> str:
    return "".join(c if c.isprintable() else "x" for c in text)


def _kind_problem(kind: object) -> Problem:
    if kind is None:
        return (
            "kind",
            say("nothing says what kind of entry this is."),
            say('Add "kind", such as "care".'),
        )
    near = difflib.get_close_matches(str(kind), KINDS, 1)
    hint = (
        say("Did you mean {name}?", name=near[0])
        if near
        else say("Kinds are {names}.", names=", ".join(KINDS))
    )
    return ("kind", say("there is no kind {kind}.", kind=_shown(kind)), hint)


def _shown(value: object) -> str:
    text = json.dumps(value, ensure_ascii=False, default=str)
    text = "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in text[:61])
    return text if len(text) <= 60 else text[:57] + "..."


def _either(names: Iterable[str]) -> Said:
    """Two names or more, of which one will do."""
    *first, last = names
    return later("{names} or {last}", names=", ".join(first), last=last)


_NUMBERS = (inspect.IntType, inspect.FloatType)


@cache
def _shapes(field_type: Any) -> tuple[inspect.Type, ...]:
    return tuple(_alternatives(inspect.type_info(field_type)))


def _alternatives(shape: inspect.Type) -> Iterable[inspect.Type]:
    """What a field takes besides null; a union within a union counts as one."""
    shape = _bare(shape)
    if isinstance(shape, inspect.UnionType):
        for inner in shape.types:
            yield from _alternatives(inner)
    elif not isinstance(shape, inspect.NoneType):
        yield shape


def _bare(shape: inspect.Type) -> inspect.Type:
    while isinstance(shape, inspect.Metadata):
        shape = shape.type
    return shape


def _wanted(field_type: Any) -> Said:
    """What a field takes, in words: `a whole number, 0 to 1000000`. To be said when shown."""
    return _wanted_shape(_shapes(field_type)[0])


def _wanted_shape(shape: inspect.Type) -> Said:
    match shape:
        case inspect.IntType(ge=low, le=high):
            return later("a whole number, {low} to {high}", low=low, high=high)
        case inspect.FloatType(ge=low, gt=above, le=high, lt=below):
            if low is not None and high is not None:
                return later("a number, {low:g} to {high:g}", low=low, high=high)
            if high is not None:
                return later("a number, above {above:g} to {high:g}", above=above, high=high)
            return later("a number, above {above:g} to below {below:g}", above=above, below=below)
        case inspect.BoolType():
            return later("true or false")
        case inspect.DateType():
            return later("a date such as 2027-05-02")
        case inspect.LiteralType(values=values):
            return _either(str(value) for value in values)
        case inspect.ListType(item_type=item):
            return later("a list; each is {wanted}", wanted=_wanted_shape(_bare(item)))
        case inspect.StrType(min_length=shortest, max_length=longest):
            if shape.pattern == kinds.CLOCK:
                return later("a time of the clock such as 05:30")
            if not longest:
                return later("text")
            if shape.pattern == kinds.NAME:
                return later(
                    "text of {shortest} to {longest} characters, with no space at its ends",
                    shortest=shortest or 0, longest=longest,
                )  # fmt: skip
            return later(
                "text of {shortest} to {longest} characters",
                shortest=shortest or 0, longest=longest,
            )  # fmt: skip
        case _:
            return later("a whole entry as a JSON object")


def describe(kind: str) -> list[tuple[str, str, str, bool]]:
    """Each field of a kind: name, what it takes, what it means, whether it is needed.

    What it takes and what it means are to be said when shown.
    """
    return [
        (field.encode_name, _wanted(field.type), _meaning(field.type), field.required)
        for field in msgspec.structs.fields(KINDS[kind])
    ]


Takes = Literal[
    "whole", "number", "flag", "day", "clock", "choice", "numbers", "names", "text", "lines",
    "entry",
]  # fmt: skip
"""What kind of value a field takes."""


@dataclass(frozen=True, slots=True)
class FieldNote:
    """A field of a kind, as a form needs it. `choices` are all that may stand there.

    `wanted` and `meaning` are to be said when shown.
    """

    name: str
    takes: Takes
    wanted: str
    meaning: str
    needed: bool
    choices: tuple[str, ...] = ()


@cache
def field_notes(kind: str) -> tuple[FieldNote, ...]:
    """Each field of a kind, in its order."""
    return tuple(
        FieldNote(
            field.encode_name,
            _takes(_shapes(field.type)[0]),
            _wanted(field.type),
            _meaning(field.type),
            field.required,
            _choices(_shapes(field.type)[0]),
        )
        for field in msgspec.structs.fields(KINDS[kind])
    )


def _takes(shape: inspect.Type) -> Takes:
    match shape:
        case inspect.IntType():
            return "whole"
        case inspect.FloatType():
            return "number"
        case inspect.BoolType():
            return "flag"
        case inspect.DateType():
            return "day"
        case inspect.LiteralType():
            return "choice"
        case inspect.ListType(item_type=item):
            return "numbers" if isinstance(_bare(item), inspect.FloatType) else "names"
        case inspect.StrType(pattern=kinds.LINES):
            return "lines"
        case inspect.StrType(pattern=kinds.CLOCK):
            return "clock"
        case inspect.StrType():
            return "text"
        case _:
            return "entry"


def _choices(shape: inspect.Type) -> tuple[str, ...]:
    if isinstance(shape, inspect.LiteralType):
        return tuple(str(value) for value in shape.values)
    return ()


def _meaning(field_type: Any) -> str:
    """The note on a field: the last description among its annotations."""
    notes: list[str] = []
    _collect_notes(field_type, notes)
    return notes[-1] if notes else ""


def _collect_notes(field_type: Any, notes: list[str]) -> None:
    for inner in getattr(field_type, "__args__", ()) or ():
        _collect_notes(inner, notes)
    if hasattr(field_type, "__origin__") and hasattr(field_type, "__metadata__"):
        _collect_notes(field_type.__origin__, notes)
    notes.extend(
        meta.description
        for meta in getattr(field_type, "__metadata__", ())
        if isinstance(meta, msgspec.Meta) and meta.description
    )

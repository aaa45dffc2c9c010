"""What scripts/fuzz begins with: inputs from the project's own tests and docs, words, and changes.

Inputs are text or bytes. Those of several parts (a workbook's files, a form and its page) are
written into one, so that a fuzzer may change any of it, and are parted again by the target.
"""

import ast
import io
import random
import re
import tempfile
import zipfile
from collections.abc import Callable, Iterator, Sequence
from datetime import date
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import urlencode

import msgspec
from tests.sheets import messy, open_document, plain
from tests.web.conftest import KEEPER_PAGES, READ_PAGES, SMALL_FLOCK, WRITE_PAGES

from quailwright.journal.checks import field_notes
from quailwright.journal.entries import KINDS, as_dict
from quailwright.journal.jsonl import write_lines

ROOT = Path(__file__).resolve().parent.parent
_LONGEST_SEED = 6_000
PART = b"\n=== "
"""Begins a part of an input of several: its name stands on the rest of the line."""

VALUES = (
    "-1", "0", "1", "24", "25", "1000000", "1000001", "-0.0", "0,5", "1.5", "1,200", "1e308",
    "1e400", "nan", "inf", "-inf", "9" * 19, "9" * 5_000, "0x10", "1_000", "٣", "½", "²", "true",
    "null", "2027-05-02", "2027-02-30", "2027-03-28T01:30", "2027-10-31T01:30+01:00",
    "9999-12-31", "9999-12-31T23:59:59-12:00", "0001-01-01", "0001-01-01T00:00:00+14:00",
    "1899-12-31", "2027-W18-1", "20270502", "2027-05-02T24:00", "2027-05-02T20:00+23:59", "today",
    "yesterday 20:00", "hens", "pen", "box", "may", "friend", "pellets", "shed", "keeper",
    "Europe/Lisbon", "America/Lima", "", " ", "a" * 300, "{}", "{x}", "%s", "%d", "=1+1", "<b>",
    "'", '"', "\\", "\\ud800", "\ufeff", "\u202e", "\u2028", "\x1b[31m", "\x00", "\x7f",
    "\U0001d7d9", "İ", "../..", "[]", "[1]", "[[1]]", '""', "[", "{", "°C", "°F", "%RH", "Cel",
    "0191d5a0-5f5e-7c3a-9d52-3f0c5a1b2c3d",
)  # fmt: skip
"""What breaks programs: edges of numbers and days, signs with a meaning, names that exist."""


def texts_of(*names: str) -> Iterator[bytes]:
    """Every text and run of bytes that stands in files of tests, the longer ones."""
    for name in names:
        for node in ast.walk(ast.parse((ROOT / name).read_text())):
            if isinstance(node, ast.Constant) and isinstance(node.value, str | bytes):
                value = node.value
                found = value.encode(errors="replace") if isinstance(value, str) else value
                if 8 <= len(found) <= _LONGEST_SEED:
                    yield found


def examples_of(*names: str) -> Iterator[bytes]:
    """The examples between fences in pages of the docs."""
    for name in names:
        text = (ROOT / "docs" / name).read_text()
        for body in re.findall(r"^```\w*\n(.*?)^```", text, re.MULTILINE | re.DOTALL):
            if len(body) <= _LONGEST_SEED:
                yield body.encode()


@cache
def sample_entries() -> tuple[bytes, ...]:
    """An entry of each kind, with all its fields, as a line of the journal."""
    lines = [line.strip() for line in write_lines(SMALL_FLOCK)]
    for number, kind in enumerate(KINDS):
        whole = {"kind": kind, "id": f"{number + 5_000:08x}-0000-4000-8000-{number:012x}",
                 "at": "2027-05-02"}  # fmt: skip
        lines += [msgspec.json.encode(whole | _filled(kind, part)) for part in (False, True)]
    return tuple(lines)


def _filled(kind: str, everything: bool) -> dict[str, object]:
    return {
        note.name: _value(note.takes, note.name, note.choices)
        for note in field_notes(kind)
        if note.name not in ("id", "at", "kind", "force") and (everything or note.needed)
    }


def _value(takes: str, name: str, choices: Sequence[str]) -> object:
    if choices:
        return choices[0]
    if name in ("place", "pen"):
        return "pen"
    if name == "group":
        return "hens"
    if name == "hatch":
        return "may"
    if name == "instead":
        return as_dict(SMALL_FLOCK[6])
    if takes in ("whole", "number"):
        return 2
    told = {"names": ["c1"], "numbers": [200.5], "flag": True, "day": "2027-05-02"}
    return told.get(takes, "07:30" if takes == "clock" else name)


@cache
def words() -> tuple[str, ...]:
    """The dictionary: kinds, fields, keys of briefs, and what breaks programs."""
    fields = {note.name for kind in KINDS for note in field_notes(kind)}
    choices = {each for kind in KINDS for note in field_notes(kind) for each in note.choices}
    keys = set(
        re.findall(
            r'^\s*"?([a-z_]{3,})"?\s*=', b"\n".join(briefs()).decode(errors="replace"), re.MULTILINE
        )
    )
    return tuple(sorted({*KINDS, *fields, *choices, *keys}))


@cache
def briefs() -> tuple[bytes, ...]:
    """What is written as TOML: briefs of plans, offers, rations, blends; matches of sheets."""
    tests = ("brief", "brief_text", "offers", "ration_brief", "ration", "blend", "plan", "accept")
    found = [*examples_of("plan.md", "offers.md", "feed.md", "tables.md", "contract.md")]
    found += texts_of(*(f"tests/planning/test_{name}.py" for name in tests))
    found += texts_of(
        "tests/cli/test_plan.py", "tests/cli/test_ration.py", "tests/cli/test_offers.py"
    )
    return tuple(each for each in found if b"=" in each)


def dictionary() -> str:
    """The words as libFuzzer reads them."""
    told = [*words(), *(each for each in VALUES if each and len(each) < 60)]

    def escaped(text: str) -> str:
        return "".join(
            chr(byte) if 32 <= byte < 127 and byte not in (34, 92) else f"\\x{byte:02x}"
            for byte in text.encode()
        )

    return "".join(f'"{escaped(each)}"\n' for each in told)


# Workbooks: the files within, one after another.


def joined(parts: Sequence[tuple[str, bytes]]) -> bytes:
    """Parts as one input."""
    return b"".join(PART + name.encode() + b"\n" + body for name, body in parts)


def parted(data: bytes) -> list[tuple[str, bytes]]:
    """An input in its parts; what stands before the first is left out."""
    found = []
    for piece in (b"\n" + data).split(PART)[1:]:
        name, _, body = piece.partition(b"\n")
        found.append((name.decode(errors="replace").replace("\x00", ""), body))
    return found


def in_zip(parts: Sequence[tuple[str, bytes]]) -> bytes:
    """Parts as a zip file."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as packed:
        for name, body in parts:
            packed.writestr(zipfile.ZipInfo(name), body)
    return out.getvalue()


def out_of_zip(content: bytes) -> list[tuple[str, bytes]]:
    """The parts of a zip file."""
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        return [(each.filename, packed.read(each)) for each in packed.infolist()]


_SHEET = (
    ("Date", "Group", "Eggs", "Cracked", "Note"),
    (date(2027, 4, 30), "hens", 8, 1, "a"),
    ("2/5/2027", "hens", "7 (2 broken)", None, "b"),
    ("3 May", "hens", 6.5, "-", None),
)


@cache
def books() -> tuple[tuple[str, bytes], ...]:
    """Workbooks of each kind, by their endings."""
    with tempfile.TemporaryDirectory() as folder:
        made = [
            messy(Path(folder, "a.xlsx")),
            plain(Path(folder, "b.xlsx"), _SHEET),
            open_document(Path(folder, "c.ods"), _SHEET),
        ]
        return tuple((path.suffix, path.read_bytes()) for path in made)


def grids() -> Iterator[bytes]:
    """Sheets as the target `cells` reads them: tabs between cells, a mark before no text."""
    across = ((None, "2027-05-01", "2027-05-02"), ("hens", 4, 5))
    hatch = (("hatch", "set", "eggs", "hatched", "day"), ("may", date(2027, 4, 1), 24, 12, 17))
    for rows in (_SHEET, across, hatch):
        yield b"\n" + "\n".join("\t".join(_cell(cell) for cell in row) for row in rows).encode()
    for kind in ("eggs_collected", "money", "feed_bought", "birds_weighed", "care"):
        head, row = zip(*_filled(kind, everything=True).items(), strict=True)
        lines = (kind, "\t".join(["date", *head]), "\t".join(["@2027-05-01", *map(_cell, row)]))
        yield "\n".join(lines).encode()


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, date):
        return f"@{value}"
    return f"#{value}" if isinstance(value, int | float) else str(value)


# Pages: what may be asked, and the forms that stand on them.


class _Forms(HTMLParser):
    """The forms of a page: address, and the fields as they stand."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str]]] = []
        self._open = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = {name: value or "" for name, value in attrs}
        if tag == "form":
            self._open = told.get("method", "get").lower() == "post"
            if self._open:
                self.found.append((told.get("action", ""), {}))
        elif self._open and tag in ("input", "button", "textarea", "select") and "name" in told:
            self.found[-1][1].setdefault(told["name"], told.get("value", ""))

    def handle_endtag(self, tag: str) -> None:
        self._open = self._open and tag != "form"


LEFT_OUT = (
    "/settings/backup", "/settings/notices", "/plan", "/first/", "/sign", "/begin", "/people",
    "/settings/readings",
)  # fmt: skip
"""Forms that write into folders of this computer, send to addresses, or compute for a minute."""


def asked_pages(text_of: Callable[[str], str]) -> Iterator[bytes]:
    """Each page with its query, and each form that stands on one of them, filled in as it is."""
    pages = (*READ_PAGES, *WRITE_PAGES, *KEEPER_PAGES)
    yield from (f"GET {page}".encode() for page in pages)
    seen = set()
    for page in pages:
        forms = _Forms()
        forms.feed(text_of(page))
        for address, fields in forms.found:
            address = address or page
            if address.startswith(LEFT_OUT) or (address, *fields) in seen:
                continue
            seen.add((address, *fields))
            fields.pop("token", None)
            yield f"POST {address}\n{urlencode(fields)}".encode()


# Changes that know of words and lines.

_TOKEN = re.compile(rb"[\w.:+-]+|\"[^\"\n]*\"|[^\w\s]")


def changed(data: bytes, rng: random.Random, most: int) -> bytes:
    """The input with one to three words or lines put, taken, doubled or changed round."""
    for _ in range(rng.randint(1, 3)):
        data = rng.choice((_word_changed, _word_changed, _word_changed, _line_changed))(data, rng)
    return data[:most]


def _word_changed(data: bytes, rng: random.Random) -> bytes:
    tokens = [(each.start(), each.end()) for each in _TOKEN.finditer(data)]
    if not tokens:
        return rng.choice(VALUES).encode()
    start, end = rng.choice(tokens)
    told = data[start:end]
    if rng.random() < 0.2:
        other = rng.choice(tokens)
        put = data[other[0] : other[1]]
    else:
        put = (rng.choice(words()) if rng.random() < 0.3 else rng.choice(VALUES)).encode()
        if told[:1] == b'"' and rng.random() < 0.7:
            put = b'"' + put.replace(b'"', b'\\"') + b'"'
    return data[:start] + put + data[end:]


def _line_changed(data: bytes, rng: random.Random) -> bytes:
    lines = data.split(b"\n")
    at, other = rng.randrange(len(lines)), rng.randrange(len(lines))
    match rng.randrange(3):
        case 0:
            lines.insert(at, lines[other])
        case 1:
            del lines[at]
        case _:
            lines[at], lines[other] = lines[other], lines[at]
    return b"\n".join(lines)

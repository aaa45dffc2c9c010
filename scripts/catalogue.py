"""The catalogues: every text that is said, gathered from the sources, and its translations.

A catalogue is a `.po` file, which translators write, and a `.mo` file, which the program reads.
Both are committed, so that nothing needs compiling before the pages start; a test holds them to
what the sources say.
"""

import ast
import csv
import io
import sys
import tomllib
from collections.abc import Callable, Collection, Iterator, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, Any

from babel.core import Locale, get_global
from babel.messages.catalog import Catalog
from babel.messages.extract import extract, extract_python
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po

from quailwright.cli.main import help_texts
from quailwright.language import CATALOGUES, DOMAIN, ENGLISH, LANGUAGES

SOURCES = CATALOGUES.parent
KEYWORDS: Mapping[str, tuple[int, ...] | None] = {
    "mark": None,
    "say": None,
    "say_html": None,
    "later": None,
    "say_many": (1, 2),
    "later_many": (1, 2),
}
"""The functions that say, and which of their arguments are texts."""

Found = tuple[int, str, str | tuple[str, ...], list[str]]

_SAID_IN_TOML: Mapping[str, frozenset[str]] = {
    "guide/care.toml": frozenset(
        {"rule", "task", "why", "caution", "caution_grown", "instead", "instead_after"}
    ),
    "guide/cautions.toml": frozenset({"hazard", "text"}),
    "guide/hatch/causes.toml": frozenset({"says", "cause", "check", "takes"}),
}
"""The keys of each file whose texts are shown."""

_SAID_IN_CSV: Mapping[str, tuple[str, ...]] = {
    "husbandry/facts": ("key", "unit", "conditions", "certainty", "seen"),
    "husbandry/facts/feed": ("name", "caution", "conditions"),
    "husbandry/facts/plumage": (
        "name",
        "about",
        "side_effects",
        "told",
        "care",
        "word",
        "certainty",
        "seen",
    ),
}
"""The columns of each folder's tables whose texts are shown; sources are cited as they are."""


def _of_toml(keys: Collection[str]) -> Callable[..., Iterator[Found]]:
    """An extractor of the texts that stand under these keys, wherever in the file."""

    def texts(value: object, key: str) -> Iterator[str]:
        if isinstance(value, Mapping):
            for name, inner in value.items():
                yield from texts(inner, name)
        elif isinstance(value, list):
            for inner in value:
                yield from texts(inner, key)
        elif isinstance(value, str) and key in keys:
            yield value

    def extracted(file: IO[bytes], *_: object, **__: object) -> Iterator[Found]:
        for text in texts(tomllib.load(file), ""):
            yield 0, "mark", text, []

    return extracted


def _of_csv(table: str, columns: Collection[str]) -> Callable[..., Iterator[Found]]:
    """An extractor of the name of the table and of these columns; keys are told in words."""

    def extracted(file: IO[bytes], *_: object, **__: object) -> Iterator[Found]:
        yield 0, "mark", table.replace("_", " "), []
        for row in csv.DictReader(io.StringIO(file.read().decode("utf-8"), newline="")):
            for column in columns:
                if row.get(column):
                    text = row[column]
                    yield 0, "mark", text.replace("_", " ") if column == "key" else text, []

    return extracted


def _of_kinds(
    file: IO[bytes], keywords: Collection[str], comments: Collection[str], options: Any
) -> Iterator[Found]:
    """An extractor of what teaches the kinds of entry: each class's docstring and field notes."""
    found: Any = extract_python(file, {**dict.fromkeys(keywords), "says": None}, comments, options)
    for line, function, texts, said in found:
        yield line, "mark" if function == "says" else function, texts, said
    file.seek(0)
    for kind in ast.parse(file.read()).body:
        if isinstance(kind, ast.ClassDef) and kind.name != "Entry":
            told = ast.get_docstring(kind) or ""
            yield kind.lineno, "mark", " ".join(told.split()), []


def _method(name: str) -> Any:
    """How the texts of a file of the package are found; None where it holds none."""
    path = Path(name)
    if name == "journal/entries.py":
        return _of_kinds
    if path.suffix == ".py":
        return "python"
    if path.suffix == ".html":
        return "jinja2.ext:babel_extract"
    if path.suffix == ".js" and "vendored" not in path.parts:
        return "javascript"
    if name in _SAID_IN_TOML:
        return _of_toml(_SAID_IN_TOML[name])
    if path.suffix == ".csv" and path.parent.as_posix() in _SAID_IN_CSV:
        return _of_csv(path.stem, _SAID_IN_CSV[path.parent.as_posix()])
    return None


def gathered() -> Catalog:
    """Every text that the package says, with the files that say it."""
    catalogue = Catalog(project=DOMAIN, version="", charset="utf-8", fuzzy=False)
    for path in sorted(SOURCES.rglob("*")):
        name = path.relative_to(SOURCES).as_posix()
        if not path.is_file() or (method := _method(name)) is None:
            continue
        with path.open("rb") as file:
            for line, texts, comments, _ in extract(method, file, KEYWORDS, ("Say:",)):
                catalogue.add(texts, locations=[(name, line)], auto_comments=comments)
    for text in sorted(help_texts()):
        catalogue.add(text, locations=[("cli/main.py", 0)])
    return catalogue


def _with_territory(tag: str) -> str:
    """The language as it is mostly spoken, by CLDR: `pt_BR` for `pt`. Plural forms depend on it."""
    spoken = Locale.parse(get_global("likely_subtags").get(tag, tag))
    return f"{spoken.language}_{spoken.territory}"


def brought_up_to_date(tag: str, sources: Catalog) -> Catalog:
    """The language's catalogue with the texts of the sources; what stood there stays."""
    path = CATALOGUES / tag / "LC_MESSAGES" / f"{DOMAIN}.po"
    locale = _with_territory(tag)
    catalogue = Catalog(locale=locale, project=DOMAIN, version="", charset="utf-8", fuzzy=False)
    if path.exists():
        with path.open("rb") as file:
            for message in read_po(file, locale=locale):
                if message.id:
                    catalogue[message.id] = message
    catalogue.update(sources, no_fuzzy_matching=True)
    catalogue.obsolete.clear()
    catalogue.header_comment = f"# quailwright in {LANGUAGES[tag]}. docs/translation.md"
    return catalogue


def wanting(catalogue: Catalog) -> list[str]:
    """The texts that have no translation yet; of one with a plural, its singular."""
    lacking = []
    for message in catalogue:
        singular = message.id if isinstance(message.id, str) else message.id[0]
        told = [message.string] if isinstance(message.string, str) else message.string or [""]
        if singular and not all(told):
            lacking.append(singular)
    return lacking


def written(catalogue: Catalog) -> tuple[bytes, bytes]:
    """The catalogue as its `.po` and `.mo`; the same whenever its texts are the same."""
    po, mo = io.BytesIO(), io.BytesIO()
    # The day of making would tell files apart that say the same; the format asks for one.
    catalogue.creation_date = catalogue.revision_date = datetime(2026, 1, 1, tzinfo=UTC)
    # Lines move with every change of the sources; files tell where enough.
    write_po(po, catalogue, width=99, sort_output=True, include_lineno=False)
    write_mo(mo, catalogue)
    return po.getvalue(), mo.getvalue()


def main() -> int:
    """Bring every catalogue up to date; 1 where a text has no translation."""
    sources = gathered()
    lacking = 0
    for tag in LANGUAGES:
        if tag == ENGLISH:
            continue
        catalogue = brought_up_to_date(tag, sources)
        folder = CATALOGUES / tag / "LC_MESSAGES"
        folder.mkdir(parents=True, exist_ok=True)
        po, mo = written(catalogue)
        (folder / f"{DOMAIN}.po").write_bytes(po)
        (folder / f"{DOMAIN}.mo").write_bytes(mo)
        wants = wanting(catalogue)
        lacking += len(wants)
        print(f"{tag}: {len(sources)} texts, {len(wants)} without a translation")
    return 1 if lacking else 0


if __name__ == "__main__":
    sys.exit(main())

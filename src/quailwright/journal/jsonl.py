"""The journal as JSON Lines text: reading a file of entries, and writing one."""

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import BinaryIO

from quailwright.journal.checks import read_entry
from quailwright.journal.entries import Entry, encode
from quailwright.journal.findings import BadInput, Finding
from quailwright.language import say

LARGEST_FILE_BYTES = 64 * 1024 * 1024
_BYTE_ORDER_MARK = b"\xef\xbb\xbf"
_UTF16_MARKS = (b"\xff\xfe", b"\xfe\xff")


def read_file(path: Path) -> bytes:
    """The file's bytes. Raises BadInput when there is none, it is no file, or it is too large."""
    try:
        with path.open("rb") as stream:
            return read_stream(stream, str(path))
    except FileNotFoundError:
        raise BadInput(say("There is no file {path}. Check the name.", path=path)) from None
    except IsADirectoryError:
        raise BadInput(say("{path} is a folder. Name the file in it.", path=path)) from None
    except OSError as error:
        raise BadInput(
            say("{path} cannot be read: {why}.", path=path, why=error.strerror)
        ) from None


def read_stream(stream: BinaryIO, name: str) -> bytes:
    """Everything in the stream. Raises BadInput when it is too large."""
    data = stream.read(LARGEST_FILE_BYTES + 1)
    if len(data) > LARGEST_FILE_BYTES:
        raise BadInput(
            say(
                "{name} is too large: an import takes at most {megabytes:.0f} MB "
                "(some {entries:,} entries). Split it and import the parts in turn.",
                name=name,
                megabytes=LARGEST_FILE_BYTES / 1e6,
                entries=400_000,
            )
        )
    return data


def parse_lines(data: bytes) -> tuple[list[tuple[int, Entry]], list[Finding]]:
    """Entries with their line numbers, and the findings of bad lines. Skips blank lines."""
    whole = _not_text(data)
    if whole is not None:
        return [], [whole]
    entries: list[tuple[int, Entry]] = []
    findings: list[Finding] = []
    for number, line in enumerate(data.removeprefix(_BYTE_ORDER_MARK).split(b"\n"), start=1):
        if not line or line.isspace():
            continue
        entry, problems = read_entry(line, number)
        if entry is not None:
            entries.append((number, entry))
        findings.extend(problems)
    return entries, findings


def _not_text(data: bytes) -> Finding | None:
    if data.startswith(_UTF16_MARKS):
        return Finding(
            "shape",
            say("The file is in UTF-16."),
            say("Save it as UTF-8 and import it again."),
            line=1,
        )
    zero = data.find(b"\x00")
    if zero >= 0:
        return Finding(
            "shape",
            say("The file is not text: it holds a zero byte."),
            say("A journal is JSON Lines: one entry as a JSON object on each line."),
            line=data.count(b"\n", 0, zero) + 1,
        )
    return None


def write_lines(entries: Iterable[Entry]) -> Iterator[bytes]:
    """Each entry as one line with its end, in the order given."""
    for entry in entries:
        yield encode(entry) + b"\n"

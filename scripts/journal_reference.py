"""Prints docs/journal.md: every kind of entry with its fields, from the classes themselves."""

from quailwright.journal.checks import describe
from quailwright.journal.entries import KINDS, Entry

INTRODUCTION = """# Kinds of journal entry

Made by `scripts/journal_reference.py` from `src/quailwright/journal/entries.py`.

One JSON object an entry; JSON Lines in bulk. Every entry has `id` (a UUID, made by the writer, so
a repeat is harmless), `kind`, `at` (a date such as `2027-05-02`, or a date-time with its offset
such as `2027-05-02T20:00+01:00`), and may have `by` (who), `note`, and `force` (true keeps an
entry that contradicts the record, and shows it). Names are your own short text.
"""


def reference() -> str:
    """The page as Markdown."""
    parts = [INTRODUCTION]
    for kind, cls in KINDS.items():
        parts.append(f"## {kind}\n\n{' '.join((cls.__doc__ or '').split())}\n")
        parts.append("| field | needed | takes | what it says |\n|---|---|---|---|")
        parts.extend(
            f"| `{name}` | {'yes' if needed else ''} | {wanted} | {meaning} |"
            for name, wanted, meaning, needed in describe(kind)
            if name not in Entry.__struct_fields__
        )
        parts.append("")
    return "\n".join(parts).rstrip() + "\n"


if __name__ == "__main__":
    print(reference(), end="")

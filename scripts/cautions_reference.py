"""Prints docs/cautions.md: every caution, who decides, its source, and where it is said."""

from collections.abc import Iterable
from itertools import groupby

from quailwright.guide.cautions import Caution, all_cautions, who_decides

INTRODUCTION = """# Cautions

Made by `scripts/cautions_reference.py` from `src/quailwright/guide/cautions.toml`.

Where keeping quail can hurt people or birds: what is said, who decides, on whose word, and at which
steps it is said. The program tells no law, no dose and no way to kill, and names no illness of a
bird; your local code, a licensed vet and trained people decide. A rule of care that needs it says
the caution in words of its own (`src/quailwright/guide/care.toml`). A page and its command say the
same; what they say besides stands below.
"""

_STEPS = {
    "kind": "forms and `log KIND --help`",
    "rule": "rules of care",
    "page": "pages",
    "sheet": "printed sheets",
    "command": "commands",
}


def reference() -> str:
    """The page as Markdown."""
    return "\n".join([INTRODUCTION, *map(_section, all_cautions())])


def _named(steps: Iterable[str]) -> str:
    return ", ".join(f"`{step.partition(':')[2]}`" for step in steps)


def _section(each: Caution) -> str:
    said_at = [
        f"- {_STEPS[kind]}: {_named(steps)}"
        for kind, steps in groupby(each.steps, lambda step: step.partition(":")[0])
    ]
    said_at += [
        f"- besides, at {_named(steps)}: {text}"
        for text, steps in groupby(each.further, each.further.__getitem__)
    ]
    source = f"{each.source} ({each.certainty})" if each.source else each.certainty
    children = "\n- read by children too" if each.for_children else ""
    return (
        f"## {each.hazard}\n\n{each.text}\n\n- who decides: {who_decides(each)}\n"
        f"- source: {source}{children}\n" + "\n".join(said_at) + "\n"
    )


if __name__ == "__main__":
    print(reference(), end="")

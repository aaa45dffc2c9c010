"""`breeding`: lines, matings, whom to keep, and colours."""

import typer

from quailwright.cli import breeding_cross, breeding_keep, breeding_lines, breeding_matings

app = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,
    help="Lines, matings, whom to keep, and colours.",
    epilog="Example: quailwright breeding inbreeding",
)
for _part in (breeding_lines, breeding_matings, breeding_keep, breeding_cross):
    app.add_typer(_part.app)

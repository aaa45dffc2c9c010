"""`breeding`: keep."""

import typer

app = typer.Typer(rich_markup_mode=None)

"""`tables`: every table as a spreadsheet, and a keeper's own old sheet taken in."""

import typer

app = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,
    help="Tables: every one as a spreadsheet, and an old sheet of yours taken in.",
    epilog="Example: quailwright tables export flock.xlsx",
)

"""`serve`: the pages of a flock, for this computer or for the phones of the home network."""

import sys
from typing import Annotated

import typer

from quailwright.cli.options import FlockOption, location, now
from quailwright.journal.findings import BadInput

EXAMPLES = """Examples:

\b
  quailwright serve
  quailwright serve --home-network
  quailwright serve --port 9000 --name flock.home

Without --home-network only this computer can open the pages. The first visit sets a passphrase."""

PORT, DEMO_PORT = 8347, 8447
"""Apart: a browser keeps what it has of one port, such as entries not sent yet, from the other."""


def serve(
    ctx: typer.Context,
    flock_file: FlockOption = None,
    port: Annotated[
        int | None, typer.Option("--port", metavar="N", help="The port; else 8347 or one near it.")
    ] = None,
    home_network: Annotated[
        bool,
        typer.Option("--home-network", help="Let the phones of the home network open the pages."),
    ] = False,
    names: Annotated[
        list[str] | None,
        typer.Option(
            "--name",
            metavar="NAME",
            help="A further name by which they are opened, as behind a server of your own.",
        ),
    ] = None,
) -> None:
    """Serve the pages, until Ctrl+C."""
    if home_network:
        _passphrase_first(location(ctx, flock_file))
    serve_flock(location(ctx, flock_file), port, home_network, tuple(names or ()))


def serve_flock(
    flock: str,
    port: int | None,
    home_network: bool = False,
    names: tuple[str, ...] = (),
    invented: bool = False,
    near: int = PORT,
) -> None:
    """Serves a flock file, and says where; with no port given, on a free one near `near`.

    An invented one needs no passphrase, on loopback.
    """
    import socket

    from quailwright.web.serving import LOOPBACK, Settings, create_app, home_address, listening, run

    own = home_address() if home_network else "127.0.0.1"
    hosts = (*LOOPBACK, *names)
    if home_network:
        hosts += (own, socket.gethostname(), f"{socket.gethostname()}.local")
    app = create_app(Settings(flock, now, hosts=hosts, invented=invented and not home_network))
    listener = listening("" if home_network else own, port or near, any_near=port is None)
    address = f"http://{own}:{listener.getsockname()[1]}/"

    def ready() -> None:
        print(f"Open {address}", flush=True)
        if home_network:
            _show_code(address)
            print("Phones on the home network can open it; passphrases go over it unencrypted.")
        print("Stop with Ctrl+C.", flush=True)

    run(app, listener, ready)


def _show_code(address: str) -> None:
    import segno

    segno.make(address, error="m").terminal(border=2, compact=sys.stdout.isatty())


def _passphrase_first(flock: str) -> None:
    """On the home network anyone may come first: the passphrase is set here, in the terminal."""
    from quailwright.exchange.household import Household
    from quailwright.journal.store import open_store

    with open_store(flock, create=True) as store:
        household = Household(store)
        if household.everyone():
            return
        if not sys.stdin.isatty():
            raise BadInput(
                "Nobody has set a passphrase for this flock yet. Run `quailwright serve`, open the "
                "pages on this computer and set one; then serve it to the home network."
            )
        print("The home network needs a passphrase first.")
        name = typer.prompt("Your name").strip()
        household.begin(
            name, typer.prompt("Passphrase", hide_input=True, confirmation_prompt=True), now()
        )

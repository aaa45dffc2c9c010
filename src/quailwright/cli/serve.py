"""`serve`: the pages of a flock, for this computer or for the phones of the home network."""

import sys
from typing import TYPE_CHECKING, Annotated

import typer

from quailwright.cli.options import FlockOption, data_folder, location, now
from quailwright.journal.findings import BadInput
from quailwright.language import say, say_many

if TYPE_CHECKING:
    from quailwright.exchange.certificate import Https

EXAMPLES = """Examples:

\b
  quailwright serve
  quailwright serve --home-network
  quailwright serve --home-network --https
  quailwright serve --port 9000 --name flock.home
  quailwright serve --flocks postgresql://quail@db/flocks --domain quail.example --processes 4

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
    https: Annotated[
        bool,
        typer.Option(
            "--https",
            help="With --home-network: over https, by a certificate that this computer makes, so "
            "that pages open on phones with no signal.",
        ),
    ] = False,
    names: Annotated[
        list[str] | None,
        typer.Option(
            "--name",
            metavar="NAME",
            help="A further name by which they are opened, as behind a server of your own.",
        ),
    ] = None,
    flocks: Annotated[
        str | None,
        typer.Option(
            "--flocks",
            metavar="URL",
            help="Serve every flock of a postgresql:// database, as an office does.",
        ),
    ] = None,
    domain: Annotated[
        str | None,
        typer.Option(
            "--domain",
            metavar="NAME",
            help="With --flocks: flock creek is opened as creek.NAME.",
        ),
    ] = None,
    proxies: Annotated[
        list[str] | None,
        typer.Option(
            "--proxy",
            metavar="ADDRESS",
            help="With --flocks: address or network of the https server in front; else 127.0.0.1.",
        ),
    ] = None,
    processes: Annotated[
        int,
        typer.Option(
            "--processes",
            metavar="N",
            min=1,
            max=64,
            help="With --flocks: server processes.",
        ),
    ] = 1,
    kept: Annotated[
        int,
        typer.Option(
            "--kept",
            metavar="N",
            min=1,
            max=10_000,
            help="With --flocks: flocks that each process keeps at hand.",
        ),
    ] = 100,
) -> None:
    """Serve the pages, until Ctrl+C."""
    if flocks is not None:
        if flock_file or home_network or https or names:
            raise BadInput(
                say(
                    "--flocks serves all flocks of a database behind an https server of yours: "
                    "leave out --flock, --home-network, --https and --name."
                )
            )
        _serve_office(flocks, domain, port, tuple(proxies or ()), processes, kept)
        return
    if domain or proxies or processes > 1:
        raise BadInput(say("--domain, --proxy and --processes go with --flocks."))
    if https and not home_network:
        raise BadInput(
            say("This computer needs no https for itself. Give --home-network too, or leave it.")
        )
    if home_network:
        _passphrase_first(location(ctx, flock_file))
    serve_flock(location(ctx, flock_file), port, home_network, tuple(names or ()), https=https)


def serve_flock(
    flock: str,
    port: int | None,
    home_network: bool = False,
    names: tuple[str, ...] = (),
    invented: bool = False,
    near: int = PORT,
    https: bool = False,
) -> None:
    """Serves a flock file, and says where; with no port given, on a free one near `near`.

    An invented one needs no passphrase, on loopback. With `https`, a guide over plain http stands
    on the next free port.
    """
    import socket

    from quailwright.web import serving
    from quailwright.web.serving import LOOPBACK, Settings, create_app, listening

    own = serving.home_address() if home_network else "127.0.0.1"
    hosts = (*LOOPBACK, *names)
    if home_network:
        hosts += (own, socket.gethostname(), f"{socket.gethostname()}.local")
    certified = _certified(hosts) if https else None
    settings = Settings(
        flock, now, hosts=hosts, invented=invented and not home_network, caretaker=True,
        may_begin=not home_network,
    )  # fmt: skip
    app = create_app(settings)
    host = "" if home_network else own
    listener = listening(host, port or near, any_near=port is None)
    taken = listener.getsockname()[1]
    address = f"{'https' if https else 'http'}://{own}:{taken}/"

    def ready() -> None:
        print(say("Open {address}", address=address), flush=True)
        if home_network and certified is None:
            _show_code(address)
            print(
                say("Phones on the home network can open it; passphrases go over it unencrypted.")
            )
        print(say("Stop with Ctrl+C."), flush=True)

    if certified is None:
        serving.run(app, listener, ready)
        return
    guide = listening(host, taken + 1, any_near=True)
    leads_to = f"http://{own}:{guide.getsockname()[1]}/"
    with serving.beside(serving.trust_guide(address, certified.authority, hosts), guide):
        _say_how_to_trust(leads_to, certified)
        serving.run(
            app, listener, ready, certified.server, renewed=lambda: _certified(hosts).server
        )


def _serve_office(
    flocks: str,
    domain: str | None,
    port: int | None,
    proxies: tuple[str, ...],
    processes: int,
    kept: int,
) -> None:
    from quailwright.journal.flocks import open_flocks
    from quailwright.web import serving

    name = (domain or "").lower()
    if not serving.is_domain(name):
        raise BadInput(
            say("Give the name under which flocks are opened, as --domain quail.example.")
        )
    for proxy in proxies:
        _check_proxy(proxy)
    with open_flocks(flocks) as opened:
        opened.upgrade()
        known = len(opened.names())
    for_one_self = all(address in ("127.0.0.1", "::1") for address in proxies)
    listener = serving.listening("127.0.0.1" if for_one_self else "", port or PORT, port is None)
    taken = listener.getsockname()[1]
    at_home = name == "localhost" or name.endswith(".localhost")

    def ready() -> None:
        shown = f"http://FLOCK.{name}:{taken}/" if at_home else f"https://FLOCK.{name}/"
        print(
            say_many(
                "{n} flock, to be opened as {address}",
                "{n} flocks, each to be opened as {address}",
                known,
                address=shown,
            )
        )  # fmt: skip
        if not at_home:
            print(say("The https server in front hands requests to port {port}.", port=str(taken)))
        print(say("Stop with Ctrl+C."), flush=True)

    serving.run_many(
        serving.Office(flocks, name, kept), listener, ready, proxies or ("127.0.0.1",), processes
    )


def _check_proxy(proxy: str) -> None:
    """Raises BadInput for what is no address, and for what would have everybody believed."""
    from ipaddress import ip_network

    try:
        whole = proxy == "*" or not ip_network(proxy).prefixlen
    except ValueError as error:
        raise BadInput(
            say(
                "--proxy {proxy} is neither an address nor a network. Give the address of the "
                "https server in front, as --proxy 10.0.0.2, or its network, as --proxy "
                "10.0.0.0/24.",
                proxy=proxy,
            )
        ) from error
    if whole:
        raise BadInput(
            say(
                "--proxy {proxy} is everybody: whoever asks could then say that they came over "
                "https, and from anywhere. Give the address of the https server in front, as "
                "--proxy 10.0.0.2.",
                proxy=proxy,
            )
        )


def _certified(hosts: tuple[str, ...]) -> "Https":
    from quailwright.exchange.certificate import https_for

    return https_for(data_folder() / "https", hosts, now())


def _say_how_to_trust(guide: str, certified: "Https") -> None:
    if certified.is_new:
        print(say("A certificate was made for this computer. No phone trusts it yet."))
    _show_code(guide)
    print(say("A phone that comes for the first time opens {guide}, which tells how.", guide=guide))
    print(say("The certificate's SHA-256 fingerprint, to compare with what the phone shows:"))
    print(f"  {certified.fingerprint}")
    if certified.unspoken:
        print(
            say(
                "It does not hold for {names}: it may vouch only for what it was made for.",
                names=", ".join(certified.unspoken),
            )
        )


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
                say(
                    "Nobody has set a passphrase for this flock yet. Run `quailwright serve`, open "
                    "the pages on this computer and set one; then serve it to the home network."
                )
            )
        print(say("The home network needs a passphrase first."))
        name = typer.prompt(say("Your name")).strip()
        household.begin(
            name, typer.prompt(say("Passphrase"), hide_input=True, confirmation_prompt=True), now()
        )

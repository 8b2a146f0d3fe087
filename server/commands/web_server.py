"""Starts the pages: settings, a free port, one line with the address, uvicorn."""

from __future__ import annotations

import gc
import socket
import sys
from typing import TYPE_CHECKING

import typer

from server.archive.archive import Archive
from server.commands.lan_addresses import lan_addresses
from server.errors import StillairError
from server.settings import Settings

if TYPE_CHECKING:
    from server.addressed_app import AddressedApp

PORTS_TRIED = 20
WILDCARDS = ("0.0.0.0", "::", "")


def run_server(settings: Settings) -> None:
    """Serve the pages until Ctrl-C, on the wanted port or the next free one."""
    make_data_folder(settings)
    import uvicorn

    with listening_socket(settings.host, settings.port) as listener:
        app = made_app(settings)
        open_or_close(app.state.archive)  # what stands in its way is said before an address is
        typer.echo(f"Stillair is open at {address(settings.host, listener)} (Ctrl-C ends it)")
        if app.state.throttle is not None:
            typer.echo(where_others_go(settings.host, listener))
            typer.echo(first_owner(app.state.archive, settings.host, listener))
        sys.stdout.flush()
        config = uvicorn.Config(app, log_level="warning", server_header=False)
        uvicorn.Server(config).run(sockets=[listener])


def made_app(settings: Settings) -> AddressedApp:
    """The pages. What is imported for them stays: to look for garbage among it would take a tenth of the start."""
    gc.disable()
    try:
        from server.app import create_app

        return create_app(settings)
    finally:
        gc.freeze()
        gc.enable()


def open_or_close(archive: Archive) -> None:
    """Open an archive; one that cannot be is given back as it was, nothing left beside its file."""
    try:
        archive.open()
    except BaseException:
        archive.close()
        raise


def make_data_folder(settings: Settings) -> None:
    """Make the data folder; raises StillairError when it cannot be made."""
    try:
        settings.data_folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StillairError(
            f"The data folder {settings.data_folder} cannot be made ({error.strerror}); "
            "name another with --data FOLDER."
        ) from error


def listening_socket(host: str, port: int) -> socket.socket:
    """A socket that listens on the port, or on the next one that is free.

    Raises StillairError when the host is not an address of this computer.
    """
    wanted = [*range(port, min(port + PORTS_TRIED, 65536)), 0] if port else [0]
    problem = "no port is free"
    for candidate in wanted:
        try:
            return _bound(host, candidate)
        except OSError as error:
            problem = error.strerror or str(error)
    raise StillairError(f"Stillair cannot listen on {host}: {problem}.")


def address(host: str, listener: socket.socket) -> str:
    """The URL to open; every-network addresses are shown as this computer's own."""
    port = listener.getsockname()[1]
    shown = "127.0.0.1" if host in WILDCARDS else host
    return f"http://[{shown}]:{port}" if ":" in shown else f"http://{shown}:{port}"


def where_others_go(host: str, listener: socket.socket) -> str:
    """What other devices on the network open."""
    port = listener.getsockname()[1]
    places = [*lan_addresses(), f"{socket.gethostname().lower().partition('.')[0]}.local"]
    shown = places if host in WILDCARDS else [host]
    urls = " or ".join(f"http://[{place}]:{port}" if ":" in place else f"http://{place}:{port}" for place in shown)
    return f"Other devices on this network open {urls}"


def first_owner(archive: Archive, host: str, listener: socket.socket) -> str:
    """How people get in: by their accounts, or, as long as there is no owner, by a link that makes one, once."""
    from server.accounts.service import has_owner, invite_first_owner

    with archive.database.writing() as session:
        if has_owner(session):
            return "and sign in; who has no account is invited by an owner (or by `stillair invite`)."
        code = invite_first_owner(session).code
    link = f"{address(host, listener)}/invited?code={code}"
    return f"Nobody has an account yet. Open this once, within two days, to make the owner's:\n{link}"


def _bound(host: str, port: int) -> socket.socket:
    family = socket.getaddrinfo(host or None, port, type=socket.SOCK_STREAM)[0][0]
    listener = socket.socket(family, socket.SOCK_STREAM)
    try:
        if sys.platform != "win32":
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((host, port))
        listener.listen(128)
    except OSError:
        listener.close()
        raise
    return listener

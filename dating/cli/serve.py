"""``dating serve``: the pages of a folder, on this computer."""

from __future__ import annotations

import logging
import os
import signal
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from ipaddress import ip_address
from pathlib import Path
from typing import TYPE_CHECKING

import click

from dating.cli.needs import check_installed
from dating.cli.signals import ended_by_signals

if TYPE_CHECKING:
    from types import FrameType

    import uvicorn

    from dating.bench.guard import Guard

USUAL_PORT = 8317
"""Taken where it is free, so that what a browser keeps for these pages is found again."""
_MOST_AT_ONCE = 64
_PATIENCE = 3


@click.command()
@click.argument("folder", required=False, type=click.Path(path_type=Path))
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    help=f"Port; {USUAL_PORT}, or any free one, unless given. 0 is any free one.",
)
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
@click.option("--open", "opened", is_flag=True, help="Also open the pages in the browser.")
def serve(folder: Path | None, port: int | None, host: str, opened: bool) -> None:
    """Show the pages of FOLDER in the browser, on this computer.

    Examine an instrument, and read its date as you go. FOLDER holds maker files, examinations,
    claims and what was learned. Without it, the pages show a copy of the invented demo, which is
    deleted at the end. Only this computer can open these pages, unless you name another --host.
    Press Ctrl-C to stop.

    \b
    Example:
      dating serve demo_data --port 8400
    """  # noqa: D301 (click wants the backspace itself)
    libraries = ["starlette", "uvicorn", "jinja2", "markdown_it"]
    check_installed("serving pages", libraries, "bench")
    if folder is not None and not folder.is_dir():
        raise click.BadParameter(f"there is no folder {folder}", param_hint="FOLDER")
    with _listening(host, port) as listener, ended_by_signals(), _folder_of(folder) as root:
        try:
            _serve(root, folder is None, host, listener, opened)
        except KeyboardInterrupt:
            click.echo("Stopped.")


def _serve(root: Path, passing: bool, host: str, listener: socket.socket, opened: bool) -> None:
    import uvicorn  # noqa: PLC0415

    from dating.bench.app import make_app  # noqa: PLC0415
    from dating.bench.guard import guard_for  # noqa: PLC0415
    from dating.bench.workspace import Workspace  # noqa: PLC0415

    guard = guard_for(host, listener.getsockname()[1])
    config = uvicorn.Config(
        make_app(Workspace(root, passing), guard),
        http="h11",
        ws="none",
        lifespan="off",
        log_level="warning",
        access_log=False,
        proxy_headers=False,
        server_header=False,
        limit_concurrency=_MOST_AT_ONCE,
        timeout_keep_alive=_PATIENCE,
        timeout_graceful_shutdown=_PATIENCE,
    )
    _tell(guard, root, passing)
    if opened:
        _open(address_of(guard))
    server = uvicorn.Server(config)
    # What is cut off by the end of the command is not worth a word.
    logging.getLogger("uvicorn.error").addFilter(lambda _: not server.should_exit)
    with _ended_by_hanging_up(server):
        server.run(sockets=[listener])


def address_of(guard: Guard) -> str:
    """Give the address to open, with the token where one is wanted."""
    return f"http://{guard.hosts[0]}/" + (f"?token={guard.token}" if guard.token else "")


def _tell(guard: Guard, root: Path, passing: bool) -> None:
    what = "a copy of the invented demo, which is deleted when this stops" if passing else str(root)
    click.echo(f"{address_of(guard)}\nshows {what}. Press Ctrl-C to stop.")
    if guard.token:
        words = (
            "Warning: others on the network can reach this address. Anyone who has the address and "
            "its token can read and change the folder. The connection is not encrypted."
        )
        click.echo(words, err=True)


def _open(address: str) -> None:
    """Open the browser beside the server, which is waited for by the system until it answers."""
    import threading  # noqa: PLC0415
    import webbrowser  # noqa: PLC0415

    threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()


@contextmanager
def _folder_of(folder: Path | None) -> Iterator[Path]:
    if folder is not None:
        yield folder
        return
    from dating.bench.demo import passing_demo  # noqa: PLC0415

    with passing_demo() as copy:
        yield copy


@contextmanager
def _listening(host: str, port: int | None) -> Iterator[socket.socket]:
    """Listen before anything else is done: a port that is taken is told at once."""
    ports = (USUAL_PORT, 0) if port is None else (port,)
    listener = None
    for number in ports:
        try:
            listener = _listener(host, number)
            break
        except (OSError, UnicodeError) as error:
            if number == ports[-1]:
                why = getattr(error, "strerror", None) or error
                words = f"cannot listen on {host}, port {number}: {why}"
                raise click.ClickException(words) from None
    assert listener is not None  # noqa: S101 (the last failure has been raised)
    with listener:
        yield listener


def _listener(host: str, port: int) -> socket.socket:
    bare = host.removeprefix("[").removesuffix("]")
    family, kind, _, _, place = socket.getaddrinfo(bare, port, type=socket.SOCK_STREAM)[0]
    if ip_address(str(place[0]).split("%", maxsplit=1)[0]).is_unspecified:
        words = "name one address of this computer, which the others will use"
        raise click.BadParameter(words, param_hint="--host")
    listener = socket.socket(family, kind)
    try:
        if os.name == "posix":  # a port that was just left may be taken again; elsewhere it steals
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind(place)
        listener.listen(_MOST_AT_ONCE)
    except OSError:
        listener.close()
        raise
    return listener


@contextmanager
def _ended_by_hanging_up(server: uvicorn.Server) -> Iterator[None]:
    """Let the server end when the terminal is closed; by itself it heeds the other signals."""
    if not hasattr(signal, "SIGHUP"):
        yield
        return
    caught: list[int] = []

    def end(number: int, frame: FrameType | None) -> None:  # noqa: ARG001
        caught.append(number)
        server.should_exit = True

    before = signal.signal(signal.SIGHUP, end)
    try:
        yield
    finally:
        signal.signal(signal.SIGHUP, before)
    if caught:
        raise SystemExit(128 + caught[0])

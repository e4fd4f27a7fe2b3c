"""The pages, served."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fleet.commands.door import door
from fleet.refusals import NotPossible

if TYPE_CHECKING:
    import socket
    from collections.abc import Sequence

    import uvicorn
    from fastapi import FastAPI

    from fleet.room import Room

PORT = 8741


def register(app: typer.Typer) -> None:
    """Put the command of this module on the app."""
    app.command(rich_help_panel="Care")(serve)


def serve(
    context: typer.Context,
    host: Annotated[
        str, typer.Option("--host", help="Address to listen at; by default only this machine is answered.")
    ] = "127.0.0.1",
    port: Annotated[int, typer.Option("--port", min=0, max=65535, help="Port; 0: any free one.")] = PORT,
    proxy: Annotated[
        str | None,
        typer.Option(
            "--proxy", help="Address of the proxy in front, whose word about who asks and how is taken."
        ),
    ] = None,
    *,
    with_rounds: Annotated[
        bool, typer.Option("--with-rounds", help="Go the rounds in the same process.")
    ] = False,
) -> None:
    """Serve the pages, and /healthz and /healthz/duty for a monitor outside, until it is stopped."""
    with door(context).room() as room:
        serve_room(room, host, port, with_rounds=with_rounds, proxy=proxy)


def serve_room(
    room: Room,
    host: str,
    port: int,
    *,
    with_rounds: bool,
    proxy: str | None = None,
    told: Sequence[str] = (),
) -> None:
    """Answer until a signal stops it; ``told`` are lines to print once it listens."""
    import logging
    from contextlib import ExitStack, suppress

    import uvicorn

    from fleet.mail.redirecting import post_for
    from fleet.pages import make_app
    from fleet.ticking import rounds_beside, signals_interrupt

    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(message)s")
    for name in ("apscheduler", "uvicorn"):
        logging.getLogger(name).setLevel(logging.WARNING)
    with listen(host, port) as listener, ExitStack() as stack:
        # The server ends what it has begun, and then hands the signal on; the rounds end after it.
        stack.enter_context(suppress(KeyboardInterrupt))
        stack.enter_context(signals_interrupt())
        if with_rounds:
            post = post_for(room.settings.mail) if room.settings.mail.on else None
            stack.enter_context(rounds_beside(room, post))
        server = uvicorn.Server(config_of(make_app(room), proxy))
        shown = f"[{host}]" if ":" in host else host
        typer.echo(f"Serving http://{shown}:{listener.getsockname()[1]}/ until stopped.")
        for line in told:
            typer.echo(line)
        server.run(sockets=[listener])
    typer.echo("Stopped.")


def config_of(app: FastAPI, proxy: str | None = None) -> uvicorn.Config:
    """No word about the server is sent, and none is taken from a header unless our proxy wrote it."""
    import uvicorn

    return uvicorn.Config(
        app,
        log_config=None,
        access_log=False,
        server_header=False,
        proxy_headers=proxy is not None,
        forwarded_allow_ips=proxy or [],
    )


def listen(host: str, port: int) -> socket.socket:
    """A socket that listens there, or why it cannot."""
    import socket

    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        listener = socket.create_server((host, port), family=family)
    except OSError as error:
        # The library adds the address to the words of the system.
        reason = str(error.strerror).partition(" (while")[0]
        raise NotPossible(
            f"Port {port} of {host} cannot be listened at: {reason}. Name another with --port."
        ) from error
    # Lines taken from it inherit this; else what is sent in two parts waits 40 ms for the other side's word.
    listener.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    return listener

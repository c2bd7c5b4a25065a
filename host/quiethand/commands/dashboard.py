"""`quiethand dashboard`: what is stored, on a page in the browser."""

from __future__ import annotations

import socket
import sys

import click

from quiethand.errors import InputError

__all__ = ["refuse_port_in_use"]


@click.command()
@click.option("--port", type=click.IntRange(0, 65535), default=8050, show_default=True, help="Of the page.")
@click.option("--store", "store_url", metavar="URL", help="Any SQLAlchemy URL; else the store in your data folder.")
def command(port: int, store_url: str | None) -> None:
    """Show what is stored on a page at 127.0.0.1: nobody but you can reach it. Ctrl-C ends it."""
    from quiethand_dashboard.app import create_app, serve

    from quiethand.store import open_store

    refuse_port_in_use(port, "--port")
    store = open_store(store_url)
    click.echo(f"the page is at http://127.0.0.1:{port}/ (Ctrl-C ends it)")
    serve(create_app(store), port=port)


def refuse_port_in_use(port: int, option: str) -> None:
    """Say so before anything is started, where the page's port is taken.

    Args:
        port: of 127.0.0.1; 0 is never taken.
        option: that chooses another.

    Raises:
        InputError: something else listens there.
    """
    with socket.socket() as probe:
        if sys.platform != "win32":  # there it would let two programs have one port
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError as error:
            raise InputError(
                f"the page can't be served there ({error.strerror})",
                where=f"127.0.0.1:{port}",
                do=f"choose another port with {option}, or close the program that has it",
            ) from None

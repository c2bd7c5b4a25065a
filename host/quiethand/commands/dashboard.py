"""`quiethand dashboard`: what is stored, on a page in the browser."""

from __future__ import annotations

import socket
import sys
from typing import TYPE_CHECKING

import click

from quiethand.errors import InputError

if TYPE_CHECKING:
    from quiethand_dashboard.access import Access

__all__ = ["HOST", "refuse_port_in_use"]

HOST = "127.0.0.1"


@click.command()
@click.option("--port", type=click.IntRange(0, 65535), default=8050, show_default=True, help="Of the page.")
@click.option("--host", default=HOST, show_default=True, metavar="ADDRESS", help="0.0.0.0: for a tablet on the line.")
@click.option("--new-link", is_flag=True, help="Print one more link for the page that is running, and end.")
@click.option("--store", "store_url", metavar="URL", help="Any SQLAlchemy URL; else the store in your data folder.")
def command(port: int, host: str, new_link: bool, store_url: str | None) -> None:
    """Show what is stored on a page in the browser, at 127.0.0.1 where nobody but you can reach it. Ctrl-C ends it.

    The page opens with the link that is printed. A link opens it in one browser; the next one is printed then.
    """
    from quiethand_dashboard.access import Access
    from quiethand_dashboard.addresses import EVERYWHERE, names_served, shown_host

    from quiethand.home import place_in_home

    access = Access(place_in_home("page-access.json"))
    if new_link:
        _tell(access, shown_host(host), port, code=host != HOST)
        return
    refuse_port_in_use(port, "--port", host)
    from quiethand_dashboard.app import create_app, serve

    from quiethand.store import open_store

    app = create_app(open_store(store_url), access, hosts=names_served(host))
    if host != HOST:
        where = "every network of this machine" if host in EVERYWHERE else "its network"
        click.echo(f"the page can be reached from {where}; it is not encrypted, so use a network that you trust")
    click.echo(f"the page is at http://{shown_host(host)}:{port}/ (Ctrl-C ends it); open it with this link:")
    _tell(access, shown_host(host), port, code=host != HOST)
    access.opened = lambda: _again(access, shown_host(host), port, code=host != HOST)
    serve(app, host=host, port=port)


def _again(access: Access, host: str, port: int, *, code: bool) -> None:
    click.echo("the link was opened; for another browser or tablet:")
    _tell(access, host, port, code=code)


def _tell(access: Access, host: str, port: int, *, code: bool) -> None:
    """Print a new one-time link, and for another device than this one as a code to be scanned."""
    link = f"http://{host}:{port}{access.link()}"
    if code:
        import segno

        segno.make(link, micro=False).terminal(compact=True)
    click.echo(link)
    sys.stdout.flush()


def refuse_port_in_use(port: int, option: str, host: str = HOST) -> None:
    """Say so before anything is started, where the page's port is taken.

    Args:
        port: of `host`; 0 is never taken.
        option: that chooses another.

    Raises:
        InputError: something else listens there, or the host is none of this machine.
    """
    with socket.socket() as probe:
        if sys.platform != "win32":  # there it would let two programs have one port
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            raise InputError(
                f"the page can't be served there ({error.strerror or error})",
                where=f"{host}:{port}",
                do=f"choose another port with {option}, or close the program that has it"
                if host == HOST
                else f"give --host an address of this machine, such as 0.0.0.0, or another port with {option}",
            ) from None

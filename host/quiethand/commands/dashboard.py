"""`quiethand dashboard`: what is stored, on a page in the browser."""

from __future__ import annotations

import click


@click.command()
@click.option("--port", type=click.IntRange(0, 65535), default=8050, show_default=True, help="Of the page.")
@click.option("--store", "store_url", metavar="URL", help="Any SQLAlchemy URL; else the store in your data folder.")
def command(port: int, store_url: str | None) -> None:
    """Show what is stored on a page at 127.0.0.1: nobody but you can reach it. Ctrl-C ends it."""
    from quiethand_dashboard.app import create_app, serve

    from quiethand.store import open_store

    store = open_store(store_url)
    click.echo(f"the page is at http://127.0.0.1:{port}/ (Ctrl-C ends it)")
    serve(create_app(store), port=port)

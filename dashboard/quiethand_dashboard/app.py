"""The page as an application: `create_app` builds it over a store, `serve` puts it on an address of this machine."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from dash import Dash
from quiethand.errors import InputError

from quiethand_dashboard.access import Access
from quiethand_dashboard.callbacks import compare, group, latest, launch, over_time, sensor, sets, setup, shot, trouble
from quiethand_dashboard.callbacks import shell as shell_callbacks
from quiethand_dashboard.pages import compare as compare_page
from quiethand_dashboard.pages import group as group_page
from quiethand_dashboard.pages import latest as latest_page
from quiethand_dashboard.pages import launch as launch_page
from quiethand_dashboard.pages import over_time as over_time_page
from quiethand_dashboard.pages import sensor as sensor_page
from quiethand_dashboard.pages import sets as sets_page
from quiethand_dashboard.pages import setup as setup_page
from quiethand_dashboard.pages import shot as shot_page
from quiethand_dashboard.pages.shell import Page, shell
from quiethand_dashboard.security import LOCAL_HOSTS, guard

if TYPE_CHECKING:
    from quiethand.store.store import Store

__all__ = ["create_app", "serve"]

# Every page with its layout; its callbacks are registered below.
PAGES: Final[tuple[tuple[Page, Callable[[], Any]], ...]] = (
    (Page("/", "Latest"), latest_page.layout),
    (Page("/shot", "One shot", under="/"), shot_page.layout),
    (Page("/compare", "Compare"), compare_page.layout),
    (Page("/compare-sets", "Compare sets", under="/compare"), sets_page.layout),
    (Page("/over-time", "Over time"), over_time_page.layout),
    (Page("/group", "Group"), group_page.layout),
    (Page("/bow", "Bow and arrow"), launch_page.layout),
    (Page("/sensor", "Sensor"), sensor_page.layout),
    (Page("/set-up", "Set-up"), setup_page.layout),
)

_INDEX: Final = """<!DOCTYPE html>
<html lang="en">
<head>
{%metas%}
<title>{%title%}</title>
{%favicon%}
{%css%}
</head>
<body>
{%app_entry%}
<noscript>This page needs JavaScript; all of it comes from this machine.</noscript>
{%config%}{%scripts%}{%renderer%}
</body>
</html>
"""


def create_app(store: Store, access: Access, *, hosts: Sequence[str] = LOCAL_HOSTS) -> Dash:
    """The page over `store`.

    Args:
        store: an open `quiethand.store` Store.
        access: who may read the page; its `link` opens it in a browser.
        hosts: the names under which the page may be asked for; others are answered with 400.
    """
    app = Dash(
        "quiethand_dashboard",
        title="Quiethand",
        update_title="",
        assets_folder=str(Path(__file__).parent / "assets"),
        serve_locally=True,
        suppress_callback_exceptions=True,  # a page's ids are there only while the page is
        index_string=_INDEX,
        on_error=trouble.tell,
        meta_tags=[
            {"name": "viewport", "content": "width=device-width, initial-scale=1"},
            {"name": "color-scheme", "content": "light dark"},
        ],
    )
    app.layout = shell()
    shell_callbacks.register(app, store, {page.path: layout for page, layout in PAGES}, [page for page, _ in PAGES])
    for page in (latest, shot, compare, sets, over_time, group, launch, sensor, setup):
        page.register(app, store)
    guard(app.server, app.csp_hashes(), access, hosts)
    return app


def serve(app: Dash, host: str = "127.0.0.1", port: int = 8050) -> None:
    """Serve until interrupted. The address is always given: a HOST in the environment must never open the page.

    Raises:
        InputError: the address is in use or not of this machine.
    """
    import waitress

    try:
        server = waitress.create_server(app.server, host=host, port=port, threads=8, ident=None)
    except OSError as wrong:
        do = "choose another with --port, or close the program that has it"
        raise InputError(
            f"the page can't be served there ({wrong.strerror or wrong})", where=f"{host}:{port}", do=do
        ) from wrong
    try:
        server.run()
    finally:
        server.close()

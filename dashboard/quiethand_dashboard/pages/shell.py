"""The frame around every page: name, pages, how the sensor is doing, the cautions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import dash_mantine_components as dmc
from dash import dcc, html
from quiethand.bow.cautions import STANDING

from quiethand_dashboard import ids

__all__ = ["PULSE_MS", "Page", "navigation", "shell"]

PULSE_MS: Final = 400  # how often the page asks whether anything changed; the answer is one row of the store

# Eleven shades around the palette's blue, as the widgets' library wants ten of its accent.
_ACCENT: Final = [
    "#eaf4fb",
    "#d3e7f4",
    "#a6cfe9",
    "#76b5de",
    "#4f9fd4",
    "#2f8dcb",
    "#0072b2",
    "#0066a1",
    "#00568a",
    "#004672",
]
_THEME: Final[dict[str, Any]] = {
    "primaryColor": "accent",
    "primaryShade": {"light": 7, "dark": 6},
    "colors": {"accent": _ACCENT},
    "defaultRadius": "sm",
    "fontFamily": "system-ui, -apple-system, 'Segoe UI', Roboto, 'Noto Sans', 'Liberation Sans', sans-serif",
}


@dataclass(frozen=True)
class Page:
    path: str
    name: str
    under: str = ""  # the page that leads to this one, where this has no link of its own


def shell() -> dmc.MantineProvider:
    """The whole document's body; `ids.PAGE` takes the page and `ids.NAVIGATION` the ways to the others."""
    return dmc.MantineProvider(
        [
            dcc.Location(id=ids.URL, refresh="callback-nav"),
            dcc.Store(id=ids.ZONE),
            dcc.Store(id=ids.SCHEME_SHOWN),
            dcc.Store(id=ids.TOKEN),
            dcc.Store(id=ids.TITLE),
            dcc.Store(id=ids.WIDTH),
            dcc.Interval(id=ids.PULSE, interval=PULSE_MS),
            html.A("To the content", href="#" + ids.PAGE, className="skip"),
            html.Header(
                [
                    dcc.Link("Quiethand", href="/", className="name"),
                    html.Nav(id=ids.NAVIGATION, **{"aria-label": "Pages"}),
                    html.Div(id=ids.SENSOR, className="sensor", role="status"),
                    dmc.ColorSchemeToggle(
                        id=ids.SCHEME,
                        lightIcon=html.Span("☀", **{"aria-hidden": "true"}),
                        darkIcon=html.Span("☾", **{"aria-hidden": "true"}),
                        variant="subtle",
                        size="lg",
                        color="gray",
                        **{"aria-label": "Dark or light page"},
                    ),
                ],
                className="header",
            ),
            html.Div(id=ids.NOTICE, role="status"),
            html.Div(id=ids.TROUBLE, role="alert"),
            html.Main(id=ids.PAGE, tabIndex="-1"),
            html.Footer(" ".join(STANDING)),
        ],
        theme=_THEME,
        defaultColorScheme="auto",
    )


def navigation(path: str | None, pages: Sequence[Page]) -> list[Any]:
    """The ways to the pages, the open one marked for eye and ear: a row of links, and a menu for narrow screens.

    One of the two is always hidden by its width, from screen readers as well.
    """
    at = (path or "/").rstrip("/") or "/"
    here = next((page.under or page.path for page in pages if page.path == at), at)
    pages = [page for page in pages if not page.under]
    name = next((page.name for page in pages if page.path == here), "Pages")
    return [
        html.Div([_link(page, page.path == here) for page in pages], className="page-links"),
        html.Div(
            dmc.Menu(
                [
                    dmc.MenuTarget(
                        dmc.Button(
                            name,
                            variant="default",
                            size="md",
                            rightSection=html.Span("▾", **{"aria-hidden": "true"}),
                            **{"aria-label": f"Pages, now {name}"},
                        )
                    ),
                    dmc.MenuDropdown([_item(page, page.path == here) for page in pages]),
                ],
                position="bottom-start",
                width=230,
                shadow="md",
                loop=True,
                transitionProps={"duration": 0},
            ),
            className="page-menu",
        ),
    ]


def _link(page: Page, here: bool) -> dmc.Anchor:
    told = {"aria-current": "page"} if here else {}
    look = "page-link here" if here else "page-link"
    return dmc.Anchor(page.name, href=page.path, refresh=False, unstyled=True, className=look, **told)


def _item(page: Page, here: bool) -> dmc.MenuItem:
    told = {"aria-current": "page"} if here else {}
    return dmc.MenuItem(
        page.name, href=page.path, refresh=False, className="page-item here" if here else "page-item", **told
    )

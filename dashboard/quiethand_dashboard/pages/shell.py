"""The frame around every page: name, pages, how the sensor is doing, the cautions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import dash_mantine_components as dmc
from dash import dcc, html
from quiethand.bow.cautions import STANDING

from quiethand_dashboard import ids

__all__ = ["PULSE_MS", "Page", "shell"]

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
    "primaryShade": {"light": 7, "dark": 5},
    "colors": {"accent": _ACCENT},
    "defaultRadius": "sm",
    "fontFamily": "system-ui, -apple-system, 'Segoe UI', Roboto, 'Noto Sans', 'Liberation Sans', sans-serif",
}


@dataclass(frozen=True)
class Page:
    path: str
    name: str


def shell(pages: Sequence[Page]) -> dmc.MantineProvider:
    """The whole document's body; `ids.PAGE` takes the page."""
    return dmc.MantineProvider(
        [
            dcc.Location(id=ids.URL, refresh="callback-nav"),
            dcc.Store(id=ids.ZONE),
            dcc.Store(id=ids.SCHEME_SHOWN),
            dcc.Store(id=ids.TOKEN),
            dcc.Interval(id=ids.PULSE, interval=PULSE_MS),
            html.A("To the content", href="#" + ids.PAGE, className="skip"),
            html.Header(
                [
                    dcc.Link("Quiethand", href="/", className="name"),
                    html.Nav(_links(pages), id=ids.NAVIGATION, **{"aria-label": "Pages"}),
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
            html.Main(id=ids.PAGE, tabIndex="-1"),
            html.Footer(" ".join(STANDING)),
        ],
        theme=_THEME,
        defaultColorScheme="auto",
    )


def _links(pages: Sequence[Page]) -> list[dcc.Link]:
    return [dcc.Link(page.name, href=page.path, className="page-link") for page in pages]

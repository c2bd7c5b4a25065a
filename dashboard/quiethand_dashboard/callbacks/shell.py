"""Which page is shown, whether anything changed, and how the sensor is doing."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

from dash import MATCH, ClientsideFunction, Dash, Input, Output, State, dcc, html, no_update

from quiethand_dashboard import ids
from quiethand_dashboard.pages.shell import Page, navigation

if TYPE_CHECKING:
    from quiethand.live_status import LiveStatus
    from quiethand.store.store import Store

__all__ = ["page_for", "pulse", "register", "sensor_words"]

SILENT_AFTER_S: Final = 2.0  # a sensor sends hundreds of samples a second: two seconds without one is no pause
LOSSY_SHARE: Final = 0.001  # a tenth of a percent lost: at 1 kHz a sample a second, soon one within a window


def page_for(path: str | None, layouts: Mapping[str, Callable[[], Any]]) -> Any:
    """The page at an address, or one that says where the pages are."""
    layout = layouts.get((path or "/").rstrip("/") or "/")
    if layout is not None:
        return layout()
    return html.Div([html.H1("There is no page here"), dcc.Link("To the latest shot", href="/")], className="empty")


def sensor_words(status: LiveStatus | None, now_unix_s: float) -> tuple[str, str]:
    """How the sensor is doing: a few words for the header, and a sentence on what to do where something is wrong."""
    if status is None:
        return "No sensor yet", ""
    if status.state == "stopped":
        return "Not recording", ""
    if status.state == "link_lost":
        return "Link lost", (
            f"The link to the sensor on {status.port} is lost. Check cable and power; recording goes on by itself when "
            "the sensor is back."
        )
    age = status.last_sample_age_s(now_unix_s)
    if status.state == "waiting" or age is None:
        return "Waiting for the sensor", f"Waiting for the first sample from {status.port}. Is the sensor switched on?"
    if age > SILENT_AFTER_S:
        return f"Silent for {age:.0f} s", (
            f"The sensor on {status.port} has sent nothing for {age:.0f} seconds. Check battery and cable; what was "
            "recorded so far is safe."
        )
    rate = f"{status.rate_hz:.0f} samples/s" if status.rate_hz else "recording"
    total = status.samples + status.lost_samples
    share = status.lost_samples / total if total else 0.0
    if share > LOSSY_SHARE:
        return f"{rate}, {100 * share:.1f} % lost", (
            f"The link is lossy: {status.lost_samples} of {total} samples never came ({100 * share:.1f} %). A shot "
            "whose window lost samples has figures missing. Try a shorter or better cable, or a lower sample rate."
        )
    return rate, ""


def pulse(store: Store, known: Any, shown: Any, now_unix_s: float) -> tuple[Any, Any, Any]:
    """New token, header words, notice: each only where it changed since the page last asked."""
    token = store.change_token()
    words, notice = sensor_words(store.live_status(), now_unix_s)
    bar = html.Div(notice, className="notice") if notice else []
    same = shown == words
    return (no_update if token == known else token), (no_update if same else words), (no_update if same else bar)


def register(app: Dash, store: Store, layouts: Mapping[str, Callable[[], Any]], pages: Sequence[Page]) -> None:
    @app.callback(Output(ids.PAGE, "children"), Output(ids.NAVIGATION, "children"), Input(ids.URL, "pathname"))
    def _page(path: str | None) -> tuple[Any, Any]:
        return page_for(path, layouts), navigation(path, pages)

    app.clientside_callback(
        f"""function (path) {{
            const names = {json.dumps({page.path: page.name for page in pages})};
            const here = names[(path || '/').replace(/\\/+$/, '') || '/'];
            document.title = here ? here + ' – Quiethand' : 'Quiethand';
            return document.title;
        }}""",
        Output(ids.TITLE, "data"),
        Input(ids.URL, "pathname"),
    )

    @app.callback(
        Output(ids.TOKEN, "data"),
        Output(ids.SENSOR, "children"),
        Output(ids.NOTICE, "children"),
        Input(ids.PULSE, "n_intervals"),
        State(ids.TOKEN, "data"),
        State(ids.SENSOR, "children"),
        # A poll that lasts longer than its interval would be overtaken by the next and never arrive.
        running=[(Output(ids.PULSE, "disabled"), True, False)],
    )
    def _pulse(_: int | None, known: Any, shown: Any) -> tuple[Any, Any, Any]:
        return pulse(store, known, shown, time.time())

    app.clientside_callback(
        "function () { return Intl.DateTimeFormat().resolvedOptions().timeZone || ''; }",
        Output(ids.ZONE, "data"),
        Input(ids.URL, "href"),
    )
    # The button tells only of its own clicks; the scheme turns with the system's at nightfall too. The table's library
    # has a switch of its own for it.
    app.clientside_callback(
        f"""function (href) {{
            const root = document.documentElement;
            const shown = () => {{
                const scheme = root.getAttribute('data-mantine-color-scheme') || 'light';
                root.setAttribute('data-ag-theme-mode', scheme);
                return scheme;
            }};
            if (!window.quiethandScheme) {{
                window.quiethandScheme = new MutationObserver(
                    () => window.dash_clientside.set_props('{ids.SCHEME_SHOWN}', {{data: shown()}}));
                window.quiethandScheme.observe(root, {{attributeFilter: ['data-mantine-color-scheme']}});
                return shown();
            }}
            return window.dash_clientside.no_update;
        }}""",
        Output(ids.SCHEME_SHOWN, "data"),
        Input(ids.URL, "href"),
    )
    app.clientside_callback(ClientsideFunction("quiethand", "width"), Output(ids.WIDTH, "data"), Input(ids.URL, "href"))
    app.clientside_callback(
        ClientsideFunction("quiethand", "save"),
        Output({"type": "save", "figure": MATCH, "image": MATCH}, "data-saved"),
        Input({"type": "save", "figure": MATCH, "image": MATCH}, "n_clicks"),
        State({"type": "save", "figure": MATCH, "image": MATCH}, "id"),
        prevent_initial_call=True,
    )

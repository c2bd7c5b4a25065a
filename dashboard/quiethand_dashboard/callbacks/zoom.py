"""What a reader zoomed into stays in view when a figure is drawn anew.

Plotly keeps a reader's ranges by itself (`uirevision`) as long as the page states the ranges it stated before. Dash
4 writes each zoom back into the graph's own `figure` and draws it again, after which Plotly takes the zoomed range for
the page's and forgets the reader's. So figures go through a store, and the browser carries the ranges over.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from dash import Dash, Input, Output, State

from quiethand_dashboard import ids

__all__ = ["draw_keeping_zoom", "fresh"]

# `meta.drawn` holds the ranges that the page asked for: what is shown and differs from them is the reader's. The two
# private names are where a double click goes back to; without them it would be the ranges of the first figure.
_CARRY_OVER: Final = """function (fresh, shown, graph) {
    if (!fresh) { return window.dash_clientside.no_update; }
    const layout = {...fresh.layout}, drawn = {};
    const old = (shown || {}).layout || {}, asked = (old.meta || {}).drawn || {};
    const same = old.uirevision !== undefined && old.uirevision === layout.uirevision;
    const plot = document.getElementById(graph)?.querySelector('.js-plotly-plot')?._fullLayout || {};
    for (const name of Object.keys(layout).filter(key => /^[xy]axis[0-9]*$/.test(key))) {
        const range = layout[name].range || null;
        const now = old[name] && !old[name].autorange && old[name].range;
        if (same && now && String(now) !== String(asked[name])) {
            layout[name] = {...layout[name], range: [...now], autorange: false};
        }
        if (range && plot[name]) { [plot[name]._rangeInitial0, plot[name]._rangeInitial1] = range; }
        drawn[name] = range;
    }
    layout.meta = {drawn};
    return {...fresh, layout};
}"""


def fresh(graph_id: str) -> Output:
    """Where a callback puts the figure of a graph whose zoom is to stay."""
    return Output(ids.fresh_figure(graph_id), "data")


def draw_keeping_zoom(app: Dash, graph_ids: Sequence[str]) -> None:
    """Draw what comes into the stores of these graphs; the layout's `uirevision` says what is the same view."""
    for graph_id in graph_ids:
        app.clientside_callback(
            _CARRY_OVER,
            Output(graph_id, "figure"),
            Input(ids.fresh_figure(graph_id), "data"),
            State(graph_id, "figure"),
            State(graph_id, "id"),
            prevent_initial_call=True,
        )

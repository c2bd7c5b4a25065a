"""What the browser's tests share: waiting for what a page will be, never for a time."""

from __future__ import annotations

from typing import Any

__all__ = ["drawn", "rested"]


def drawn(page: Any, graph_id: str) -> None:
    """Wait until a graph shows its figure; before that it holds an empty one."""
    page.wait_for_function(
        "id => (document.querySelector(`#${id} .js-plotly-plot`)?.data || []).length > 0", arg=graph_id
    )


def rested(page: Any) -> None:
    """Wait until no figure of the page is being drawn and each has the width of its place."""
    page.wait_for_function(
        """() => {
            const graphs = [...document.querySelectorAll('.dash-graph')].filter(g => g.offsetParent);
            const none = document.querySelector('#page .no-figures');  // a page of words and fields
            return (graphs.length > 0 || none) && graphs.every(g => {
                const plot = g.querySelector('.js-plotly-plot');
                // one that has nothing to draw yet says so in words
                const shows = plot && ((plot.data || []).length > 0 || plot._fullLayout?.annotations?.length);
                return shows && !g.querySelector('.dash-graph--pending')
                    && Math.abs(plot._fullLayout.width - plot.clientWidth) < 2;
            });
        }"""
    )

"""The Allan deviation as a figure: gyro above, accelerometer below, what is read off it marked."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from quiethand_dashboard.figures.palette import OKABE_ITO
from quiethand_dashboard.figures.style import plain

from quiethand.errors import InputError

if TYPE_CHECKING:
    from quiethand.calibrate.noise import SensorNoise

__all__ = ["check_plot", "noise_figure", "write_plot"]

# A sensor's x, y, z are none of the bow's axes, so that they take other colours than cant, pitch and yaw have.
_STYLE: Final = {
    "x": (OKABE_ITO["black"], "solid"),
    "y": (OKABE_ITO["reddish purple"], "dash"),
    "z": (OKABE_ITO["orange"], "dot"),
}
_ROWS: Final = {"gyro": (1, "deg/s", np.rad2deg(1.0)), "accel": (2, "m/s2", 1.0)}
_ENDINGS: Final = (".html", ".svg", ".png")


def noise_figure(noise: SensorNoise, title: str) -> Any:
    """A plotly figure of all six axes."""
    from plotly.graph_objects import Scatter
    from plotly.subplots import make_subplots

    figure = make_subplots(rows=2, cols=1, shared_xaxes=True, vertical_spacing=0.06)
    for name, axis in noise.axes.items():
        sensor, letter = name.split()
        row, unit, factor = _ROWS[sensor]
        colour, dash = _STYLE[letter]
        tau = axis.allan.tau_s
        look = {"color": colour, "dash": dash}
        hover = f"{name} %{{y:.3g}} {unit} at %{{x:.3g}} s<extra></extra>"
        trace = Scatter(x=tau, y=axis.allan.deviation * factor, name=name, line=look, hovertemplate=hover)
        figure.add_trace(trace, row=row, col=1)
        white = axis.figures.white
        if white is not None:
            line = {"color": colour, "width": 1, "dash": dash}
            ends = np.array([tau[0], min(tau[-1], 10.0)])
            fall = Scatter(
                x=ends, y=white * factor / np.sqrt(ends), line=line, opacity=0.4, showlegend=False, mode="lines"
            )
            figure.add_trace(fall, row=row, col=1)
        lowest = axis.figures.bias_instability_tau_s
        if lowest is not None:
            at = int(np.argmin(np.abs(tau - lowest)))
            mark = Scatter(
                x=[tau[at]], y=[axis.allan.deviation[at] * factor], mode="markers", showlegend=False,
                marker={"color": colour, "size": 9, "symbol": "circle-open"},
                hovertemplate=f"{name}: lowest<extra></extra>",
            )  # fmt: skip
            figure.add_trace(mark, row=row, col=1)
    figure.update_xaxes(type="log")
    figure.update_yaxes(type="log", exponentformat="power")
    figure.update_xaxes(title_text="averaging time (s)", row=2, col=1)
    figure.update_yaxes(title_text="gyro (deg/s)", row=1, col=1)
    figure.update_yaxes(title_text="accelerometer (m/s2)", row=2, col=1)
    figure.update_layout(title=plain(title), template="plotly_white", height=800)
    return figure


def check_plot(path: str, force: bool) -> None:
    """Refuse a name that cannot be written before any work is done.

    Raises:
        InputError: another ending, or the file is there and `force` is not.
    """
    target = Path(path)
    if target.suffix.lower() not in _ENDINGS:
        raise InputError(
            f'"{target.suffix}" is no kind of plot', where=path, do=f"end the name in {', '.join(_ENDINGS)}"
        )
    if target.exists() and not force:
        raise InputError("is there already", where=path, do="choose another name, or add --force")


def write_plot(figure: Any, path: str) -> None:
    """HTML that needs nothing else; SVG and PNG where plotly's renderer is at hand.

    Raises:
        InputError: it cannot be written, or the renderer is missing.
    """
    try:
        if path.lower().endswith(".html"):
            figure.write_html(path, include_plotlyjs=True, full_html=True)
        else:
            figure.write_image(path)
    except OSError as trouble:
        raise InputError(
            f"cannot be written ({trouble.strerror or trouble})", where=path, do="choose another place"
        ) from None
    except (
        Exception
    ) as missing:  # the renderer fails in its own ways: no package, no browser, a browser that won't start
        raise InputError(
            "SVG and PNG need the package kaleido and a Chrome or Chromium that it can start", where=path,
            do="end the name in .html, which needs neither",
        ) from missing  # fmt: skip

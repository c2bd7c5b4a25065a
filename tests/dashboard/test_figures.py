"""Figures: pure, drawn as Plotly reads them, few points, peaks kept, one colour for each axis."""

from __future__ import annotations

import base64
from typing import Any

import numpy as np
import plotly.graph_objects as go
import pytest
from hypothesis import given
from hypothesis import strategies as st
from invented_league import WINDOW_S, document, shot
from quiethand.axes import AXIS_NAMES
from quiethand.bow.launch import launch
from quiethand.bow.setup_file import setup_from_document
from quiethand.shots.contract import shot_object
from quiethand_dashboard.figures.excess import Span, excess_spans, excess_words
from quiethand_dashboard.figures.launch import ArrowPoint, arrows_figure, draw_force_figure, stroke_figure
from quiethand_dashboard.figures.palette import AXIS_COLOURS, DARK, LIGHT, OKABE_ITO
from quiethand_dashboard.figures.recent import RecentShot, recent_figure
from quiethand_dashboard.figures.reduce import MOST_POINTS, keep_peaks
from quiethand_dashboard.figures.sources import sources_figure
from quiethand_dashboard.figures.style import blank, plain
from quiethand_dashboard.figures.traces import PANELS, Band, DrawnShot, traces_figure

SCHEMES = ("light", "dark")


def drawn(label: str = "shot 1", *, inertia: bool = True, seed: int = 1) -> DrawnShot:
    one = shot(1, "Match arrow", np.random.default_rng(seed), inertia=inertia)
    assert one.trace is not None
    return DrawnShot(label, one.trace, one.time_on_string_s and one.time_on_string_s * 1e3)


def unpacked(values: Any) -> np.ndarray:
    """What the browser will see of a typed array."""
    return np.frombuffer(base64.b64decode(values["bdata"]), dtype="<" + values["dtype"])


def band(half_width: float) -> Band:
    ms = np.arange(-25.0, 60.0, 0.5)
    edge = {name: np.full((len(ms), 3), half_width) for name in ("rotation_deg", "rate_deg_s", "torque_nm")}
    return Band(ms, {k: -v for k, v in edge.items()}, edge, 20)


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("axis", AXIS_NAMES)
def test_traces_are_what_plotly_reads(scheme: Any, axis: str) -> None:
    figure = traces_figure(axis, [drawn("A"), drawn("B", seed=2)], band(0.01), scheme)
    go.Figure(figure)  # refuses any property or value that Plotly does not know
    assert sum(len(unpacked(t["x"])) for t in figure["data"]) < 20_000


def test_a_shot_without_inertia_has_no_torque_panel() -> None:
    with_torque, without = (traces_figure("yaw", [drawn(inertia=i)], None, "light") for i in (True, False))
    headings = [[a["text"] for a in f["layout"]["annotations"]] for f in (with_torque, without)]
    assert any("Torque" in text for text in headings[0])
    assert not any("Torque" in text for text in headings[1])
    assert len(without["data"]) < len(with_torque["data"])


def test_each_axis_has_one_colour_everywhere() -> None:
    at = shot_object(shot(1, "Match arrow", np.random.default_rng(1)))["at_departure"]
    for axis in AXIS_NAMES:
        lines = {t["line"]["color"] for t in traces_figure(axis, [drawn()], None, "dark")["data"]}
        assert lines == {AXIS_COLOURS[axis]}
        assert sources_figure(at, axis, "light")["data"][0]["marker"]["color"][-1] == AXIS_COLOURS[axis]
    assert set(AXIS_COLOURS.values()) <= set(OKABE_ITO.values())


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, definitions of contrast ratio and relative luminance."""

    def luminance(colour: str) -> float:
        parts = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
        linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
        return float(linear @ [0.2126, 0.7152, 0.0722])

    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("ground", [LIGHT, DARK])
def test_colours_stand_out(ground: Any) -> None:
    # WCAG 2.2: 4.5 to 1 for text (1.4.3), 3 to 1 for graphics (1.4.11)
    assert contrast("#ffffff", "#000000") == pytest.approx(21)
    assert contrast(ground.text, ground.page) > 7
    assert contrast(ground.quiet, ground.page) > 4.5
    assert all(contrast(colour, ground.page) > 3 for colour in AXIS_COLOURS.values())


def test_the_view_shows_the_window_and_not_the_shock() -> None:
    one = drawn()
    figure = traces_figure("cant", [one], None, "light")
    low, high = figure["layout"]["xaxis"]["range"]
    assert low < 0
    assert one.window_ms is not None
    assert one.window_ms < high < one.window_ms + 20
    force = one.trace.specific_force_m_s2[:, 0]
    shown = figure["layout"][f"yaxis{[p.name for p in PANELS].index('Acceleration') + 1}"]["range"]
    assert shown[1] < force.max() / 3  # the shock runs off the panel, so that the push can be read


def test_two_shots_of_unlike_length_are_each_scaled_by_their_own_window() -> None:
    # the shock of a quick arrow lies within the window of a slow one and must not set the scale
    rng = np.random.default_rng(3)
    slow, quick = (shot(1, arrow, rng) for arrow in WINDOW_S)
    both = [DrawnShot("A", s.trace, s.time_on_string_s * 1e3) for s in (slow, quick) if s.trace and s.time_on_string_s]
    alone = traces_figure("cant", both[:1], None, "light")["layout"]["yaxis4"]["range"]
    together = traces_figure("cant", both, None, "light")["layout"]["yaxis4"]["range"]
    assert np.ptp(together) < 1.5 * np.ptp(alone)


@given(st.integers(1, 5000), st.integers(0, 2**32 - 1), st.integers(10, 1200))
def test_fewer_points_keep_every_peak(count: int, seed: int, most: int) -> None:
    values = np.random.default_rng(seed).normal(size=count).astype(np.float32)
    kept = keep_peaks(values, most)
    assert len(kept) <= max(most, 4)
    assert np.all(np.diff(kept) > 0)
    assert {0, count - 1} <= set(kept.tolist())
    assert values[kept].max() == values.max()
    assert values[kept].min() == values.min()


def test_every_nth_sample_would_lose_the_peak() -> None:
    values = np.zeros(100_000, dtype=np.float32)
    values[54_321] = 1.0
    kept = keep_peaks(values)
    assert values[kept].max() == 1.0
    assert values[:: len(values) // MOST_POINTS].max() == 0.0


def test_not_a_number_is_no_peak() -> None:
    values = np.full(10_000, np.nan, dtype=np.float32)
    values[5000] = -3.0
    assert np.nanmin(values[keep_peaks(values)]) == -3.0


def test_excess_is_found_where_it_was_put() -> None:
    one = drawn()
    rotation = np.zeros_like(one.trace.rotation_deg)
    ms = one.trace.gyro_ms
    rotation[(ms >= 5) & (ms <= 9), 2] = 0.05
    rotation[(ms >= 30), 2] = 9.0  # after the departure: moves no arrow
    trace = type(one.trace)(one.trace.accel_ms, one.trace.specific_force_m_s2, ms, 0 * rotation, rotation, None)
    spans = excess_spans(trace, 14.0, band(0.02))
    assert [(s.axis, s.quantity) for s in spans] == [("yaw", "rotation_deg")]
    assert (spans[0].start_ms, spans[0].end_ms) == (5.0, 9.0)
    assert spans[0].beyond == pytest.approx(0.03)
    assert excess_words(spans) == ["yaw rotation outside the usual from 5.0 to 9.0 ms, by up to 0.03 deg"]


@pytest.mark.parametrize(("until_ms", "height"), [(6.0, 0.05), (12.0, 0.021)])
def test_a_touch_of_the_edge_is_no_excess(until_ms: float, height: float) -> None:
    # too short (1 ms), and too little (a fortieth of the band's width beyond)
    one = drawn()
    ms = one.trace.gyro_ms
    rotation = np.zeros_like(one.trace.rotation_deg)
    rotation[(ms >= 5) & (ms <= until_ms), 0] = height
    trace = type(one.trace)(one.trace.accel_ms, one.trace.specific_force_m_s2, ms, 0 * rotation, rotation, None)
    assert excess_spans(trace, 14.0, band(0.02)) == ()


def test_without_band_or_window_nothing_is_called_excess() -> None:
    one = drawn()
    assert excess_spans(one.trace, 14.0, None) == ()
    assert excess_spans(one.trace, None, band(1e-6)) == ()


def test_excess_is_drawn_thick_in_its_own_panel() -> None:
    one = drawn()
    marked = DrawnShot("A", one.trace, one.window_ms, (Span("yaw", "rotation_deg", 4.0, 9.0, 0.01),))
    figures = {axis: traces_figure(axis, [marked], None, "light") for axis in AXIS_NAMES}
    widths = {axis: max(t["line"]["width"] for t in figure["data"]) for axis, figure in figures.items()}
    assert widths["yaw"] > 2 * widths["pitch"] > 0


def test_sources_share_one_scale() -> None:
    at = shot_object(shot(1, "Match arrow", np.random.default_rng(1)))["at_departure"]
    figures = [sources_figure(at, axis, "light") for axis in AXIS_NAMES]
    for figure in figures:
        go.Figure(figure)
    ranges = {tuple(f["layout"]["xaxis"]["range"]) for f in figures}
    assert len(ranges) == 1
    reach = ranges.pop()[1]
    assert all(abs(x) < reach for f in figures for x in f["data"][0]["x"])


def test_an_unknown_part_leaves_its_bar_out() -> None:
    at = shot_object(shot(1, "Match arrow", np.random.default_rng(1)))["at_departure"]
    at["parts_deg"]["struck"]["yaw"] = None
    at["rotation_sigma_deg"] = dict.fromkeys(AXIS_NAMES)
    figure = sources_figure(at, "yaw", "light")
    go.Figure(figure)
    assert figure["data"][0]["x"][1] is None


@pytest.mark.parametrize("count", [1, 12])
def test_recent_shots(count: int) -> None:
    shots = [RecentShot(str(i), i - 4.0, 1.0, None, None, 20.0, i == count - 1) for i in range(count)]
    figure = recent_figure(shots, "light")
    go.Figure(figure)
    assert figure["data"][0]["marker"]["symbol"].count("circle") == 1
    assert figure["layout"]["yaxis"]["range"][0] == -figure["layout"]["yaxis"]["range"][1]
    assert len(figure["layout"]["shapes"]) == 4  # the limit, either side, in both panels


def test_launch_figures() -> None:
    setup = setup_from_document(document(4, "Match arrow"), "test")
    own, tried = launch(setup), launch(setup, arrow_mass_kg=0.035, let_off=0.6)
    for scheme in SCHEMES:
        for figure in (draw_force_figure(tried, own, scheme), stroke_figure(tried, None, scheme)):
            go.Figure(figure)
    curve = draw_force_figure(tried, own, "light")["data"][1]
    assert unpacked(curve["y"])[-1] == pytest.approx(tried.holding_weight_n, rel=1e-4)
    assert unpacked(curve["x"])[0] == pytest.approx(100 * tried.curve.brace_m, rel=1e-4)
    stroke = stroke_figure(tried, own, "light")["data"]
    assert unpacked(stroke[3]["x"])[-1] == pytest.approx(1e3 * tried.time_on_string_s, rel=1e-4)


@pytest.mark.parametrize("shift", [1.0, None])
def test_arrows_without_inertia_show_their_time_only(shift: float | None) -> None:
    points = [ArrowPoint(f"arrow {i}", 0.02 + 0.005 * i, 0.015 + 0.001 * i, shift, i == 1) for i in range(3)]
    figure = arrows_figure(points, points, 0.1, "dark")
    go.Figure(figure)
    assert len(figure["data"]) == (4 if shift else 2)


def test_a_users_text_is_no_markup_in_a_figure() -> None:
    name = '<a href="javascript:alert(1)">x</a>'
    assert "<" not in plain(name)
    figure = traces_figure("yaw", [drawn(name)], None, "light")
    assert "<a" not in str(figure)
    go.Figure(blank("light", "nothing"))

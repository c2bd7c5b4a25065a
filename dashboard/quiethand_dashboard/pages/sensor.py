"""Sensor: how the link does, recording, how firmly it sits, calibrating step by step, and the recordings."""

from __future__ import annotations

import dash_mantine_components as dmc
from dash import dcc, html

from quiethand_dashboard import sensor_ids as ids
from quiethand_dashboard.pages.pieces import section
from quiethand_dashboard.pages.sensor_words import KINDS

__all__ = ["LOOK_MS", "layout"]

LOOK_MS = 1000


def layout() -> html.Div:
    return html.Div(
        [
            dcc.Interval(id=ids.PULSE, interval=LOOK_MS),
            dcc.Store(id=ids.ASKED),
            dcc.Store(id=ids.SHOWN),
            dcc.Store(id=ids.LISTED),
            html.H1("Sensor"),
            html.P(
                "Is the link sound, does the sensor sit firmly, is it calibrated? What is recorded here is measured as "
                "it comes.",
                className="quiet lead",
            ),
            section("Recording", _recording()),
            section("The link now", _link()),
            section("Calibrate", _calibrate(), id="calibrate"),
            section("How firmly it sits", html.Div(id=ids.MOUNT)),
            section("Recordings", _recordings()),
        ],
        className="sensor-page no-figures",
    )


def _recordings() -> html.Div:
    return html.Div(
        id=ids.RECORDINGS, className="wide", tabIndex="0", role="region", **{"aria-label": "Recordings"}
    )  # fmt: skip


def _recording() -> html.Div:
    return html.Div(
        [
            html.P(id=ids.RECORD_WORDS, className="state-words"),
            html.Div(
                [
                    html.Div(
                        dmc.Select(
                            id=ids.PORT,
                            label="Port of the sensor",
                            placeholder="Plug the sensor in",
                            data=[],
                            allowDeselect=False,
                            size="md",
                        ),
                        id=ids.PORT_PLACE,
                        className="field",
                        hidden=True,
                    ),
                    dmc.Button("Start recording", id=ids.RECORD, size="md", variant="default", disabled=True),
                ],
                className="row",
            ),
            html.P(id=ids.RECORD_ANSWER, role="status"),
        ]
    )


def _link() -> html.Div:
    return html.Div(
        [
            html.Div(id=ids.LINK, className="big-figures link-figures"),
            html.Div(
                [
                    _sheet(ids.GYRO_SHEET, "Data sheet: rate noise, deg/s/√Hz", 0.001),
                    _sheet(ids.ACCEL_SHEET, "Data sheet: acceleration noise, µg/√Hz", 10),
                ],
                className="row",
            ),
        ]
    )


def _sheet(field_id: str, label: str, step: float) -> dmc.NumberInput:
    return dmc.NumberInput(
        id=field_id, label=label, min=0, step=step, decimalScale=4, size="sm", persistence=True, className="field"
    )


def _calibrate() -> html.Div:
    return html.Div(
        [
            dmc.RadioGroup(
                dmc.Stack([dmc.Radio(one.label, value=kind, size="md") for kind, one in KINDS.items()], gap="xs"),
                id=ids.KIND,
                label="In this order, once for each sensor and bow",
                value="still",
            ),
            html.Div(
                [
                    html.P(id=ids.HOW, className="how"),
                    html.Div(
                        [
                            dmc.Select(
                                id=ids.AXIS,
                                label="Axis that hangs upright",
                                data=[
                                    {"value": "yaw", "label": "yaw: level and upright"},
                                    {"value": "pitch", "label": "pitch: on its side"},
                                    {"value": "cant", "label": "cant: nose up or down"},
                                ],
                                value="yaw",
                                allowDeselect=False,
                            ),
                            dmc.TextInput(id=ids.CORD, label="Length of each cord", placeholder="1.55 m ± 2 mm"),
                            dmc.TextInput(id=ids.SPACING, label="Between the cords", placeholder="40 cm ± 1 mm"),
                            dmc.TextInput(
                                id=ids.MASS, label="Mass as it hangs", placeholder="2.60 kg, or the set-up's"
                            ),
                        ],
                        id=ids.SIZES,
                        className="sizes",
                        hidden=True,
                    ),
                    html.Div(
                        [
                            dmc.Button("Begin", id=ids.BEGIN, size="md", variant="default", disabled=True),
                            dmc.Button(
                                "Done: see the result", id=ids.FINISH, size="md", variant="default", disabled=True
                            ),
                            dmc.Button(
                                "Write it into the set-up", id=ids.WRITE, size="md", variant="default", disabled=True
                            ),
                        ],
                        className="row",
                    ),
                    html.Div(id=ids.FEEDBACK, className="feedback"),
                    html.Div(id=ids.RESULT, role="status"),
                    html.H3("Kept calibrations"),
                    html.Div(id=ids.KEPT),
                ],
                className="calibrate-step",
            ),
        ],
        className="calibrate",
    )

"""Set-up: archers, bows, arrows, targets and limits; a change is a version from a day on, and old shots keep theirs."""

from __future__ import annotations

from typing import Any

import dash_mantine_components as dmc
from dash import dcc, html
from quiethand.bow.limit_names import LIMIT_MEASURES

from quiethand_dashboard import ids
from quiethand_dashboard.pages.pieces import section
from quiethand_dashboard.stated_setup import FORM, Field

__all__ = ["layout"]


def layout() -> html.Div:
    return html.Div(
        [
            html.H1("Set-up"),
            html.Div(
                [
                    dmc.Select(id=ids.SETUP_WHO, label="Archer and bow", data=[], allowDeselect=False, size="md"),
                    dmc.RadioGroup(
                        dmc.Group([dmc.Radio(name, value=name) for name in ("metric", "imperial")], mt="xs"),
                        id=ids.SETUP_UNITS, label="Units of this page", value="metric", persistence=True,
                        persistence_type="local",
                    ),
                ],
                className="controls",
            ),
            _form(),
            _limits(),
        ],
        className="no-figures",
    )  # fmt: skip


def _form() -> html.Section:
    return section(
        "Archer, bow, arrow and target",
        html.P(
            "A quantity is a number with its unit; any unit is understood. Saved, it holds from the day stated: shots "
            "that are measured already keep what they were measured with.",
            className="quiet lead",
        ),
        html.Div(
            [
                dmc.TextInput(id=ids.SETUP_NEW_ARCHER, label="Archer"),
                dmc.TextInput(id=ids.SETUP_NEW_BOW, label="Bow"),
                *(_field(field) for field in FORM),
            ],
            className="group-controls setup-fields",
        ),
        html.Div(
            [
                dmc.TextInput(id=ids.SETUP_FROM, label="From the day", placeholder="today, or 2026-12-01", w=190),
                dmc.TextInput(id=ids.SETUP_WHY, label="What was changed", w=280),
                dmc.Button("Save as a version", id=ids.SETUP_SAVE),
            ],
            className="row",
        ),
        html.Div(id=ids.SETUP_TOLD, role="status", className="told"),
        html.Div(id=ids.SETUP_VERSIONS),
    )


def _field(field: Field) -> Any:
    field_id = ids.setup_field(field.table, field.key)
    if field.choices:
        return dmc.Select(
            id=field_id, label=field.label, data=list(field.choices), clearable=True, placeholder="not stated",
            clearButtonProps={"aria-label": f"{field.label} not stated"},
        )  # fmt: skip
    return dmc.TextInput(id=field_id, label=field.label, placeholder="not stated")


def _limits() -> html.Section:
    measures = [{"value": name, "label": f"{one.text}, {one.unit}"} for name, one in LIMIT_MEASURES.items()]
    return section(
        "Limits for this archer and bow",
        html.P(
            "A limit bounds a size, either way. The flags of every shot from its day on follow it at once. Without one "
            "on the pointing shift, the radius of the face's ten ring stands.",
            className="quiet lead",
        ),
        html.Div(
            [
                dmc.Select(
                    id=ids.LIMIT_MEASURE, label="Measure", data=measures, value="pointing_shift", searchable=True,
                    allowDeselect=False, w=400, maw="100%",
                ),
                dmc.NumberInput(id=ids.LIMIT_VALUE, label="Limit", min=0, hideControls=True, w=110),
                dmc.TextInput(id=ids.LIMIT_FROM, label="From the day", placeholder="today, or 2026-12-01", w=190),
                dmc.Button("Set the limit", id=ids.LIMIT_SET),
                dmc.Button("Lift it", id=ids.LIMIT_LIFT, variant="default"),
            ],
            className="row",
        ),
        html.Div(id=ids.LIMIT_TOLD, role="status", className="told"),
        html.Div(id=ids.LIMIT_TABLE),
        html.P(dcc.Link("See how the last shots stand", href="/"), className="more"),
    )  # fmt: skip

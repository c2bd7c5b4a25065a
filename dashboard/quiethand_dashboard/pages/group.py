"""Group: where the arrows hit, entered by tapping the face, and how much of it the bow's motion explains."""

from __future__ import annotations

import dash_mantine_components as dmc
from dash import dcc, html
from quiethand.bow.faces import FACES

from quiethand_dashboard import ids
from quiethand_dashboard.figures.target import BESIDE_PX
from quiethand_dashboard.pages.pieces import empty, figure, section

__all__ = ["layout"]


def layout() -> html.Div:
    return html.Div(
        [
            dcc.Location(id=ids.GROUP_URL, refresh="callback-nav"),
            dcc.Store(id=ids.GROUP_TAPPED),
            empty(
                ids.GROUP_EMPTY,
                "No shot to join an impact to yet",
                ["See some invented weeks: ", html.Code("quiethand demo")],
                ["or bring your recordings in with ", html.Code("quiethand import FILE")],
                "Then tap where each arrow hit; from five impacts on the group is told, from twenty what the bow's "
                "motion explains of it.",
            ),
            html.Div(
                [
                    html.H1("Group"),
                    html.Div(
                        [
                            _select(ids.GROUP_ARCHER, "Archer", clearable=False),
                            _select(ids.GROUP_ARROW, "Arrow", "any"),
                            _select(ids.GROUP_FROM, "From", "the first day"),
                            _select(ids.GROUP_TO, "To", "the last day"),
                            _select(ids.GROUP_FACE_NAME, "Face", clearable=False, data=list(FACES)),
                        ],
                        className="group-controls",
                    ),
                    html.Div([_face(), _entry()], className="two group-top"),
                    html.Div(
                        [
                            section("The bow's turn beside the impact", html.Div(id=ids.GROUP_EXPLAINED, role="status"),
                                    figure(ids.GROUP_BESIDE, "pointing shift beside impact", height=BESIDE_PX)),
                            _table(),
                        ],
                        className="two",
                    ),
                ],
                id=ids.GROUP_BODY,
                hidden=True,
            ),
        ]
    )  # fmt: skip


def _select(
    select_id: str, label: str, placeholder: str = "", *, clearable: bool = True, data: list[str] | None = None
) -> dmc.Select:
    return dmc.Select(
        id=select_id, label=label, data=data or [], placeholder=placeholder, clearable=clearable,
        allowDeselect=clearable, clearButtonProps={"aria-label": f"Any {label.lower()}"},
    )  # fmt: skip


def _face() -> html.Div:
    return html.Div(
        [
            html.P(
                "Tap where the arrow hit. Dots are impacts with their shot's number; the cross is the group's centre "
                "with its 95 % interval; dashed holds 39 % of such shots, dotted 95 %.",
                className="quiet",
            ),
            figure(
                ids.GROUP_FACE,
                "the target face with impacts; impacts can also be typed beside it",
                height=300,
                still=True,
            ),
        ],
        className="face",
    )


def _entry() -> html.Div:
    number = {"decimalScale": 1, "step": 5, "hideControls": True}
    return html.Div(
        [
            section(
                "Enter impacts",
                dmc.Select(
                    id=ids.GROUP_SHOT, label="The next impact is of", data=[], allowDeselect=False, searchable=True,
                    maw=360,
                ),
                html.Div(
                    [
                        dmc.NumberInput(id=ids.GROUP_RIGHT, label="Right (−: left), mm", w=150, **number),
                        dmc.NumberInput(id=ids.GROUP_UP, label="Up (−: low), mm", w=150, **number),
                        dmc.NumberInput(id=ids.GROUP_SHAFT, label="Shaft, mm across", w=150, min=0, max=15, **number),
                        dmc.Button("Add", id=ids.GROUP_ADD),
                    ],
                    className="row",
                ),
                html.Div(
                    [
                        dmc.Button("Take the last one back", id=ids.GROUP_BACK, variant="default"),
                        dcc.Upload(
                            "Import CSV: right_mm, up_mm, shot",
                            id=ids.GROUP_FILE,
                            accept=".csv,text/csv",
                            max_size=1_000_000,
                            className="upload",
                        ),
                    ],
                    className="row",
                ),
                html.Div(id=ids.GROUP_TOLD, role="status", className="told"),
            ),
            section("The group", html.Div(id=ids.GROUP_WORDS, role="status", className="over-words")),
        ]
    )  # fmt: skip


def _table() -> html.Section:
    return section(
        "Shot by shot",
        html.Div(id=ids.GROUP_TABLE, className="wide", tabIndex="0", role="region", **{"aria-label": "Shot by shot"}),
        dmc.Group(
            [
                dmc.Button("Save shots and impacts as CSV", id=ids.GROUP_CSV, variant="default"),
                dcc.Download(id=ids.GROUP_CSV_DATA),
            ],
            mt="sm",
        ),
    )

"""What a person says about shots: tags, remarks, where it was called, whether it counts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import dash_mantine_components as dmc
from dash import html

from quiethand_dashboard import ids, telling

if TYPE_CHECKING:
    from datetime import tzinfo

    from quiethand.store.typed_records import ShotMarks

__all__ = ["badges", "marks_form", "said_of"]


def marks_form(page: str, of: str) -> html.Div:
    """The form; `of` is what it marks, "this shot" or "the chosen shots"."""

    def part(name: str) -> str:
        return ids.marks(page, name)

    return html.Div(
        [
            html.Div(id=part("said"), className="marks-said"),
            html.Div(
                [
                    _field(
                        dmc.TagsInput(
                            id=part("tags"), label=f"Tag {of}", placeholder="a word, then Enter", data=[], value=[],
                            clearable=True, maxTags=10, acceptValueOnBlur=True,
                        ),
                        _button(part("tag"), "Add tags"),
                        _button(part("untag"), "Take them off"),
                    ),
                    _field(
                        dmc.TextInput(
                            id=part("called"), label="Called by the archer", placeholder="good, low left, plucked …",
                        ),
                        _button(part("call"), "Keep the call"),
                    ),
                    _field(
                        dmc.TextInput(id=part("remark"), label="Remark, or why it does not count"),
                        _button(part("add"), "Add remark"),
                        _button(part("exclude"), "Leave out of comparisons"),
                        _button(part("include"), "Let it count again"),
                    ),
                ],
                className="marks-fields",
            ),
            html.Div(id=part("told"), role="status", className="told"),
        ],
        className="marks-form",
    )  # fmt: skip


def _field(control: Any, *buttons: Any) -> html.Div:
    return html.Div([control, dmc.Group(list(buttons), gap="xs", mt=6)], className="marks-field")


def _button(button_id: str, text: str) -> dmc.Button:
    return dmc.Button(text, id=button_id, variant="default", size="sm")


def badges(marks: ShotMarks) -> list[Any]:
    """A shot's marks in a line: tags, its call, that it does not count."""
    found: list[Any] = [html.Span(tag, className="tag") for tag in marks.tags]
    if marks.call is not None:
        found.append(html.Span(f"called {_call(marks)}", className="tag"))
    if marks.exclusion is not None:
        found.append(html.Span(f"left out: {marks.exclusion.reason}", className="tag out"))
    return found


def _call(marks: ShotMarks) -> str:
    call = marks.call
    assert call is not None
    if call.right_mm is None or call.up_mm is None:
        return f"“{call.word}”"
    where = f"{telling.said_shift('right', call.right_mm).text}, {telling.said_shift('up', call.up_mm).text}"
    return f"“{call.word}”, {where}" if call.word else where


def said_of(found: Mapping[int, ShotMarks], order: Sequence[int], names: Mapping[int, str], zone: tzinfo) -> Any:
    """All marks of some shots, a line each; with what to do where there are none."""
    lines = []
    for shot_id in order:
        marks = found[shot_id]
        remarks = [
            html.Li([html.Span(f"{telling.day_words(r.unix_s, zone)}: ", className="quiet"), r.text])
            for r in marks.remarks
        ]
        told = badges(marks)
        if told or remarks:
            name = [html.B(names[shot_id] + " ")] if len(order) > 1 else []
            lines.append(html.Li([*name, *told, *([html.Ul(remarks, className="remarks")] if remarks else [])]))
    if not lines:
        return html.P("Nothing is noted yet.", className="quiet")
    return html.Ul(lines, className="marks-list")

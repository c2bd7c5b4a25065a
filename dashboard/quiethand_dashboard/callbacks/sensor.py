"""The sensor's page: what the recorder and its recording tell, and what the page asks for, by `quiethand.control`."""

from __future__ import annotations

import json
import time
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from dash import Dash, Input, Output, State, ctx, html, no_update
from plotly.utils import PlotlyJSONEncoder
from quiethand.control import Answer, SupervisorState, Wish, read_supervisor, recording_of, send_wish
from quiethand.errors import InputError
from quiethand.home import home

from quiethand_dashboard import ids as shell_ids
from quiethand_dashboard import sensor_ids as ids
from quiethand_dashboard import telling
from quiethand_dashboard.checked import Checker
from quiethand_dashboard.growing import Followed, GrowingCalibration, GrowingLink
from quiethand_dashboard.pages import sensor_parts
from quiethand_dashboard.pages.sensor_words import KINDS, NO_SUPERVISOR, recording_words

if TYPE_CHECKING:
    from quiethand.live_status import LiveStatus
    from quiethand.store.store import Store

__all__ = ["SensorView", "register", "sensor_view", "wish_for"]

_PATIENCE_S: Final = 20.0  # for an answer: an analysis may have to end first
_MODES: Final = 6  # shots whose mount's mode is shown
_KEPT_SHOWN: Final = 8
_LIST_EVERY: Final = 3  # looks


class SensorView(NamedTuple):
    """What is shown, in the order of the outputs."""

    words: Any
    ports: list[str]
    port_hidden: bool
    record: str
    record_disabled: bool
    record_answer: Any
    link: Any
    feedback: Any
    result: Any
    begin_disabled: bool
    finish_disabled: bool
    write: str
    write_disabled: bool


_links, _calibrations = Followed(GrowingLink), Followed(GrowingCalibration)


def sensor_view(
    folder: Path,
    status: LiveStatus | None,
    kind: str,
    asked: Mapping[str, Any] | None,
    sheet: tuple[float | None, float | None],
    now_unix_s: float,
) -> SensorView:
    """How things stand.

    Args:
        folder: the home.
        status: of the recorder.
        kind: the calibration that is chosen.
        asked: the page's last wish.
        sheet: the data sheet's noise densities, gyro and accelerometer.
    """
    state = read_supervisor(folder, now_unix_s=now_unix_s)
    if state is None:
        words = [NO_SUPERVISOR[0], html.Code(NO_SUPERVISOR[1])]
        nothing = sensor_parts.link_figures(None, None, sheet)
        return SensorView(words, [], True, "Start recording", True, "", nothing, "", "", True, True, _write(""), True)
    answer = state.answer if asked and state.answer and state.answer.id == asked.get("id") else None
    pending = bool(asked) and answer is None and now_unix_s - (asked or {}).get("unix_s", 0.0) < _PATIENCE_S
    runs = state.purpose == kind
    result = _result(asked, answer, kind, pending)
    may_write = bool(answer and answer.ok and asked and asked["for"] == kind and asked["step"] == "try" and state.setup)
    return SensorView(
        recording_words(state, status),
        list(state.ports),
        state.purpose is not None or not state.ports,
        "Start recording" if state.purpose is None else "Stop recording",
        pending or (state.purpose is None and not state.ports),
        _record_answer(asked, answer, pending),
        _link(folder, state, status, sheet),
        _feedback(folder, state, kind, pending) if runs or not result else "",
        result,
        pending or runs or not state.ports,
        pending or not runs,
        _write(state.setup),
        pending or not may_write,
    )


def _write(setup: str) -> str:
    return f"Write it into {setup}" if setup else "Write it into the set-up"


def _record_answer(asked: Mapping[str, Any] | None, answer: Answer | None, pending: bool) -> str:
    if not asked or asked["step"] not in ("record", "stop", "begin"):
        return ""
    if pending:
        return "It is being done …"
    if answer is None:
        return "No answer. Is the program in the terminal still running?"
    return "" if answer.ok else " ".join(answer.lines)


def _result(asked: Mapping[str, Any] | None, answer: Answer | None, kind: str, pending: bool) -> Any:
    if not asked or asked["for"] != kind or asked["step"] not in ("try", "write"):
        return ""
    if answer is None:
        return html.P("It is being worked out …" if pending else "No answer.", className="quiet")
    return sensor_parts.result(answer, written=asked["step"] == "write")


def _link(
    folder: Path, state: SupervisorState, status: LiveStatus | None, sheet: tuple[float | None, float | None]
) -> Any:
    path = recording_of(folder, state.recording) if state.purpose else None
    health = None
    if path is not None:
        try:
            health = _links.look(path)
        except OSError:
            health = None
    if state.purpose and (status is None or status.state == "stopped"):
        return [html.P("Waiting for the recorder.")]
    return sensor_parts.link_figures(status if state.purpose else None, health, sheet)


def _feedback(folder: Path, state: SupervisorState, kind: str, pending: bool) -> Any:
    path = recording_of(folder, state.recording) if state.purpose == kind else None
    if pending and path is None:
        return sensor_parts.feedback(None, waiting="It is being done …")
    if path is None:
        waiting = "" if state.purpose is None else "Beginning ends the recording that runs; what is in it is kept."
        if not state.setup:
            waiting += " There is no set-up file to write into: start with quiethand live --setup FILE."
        return sensor_parts.feedback(None, waiting=waiting.strip())
    try:
        told = _calibrations.look(path, kind)
    except (OSError, InputError) as wrong:
        return html.P(f"It can't be followed: {getattr(wrong, 'what', 'the recording has gone')}.")
    return sensor_parts.feedback(told, waiting="Waiting for the first second of samples.")


def wish_for(
    button: str,
    state: SupervisorState | None,
    port: str | None,
    kind: str,
    options: Mapping[str, str | None],
    asked: Mapping[str, Any] | None,
) -> tuple[Wish, dict[str, Any]] | None:
    """What a button asks for, and what the page keeps in mind of it; None where it can't be."""
    if state is None or kind not in KINDS:
        return None
    if button == ids.RECORD:
        if state.purpose is not None:
            return Wish("stop"), {"for": "", "step": "stop"}
        return Wish("record", "shots", port), {"for": "", "step": "record"}
    if button == ids.BEGIN:
        chosen = port if state.purpose is None else state.port or port
        return Wish("record", kind, chosen), {"for": kind, "step": "begin"}  # type: ignore[arg-type]
    given = {name: text.strip() for name, text in options.items() if kind == "inertia" and text and text.strip()}
    writes = button == ids.WRITE
    # to write what was tried is to do it again with the same recording, though nothing is recorded any more
    recording = str((asked or {}).get("recording", "")) if writes else state.recording
    return (
        Wish("calibrate", kind, recording=recording, options=given, write=writes),  # type: ignore[arg-type]
        {"for": kind, "step": "write" if writes else "try", "recording": recording},
    )


def _changed(view: SensorView, shown: dict[str, Any] | None) -> tuple[list[Any], dict[str, str]]:
    """Each part only where it differs from what is shown, and what is shown then."""
    drawn = {name: json.dumps(value, cls=PlotlyJSONEncoder) for name, value in view._asdict().items()}
    before = shown or {}
    return [no_update if before.get(name) == drawn[name] else getattr(view, name) for name in drawn], drawn


def register(app: Dash, store: Store) -> None:
    checker = Checker()

    @app.callback(
        Output(ids.RECORD_WORDS, "children"),
        Output(ids.PORT, "data"),
        Output(ids.PORT_PLACE, "hidden"),
        Output(ids.RECORD, "children"),
        Output(ids.RECORD, "disabled"),
        Output(ids.RECORD_ANSWER, "children"),
        Output(ids.LINK, "children"),
        Output(ids.FEEDBACK, "children"),
        Output(ids.RESULT, "children"),
        Output(ids.BEGIN, "disabled"),
        Output(ids.FINISH, "disabled"),
        Output(ids.WRITE, "children"),
        Output(ids.WRITE, "disabled"),
        Output(ids.SHOWN, "data"),
        Output(ids.PORT, "value"),
        Input(ids.PULSE, "n_intervals"),
        Input(ids.KIND, "value"),
        Input(ids.ASKED, "data"),
        Input(ids.GYRO_SHEET, "value"),
        Input(ids.ACCEL_SHEET, "value"),
        State(ids.SHOWN, "data"),
        State(ids.PORT, "value"),
        running=[(Output(ids.PULSE, "disabled"), True, False)],
    )
    def _look(
        _: int | None, kind: str, asked: Any, gyro: Any, accel: Any, shown: Any, port: str | None
    ) -> list[Any]:  # fmt: skip
        view = sensor_view(home(), store.live_status(), kind, asked, (_over_0(gyro), _over_0(accel)), time.time())
        parts, drawn = _changed(view, shown)
        chosen = no_update if port in view.ports or not view.ports else view.ports[0]
        return [*parts, drawn, chosen]

    @app.callback(
        Output(ids.ASKED, "data"),
        Input(ids.RECORD, "n_clicks"),
        Input(ids.BEGIN, "n_clicks"),
        Input(ids.FINISH, "n_clicks"),
        Input(ids.WRITE, "n_clicks"),
        State(ids.PORT, "value"),
        State(ids.KIND, "value"),
        State(ids.AXIS, "value"),
        State(ids.CORD, "value"),
        State(ids.SPACING, "value"),
        State(ids.MASS, "value"),
        State(ids.ASKED, "data"),
        prevent_initial_call=True,
    )
    def _press(*given: Any) -> Any:
        port, kind, axis, cord, spacing, mass, asked = given[4:]
        options = {"axis": axis, "cord-length": cord, "spacing": spacing, "mass": mass}
        state = read_supervisor()
        wished = wish_for(str(ctx.triggered_id), state, port, kind, options, asked)
        if wished is None:
            return no_update
        wish, kept = wished
        return kept | {"id": send_wish(wish), "unix_s": time.time()}

    @app.callback(Output(ids.HOW, "children"), Output(ids.SIZES, "hidden"), Input(ids.KIND, "value"))
    def _how(kind: str) -> tuple[str, bool]:
        return (KINDS[kind].how if kind in KINDS else ""), kind != "inertia"

    @app.callback(Output(ids.MOUNT, "children"), Input(shell_ids.TOKEN, "data"))
    def _mount(_: Any) -> Any:
        return sensor_parts.mount(
            [
                (shot.number, (shot.contract.get("follow_through") or {}).get("mount_mode_hz"))
                for shot in store.latest_shots(_MODES)
            ]
        )

    @app.callback(Output(ids.KEPT, "children"), Input(shell_ids.TOKEN, "data"), Input(ids.RESULT, "children"))
    def _kept(_: Any, __: Any) -> Any:
        return sensor_parts.calibrations(store.calibrations(limit=_KEPT_SHOWN))

    @app.callback(
        Output(ids.RECORDINGS, "children"),
        Output(ids.LISTED, "data"),
        Input(ids.PULSE, "n_intervals"),
        State(shell_ids.ZONE, "data"),
        State(ids.LISTED, "data"),
    )
    def _recordings(number: int | None, zone: str | None, shown: str | None) -> tuple[Any, Any]:
        if shown is not None and (number or 0) % _LIST_EVERY:
            return no_update, no_update
        state = read_supervisor()
        found = checker.listed(home() / "recordings", state.recording if state else "", store)
        drawn = sensor_parts.recordings(found, telling.zone_of(zone))
        told = json.dumps(drawn, cls=PlotlyJSONEncoder)
        return (no_update, no_update) if told == shown else (drawn, told)


def _over_0(value: Any) -> float | None:
    return float(value) if isinstance(value, int | float) and value > 0 else None

"""The sensor's page without a browser: what it says in each state, what its buttons ask for, what it lists."""

from __future__ import annotations

import json
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import kitchen_table as table
import pytest
from plotly.utils import PlotlyJSONEncoder
from quiethand.calibrate.feedback import Feedback, Step
from quiethand.control import Answer, SupervisorState, write_supervisor
from quiethand.live_status import LiveStatus
from quiethand.store.store import Store
from quiethand_dashboard import sensor_ids as ids
from quiethand_dashboard.callbacks.sensor import SensorView, sensor_view, wish_for
from quiethand_dashboard.checked import Checker
from quiethand_dashboard.growing import Followed, GrowingCalibration, GrowingLink
from quiethand_dashboard.pages import sensor_parts
from quiethand_protocol import Session, encode

IDLE = SupervisorState(port="/dev/ttyACM0", ports=("/dev/ttyACM0",), setup="bow.toml")
SENSOR = table.Sensor()


def words(component: Any) -> str:
    return json.dumps(component, cls=PlotlyJSONEncoder, ensure_ascii=False)


def view(folder: Path, state: SupervisorState | None, kind: str = "still", asked: Any = None) -> SensorView:
    if state is not None:
        write_supervisor(folder, state)
    return sensor_view(folder, None, kind, asked, (None, None), time.time())


def test_without_a_supervisor_it_says_what_to_do(tmp_path: Path) -> None:
    seen = view(tmp_path, None)
    assert "quiethand live" in words(seen.words)
    assert seen.record_disabled
    assert seen.begin_disabled
    assert seen.finish_disabled
    assert seen.write_disabled


def test_idle_it_offers_to_begin(tmp_path: Path) -> None:
    seen = view(tmp_path, IDLE)
    assert (seen.record, seen.record_disabled, seen.begin_disabled, seen.port_hidden) == (
        "Start recording", False, False, False,
    )  # fmt: skip
    assert seen.finish_disabled
    none = view(tmp_path, replace(IDLE, port="", ports=()))
    assert "Plug the sensor in" in none.words
    assert none.record_disabled
    assert "no set-up file" in words(view(tmp_path, replace(IDLE, setup="")).feedback)


def test_while_a_calibration_grows_it_tells_how_it_goes(tmp_path: Path) -> None:
    (tmp_path / "recordings").mkdir()
    path = table.record(tmp_path / "recordings/a_still.qhr", SENSOR, *table.lying(SENSOR, 14.0))
    state = replace(IDLE, purpose="still", recording=path.name)
    seen = view(tmp_path, state)
    assert "still for 10 s" in words(seen.feedback)
    assert (seen.finish_disabled, seen.begin_disabled, seen.record) == (False, True, "Stop recording")
    assert "Beginning ends the recording" in words(view(tmp_path, state, "mount").feedback)


def test_an_answer_is_waited_for_shown_and_missed(tmp_path: Path) -> None:
    asked = {"id": "a", "for": "still", "step": "try", "recording": "r.qhr", "unix_s": time.time()}
    waiting = view(tmp_path, IDLE, asked=asked)
    assert "worked out" in words(waiting.result)
    assert waiting.begin_disabled
    ok = view(tmp_path, replace(IDLE, answer=Answer("a", True, ("gyro bias: 1",))), asked=asked)
    assert "gyro bias: 1" in words(ok.result)
    assert (ok.write, ok.write_disabled) == ("Write it into bow.toml", False)
    bad = view(tmp_path, replace(IDLE, answer=Answer("a", False, ("it moves",))), asked=asked)
    assert "does not tell it yet" in words(bad.result)
    assert bad.write_disabled
    written = view(tmp_path, replace(IDLE, answer=Answer("a", True, ("kept",))), asked={**asked, "step": "write"})
    assert "Written." in words(written.result)
    assert written.write_disabled
    never = view(tmp_path, IDLE, asked={**asked, "step": "record", "unix_s": time.time() - 60})
    assert "No answer" in never.record_answer


def test_what_each_button_asks_for() -> None:
    sizes = {"axis": "yaw", "cord-length": " 1.5 m ", "spacing": "40 cm", "mass": ""}

    def asks(button: str, state: SupervisorState | None, kind: str = "still", asked: Any = None) -> Any:
        return wish_for(button, state, "/dev/ttyACM0", kind, sizes, asked)

    running = replace(IDLE, purpose="inertia", recording="x_inertia.qhr")
    assert asks(ids.RECORD, None) is None
    assert asks(ids.BEGIN, IDLE, "anything") is None
    wish, _ = asks(ids.RECORD, IDLE)
    assert (wish.what, wish.purpose, wish.port) == ("record", "shots", "/dev/ttyACM0")
    assert asks(ids.RECORD, running)[0].what == "stop"
    wish, kept = asks(ids.FINISH, running, "inertia")
    assert (wish.recording, wish.write) == ("x_inertia.qhr", False)
    assert wish.options == {"axis": "yaw", "cord-length": "1.5 m", "spacing": "40 cm"}
    wish, kept = asks(ids.WRITE, IDLE, "inertia", kept)
    assert (wish.recording, wish.write, kept["step"]) == ("x_inertia.qhr", True, "write")
    assert asks(ids.FINISH, running, "still")[0].options == {}


def test_the_links_figures_say_what_they_are_held_against(tmp_path: Path) -> None:
    path = table.record(
        tmp_path / "a.qhr", replace(SENSOR, rate_hz=1000.0), *table.lying(replace(SENSOR, rate_hz=1000.0), 6.0)
    )
    health = Followed(GrowingLink).look(path)
    status = LiveStatus(
        "recording", "/dev/ttyACM0", rate_hz=1000.0, nominal_rate_hz=1000.0, samples=9_900, lost_samples=100,
        bytes_per_s=80_000, line_bytes_per_s=92_160,
    )  # fmt: skip
    told = words(sensor_parts.link_figures(status, health, (0.002, None)))
    assert "1 % of 10,000" in told
    assert "87 % of what the line carries: keep under 70 %" in told
    assert "standard gravity" in told
    assert "times the data sheet's: too much" in told
    assert "can be typed below" in told
    assert "Nothing is being recorded" in words(sensor_parts.link_figures(None, None, (None, None)))
    lifted = words(sensor_parts.link_figures(status, None, (None, None)))
    assert "lay it on something heavy" in lifted


@pytest.mark.parametrize(
    ("modes", "said"),
    [
        ([], "No shot has told it yet"),
        ([(3, None)], "rang too little"),
        ([(3, 80.0), (2, 70.0), (1, None)], "can't be trusted"),
        ([(3, 130.0)], "may be the bow"),
        ([(3, 400.0)], "firm"),
    ],
)
def test_how_firmly_it_sits(modes: list[tuple[int, float | None]], said: str) -> None:
    assert said in words(sensor_parts.mount(modes))


def test_steps_are_told_in_words_and_not_by_a_sign_alone() -> None:
    told = words(
        sensor_parts.feedback(Feedback(0.0, (Step("one", True), Step("two", False)), "Go on.", False), waiting="")
    )
    assert "– done" in told
    assert "– to do" in told
    assert "It moves" in told


def test_followed_begins_anew_with_another_recording(tmp_path: Path) -> None:
    followed = Followed(GrowingCalibration)
    still = table.record(tmp_path / "a.qhr", SENSOR, *table.lying(SENSOR, 12.0))
    assert followed.look(still, "still").enough
    moving = table.record(tmp_path / "b.qhr", SENSOR, *table.trembling(SENSOR, 12.0, 3))
    assert not followed.look(moving, "still").enough
    assert Followed(GrowingCalibration).look(_cut(tmp_path, still), "still") is None


def test_the_mount_in_the_recording_tells_how_level_it_lies(tmp_path: Path) -> None:
    path = table.record(tmp_path / "a.qhr", SENSOR, *table.lying(SENSOR, 12.0))
    header, _, rest = path.read_bytes().partition(b"\0")
    session = encode(Session({"sensor": {"mount": [1.0, 0.0, 0.0, 0.0]}}))  # half a turn about x: it lies upside down
    path.write_bytes(header + b"\0" + session + rest)
    assert "off how it sits on a level bow" in Followed(GrowingCalibration).look(path, "still").words
    assert "17" in Followed(GrowingCalibration).look(path, "still").words


def _cut(tmp_path: Path, whole: Path) -> Path:
    (tmp_path / "begun.qhr").write_bytes(whole.read_bytes()[:300])
    return tmp_path / "begun.qhr"


def test_recordings_are_listed_with_their_state(tmp_path: Path, fresh: Store) -> None:
    whole = table.record(tmp_path / "whole.qhr", SENSOR, *table.lying(SENSOR, 3.0))
    lossy = table.record(tmp_path / "lossy.qhr", SENSOR, *table.lying(SENSOR, 3.0), lose=slice(160, 320))
    (tmp_path / "empty.qhr").write_bytes(b"")
    (tmp_path / "grows.qhr").write_bytes(whole.read_bytes()[:500])
    (tmp_path / "other.txt").write_text("no recording")
    checker = Checker()
    until = time.monotonic() + 20
    while True:
        found = {one.name: one for one in checker.listed(tmp_path, "grows.qhr", fresh)}
        if all(one.state != "looking" for one in found.values()) or time.monotonic() > until:
            break
        time.sleep(0.02)
    states = {name: one.state for name, one in found.items()}
    assert states == {
        "whole.qhr": "whole",
        lossy.name: "damaged",
        "empty.qhr": states["empty.qhr"],
        "grows.qhr": "growing",
    }
    assert states["empty.qhr"] in ("empty", "unreadable")
    assert found["whole.qhr"].duration_s == pytest.approx(3.0, abs=0.1)
    assert found["whole.qhr"].begun_unix_s == 1_767_636_000  # as its HEADER says: 2026-01-05T18:00:00Z

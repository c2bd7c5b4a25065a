"""What a page may ask of the recorder, and what it may not: whoever holds the page reaches no port and file by it."""

from __future__ import annotations

import json
import time
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any, cast

import pytest
from click.testing import CliRunner
from quiethand.commands.calibration_kept import keep_calibration
from quiethand.commands.live import command as live_command
from quiethand.commands.supervisor import Supervisor
from quiethand.commands.wishes import Wishes
from quiethand.control import (
    SupervisorState,
    Wish,
    read_supervisor,
    read_wish,
    recording_of,
    send_wish,
    write_supervisor,
)
from quiethand.link import ports
from quiethand.link.ports import Port
from quiethand.store import open_store
from quiethand_protocol import Description, Header, encode

DESCRIPTION = Description(b"uid-of-8", 1_000_000, 1_000_000, 0.01, 0.001, boot=1)
OWN = "socket://127.0.0.1:7000"


class Noted:
    """A supervisor that only notes what it is told."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.records, self.recorder_said = folder, False, ""
        self.told: list[tuple[Any, ...]] = []

    def record(self, url: str, recording: Path, setup: Path | None, options: list[str], *, shots: bool) -> None:
        self.told.append((url, recording, setup, options, shots))
        self.records = True

    def end_recording(self) -> None:
        self.records = False


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("QUIETHAND_HOME", str(tmp_path))
    monkeypatch.setattr(ports, "list_ports", lambda: [Port("/dev/ttyACM3", looks_like_sensor=True)])
    return tmp_path


def wishes_of(supervisor: Noted, port: str | None = OWN, setup: Path | None = None) -> Wishes:
    return Wishes(cast(Supervisor, supervisor), port, setup, ["--rate", "1000"])


def answered(wishes: Wishes, wish: Wish, folder: Path) -> tuple[SupervisorState, bool, str]:
    """Send it, look once, and what was answered."""
    number = send_wish(wish)
    wishes.look()
    state = read_supervisor(folder)
    assert state is not None
    if state.answer is None or state.answer.id != number:
        return state, True, ""
    return state, state.answer.ok, " ".join(state.answer.lines)


def test_recordings_begin_and_end(folder: Path) -> None:
    supervisor = Noted(folder)
    wishes = wishes_of(supervisor)
    state, ok, _ = answered(wishes, Wish("record", "still"), folder)
    assert ok
    (told,) = supervisor.told
    assert (told[0], told[2], told[3], told[4]) == (OWN, None, ["--rate", "1000"], False)
    assert told[1].parent == folder / "recordings"
    assert told[1].name.endswith("_still.qhr")
    assert (state.purpose, state.recording, state.ports) == ("still", told[1].name, (OWN, "/dev/ttyACM3"))
    answered(wishes, Wish("record", "shots", "/dev/ttyACM3"), folder)
    assert supervisor.told[-1][0] == "/dev/ttyACM3"
    assert supervisor.told[-1][4] is True
    state, ok, said = answered(wishes, Wish("stop"), folder)
    assert (state.purpose, ok, said) == (None, True, "stopped")


def test_a_recorder_that_fails_is_told_to_the_page_that_asked_for_it(folder: Path) -> None:
    supervisor = Noted(folder)
    wishes = wishes_of(supervisor)
    assert not wishes.began_it  # the terminal's own recorder: the terminal ends with it
    answered(wishes, Wish("record"), folder)
    supervisor.recorder_said = "quiethand: the port is in use"
    assert wishes.began_it
    wishes.failed()
    state = read_supervisor(folder)
    assert state is not None
    assert state.answer is not None
    assert state.answer.lines == ("quiethand: the port is in use",)
    assert not state.answer.ok


@pytest.mark.parametrize("port", ["/etc/passwd", "socket://192.0.2.1:80", "/dev/ttyS0", "rfc2217://x:1", "", "-"])
def test_only_ports_that_are_listed_or_were_given(folder: Path, port: str) -> None:
    supervisor = Noted(folder)
    _, ok, said = answered(wishes_of(supervisor, port=None), Wish("record", "shots", port), folder)
    assert not ok
    assert "no such port" in said
    assert supervisor.told == []


@pytest.mark.parametrize(
    "name", ["../evil.qhr", "/etc/passwd", "a/b.qhr", "..", "", "one.qhr\0", "link.qhr", "one.toml", "nothing.qhr"]
)
def test_only_recordings_of_the_folder(folder: Path, name: str) -> None:
    recordings = folder / "recordings"
    recordings.mkdir()
    (recordings / "one.qhr").write_bytes(b"")
    (recordings / "one.toml").write_bytes(b"")
    (folder / "evil.qhr").write_bytes(b"")
    (recordings / "link.qhr").symlink_to(folder / "evil.qhr")
    assert recording_of(folder, "one.qhr") == recordings / "one.qhr"
    assert recording_of(folder, name) is None
    _, ok, said = answered(wishes_of(Noted(folder)), Wish("calibrate", "still", recording=name), folder)
    assert (ok, said) == (False, "no such recording")


@pytest.mark.parametrize(
    "changed",
    [
        {"what": "delete"}, {"purpose": "../x"}, {"port": 7}, {"recording": None}, {"options": {"setup": "/etc/x"}},
        {"options": {"axis": "y" * 81}}, {"options": {"axis": 1}}, {"options": "axis"}, {"write": "yes"}, {"id": 3},
        {"written_unix_s": "now"}, {"more": 1},
    ],
)  # fmt: skip
def test_what_is_no_wish_is_not_heard(folder: Path, changed: dict[str, Any]) -> None:
    sound = asdict(Wish("calibrate", "inertia", options={"axis": "yaw"}, id="a", written_unix_s=time.time()))
    (folder / "control.json").write_text(json.dumps(sound))
    assert read_wish(folder) is not None
    (folder / "control.json").write_text(json.dumps(sound | changed))
    assert read_wish(folder) is None


@pytest.mark.parametrize("text", ["", "[]", "{", "\0", "9" * 100_000])
def test_nor_is_what_is_no_object(folder: Path, text: str) -> None:
    (folder / "control.json").write_text(text)
    assert read_wish(folder) is None
    (folder / "supervisor.json").write_text(text)
    assert read_supervisor(folder) is None


def test_a_wish_of_an_earlier_run_and_an_old_one_are_not_done(folder: Path) -> None:
    send_wish(Wish("record"))
    supervisor = Noted(folder)
    wishes = wishes_of(supervisor)
    wishes.look()
    old = replace(Wish("record"), id="old", written_unix_s=time.time() - 60)
    (folder / "control.json").write_text(json.dumps(asdict(old)))
    wishes.look()
    assert supervisor.told == []


def test_a_supervisor_that_has_gone_is_none(folder: Path) -> None:
    write_supervisor(folder, SupervisorState(purpose="shots"))
    assert read_supervisor(folder) is not None
    assert read_supervisor(folder, now_unix_s=time.time() + 60) is None


def test_without_a_set_up_nothing_is_written(folder: Path) -> None:
    (folder / "recordings").mkdir()
    (folder / "recordings/one.qhr").write_bytes(b"")
    _, ok, said = answered(
        wishes_of(Noted(folder)), Wish("calibrate", "still", recording="one.qhr", write=True), folder
    )  # fmt: skip
    assert not ok
    assert "--setup" in said


def test_live_without_a_port_has_no_recording_of_a_given_name() -> None:
    done = CliRunner().invoke(live_command, ["--out", "x.qhr"])
    assert done.exit_code == 2
    assert "--out goes with --port" in done.output


def test_a_port_that_can_not_be_opened_is_told_and_the_supervisor_goes_on(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(ports, "list_ports", lambda: [Port("/dev/no-such-port", looks_like_sensor=True)])
    supervisor = Supervisor(folder)
    wishes = Wishes(supervisor, None, None)
    supervisor.obey(wishes)
    number = send_wish(Wish("record", "shots", "/dev/no-such-port"))
    state: list[SupervisorState] = []

    def look_and_see() -> None:
        Wishes.look(wishes)
        found = read_supervisor(folder)
        if found is not None and found.answer is not None and found.answer.id == number and not supervisor.records:
            state.append(found)
            supervisor.shots = 1  # ends the run below

    monkeypatch.setattr(wishes, "look", look_and_see)
    assert supervisor.run(shots=1, patience_s=30)
    answer = state[0].answer
    assert answer is not None
    assert not answer.ok
    assert "no such port" in " ".join(answer.lines)
    assert state[0].purpose is None
    assert "no such port" in capfd.readouterr().err  # and in the terminal


def test_what_a_calibration_found_is_kept_for_its_sensor(folder: Path) -> None:
    setup, recording = folder / "bow.toml", folder / "a_still.qhr"
    setup.write_text('[bow]\nmass = "2.6 kg"\ninertia = {yaw = "0.1 kg m^2"}\n[sensor]\ngyro_bias = ["1 deg/s"]\n')
    recording.write_bytes(encode(Header("2026-01-05T18:00:00Z", "a test")) + encode(DESCRIPTION))
    url = f"sqlite:///{folder / 'shots.sqlite3'}"
    keep_calibration(url, "still", setup, recording)
    keep_calibration(url, "inertia", setup, recording)
    store = open_store(url)
    kept = {one.kind: dict(one.document) for one in store.calibrations(sensor_uid=DESCRIPTION.uid.hex())}
    store.close()
    assert kept == {
        "still": {"recording": "a_still.qhr", "sensor": {"gyro_bias": ["1 deg/s"]}},
        "inertia": {"recording": "a_still.qhr", "bow": {"inertia": {"yaw": "0.1 kg m^2"}}},
    }

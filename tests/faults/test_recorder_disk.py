"""A disk or port that fails: one clear line, exit 2, and what is written stays whole."""

from __future__ import annotations

import errno
import os
import shutil
import signal
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from command_line import refused
from command_line import run as run_verb
from quiethand.errors import InputError
from quiethand.link import recording_file
from quiethand.link.record_loop import record_loop
from quiethand.link.recorder import Recorder
from quiethand.link.recording_file import RecordingFile
from quiethand.link.serial_port import LinkLost
from quiethand_protocol.encoding import encode
from quiethand_protocol.messages import Description, Samples, status_byte
from quiethand_protocol.parser import Parser

DESCRIPTION = encode(Description(b"diskfull", 1_000_000, 2_000_000, 0.01, 0.001, boot=1))
FRAMES = [encode(Samples(n * 20, n * 10_000, np.full((20, 6), n, np.int16), status_byte(0, 0, 1))) for n in range(8)]


class ScriptedLink:
    """Gives its pieces one after the other; an exception among them is raised; then it has ended."""

    def __init__(self, pieces: list[bytes | LinkLost], pause_s: float = 0.0) -> None:
        self.pieces, self.pause_s = list(pieces), pause_s

    def read(self) -> bytes:
        time.sleep(self.pause_s)
        if not self.pieces:
            raise LinkLost("the end", ended=True)
        piece = self.pieces.pop(0)
        if isinstance(piece, LinkLost):
            raise piece
        return piece

    def write(self, data: bytes) -> None: ...

    def close(self) -> None: ...


def run(out: Path, *, force: bool = False, pause_s: float = 0.0) -> None:
    recorder = Recorder(created="2026-01-09T18:00:00Z", software="test", recording_id="disk")
    link = ScriptedLink([DESCRIPTION, *FRAMES], pause_s)
    file = RecordingFile(out, force=force)
    record_loop(
        recorder, link, file, url="x", baud=1, enough=lambda _p: False, show=lambda _p: None
    )  # fmt: skip


def blocks_in(path: Path) -> tuple[int, int]:
    parser = Parser("recording")
    parser.feed(path.read_bytes())
    parser.finish()
    return parser.blocks, parser.bad_frames


class FullDisk:
    """os.write of a disk that is full from a call on."""

    def __init__(self, at: int) -> None:
        self.at, self.calls, self.real = at, 0, os.write

    def __call__(self, file: int, data: bytes) -> int:
        self.calls += 1
        if self.calls >= self.at:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return self.real(file, data)


class FailingCalls:
    """The module `os` with one call of one function, counted from 1, failing; `calls` counts those of each."""

    def __init__(self, name: str = "", at: int = 0, *, short: bool = False) -> None:
        self.name, self.at, self.short = name, at, short
        self.calls = dict.fromkeys(("open", "fstat", "ftruncate", "write", "fsync", "close"), 0)

    def __getattr__(self, name: str) -> object:
        real = getattr(os, name)
        if name not in self.calls:
            return real

        def call(*args: object) -> object:
            self.calls[name] += 1
            if (name, self.calls[name]) != (self.name, self.at):
                return real(*args)
            if self.short:
                return real(args[0], bytes(args[1])[: len(bytes(args[1])) // 2])  # type: ignore[call-overload]
            if name == "close":  # the descriptor is gone all the same
                real(*args)
            raise OSError(errno.EIO, os.strerror(errno.EIO))

        return call


def test_every_call_failing_once_leaves_the_file_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every open, look, write, flush and close of the recorder's file, in a loop; writes that take only half, too."""
    monkeypatch.setattr(recording_file, "_SYNC_EVERY_S", 0.002)
    monkeypatch.setattr(recording_file, "_TRY_AGAIN_S", 0.0)

    def attempt(calls: FailingCalls, out: Path) -> None:
        monkeypatch.setattr(recording_file, "os", calls)
        out.write_bytes(b"what was there before")
        run(out, force=True, pause_s=0.004)
        assert blocks_in(out) == (8, 0)

    counting = FailingCalls()
    attempt(counting, tmp_path / "whole.qhr")
    print(f"calls, each failed once: {counting.calls}")
    assert counting.calls["write"] >= 9
    assert min(counting.calls.values()) >= 1
    assert counting.calls["fsync"] >= 5
    for name, calls in counting.calls.items():
        for at in range(1, calls + 1):
            for short in (False, True) if name == "write" else (False,):
                out = tmp_path / f"{name}-{at}-{short}.qhr"
                failing = FailingCalls(name, at, short=short)
                if at > 1 or name not in ("open", "fstat", "ftruncate"):
                    attempt(failing, out)
                    continue
                with pytest.raises(InputError, match=str(out)) as told:  # it refuses to begin, and holds nothing
                    attempt(failing, out)
                assert "\n" not in str(told.value)
                assert out.read_bytes() == b"what was there before"
                attempt(FailingCalls(), out)


def test_a_disk_that_stays_full_keeps_what_is_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for at in range(1, 9):
        monkeypatch.setattr(recording_file, "_TRY_AGAIN_S", 0.001)
        out = tmp_path / f"{at}.qhr"
        monkeypatch.setattr(recording_file.os, "write", FullDisk(at))
        with pytest.raises(InputError, match="the disk is full") as told:
            run(out)
        assert str(out) in str(told.value)
        assert "\n" not in str(told.value)
        monkeypatch.undo()
        assert blocks_in(out) == (max(0, at - 3), 0)  # header, description, then a block a write


def test_a_sync_that_fails_once_is_done_again_and_one_that_keeps_failing_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real, calls = os.fsync, [0]

    def once(file: int) -> None:
        calls[0] += 1
        if calls[0] == 1:
            raise OSError(errno.EIO, "input/output error")
        real(file)

    monkeypatch.setattr(recording_file.os, "fsync", once)
    run(tmp_path / "once.qhr")
    assert calls[0] == 2
    assert blocks_in(tmp_path / "once.qhr") == (8, 0)

    def always(file: int) -> None:
        raise OSError(errno.ENOSPC, "no space")

    monkeypatch.setattr(recording_file.os, "fsync", always)
    with pytest.raises(InputError, match="the disk is full"):
        run(tmp_path / "always.qhr")
    assert blocks_in(tmp_path / "always.qhr") == (8, 0)


def test_it_is_synced_about_once_a_second(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    calls: list[float] = []
    monkeypatch.setattr(recording_file.os, "fsync", lambda _file: calls.append(time.monotonic()))
    assert recording_file._SYNC_EVERY_S <= 1.0
    monkeypatch.setattr(recording_file, "_SYNC_EVERY_S", 0.2)
    file = RecordingFile(tmp_path / "synced.qhr")
    time.sleep(0.5)
    assert len(calls) == 2
    file.close()
    assert len(calls) == 3


def test_a_file_deleted_while_recording_is_noticed(tmp_path: Path) -> None:
    file = RecordingFile(tmp_path / "gone.qhr")
    file.check()
    (tmp_path / "gone.qhr").unlink()
    with pytest.raises(InputError, match="deleted"):
        file.check()
    file.close()


@pytest.mark.skipif(sys.platform == "win32", reason="an open file can't be deleted there")
def test_a_folder_that_vanishes_while_recording_is_one_line(tmp_path: Path) -> None:
    folder = tmp_path / "stick"
    folder.mkdir()
    out = folder / "gone.qhr"
    link = ScriptedLink([DESCRIPTION, *FRAMES])
    read = link.read

    def read_and_vanish() -> bytes:
        time.sleep(0.1)  # the file is looked at four times a second
        shutil.rmtree(folder, ignore_errors=True)
        return read()

    link.read = read_and_vanish  # type: ignore[method-assign]
    recorder = Recorder(created="2026-01-09T18:00:00Z", software="test", recording_id="vanished")
    with pytest.raises(InputError, match="deleted while it was being recorded") as told:
        record_loop(
            recorder, link, RecordingFile(out), url="x", baud=1, enough=lambda _p: False, show=lambda _p: None
        )  # fmt: skip
    assert str(out) in str(told.value)
    assert "\n" not in str(told.value)


@pytest.fixture
def signals_as_before() -> Iterator[None]:
    """`record` sets what signals do, and here it runs in the tests' own process."""
    before = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)}
    yield
    for number, handler in before.items():
        signal.signal(number, handler)


@pytest.mark.parametrize(
    ("port", "out", "words"),
    [
        ("/dev/no-such-port", "one.qhr", "no such port"),
        ("socket://127.0.0.1:1", "one.qhr", "nothing listens there"),
        ("socket://127.0.0.1", "one.qhr", "socket://host:port"),
        ("nonsense://x", "one.qhr", "not a port or URL"),
        ("capture.raw", "no such folder/one.qhr", "the folder is not there"),
        ("capture.raw", "capture.raw", "the file exists"),
        ("capture.raw", ".", "exists"),
        ("capture.raw", "/proc/one.qhr", "/proc/one.qhr"),  # where nobody may make a file
    ],
)
@pytest.mark.usefixtures("signals_as_before")
def test_one_clear_line_and_exit_2(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], port: str, out: str, words: str
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "capture.raw").write_bytes(DESCRIPTION)
    assert words in refused(run_verb(capsys, "record", "--port", port, "--out", out))
    assert (tmp_path / "capture.raw").read_bytes() == DESCRIPTION


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a Linux device")
@pytest.mark.usefixtures("signals_as_before")
def test_a_full_disk_for_real(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "capture.raw").write_bytes(DESCRIPTION + b"".join(FRAMES))
    done = run_verb(capsys, "record", "--port", tmp_path / "capture.raw", "--out", "/dev/full", "--force")
    assert "the disk is full" in refused(done)


@pytest.mark.usefixtures("signals_as_before")
def test_a_plain_file_is_recorded_to_its_end(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    stream = DESCRIPTION + b"".join(FRAMES)
    (tmp_path / "capture.raw").write_bytes(stream)
    done = run_verb(capsys, "record", "--port", tmp_path / "capture.raw", "--out", tmp_path / "one.qhr")
    assert done.status == 0
    assert "160 samples, none lost" in done.err
    assert blocks_in(tmp_path / "one.qhr") == (8, 0)

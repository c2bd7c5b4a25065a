"""A recording is told apart by its content, opened in bounded memory, and refused in one line that says what to do."""

from __future__ import annotations

import io
import sys
from pathlib import Path

import numpy as np
import pytest
from host.motion.motion_streams import DESCRIPTION, blocks, joined, read, same_motion
from quiethand.bow.model import SensorSetup, Setup
from quiethand.errors import InputError
from quiethand.link import files
from quiethand.link.files import last_session, open_motion
from quiethand.link.sniff import sniff
from quiethand_protocol import Header, Session, Text, encode

HEADER = encode(Header("2025-11-03T19:00:00Z", "test"))
FRAMES = encode(DESCRIPTION) + b"".join(blocks(3.0))
LINES = b"# accel_unit=g\n# gyro_unit=deg/s\n" + b"".join(b"%d,0,0,1,0,0,0\n" % (1_000 * i) for i in range(2_000))
CSV = "t_s,ax_g,ay_g,az_g,gx_deg_s,gy_deg_s,gz_deg_s\n" + "".join(f"{i / 1000:.3f},0,0,1,0,0,0\n" for i in range(2_000))
PNG = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\1\0\0\0\1\0\x08\x06\0\0\0"


@pytest.mark.parametrize(
    ("head", "kind"),
    [
        (HEADER + FRAMES, "binary"),
        (FRAMES[37:], "binary"),
        (b"ets Jul 29 2019\r\nrst:0x1\r\n\0" + FRAMES, "binary"),
        (HEADER[:20], "binary"),
        (HEADER + encode(Text(LINES[:2_000])), "binary"),
        (LINES, "text"),
        (LINES.replace(b"\n", b"\r\n"), "text"),
        (b"Booting...\nready\n" + LINES, "text"),
        (CSV.encode(), "csv"),
        (b"\xef\xbb\xbf" + CSV.encode(), "csv"),
        (CSV.replace(",", ";").encode(), "csv"),
        (CSV.replace("t_s", "t_us").encode(), "csv"),
        (b"a,b,c,d\n1,2,3,4\n", "csv"),
        (b"0.001,0,0,1,0,0,0\n" * 9, "csv"),
        (PNG, None),
        (b"Dear coach,\nthe bow pulls to the left.\n", None),
        (bytes(range(200, 256)) * 40, None),
    ],
)
def test_told_apart_by_content(head: bytes, kind: str | None) -> None:
    assert sniff(head) == kind


@pytest.mark.parametrize("data", [HEADER + FRAMES, FRAMES, LINES, CSV.encode()])
def test_a_file_gives_what_its_bytes_give(tmp_path: Path, data: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "anything"
    path.write_bytes(data)
    opened = open_motion(path)
    whole = list(opened)
    assert opened.facts.samples in (2_000, 3_000)
    assert opened.facts.whole
    monkeypatch.setattr(files, "PIECE", 1_000)
    monkeypatch.setattr(files, "HEAD_BYTES", 500)
    same_motion(list(open_motion(str(path))), whole)
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(data)))
    same_motion(list(open_motion("-")), whole)


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "is empty"),
        (PNG, "is not a recording"),
        (b"\xff\xfet\0_\0s\0", "UTF-16"),
        (b"%d,1,2,3,4,5,6\n%d,1,2,3,4,5,6\n" % (1, 2) + LINES[34:], "no line says the units"),
        (encode(Header(None, "later", version=2)) + FRAMES, "version 2"),
    ],
)
def test_what_cannot_be_read_is_one_line(tmp_path: Path, data: bytes, says: str) -> None:
    path = tmp_path / "evening.qhr"
    path.write_bytes(data)
    with pytest.raises(InputError, match=says) as caught:
        list(open_motion(path))
    assert str(caught.value).startswith(str(path))
    assert "\n" not in str(caught.value)
    assert "; " in str(caught.value)  # and what to do


def test_no_such_file_and_a_folder(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        open_motion(tmp_path / "none.qhr")
    with pytest.raises(InputError, match="is a folder"):
        open_motion(tmp_path)
    with pytest.raises(InputError, match="cannot be opened"):
        open_motion("a\0b")


def session(delay: str) -> bytes:
    return encode(Session({"sensor": {"gyro_delay": delay}, "bow": {"kind": "recurve"}}))


def test_the_last_session_stands_for_the_whole_file(tmp_path: Path) -> None:
    path = tmp_path / "evening.qhr"
    path.write_bytes(HEADER + session("1 ms") + FRAMES + session("3 ms") + b"\0rubbish\0")
    opened = open_motion(path)
    motion = list(opened)
    assert {m.gyro_delay_s for m in motion} == {0.003}
    assert motion[0].setup is not None
    assert motion[0].setup.bow.kind == "recurve"
    assert any("the recording's own" in note for note in opened.facts.notes)


def test_the_users_set_up_wins(tmp_path: Path) -> None:
    path = tmp_path / "evening.qhr"
    path.write_bytes(HEADER + session("1 ms") + FRAMES)
    mine = Setup(sensor=SensorSetup(gyro_delay_s=0.007))
    assert {m.gyro_delay_s for m in open_motion(path, mine)} == {0.007}
    assert all(m.setup is mine for m in open_motion(path, mine))


def test_in_a_stream_a_session_is_in_force_from_where_it_stands() -> None:
    later = b"".join(blocks(1.0, index=3_000, ticks=3e6))
    motion, facts = read(HEADER + FRAMES + session("1 ms") + later + session("1 ms"))
    delays = np.repeat([m.gyro_delay_s for m in motion], [len(m) for m in motion])
    assert (delays == 0.002).sum() == 3_000
    assert (delays == 0.001).sum() == 1_000
    assert facts.segments == 1
    assert len({id(m.setup) for m in motion}) == 2


def test_a_session_that_cannot_be_used_is_said_and_passed_over(tmp_path: Path) -> None:
    path = tmp_path / "evening.qhr"
    path.write_bytes(HEADER + session("1 fortnight of Sundays") + FRAMES)
    opened = open_motion(path)
    assert joined(list(opened), "time_s").size == 3_000
    assert any("own set-up is not used" in note for note in opened.facts.notes)
    _, facts = read(path.read_bytes())
    assert any("own set-up is not used" in note for note in facts.notes)


def test_sessions_across_the_pieces_of_a_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "evening.qhr"
    path.write_bytes(HEADER + FRAMES + session("2 ms") + FRAMES + session("4 ms")[:-1])
    for piece in (50, 333, 1_000):
        monkeypatch.setattr(files, "PIECE", piece)
        found = last_session(path)
        assert found is not None
        assert found["sensor"] == {"gyro_delay": "2 ms"}  # the last is torn: not sound

"""CSV: units in the header, other columns ignored, and every mistake with its line."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from host.motion.motion_streams import joined, same_motion
from quiethand.bow.model import SensorSetup, Setup
from quiethand.errors import InputError
from quiethand.link.csv_file import CsvMotion
from quiethand.link.files import open_motion
from quiethand.motion.block import MotionBlock
from quiethand.motion.facts import RecordingFacts

HEADER = "t_ms,ax_g,ay_g,az_g,gx_deg_s,gy_deg_s,gz_deg_s"
RNG = np.random.default_rng(9)
VALUES = RNG.normal(0, 2, (2_500, 6)).round(4)
T_MS = (4321 + np.arange(2_500) * 1.004 + RNG.normal(0, 0.004, 2_500)).round(3)
ROWS = [f"{t:.3f}," + ",".join(f"{v:.4f}" for v in row) for t, row in zip(T_MS, VALUES, strict=True)]
PLAIN = "\n".join([HEADER, *ROWS]) + "\n"


def read_csv(
    data: str | bytes, setup: Setup | None = None, piece: int = 10**9
) -> tuple[list[MotionBlock], RecordingFacts]:
    raw = data.encode() if isinstance(data, str) else data
    reader = CsvMotion(setup, "log.csv")
    motion: list[MotionBlock] = []
    for at in range(0, len(raw), piece):
        motion += reader.feed(raw[at : at + piece])
    return motion + reader.finish(), reader.facts


WHOLE, FACTS = read_csv(PLAIN)


def test_numbers_are_as_pandas_reads_them() -> None:
    frame = pd.read_csv(pd.io.common.StringIO(PLAIN))
    assert joined(WHOLE, "time_s") == pytest.approx((frame["t_ms"] - frame["t_ms"][0]) * 1e-3, abs=1e-12)
    assert joined(WHOLE, "specific_force_m_s2") == pytest.approx(frame.iloc[:, 1:4].to_numpy() * 9.80665, abs=1e-12)
    assert joined(WHOLE, "rate_rad_s") == pytest.approx(np.deg2rad(frame.iloc[:, 4:].to_numpy()), abs=1e-12)
    assert WHOLE[-1].period_s == pytest.approx(1.004e-3, rel=2e-3)
    assert FACTS.rate_hz == pytest.approx(1000 / 1.004, rel=1e-4)
    assert FACTS.lost_samples == 0
    assert FACTS.segments == 1


@pytest.mark.parametrize(
    "change",
    [
        lambda s: s.replace("\n", "\r\n"),
        lambda s: "\ufeff" + s,
        lambda s: s.replace(",", ";"),
        lambda s: s.replace(",", "\t"),
        lambda s: s.rstrip("\n"),
        lambda s: "# made by a logger\n\n" + s,
        lambda s: s.replace("t_ms", "T_MS ").replace("az_g", ' "az_g"'),
        lambda s: "\n".join(line + (",note" if i == 0 else ',"nocked, drew"') for i, line in enumerate(s.splitlines())),
        lambda s: "\n".join(("nr," if i == 0 else f"{i},") + line for i, line in enumerate(s.splitlines())),
        lambda s: s.replace("\n", "\n\n", 40),
    ],
)  # fmt: skip
def test_written_otherwise_it_is_the_same(change: object) -> None:
    text = change(PLAIN)  # type: ignore[operator]
    same_motion(read_csv(text)[0], WHOLE)
    same_motion(read_csv(text, piece=777)[0], WHOLE)


def test_degrees_and_g_or_si_units() -> None:
    si = pd.DataFrame({"t_s": (T_MS / 1000).round(9)})
    for i, axis in enumerate(("ax", "ay", "az")):
        si[f"{axis}_m_s2"] = VALUES[:, i] * 9.80665
    for i, axis in enumerate(("gx", "gy", "gz")):
        si[f"{axis}_rad_s"] = np.deg2rad(VALUES[:, 3 + i])
    motion, _ = read_csv(si.to_csv(index=False))
    for name in ("time_s", "specific_force_m_s2", "rate_rad_s"):
        assert joined(motion, name) == pytest.approx(joined(WHOLE, name), abs=1e-9)


def broken(row: int, column: int, value: str) -> str:
    rows = [line.split(",") for line in ROWS]
    rows[row][column] = value
    return "\n".join([HEADER, *(",".join(line) for line in rows)]) + "\n"


@pytest.mark.parametrize(
    ("data", "says"),
    [
        ("\n".join(ROWS), r"log\.csv: the CSV has no header"),
        (PLAIN.replace("gz_deg_s", "gz"), r"the column gz_rad_s or gz_deg_s is missing \(there is 'gz'\)"),
        (PLAIN.replace("t_ms", "time"), r"the column t_s or t_ms or t_us is missing"),
        (PLAIN.replace("ay_g", "az_g"), r"the column ay_m_s2 or ay_g is missing"),
        (PLAIN.replace("t_ms,ax_g", "t_ms,t_ms"), "the column t_ms is there twice"),
        (broken(1_200, 3, "nan"), r"line 1202: az_g is nan"),
        (broken(1_200, 3, "inf"), r"line 1202: az_g is inf"),
        (broken(1_200, 6, ""), r"line 1202: gz_deg_s is missing"),
        (broken(1_200, 6, "O.1"), r"line 1202: gz_deg_s is 'O.1', not a number"),
        (broken(1_200, 0, "5000"), r"line 1202: time runs backward"),
        (broken(0, 0, "9000"), r"line 3: time runs backward"),
        (HEADER.encode("latin-1").replace(b"t_ms", b"\xfct_ms"), "not UTF-8"),
        ("# nothing\n", "there is no line in it"),
    ],
)
def test_mistakes_are_told_with_their_line(data: str | bytes, says: str) -> None:
    for piece in (10**9, 5_000):
        with pytest.raises(InputError, match=says) as caught:
            read_csv(data, piece=piece)
        assert "\n" not in str(caught.value)


def test_a_row_short_and_another_long_do_not_pass_as_two_good_ones() -> None:
    rows = list(ROWS)
    rows[10], rows[11] = rows[10].rsplit(",", 1)[0], rows[11] + ",1.0"
    with pytest.raises(InputError, match="line 12: gz_deg_s is missing"):
        read_csv("\n".join([HEADER, *rows]))


def test_a_torn_last_line_is_said_and_left_out() -> None:
    motion, facts = read_csv(PLAIN[:-12])
    assert sum(map(len, motion)) == 2_499
    assert facts.torn_tail
    assert not facts.whole


def test_gaps_have_line_time_and_length() -> None:
    rows = ROWS[:1_000] + ROWS[1_010:]
    motion, facts = read_csv("\n".join([HEADER, *rows]))
    assert facts.gap_places == 1
    assert facts.lost_samples is None
    assert facts.gaps[0].line == 1_002
    assert facts.gaps[0].time_s == pytest.approx((T_MS[999] - T_MS[0]) / 1000)
    assert joined(motion, "index")[1_000] == 1_010
    assert facts.segments == 1


def test_whole_milliseconds_at_four_kilohertz() -> None:
    """A time column coarser than the sampling: spread evenly, with a note."""
    rows = [f"{i // 4},0,0,1,0,0,{i}" for i in range(8_000)]
    motion, facts = read_csv("\n".join([HEADER, *rows]), piece=3_000)
    assert joined(motion, "time_s") == pytest.approx(np.arange(8_000) * 0.25e-3, abs=1e-6)
    assert facts.gap_places == 0
    assert facts.rate_hz == pytest.approx(4_000, rel=1e-3)
    assert any("coarser" in note for note in facts.notes)


def test_mount_bias_and_range_of_the_set_up() -> None:
    sensor = SensorSetup(mount=(0.0, 0.0, 1.0, 0.0), gyro_bias_rad_s=(0.01, 0.0, 0.0), accel_range_m_s2=50.0)
    motion, facts = read_csv(PLAIN, Setup(sensor=sensor))
    assert joined(motion, "specific_force_m_s2")[:, 0] == pytest.approx(-VALUES[:, 0] * 9.80665)
    assert joined(motion, "rate_rad_s")[:, 0] == pytest.approx(-(np.deg2rad(VALUES[:, 3]) - 0.01))
    assert facts.accel_clipped_samples == (np.abs(VALUES[:, :3] * 9.80665) >= 49.95).any(axis=1).sum()
    assert all(m.mount_stated and m.bias_stated for m in motion)


def test_a_header_and_nothing_else(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text(HEADER + "\n")
    opened = open_motion(path)
    assert list(opened) == []
    assert opened.facts.samples == 0


def test_a_csv_may_say_which_samples_had_clipped() -> None:
    """Exports do: without, a reading at the end of its range would be taken for the motion."""
    head = b"t_s,ax_g,ay_g,az_g,gx_deg_s,gy_deg_s,gz_deg_s,accel_clipped,gyro_clipped\n"
    for no, yes in ((b"0", b"1"), (b"False", b"True")):
        rows = [
            b"%.4f,0,0,1,0,0,0,%s,%s\n" % (i * 1e-3, yes if i == 7 else no, yes if i == 9 else no) for i in range(2000)
        ]
        reader = CsvMotion(None, "x.csv")
        blocks = reader.feed(head + b"".join(rows)) + reader.finish()
        accel = np.concatenate([block.accel_clipped for block in blocks])
        gyro = np.concatenate([block.gyro_clipped for block in blocks])
        assert np.flatnonzero(accel).tolist() == [7]
        assert np.flatnonzero(gyro).tolist() == [9]
        assert reader.facts.clipped_samples == 2
        assert not any("range" in note for note in reader.facts.notes)
    with pytest.raises(InputError, match="accel_clipped is 'maybe', not a number"):
        CsvMotion(None, "x.csv").feed(head + b"0,0,0,1,0,0,0,maybe,0\n")

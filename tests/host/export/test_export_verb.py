"""`quiethand export`: what is written reads back, whole or not at all."""

from __future__ import annotations

import csv
import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import quiethand as qh
from command_line import refused, run
from invented_league import league
from quiethand.analysis import analyse_path
from quiethand.bow.setup_file import read_setup
from quiethand.commands import export
from quiethand.commands.whole_file import whole_file
from quiethand.emulator import Scenario, setup_document, write_recording
from quiethand.emulator.scenario import Faults
from quiethand.errors import InputError
from quiethand.notebook.shot_rows import SHOT_COLUMNS
from quiethand.shots.measure_columns import MEASURES
from quiethand.shots.model import Shot
from quiethand.store import open_store

# A turned mount, a bias, lost blocks, and a range that the shock of the brace runs out of: all that could be applied
# twice or forgotten on the way through a CSV.
SCENARIO = Scenario(seed=21, rate_hz=2000.0, shots=2, every_s=8.0, turned=True, faults=Faults(lose=0.003))


@pytest.fixture(scope="module")
def evening(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("export") / "evening.qhr"
    document = setup_document(SCENARIO)
    sensor = dict(document["sensor"])  # type: ignore[call-overload]
    write_recording(path, SCENARIO, session={**document, "sensor": {**sensor, "accel_range": "12 g_0"}})
    return path


@pytest.fixture
def store(tmp_path: Path) -> str:
    """A league's URL."""
    url = f"sqlite:///{tmp_path / 'league.sqlite3'}"
    opened = open_store(url)
    league(opened, evenings=2, shots=3)
    opened.close()
    return url


def same(one: Shot, other: Shot) -> None:
    """Within a tenth of each standard uncertainty, and as sure."""
    for name in ("release_s", "departure_s", "time_on_string_s"):
        sigma = getattr(one, name.removesuffix("_s") + "_sigma_s")
        assert abs(getattr(one, name) - getattr(other, name)) < sigma / 10, name
        assert getattr(other, name.removesuffix("_s") + "_sigma_s") == pytest.approx(sigma, rel=0.01)
    at, its = one.at_departure, other.at_departure
    sigma_deg = at.rotation_sigma_deg.array()
    assert (abs(at.rotation_deg.array() - its.rotation_deg.array()) < sigma_deg / 10).all()
    assert its.rotation_sigma_deg.array() == pytest.approx(sigma_deg, rel=0.01)
    assert one.number == other.number
    assert one.at_departure.pointing.right_mm == pytest.approx(other.at_departure.pointing.right_mm, abs=0.01)
    assert one.notes == other.notes


def test_exported_samples_measure_as_their_recording_does(
    evening: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out, setup = tmp_path / "samples.csv", tmp_path / "samples.toml"
    ran = run(capsys, "export", evening, "--samples", "--out", out, "--setup-out", setup)
    assert ran.status == 0, ran
    before, after = analyse_path(str(evening)), analyse_path(str(out), read_setup(setup))
    assert before.facts.lost_samples
    assert before.facts.clipped_samples == after.facts.clipped_samples > 0
    assert before.facts.samples == after.facts.samples == int(ran.out.split(": ")[1].split()[0].replace(",", ""))
    assert len(before.shots) == 2
    for one, other in zip(before.shots, after.shots, strict=True):
        same(one, other)
    sensor = read_setup(setup).sensor  # what was applied is not stated again; what the stream alone knew is
    assert (sensor.mount, sensor.gyro_bias_rad_s) == ((0, 0, 0, 1), (0, 0, 0))
    assert (sensor.accel_offset_m_s2, sensor.accel_range_m_s2) == (None, None)
    assert sensor.gyro_delay_s
    assert sensor.gyro_bandwidth_hz
    # the notebook's frame, saved by pandas, is a recording just as well
    qh.read(evening).to_csv(tmp_path / "frame.csv", index=False)
    for one, other in zip(
        before.shots, analyse_path(str(tmp_path / "frame.csv"), read_setup(setup)).shots, strict=True
    ):
        same(one, other)


def test_every_format_holds_the_same_samples(evening: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    whole = qh.read(evening)
    release = analyse_path(str(evening)).shots[1].release_s
    assert release is not None
    part = whole[whole.t_s.between(release - 0.1, release + 0.3)].reset_index(drop=True)
    for name in ("part.csv", "part.json", "part.parquet"):
        assert run(capsys, "export", evening, "--samples", "--shot", "2", "--out", tmp_path / name).status == 0
    for read in (
        pd.read_csv(tmp_path / "part.csv"),
        pd.DataFrame(json.loads((tmp_path / "part.json").read_text())),
        pd.read_parquet(tmp_path / "part.parquet"),
    ):
        pd.testing.assert_frame_equal(read.astype(part.dtypes), part, rtol=1e-8, atol=1e-12)


def test_every_format_holds_the_same_shots(store: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    opened = open_store(store)
    ids = [shot.id for shot in opened.latest_shots(3)]
    opened.exclude(ids[:1], 'a cough, "loud"')
    opened.add_tag(ids[1:2], "=1+1, windy")
    opened.close()
    frame = qh.shots(store)
    for name in ("shots.csv", "shots.json", "shots.parquet"):
        ran = run(capsys, "export", "--store", store, "--out", tmp_path / name)
        assert (ran.status, ran.err) == (0, "")
        assert "24 shots" in ran.out
    parquet = pd.read_parquet(tmp_path / "shots.parquet")
    pd.testing.assert_frame_equal(parquet.astype({"shot_id": "Int64"}), frame, check_dtype=False)
    assert parquet.time_utc.dtype.tz is not None
    rows = json.loads((tmp_path / "shots.json").read_text())
    with (tmp_path / "shots.csv").open(newline="", encoding="utf-8") as file:
        lines = list(csv.DictReader(file))
    assert list(rows[0]) == list(lines[0]) == list(frame) == list(SHOT_COLUMNS)
    for row, line, of in zip(rows, lines, frame.to_dict("records"), strict=True):
        assert pd.Timestamp(row["time_utc"]) == pd.Timestamp(line["time_utc"]) == of["time_utc"]
        assert row["time_utc"].endswith("Z")
        for name in MEASURES:
            value = of[name]
            assert (row[name] is None) == (line[name] == "") == np.isnan(value)
            if not np.isnan(value):
                assert row[name] == pytest.approx(value, rel=1e-11)
                assert float(line[name]) == row[name]
        assert row["tags"] == line["tags"] == of["tags"]
        assert bool(int(line["excluded"])) == row["excluded"] == of["excluded"]
    assert "=1+1, windy" in [row["tags"] for row in rows]


def test_only_what_is_asked_for(store: str, evening: Path, capsys: pytest.CaptureFixture[str]) -> None:
    def shots(*more: str) -> list[dict[str, str]]:
        ran = run(capsys, "export", *more)
        return list(csv.DictReader(ran.out.splitlines())) if ran.status == 0 else []

    every = shots("--store", store)
    assert [row["time_utc"] for row in every] == sorted(row["time_utc"] for row in every)
    last = every[-1]["day"]
    assert {row["archer"] for row in shots("--store", store, "--archer", "Lane 7")} == {"Lane 7"}
    late = shots("--store", store, "--since", last, "--arrow", "Match arrow")
    assert {(row["day"], row["arrow"]) for row in late} == {(last, "Match arrow")}
    assert len(late) == 6
    assert len(shots("--store", store, "--until", every[0]["day"])) == 12
    assert [row["number"] for row in shots(str(evening))] == ["1", "2"]
    assert shots(str(evening), "--archer", "Lane 5") == []


def test_nothing_is_overwritten_nor_half_written(
    evening: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "shots.csv"
    out.write_text("mine")
    assert "add --force" in refused(run(capsys, "export", evening, "--out", out))
    assert out.read_text() == "mine"
    assert run(capsys, "export", evening, "--out", out, "--force").status == 0
    assert out.read_text().startswith("shot_id,")
    if os.name == "posix":
        mask = os.umask(0)
        os.umask(mask)
        assert out.stat().st_mode & 0o777 == 0o666 & ~mask
    torn = tmp_path / "torn.csv"
    rows = b"".join(b"%.3f,0,0,1,0,0,0,%s\n" % (i * 1e-3, b" " * 50) for i in range(20_000))
    torn.write_bytes(b"t_s,ax_g,ay_g,az_g,gx_deg_s,gy_deg_s,gz_deg_s,x\n" + rows + b"oops,0,0,1,0,0,0,\n")
    monkeypatch.setattr(export, "_BATCH", 1000)  # so that much is written before the bad line is read
    said = refused(run(capsys, "export", torn, "--samples", "--out", out, "--force"))
    assert "oops" in said
    assert out.read_text().startswith("shot_id,")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["shots.csv", "torn.csv"]


def test_a_file_that_somebody_made_meanwhile_stays(tmp_path: Path) -> None:
    out = tmp_path / "a.csv"
    with pytest.raises(InputError, match="meanwhile"), whole_file(str(out), force=False) as file:  # noqa: PT012
        file.write(b"ours")
        out.write_text("theirs")
    assert out.read_text() == "theirs"
    assert [path.name for path in tmp_path.iterdir()] == ["a.csv"]


def test_whoever_reads_may_stop_early(evening: Path) -> None:
    """As `export ... | head` does."""
    command = [sys.executable, "-m", "quiethand", "export", str(evening), "--samples"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as child:
        assert child.stdout is not None
        assert child.stderr is not None
        assert child.stdout.readline().startswith(b"t_s,")
        child.stdout.close()
        said = child.stderr.read()
    assert (child.returncode, said) == (0, b"")


def test_no_shot_is_said_and_written_nowhere(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    ran = run(capsys, "export", "--out", tmp_path / "a.csv")
    assert ran.status == 1
    assert "no shot fits" in ran.err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (["--out", "shots.xlsx"], "its ending says no format"),
        (["nowhere.qhr"], "no such file"),
        (["--samples"], "--samples takes one recording"),
        (["a.qhr", "--samples", "--archer", "Lane 4"], "--archer is for shots"),
        (["--shot", "3"], "--shot is for --samples"),
        (["a.qhr", "--setup-out", "x.toml"], "--setup-out is for --samples"),
        (["a.qhr", "--tag", "windy"], "recordings or a store"),
        (["--setup", "bow.toml"], "--setup is for recordings"),
        (["--since", "soon"], '"soon" is not a day'),
        (["--archer", "Nobody"], 'the store knows no archer "Nobody"'),
        (["--out", "nowhere/shots.csv"], "its folder is not there"),
        (["--out", "/"], "its ending says no format"),
        (["EVENING", "--samples", "--shot", "7"], "no shot 7; there are: 1, 2"),
    ],
)
def test_what_cannot_be_done_is_refused_in_one_line(
    evening: Path, args: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert said in refused(run(capsys, "export", *(str(evening) if arg == "EVENING" else arg for arg in args)))


def test_parquet_without_its_library_says_how_to_get_it(
    evening: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    said = refused(run(capsys, "export", evening, "--out", tmp_path / "a.parquet"))
    assert "pip install 'quiethand[parquet]'" in said
    assert list(tmp_path.iterdir()) == []

"""What `import quiethand as qh` gives a notebook: frames whose columns name their units, and refusals in one line."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import quiethand as qh
from invented_league import league
from quiethand.analysis import analyse_path
from quiethand.bow.setup_file import read_setup
from quiethand.shots.measure_columns import MEASURES, measures_of
from quiethand.store import open_store


def test_importing_the_face_imports_nothing() -> None:
    """What the command line imports first must cost nothing; modules that the interpreter has anyway don't count."""
    code = (
        "import sys; before = set(sys.modules); import types, __future__; import quiethand; "
        "print(sorted(set(sys.modules) - before - {'types', '__future__', 'quiethand'}))"
    )
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert said.stdout.strip() == "[]"


def test_shots_can_be_called_before_and_after_the_room_of_that_name_is_imported(evening: Path) -> None:
    code = (
        f"import quiethand as qh; print(len(qh.shots({str(evening)!r}))); import quiethand.shots.model; "
        f"print(len(qh.shots({str(evening)!r}))); print(qh.shots.model.Shot.__name__); print('shots' in dir(qh))"
    )
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert said.stdout.split() == ["2", "2", "Shot", "True"]
    with pytest.raises(AttributeError, match="nonsense"):
        _ = qh.nonsense  # type: ignore[attr-defined]


def test_samples_stand_in_the_bow_frame(evening: Path) -> None:
    """A level bow at rest reads a specific force of (0, 0, +9.80665) m/s2: the sign that all else hangs on."""
    frame = qh.read(evening)
    facts = analyse_path(str(evening)).facts
    assert len(frame) == facts.samples
    assert list(frame.columns[:7]) == ["t_s", "ax_m_s2", "ay_m_s2", "az_m_s2", "gx_deg_s", "gy_deg_s", "gz_deg_s"]
    assert frame.t_s.iloc[0] == 0
    assert frame.t_s.is_monotonic_increasing
    assert np.median(np.linalg.norm(frame[["ax_m_s2", "ay_m_s2", "az_m_s2"]], axis=1)) == pytest.approx(
        9.80665, rel=0.02
    )
    assert frame.attrs["rate_hz"] == pytest.approx(1000, rel=0.01)
    part = qh.read(evening, start_s=2.0, end_s=3.0)
    assert part.t_s.between(2.0, 3.0).all()
    pd.testing.assert_frame_equal(part, frame[frame.t_s.between(2.0, 3.0)].reset_index(drop=True), check_exact=True)
    assert qh.read(evening, start_s=1e6).empty


def test_every_measure_of_a_shot_is_a_column_with_its_unit(evening: Path) -> None:
    frame = qh.shots([evening])
    shots = analyse_path(str(evening)).shots
    assert [*MEASURES] == [name for name in frame if name in MEASURES]
    for row, shot in zip(frame.to_dict("records"), shots, strict=True):
        for name, value in measures_of(shot).items():
            assert row[name] == value if value is not None else np.isnan(row[name]), name
    assert str(frame.time_utc.dtype).endswith("UTC]")
    # the recording begins with 2026 (UTC), by its header and CLOCK
    assert (frame.time_utc - pd.Timestamp("2026-01-01", tz="UTC")).dt.total_seconds().to_numpy() == pytest.approx(
        frame.release_s, abs=0.1
    )
    assert frame.archer.tolist() == ["Lane 4"] * 2
    assert set(qh.measures().column) | set(qh.measures().sigma_column.dropna()) == set(MEASURES)
    assert qh.shots(evening, archer="Lane 5").empty
    assert len(qh.shots(evening, since=frame.day[0], until=frame.day[0])) == 2
    assert qh.shots(evening, until="2020-01-01").empty


def test_stored_shots_the_oldest_first_with_what_people_said(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'league.sqlite3'}"
    store = open_store(url)
    ids = league(store, evenings=2, shots=3)
    store.add_tag(ids[:2], "windy")
    store.exclude([ids[2]], "a cough")
    frame = qh.shots(store)
    assert len(frame) == 24
    assert frame.time_utc.is_monotonic_increasing
    assert sorted(frame.shot_id) == sorted(ids)
    assert frame.set_index("shot_id").excluded.sum() == 1
    assert sorted(qh.shots(url, tag="windy").shot_id) == sorted(ids[:2])
    heavy = qh.shots(store, archer="Lane 4", arrow="Heavy practice arrow")
    assert len(heavy) == 6
    assert qh.shots(store, since=frame.day.max()).day.unique().tolist() == [frame.day.max()]
    trace = qh.trace(store, int(ids[0]))
    assert trace.rotation_yaw_deg[trace.t_ms.abs().idxmin()] == pytest.approx(0, abs=1e-3)
    assert qh.shots().empty  # the home's store, empty here
    with pytest.raises(qh.InputError, match=r'no archer "Lane 44".*did you mean "Lane 4"'):
        qh.shots(store, archer="Lane 44")
    store.close()


def test_a_stores_pages_join_without_a_seam(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Lanes shoot at the same moment: a page may end between two shots of one time."""
    from quiethand.notebook import shot_rows
    from quiethand.store.records import ShotFilter

    store = open_store(f"sqlite:///{tmp_path / 'league.sqlite3'}")
    ids = league(store, evenings=1, shots=3)
    times = iter(range(100))
    whole = [{"id": i, "unix_s": float(next(times) // 3)} for i in sorted(ids)]
    monkeypatch.setattr(shot_rows, "_PAGE", 4)
    monkeypatch.setattr(shot_rows, "_stored", lambda row, marks: row["id"])

    def shot_rows_of(wanted: ShotFilter, *, limit: int) -> list[dict[str, float]]:
        before = wanted.before_unix_s
        return [r for r in reversed(whole) if before is None or r["unix_s"] < before][:limit]

    monkeypatch.setattr(store, "shot_rows", shot_rows_of)
    found = [i for page in shot_rows.store_pages(store, ShotFilter()) for i in page]
    assert found == sorted(ids, reverse=True)
    store.close()


def test_a_trace_is_free_of_delays_and_starts_from_no_turn(evening: Path) -> None:
    shot = analyse_path(str(evening)).shots[1]
    trace = qh.trace(evening, 2)
    assert {"t_ms", "rate_yaw_deg_s", "rotation_pitch_deg", "torque_cant_nm"} <= set(trace.columns)
    assert trace.t_ms.between(-101, 301).all()
    assert shot.time_on_string_s is not None
    at = np.interp(shot.time_on_string_s * 1e3, trace.t_ms, trace.rotation_yaw_deg)
    assert at == pytest.approx(shot.at_departure.rotation_deg.yaw, abs=0.02)
    assert list(qh.trace(evening, 2, sensor="accelerometer")) == ["t_ms", "ax_m_s2", "ay_m_s2", "az_m_s2"]


def test_launch_is_the_model_of_the_command(evening: Path) -> None:
    from quiethand.bow.launch import launch

    setup = evening.with_name("bow.toml")
    assert qh.launch(setup).time_on_string_s == launch(read_setup(setup)).time_on_string_s
    assert qh.launch(read_setup(setup), arrow_mass_kg=0.05).time_on_string_s > qh.launch(setup).time_on_string_s


def test_what_was_no_shot_has_its_reason(evening: Path) -> None:
    frame = qh.rejected(evening)
    assert list(frame) == ["time_s", "reason", "text"]
    assert len(frame) == len(analyse_path(str(evening)).rejected)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda _: qh.read("nowhere.qhr"), "nowhere.qhr: no such file"),
        (lambda e: qh.read(e.with_name("bow.toml")), "is not a recording"),
        (lambda e: qh.read(e, "nowhere.toml"), "no such set-up file"),
        (lambda e: qh.shots(e, since="yesteryear"), '"yesteryear" is not a day; write it as 2026-11-25'),
        (lambda e: qh.shots(e, since="2026-02-02", until="2026-01-01"), "no span of days"),
        (lambda e: qh.shots(e, tag="windy"), "tags are kept in the store"),
        (lambda e: qh.shots(3), "int names no recording"),
        (lambda e: qh.shots([e, 3]), "list names no recording"),
        (lambda e: qh.shots("nosuch://store"), "no store can be opened"),
        (lambda _: qh.shots(setup="bow.toml"), "a stored shot has its own set-up"),
        (lambda e: qh.trace(e, 9), "no shot 9"),
        (lambda e: qh.trace([e, e], 1), "2 recordings are named"),
        (lambda e: qh.trace(e, 1, sensor="compass"), 'sensor is "compass"'),
        (lambda _: qh.trace(None, 1), "the store: no shot 1"),
        (lambda _: qh.launch(None), "no set-up is given"),
    ],
)
def test_a_refusal_is_one_line_that_says_what_to_do(evening: Path, call: object, said: str) -> None:
    with pytest.raises(qh.InputError) as refused:
        call(evening)  # type: ignore[operator]
    assert said in str(refused.value)
    assert "\n" not in str(refused.value)

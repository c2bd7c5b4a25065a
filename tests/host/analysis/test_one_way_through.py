"""Live is replay: the same bytes in any pieces, and the same samples in any form, are the same shots."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import pytest
from host.analysis.evening import Evening
from quiethand.analysis import StreamAnalysis, analyse_path
from quiethand.bow.setup_file import read_setup
from quiethand.shots.contract import rejected_object, shot_object
from quiethand.shots.model import Shot


def found(results: list[Any]) -> list[dict[str, Any]]:
    return [shot_object(r) if isinstance(r, Shot) else rejected_object(r) for r in results]


def fed(path: Path, setup: Path, sizes: list[int]) -> list[dict[str, Any]]:
    analysis = StreamAnalysis(read_setup(setup))
    results, data, at = [], path.read_bytes(), 0
    while at < len(data):
        size = sizes[at % len(sizes)]
        results += analysis.feed(data[at : at + size])
        at += size
    return found(results + analysis.finish())


def test_whole_and_in_random_pieces(evening: Evening) -> None:
    whole = fed(evening.qhr, evening.setup, [1 << 30])
    assert sum("release_s" in r for r in whole) == len(evening.truth.shots) == 2
    rng = random.Random(7)
    for most in (40, 5_000, 200_000):
        assert fed(evening.qhr, evening.setup, [rng.randint(1, most) for _ in range(97)]) == whole


def test_the_stored_file_and_the_stream_are_one(evening: Evening) -> None:
    report = analyse_path(str(evening.qhr), read_setup(evening.setup))
    fed_shots = [r for r in fed(evening.qhr, evening.setup, [4096]) if "release_s" in r]
    assert [shot_object(shot) for shot in report.shots] == fed_shots


def test_a_recording_that_states_its_setup_needs_no_file(evening: Evening) -> None:
    """The SESSION in the recording is the set-up file's document, so the figures are the same."""
    own = analyse_path(str(evening.qhr))
    given = analyse_path(str(evening.qhr), read_setup(evening.setup))
    assert [shot_object(s) for s in own.shots] == [shot_object(s) for s in given.shots]
    assert not any("no set-up" in note for note in own.notes)


def test_without_a_setup_there_are_still_times_and_rotation(evening: Evening) -> None:
    report = analyse_path(str(evening.csv_si))
    assert len(report.shots) == 2
    for shot in report.shots:
        assert shot.at_departure.rotation_deg.yaw is not None
        assert shot.window.mean_torque_nm.yaw is None
        assert shot.at_departure.pointing.right_mm is None
        assert any("distance" in note for note in shot.notes)
    assert any("no set-up" in note for note in report.notes)


@pytest.mark.parametrize("form", ["csv_deg", "csv_si", "text"])
def test_other_forms_give_the_shots_of_the_same_recording(evening: Evening, form: str) -> None:
    """CSV in degrees and g and CSV in SI units carry the same samples; only times and digits are coarser.

    Text mode carries the same motion, but the emulated device that speaks it draws its sensor's noise otherwise: from
    0.5 s on most samples differ by a count or two. So its figures are those of a second sensor on the bow. The second
    shot's yaw is 0.68 mdeg apart; the noise rows of the two budgets, 0.32 and 0.27 mdeg, make that 1.6 of what two
    draws of noise differ by, where the CSV's is 0.04 mdeg apart.
    """
    reference = analyse_path(str(evening.qhr), read_setup(evening.setup)).shots
    shots = analyse_path(str(getattr(evening, form)), read_setup(evening.setup_with_delays)).shots
    assert len(shots) == len(reference) == 2
    for shot, same in zip(shots, reference, strict=True):
        # within their uncertainty: each sample's own time there, a fit through all of them here
        assert abs(shot.release_s - same.release_s) < min(same.release_sigma_s, 0.15e-3)
        assert abs(shot.departure_s - same.departure_s) < min(same.departure_sigma_s, 0.1e-3)
        off = shot.at_departure.rotation_deg.array() - same.at_departure.rotation_deg.array()
        assert (abs(off) < same.at_departure.rotation_sigma_deg.array()).all()


def test_the_two_csv_units_agree_to_the_last_digits(evening: Evening) -> None:
    setup = read_setup(evening.setup_with_delays)
    degrees, si = (analyse_path(str(path), setup).shots for path in (evening.csv_deg, evening.csv_si))
    for one, other in zip(degrees, si, strict=True):
        assert one.release_s == pytest.approx(other.release_s, abs=5e-6)
        assert one.at_departure.rotation_deg.array() == pytest.approx(other.at_departure.rotation_deg.array(), abs=5e-5)

"""A switch at the release and a light gate at the rest: measured beside the estimates, told, and never merged."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest
from quiethand.analysis import Report, StreamAnalysis, analyse_path
from quiethand.bow.model import EventInputs, Setup
from quiethand.bow.setup_file import setup_from_document
from quiethand.bow.template import template
from quiethand.emulator import Scenario, setup_document, write_recording
from quiethand.errors import InputError
from quiethand.motion.facts import Mark
from quiethand.shots.contract import json_schema
from quiethand.shots.events import unnamed_channels, with_events
from quiethand.shots.model import Shot

SCENARIO = Scenario(seed=21, shots=3, nuisances="none", gate=True, switch=True, rate_hz=2000.0)


@pytest.fixture(scope="module")
def evening(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[tuple[float, float]], Report]:
    """A recording, its true releases and rest clears, and the report with the set-up that names the inputs."""
    path = tmp_path_factory.mktemp("events") / "evening.qhr"
    truth = write_recording(path, SCENARIO)
    report = analyse_path(str(path), setup_from_document(setup_document(SCENARIO, delays=True), "lane-4.toml"))
    return path, [(shot.release_s, shot.rest_clear_s) for shot in truth.shots], report


def test_measured_is_the_truth_and_the_estimate_stands(
    evening: tuple[Path, list[tuple[float, float]], Report],
) -> None:
    path, truth, report = evening
    without = replace(report.setup or Setup(), events=EventInputs())
    estimates = analyse_path(str(path), without).shots
    assert len(report.shots) == len(truth) == 3
    for shot, (release, clear), estimate in zip(report.shots, truth, estimates, strict=True):
        assert shot.events is not None
        # the ticks are microseconds and the time line starts at the first sample's own tick
        assert shot.events.measured_release_s == pytest.approx(release, abs=2e-4)
        assert shot.events.measured_rest_clear_s == pytest.approx(clear, abs=2e-4)
        assert shot.release_s is not None
        assert shot.rest_clear_s is not None
        assert shot.events.release_difference_s == pytest.approx(release - shot.release_s, abs=2e-4)
        assert shot.events.rest_clear_difference_s == pytest.approx(clear - shot.rest_clear_s, abs=2e-4)
        assert abs(shot.events.rest_clear_difference_s) < 1.5e-3
        # never merged: every figure is what it is without the inputs
        assert replace(shot, events=None, notes=(), trace=None) == replace(estimate, notes=(), trace=None)
        assert any("measured release (channel 2)" in note for note in shot.notes)
        assert any("measured rest clear (channel 1)" in note for note in shot.notes)


def test_the_contract_tells_it(evening: tuple[Path, list[tuple[float, float]], Report]) -> None:
    contract = json.loads(json.dumps(evening[2].contract()))
    jsonschema.validate(contract, json_schema())
    events = contract["shots"][0]["events"]
    assert set(events) == {
        "measured_release_s", "measured_rest_clear_s", "release_difference_s", "rest_clear_difference_s",
    }  # fmt: skip
    assert all(isinstance(value, float) for value in events.values())


def test_live_is_replay(evening: tuple[Path, list[tuple[float, float]], Report]) -> None:
    path, _, report = evening
    analysis = StreamAnalysis(report.setup)
    data = path.read_bytes()
    results = [r for at in range(0, len(data), 4099) for r in analysis.feed(data[at : at + 4099])] + analysis.finish()
    events = [result.events for result in results if isinstance(result, Shot)]
    assert events == [shot.events for shot in report.shots]


def test_inputs_that_nobody_named_are_told_once(evening: tuple[Path, list[tuple[float, float]], Report]) -> None:
    path, _, report = evening
    unnamed = analyse_path(str(path), replace(report.setup or Setup(), events=EventInputs(rest_channel=1)))
    assert sum("edges came on input 2" in note for note in unnamed.notes) == 1
    assert all(shot.events is not None and shot.events.measured_release_s is None for shot in unnamed.shots)


def edge(time_s: float | None, channel: int, value: int) -> Mark:
    return Mark(time_s, 0, "event", {"channel": channel, "value": value})


def test_bounce_flicker_and_what_is_far_away(evening: tuple[Path, list[tuple[float, float]], Report]) -> None:
    shot = replace(evening[2].shots[0], notes=(), events=None)
    release, away = shot.release_s or 0.0, shot.departure_s
    edges = [
        edge(release + 0.0011, 2, 1), edge(release + 0.0014, 2, 0), edge(release + 0.0016, 2, 1),  # bounces
        edge(away + 0.0010, 1, 0), edge(away + 0.0021, 1, 1), edge(away + 0.0023, 1, 0),  # fletching
        edge(release - 5.0, 2, 1), edge(away + 8.0, 1, 0), edge(None, 1, 0), edge(release, 7, 1),
    ]  # fmt: skip
    setup = Setup(events=EventInputs(release_channel=2, release_value=1, rest_channel=1, rest_value=0))
    (found,) = with_events([shot], edges, setup)
    assert isinstance(found, Shot)
    assert found.events is not None
    assert found.events.release_difference_s == pytest.approx(0.0011)
    assert found.events.measured_rest_clear_s == pytest.approx(away + 0.0023)
    assert unnamed_channels(edges, setup) == [7]
    (nothing,) = with_events([shot], edges[6:], setup)
    assert isinstance(nothing, Shot)
    assert nothing.events is not None
    assert nothing.events.measured_release_s is nothing.events.measured_rest_clear_s is None
    assert sum("no edge on channel" in note for note in nothing.notes) == 2
    lost = replace(shot, release_s=None, rest_clear_s=None)
    (alone,) = with_events([lost], edges, setup)
    assert isinstance(alone, Shot)
    assert alone.events is not None
    assert alone.events.measured_release_s == pytest.approx(release + 0.0011)
    assert alone.events.release_difference_s is None


@pytest.mark.parametrize(
    ("events", "words"),
    [
        ({"rest_channel": 256}, "0 to 255"),
        ({"rest_channel": "1"}, "not a whole number"),
        ({"rest_channel": True}, "plain number"),
        ({"rest_value": 1}, "without rest_channel"),
        ({"rest_channel": 3, "release_channel": 3}, "channel 3 is both"),
        ({"gate": 1}, 'unknown key "gate"'),
    ],
)
def test_set_up_that_cannot_be(events: dict[str, object], words: str) -> None:
    with pytest.raises(InputError, match=words) as told:
        setup_from_document({"events": events}, "bow.toml")
    assert "bow.toml: events" in str(told.value)


def test_the_template_names_the_inputs() -> None:
    for line in ("# rest_channel = 1", "# release_channel = 2", "[events]"):
        assert line in template("compound").splitlines()

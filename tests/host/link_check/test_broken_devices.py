"""A check passes the sensor in software, and names the fault of each device that is broken on purpose."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Literal

import pytest
from host.link_check.software_wire import SoftwareWire, findings_of
from quiethand.emulator import Device, Faults, Scenario, TextDevice
from quiethand.emulator.broken import BROKEN, Mute, broken_device
from quiethand.link.check import NoAnswerError, check_device
from quiethand.link.check_findings import Finding

SCENARIO = Scenario(seed=2, rate_hz=500.0)


@cache
def found_of(fault: str) -> dict[str, Finding]:
    return findings_of(broken_device(fault, SCENARIO))


def failing(found: dict[str, Finding]) -> set[str]:
    return {name for name, finding in found.items() if finding.verdict == "fails"}


@pytest.mark.parametrize("rate_hz", [500.0, 8000.0])
def test_the_sensor_in_software_passes(rate_hz: float) -> None:
    found = findings_of(Device(Scenario(seed=3, rate_hz=rate_hz)))
    assert failing(found) == set()
    assert {f.verdict for f in found.values()} == {"ok"}


@pytest.mark.parametrize(("line", "why"), [("wide", "nothing was lost"), ("overruns", "it was the line that lost")])
def test_where_no_loss_can_be_provoked_it_says_so(line: Literal["wide", "overruns"], why: str) -> None:
    found = findings_of(Device(SCENARIO), line)
    assert failing(found) == set()
    untried = {name for name, f in found.items() if f.verdict == "not_seen"}
    assert untried == {"loss_marked", "loss_counted"}
    assert all(found[name].found.startswith("not tried: ") and why in found[name].found for name in untried)


@pytest.mark.parametrize("fault", ["loses blocks in silence", "does not mark loss", "does not count loss"])
def test_a_loss_that_only_the_check_provokes_is_judged_too(fault: str) -> None:
    device = broken_device(fault, SCENARIO)
    device.faults = replace(device.faults, lose=0.0)
    assert BROKEN[fault][1] in failing(findings_of(device))


def test_loss_that_is_counted_passes() -> None:
    found = findings_of(Device(Scenario(seed=2, faults=Faults(lose=0.02))))
    assert failing(found) == set()
    assert found["loss_marked"].verdict == found["loss_counted"].verdict == "ok"


def test_a_boot_message_and_a_clock_off_by_200_ppm_pass_and_the_clock_is_told() -> None:
    found = findings_of(Device(Scenario(seed=2, faults=Faults(boot_message=True, clock_ppm=200.0))))
    assert failing(found) == set()
    ppm, sigma = (float(found["clock"].found.split()[n].replace(",", "")) for n in (0, 2))
    print(f"200 ppm seen as {ppm:.0f} +- {sigma:.0f}")
    assert abs(ppm - 200) < 3 * sigma
    assert sigma < 250  # this wire is looked at every 4 ms


def test_delays_that_are_not_stated_are_named_with_what_to_do() -> None:
    """The wire format allows it and some data sheets do not say, so it is told and fails nobody."""
    found = findings_of(Device(replace(SCENARIO, faults=Faults(delays_unknown=True))))
    assert failing(found) == set()
    assert found["delays"].verdict == "advice"
    assert "accel_delay_us and gyro_delay_us unknown" in found["delays"].found
    assert "set-up" in found["delays"].do


@pytest.mark.parametrize("fault", BROKEN)
def test_each_fault_is_named(fault: str) -> None:
    found = found_of(fault)
    failed = failing(found)
    print(f"{fault}: {', '.join(sorted(failed))}")
    assert BROKEN[fault][1] in failed
    assert all(f.do for f in found.values() if f.verdict == "fails")


# Faults that have one consequence must have one line, or nobody would know where to begin.
@pytest.mark.parametrize(
    "fault",
    [
        "streams before start", "does not echo the request", "says ok to unknown commands", "has no uid",
        "does not count loss", "counts while stopped", "sends no HEALTH", "runs on a clock that is off",
        "calls every block the first", "deaf to stop",
    ],
)  # fmt: skip
def test_few_other_lines_fail_with_it(fault: str) -> None:
    assert len(failing(found_of(fault))) <= 3


def test_at_least_ten() -> None:
    assert len(BROKEN) >= 10


def test_nobody_there() -> None:
    wire = SoftwareWire(Mute(SCENARIO))
    with pytest.raises(NoAnswerError):
        check_device(wire, wire.now)
    assert 5.0 < wire.now() < 7.5


def test_text_mode_is_told_and_looked_at() -> None:
    found = findings_of(TextDevice(Scenario(seed=2, rate_hz=200.0)))
    assert {f.verdict for f in found.values()} == {"ok"}
    assert set(found) == {"lines", "units", "rate", "clock", "gravity"}

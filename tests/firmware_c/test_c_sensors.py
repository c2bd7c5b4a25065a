"""The examples' ring, FIFO sampler and sensor drivers on a PC, against models of the sensors' registers.

Sensitivities and codes are those of the data sheets: MPU-6050 register map RM-MPU-6000A, LSM6DSO DS12140, BMI160
BST-BMI160-DS000. Conversions to SI are done here another way than in the drivers, from counts per unit.
"""

from __future__ import annotations

import math
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import quiethand_protocol as qp
from firmware_c.c_side import EXAMPLES, HERE, SANITIZED, SOURCES, build
from firmware_protocol.vector_files import outcomes

G = 9.80665
SENSORS = ["mpu6050", "lsm6dso", "bmi160"]
COMMON = [EXAMPLES / "common" / "sample_ring.c", EXAMPLES / "common" / "fifo_sampler.c"]
INCLUDES = [f"-I{EXAMPLES / 'common'}", f"-I{EXAMPLES / 'sensors'}"]
DRIVERS = [EXAMPLES / "sensors" / f"{name}.c" for name in SENSORS]
RANGES_G = [2, 4, 8, 16]
RANGES_DEG_S = [250, 500, 1000, 2000]
COUNTS_PER_G = {"mpu6050": [16384, 8192, 4096, 2048], "bmi160": [16384, 8192, 4096, 2048]}
COUNTS_PER_G["lsm6dso"] = [1000 / mg for mg in (0.061, 0.122, 0.244, 0.488)]  # type: ignore[assignment]
COUNTS_PER_DEG_S = {"mpu6050": [131, 65.5, 32.8, 16.4], "bmi160": [131.2, 65.6, 32.8, 16.4]}
COUNTS_PER_DEG_S["lsm6dso"] = [1000 / mdeg for mdeg in (8.75, 17.5, 35, 70)]
Ask = Callable[[str], str]


@pytest.fixture(scope="module")
def program(tmp_path_factory: pytest.TempPathFactory) -> Path:
    sources = [*SOURCES, *COMMON, *DRIVERS, HERE / "sensor_model.c"]
    return build(tmp_path_factory.mktemp("c") / "model", sources, [*SANITIZED, *INCLUDES])


@pytest.fixture
def model(program: Path) -> Iterator[Callable[[str], Ask]]:
    running: list[subprocess.Popen[str]] = []

    def make(sensor: str) -> Ask:
        process = subprocess.Popen(
            [str(program), sensor], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1
        )
        running.append(process)

        def ask(line: str) -> str:
            assert process.stdin is not None
            assert process.stdout is not None
            process.stdin.write(line + "\n")
            answer = process.stdout.readline().strip()
            assert answer, f"it died at {line!r}"
            return answer

        return ask

    yield make
    for process in running:
        assert process.stdin is not None
        process.stdin.close()
        assert process.wait(10) == 0


def test_ring(tmp_path: Path) -> None:
    for slots in (1, 16, 128):
        flags = [*SANITIZED, *INCLUDES, f"-DRING_SLOTS={slots}u"]
        ring = build(tmp_path / f"ring{slots}", [COMMON[0], HERE / "ring_check.c"], flags)
        subprocess.run([ring], check=True, capture_output=True)


@pytest.mark.parametrize("sensor", SENSORS)
@pytest.mark.parametrize("place", range(4))
def test_scales_are_the_data_sheets(model: Callable[[str], Ask], sensor: str, place: int) -> None:
    said = model(sensor)(f"configure 1 {RANGES_G[place]} {RANGES_DEG_S[place]}").split()
    assert float(said[1]) == pytest.approx(G / COUNTS_PER_G[sensor][place], rel=2e-6)
    assert float(said[2]) == pytest.approx(math.radians(1) / COUNTS_PER_DEG_S[sensor][place], rel=2e-3)


REGISTERS: dict[str, list[tuple[tuple[int, int, int], dict[int, int]]]] = {
    "mpu6050": [
        ((1_000_000, 16, 2000), {0x6B: 0x01, 0x19: 0, 0x1A: 1, 0x1B: 0x18, 0x1C: 0x18}),
        ((200_000, 4, 500), {0x19: 4, 0x1A: 2, 0x1B: 0x08, 0x1C: 0x08}),
        ((100_000, 2, 250), {0x19: 9, 0x1A: 3, 0x1B: 0, 0x1C: 0}),
    ],
    "lsm6dso": [
        ((6_664_000, 16, 2000), {0x10: 0xA4, 0x11: 0xAC, 0x12: 0x44, 0x18: 0xE2, 0x09: 0xAA}),
        ((1_666_000, 8, 500), {0x10: 0x8C, 0x11: 0x84, 0x09: 0x88}),
        ((104_000, 4, 250), {0x10: 0x48, 0x11: 0x40, 0x09: 0x44}),
    ],
    "bmi160": [
        ((1_600_000, 16, 2000), {0x40: 0x2C, 0x41: 0x0C, 0x42: 0x2C, 0x43: 0}),
        ((400_000, 8, 500), {0x40: 0x2A, 0x41: 0x08, 0x42: 0x2A, 0x43: 2}),
        ((100_000, 2, 250), {0x40: 0x28, 0x41: 0x03, 0x42: 0x28, 0x43: 3}),
    ],
}


@pytest.mark.parametrize("sensor", SENSORS)
def test_registers_are_the_data_sheets(model: Callable[[str], Ask], sensor: str) -> None:
    ask = model(sensor)
    for (rate, accel, gyro), wanted in REGISTERS[sensor]:
        said = ask(f"configure {rate} {accel} {gyro}").split()
        assert int(said[0]) == rate
        assert {reg: int(ask(f"reg {reg}")) for reg in wanted} == wanted


def test_delays_where_the_data_sheet_states_them(model: Callable[[str], Ask]) -> None:
    """RM-MPU-6000A section 4.3, DLPF_CFG 1 to 3; the other two state no delay, and none is invented."""
    ask = model("mpu6050")
    assert ask("configure 1000000 16 2000").split()[3:] == ["2000", "1900", "184", "188"]
    assert ask("configure 200000 16 2000").split()[3:] == ["3000", "2800", "94", "98"]
    assert ask("configure 100000 16 2000").split()[3:] == ["4900", "4800", "44", "42"]
    for sensor in ("lsm6dso", "bmi160"):
        assert model(sensor)("configure 800000 16 2000").split()[3:5] == ["65535", "65535"]


@pytest.mark.parametrize("sensor", SENSORS)
def test_samples_come_out_as_they_went_in(model: Callable[[str], Ask], sensor: str) -> None:
    ask = model(sensor)
    ask("configure 400000 16 2000")
    assert ask("start 8") == "ok"
    assert ask("read") == "-"
    rows = [[n, -n, 32767, -32768, 256 * n, -1] for n in range(11)]
    for row in rows:
        ask("sample " + " ".join(map(str, row)))
    assert [list(map(int, one.split(","))) for one in ask("read").split()] == rows
    assert ask("stop") == "ok"
    ask("sample 1 2 3 4 5 6")
    assert ask("read") == "-"


@pytest.mark.parametrize("sensor", SENSORS)
def test_an_overrun_is_said_and_the_fifo_begins_anew(model: Callable[[str], Ask], sensor: str) -> None:
    ask = model(sensor)
    ask("configure 400000 16 2000")
    ask("start 8")
    for _ in range(600):
        ask("sample 1 2 3 4 5 6")
    assert ask("read") == "overrun"
    ask("sample 6 5 4 3 2 1")
    assert ask("read") == "6,5,4,3,2,1"


def test_a_torn_pair_is_an_overrun(model: Callable[[str], Ask]) -> None:
    ask = model("lsm6dso")
    ask("configure 833000 16 2000")
    ask("start 8")
    for _ in range(3):
        ask("sample 1 2 3 4 5 6")
    ask("torn")
    assert ask("read") == "overrun"
    assert ask("read") == "-"


@pytest.mark.parametrize("sensor", SENSORS)
def test_a_sensor_that_is_not_there(model: Callable[[str], Ask], sensor: str) -> None:
    ask = model(sensor)
    ask("dead 1")
    for line in ("configure 400000 16 2000", "start 8", "stop", "read", "temperature"):
        assert ask(line) == "fault"
    ask("dead 0")
    ask({"mpu6050": "set 0x75 0x70", "lsm6dso": "set 0x0F 0x69", "bmi160": "set 0 0xD8"}[sensor])
    assert ask("configure 400000 16 2000") == "fault"  # another sensor answers


@pytest.mark.parametrize(
    ("sensor", "registers", "centi"),
    [
        ("mpu6050", {0x41: 0x00, 0x42: 0x00}, 3653),
        ("mpu6050", {0x41: 0xF2, 0x42: 0xB8}, 2653),  # -3400 counts: 10 degrees less
        ("lsm6dso", {0x20: 0x00, 0x21: 0xFF}, 2400),
        ("bmi160", {0x20: 0x00, 0x21: 0x02}, 2400),
        ("bmi160", {0x20: 0x00, 0x21: 0x80}, -4100),
    ],
)
def test_temperatures(model: Callable[[str], Ask], sensor: str, registers: dict[int, int], centi: int) -> None:
    ask = model(sensor)
    for reg, value in registers.items():
        ask(f"set {reg} {value}")
    assert int(ask("temperature")) == centi


def messages(answer: str) -> list[dict[str, Any]]:
    return [one["message"] for one in outcomes(qp.Parser("device").feed(bytes.fromhex(answer)))]


def test_fifo_samples_get_the_interrupts_time(model: Callable[[str], Ask]) -> None:
    """1.6 kHz, a period of 625 ticks: the interrupt tells when sample 8 was taken, 19 make the first block."""
    ask = model("bmi160")
    assert messages(ask("stream 0"))[0]["sensor"] == "BMI160"
    found = []
    for n in range(6):
        for _ in range(8):
            ask("sample 1 2 3 4 5 6")
        ask(f"mark {(8 * n + 8) * 625}")
        answer = ask(f"take {(8 * n + 8) * 625 + 300}")
        found += messages(answer) if answer != "-" else []
    assert [(m["index"], m["ticks"]) for m in found] == [(0, 19 * 625), (19, 38 * 625)]


def test_fifo_is_read_without_an_interrupt_too(model: Callable[[str], Ask]) -> None:
    """1 kHz on the sensor that has none for this: after two watermarks' time, and the newest was taken about then."""
    ask = model("mpu6050")
    ask("stream 0")
    for n in range(40):
        ask("sample 1 2 3 4 5 6")
        answer = ask(f"take {(n + 1) * 1000}")
        if answer != "-":
            (block,) = messages(answer)
            assert (block["index"], block["ticks"]) == (0, 19_000)
            assert n == 31
            break
    else:
        pytest.fail("it was never read")


def test_an_overrun_advances_the_index_by_the_time_gone(model: Callable[[str], Ask]) -> None:
    ask = model("bmi160")
    ask("stream 0")
    for _ in range(8):
        ask("sample 1 2 3 4 5 6")
    ask("mark 5000")
    ask("take 5000")
    for _ in range(100):  # more than it holds
        ask("sample 1 2 3 4 5 6")
    ask("mark 10000")
    assert ask("take 70000") == "-"
    for _ in range(27):
        ask("sample 1 2 3 4 5 6")
    ask("mark 80000")  # the 8th sample after; so the first was taken at 75,625, which is sample 121, index 120
    found = messages(ask("take 93000"))
    assert [(m["index"], len(m["counts"]), m["status"] & 1) for m in found] == [(0, 8, 0), (120, 19, 1)]

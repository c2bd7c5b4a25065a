"""What is compiled for processors that are not here: sizes that the README states, sketches against stub headers."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest
from absent import need
from firmware_c.c_side import EXAMPLES, HERE, SOURCES, STRICT, C

TARGETS = {
    "Cortex-M3": ("arm-none-eabi-gcc", ["-mcpu=cortex-m3", "-mthumb", "-ffreestanding"]),
    "Cortex-M0+": ("arm-none-eabi-gcc", ["-mcpu=cortex-m0plus", "-mthumb", "-ffreestanding"]),
    "AVR (ATmega328P)": ("avr-gcc", ["-mmcu=atmega328p"]),
}


def sizes(compiler: str, flags: list[str], source: Path, folder: Path) -> tuple[int, int]:
    """Bytes of code with constants, and of RAM, of one file at -Os."""
    out = folder / "part.o"
    subprocess.run(
        [need(compiler), "-std=c99", "-Os", "-fno-common", *STRICT, *flags, f"-I{C}", "-c", source, "-o", out],
        check=True,
        text=True,
    )
    size = subprocess.run([need(compiler.replace("gcc", "size")), out], capture_output=True, text=True, check=True)
    text, data, bss = map(int, size.stdout.splitlines()[1].split()[:3])
    return text + data, data + bss


@pytest.mark.parametrize("name", TARGETS)
def test_sizes_are_those_of_the_readme(name: str, tmp_path: Path) -> None:
    """Within 10 %, as compilers go on; beyond that the README is to be measured anew."""
    compiler, flags = TARGETS[name]
    measured = {source.stem: sizes(compiler, flags, source, tmp_path) for source in SOURCES}
    assert all(ram == 0 for _, ram in measured.values())  # no globals
    state = tmp_path / "state.c"
    state.write_text("#include <qh_device.h>\nqh_device device;\n")
    code = [measured[stem][0] for stem in ("qh_wire", "qh_command", "qh_choose", "qh_send", "qh_device")]
    row = [*code, sum(code), sizes(compiler, flags, state, tmp_path)[1]]
    (stated,) = re.findall(rf"^\| {re.escape(name)} \|(.+)\|$", (C / "README.md").read_text("utf-8"), re.MULTILINE)
    figures = [int(cell.replace(",", "")) for cell in stated.split("|")]
    assert figures == pytest.approx(row, rel=0.10), f"measured now: {row}"


@pytest.mark.parametrize("sensor", ["mpu6050", "lsm6dso", "bmi160"])
def test_binary_sketch(sensor: str, tmp_path: Path) -> None:
    """Gathered as the README says and compiled as C++, every file, for a processor of 8 bits."""
    subprocess.run([EXAMPLES / "arduino" / "sketch.sh", tmp_path, sensor], check=True)
    folder = tmp_path / "quiethand_binary"
    compile_sketch(folder / "quiethand_binary.ino", [f"-I{folder}"])
    for source in sorted(folder.glob("*.c")):
        command = [need("avr-gcc"), "-std=c99", "-Os", "-mmcu=atmega328p", *STRICT, f"-I{folder}", "-c", source]
        subprocess.run([*command, "-o", tmp_path / "part.o"], check=True)


def test_text_sketch() -> None:
    compile_sketch(EXAMPLES / "arduino" / "quiethand_text" / "quiethand_text.ino", [])


def compile_sketch(sketch: Path, flags: list[str]) -> None:
    """As the Arduino IDE does: as C++, with Arduino.h before it."""
    stubs = HERE / "stubs"
    command = [need("avr-g++"), "-x", "c++", "-std=gnu++11", "-Os", "-mmcu=atmega328p", "-Wall", "-Wextra", "-Werror"]
    done = subprocess.run(
        [*command, *flags, f"-I{stubs}", "-include", stubs / "Arduino.h", "-c", sketch, "-o", "/dev/null"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr


def test_text_sketch_states_the_scales_of_its_sensor() -> None:
    """16 g and 2,000 deg/s of an MPU-6050 are 2,048 counts per g and 16.4 per deg/s."""
    text = (EXAMPLES / "arduino" / "quiethand_text" / "quiethand_text.ino").read_text("utf-8")
    scales = dict(re.findall(r"(accel|gyro)_scale=([\d.]+)", text))
    assert float(scales["accel"]) == pytest.approx(9.80665 / 2048, rel=1e-4)
    assert float(scales["gyro"]) == pytest.approx(0.017453292519943295 / 16.4, rel=1e-4)

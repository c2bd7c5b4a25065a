"""Python and C agree on random messages and mutated bytes: a short run here, a long one by `differential.py`."""

from __future__ import annotations

import secrets
import subprocess
from pathlib import Path

import pytest
from absent import need
from firmware_c.c_side import HERE, SANITIZED, SOURCES, STRICT, C, build
from firmware_c.differential import run


def test_python_and_c_agree(tmp_path: Path) -> None:
    seed = secrets.randbits(32)
    print(f"seed {seed}")
    program = build(tmp_path / "harness", [*SOURCES, HERE / "harness.c"], SANITIZED)
    seen = run(program, 4000, 4000, seed)
    assert set(seen) == {"message", "bad_frame", "joined", "malformed", "unknown"}


@pytest.mark.parametrize("seconds", [3])
def test_libfuzzer_finds_nothing(tmp_path: Path, seconds: int) -> None:
    """A fresh corpus each time; what it finds is printed as bytes to be kept as a test of its own."""
    target = tmp_path / "fuzz"
    flags = ["-std=c99", *STRICT, "-g", "-O1", "-fsanitize=fuzzer,address,undefined", "-fno-sanitize-recover=all"]
    sources = [*map(str, SOURCES), str(HERE / "fuzz_device.c")]
    done = subprocess.run(
        [need("clang"), *flags, f"-I{C}", *sources, "-o", str(target)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    corpus = tmp_path / "corpus"
    corpus.mkdir()
    found = subprocess.run(
        [
            target,
            corpus,
            f"-max_total_time={seconds}",
            "-max_len=2000",
            "-print_final_stats=1",
            f"-artifact_prefix={tmp_path}/",
        ],
        capture_output=True,
        text=True,
        check=False,
    )
    assert found.returncode == 0, found.stderr
    runs = [line.split()[-1] for line in found.stderr.splitlines() if "number_of_executed_units" in line]
    assert int(runs[0]) > 1000

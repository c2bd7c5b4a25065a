"""`quiethand analyse` as a user meets it: the contract's JSON, exit statuses, one line for what can't be read."""

from __future__ import annotations

import csv
import io
import json
import re
import subprocess
import sys
from pathlib import Path

import pytest
from host.analysis.evening import Evening
from jsonschema import Draft202012Validator


def run(*args: str | Path, stdin: bytes | None = None) -> subprocess.CompletedProcess[bytes]:
    command = [sys.executable, "-m", "quiethand", *map(str, args)]
    return subprocess.run(command, input=stdin, capture_output=True, timeout=120, check=False)


def refusal(*args: str | Path) -> str:
    """The one line that an unusable input is answered with."""
    done = run("analyse", *args)
    assert done.returncode == 2
    assert done.stdout == b""
    lines = done.stderr.decode().splitlines()
    assert len(lines) == 1, done.stderr.decode()
    assert lines[0].startswith("quiethand: ")
    return lines[0]


def test_json_follows_the_schema_that_it_prints(evening: Evening) -> None:
    schema = json.loads(run("analyse", "--json-schema").stdout)
    Draft202012Validator.check_schema(schema)
    done = run("analyse", evening.qhr, "--setup", evening.setup, "--format", "json")
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    Draft202012Validator(schema).validate(told)
    assert len(told["shots"]) == 2
    assert told["recording"]["samples"] == evening.truth.samples
    assert [shot["number"] for shot in told["shots"]] == [1, 2]
    assert set(told["shots"][0]["window"]["mean_torque_nm"]) == {"cant", "pitch", "yaw"}


def test_a_schema_that_accepts_anything_is_none(evening: Evening) -> None:
    schema = json.loads(run("analyse", "--json-schema").stdout)
    told = json.loads(run("analyse", evening.qhr, "--format", "json").stdout)
    del told["shots"][0]["at_departure"]["rotation_deg"]["yaw"]
    assert list(Draft202012Validator(schema).iter_errors(told))


def test_several_inputs_are_a_line_each(evening: Evening) -> None:
    done = run("analyse", evening.qhr, evening.csv_si, "--format", "json")
    lines = done.stdout.decode().splitlines()
    assert [json.loads(line)["input"] for line in lines] == [str(evening.qhr), str(evening.csv_si)]


def test_csv_has_a_row_a_shot_and_units_in_its_names(evening: Evening) -> None:
    done = run("analyse", evening.qhr, "--setup", evening.setup, "--format", "csv")
    rows = list(csv.DictReader(io.StringIO(done.stdout.decode())))
    assert len(rows) == 2
    assert float(rows[0]["time_on_string_s"]) == pytest.approx(evening.truth.shots[0].time_on_string_s, abs=2e-3)
    assert {"at_departure_rotation_deg_yaw", "window_angular_impulse_nms_pitch"} <= set(rows[0])


def test_the_table_says_what_an_archer_asks(evening: Evening) -> None:
    text = run("analyse", evening.qhr, "--setup", evening.setup, "--budget").stdout.decode()
    for words in ("on the string", "carried to the target", "not shots", "what the uncertainty", "timing"):
        assert words in text


def test_standard_input(evening: Evening) -> None:
    done = run("analyse", "-", "--format", "json", stdin=evening.qhr.read_bytes())
    assert done.returncode == 0
    assert len(json.loads(done.stdout)["shots"]) == 2


def test_no_shot_in_it_is_status_one(tmp_path: Path) -> None:
    quiet = tmp_path / "quiet.csv"
    rows = (f"{n / 500:.3f},0,0,9.80665,0,0,0" for n in range(2000))
    quiet.write_text("t_s,ax_m_s2,ay_m_s2,az_m_s2,gx_rad_s,gy_rad_s,gz_rad_s\n" + "\n".join(rows))
    done = run("analyse", quiet, "--format", "json")
    assert done.returncode == 1
    assert json.loads(done.stdout)["shots"] == []


HEADER = "t_s,ax_m_s2,ay_m_s2,az_m_s2,gx_deg_s,gy_deg_s,gz_deg_s\n"


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("empty.qhr", b"", "empty"),
        ("picture.png", b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 20, "not a recording"),
        ("bare.csv", b"0.0,0,0,9.8,0,0,0\n0.1,0,0,9.8,0,0,0\n", "header"),
        ("column.csv", HEADER.replace(",az_m_s2", "").encode() + b"0.0,0,0,0,0,0\n", "az"),
        ("nan.csv", HEADER.encode() + b"0.0,0,0,9.8,0,0,0\n0.1,0,nan,9.8,0,0,0\n", "line 3"),
        ("back.csv", HEADER.encode() + b"0.0,0,0,9.8,0,0,0\n0.2,0,0,9.8,0,0,0\n0.1,0,0,9.8,0,0,0\n", "line 4"),
    ],
)
def test_what_cannot_be_read_is_told_in_a_line(tmp_path: Path, name: str, content: bytes, words: str) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    line = refusal(path)
    assert words in line
    assert name in line


def test_no_such_file_and_a_folder(tmp_path: Path) -> None:
    assert "missing.qhr" in refusal(tmp_path / "missing.qhr")
    assert "folder" in refusal(tmp_path)


def test_a_setup_with_a_wrong_unit(evening: Evening, tmp_path: Path) -> None:
    wrong = tmp_path / "wrong.toml"
    wrong.write_text(
        re.sub(r'brace_height = "[^"]*"', 'brace_height = "7 lbf"', evening.setup.read_text(encoding="utf-8"))
    )
    line = refusal(evening.qhr, "--setup", wrong)
    assert "bow.brace_height" in line
    assert "7 lbf" in line


@pytest.mark.parametrize("port", ["/dev/ttyNOTHERE7", "socket://127.0.0.1:9"])
def test_a_port_that_is_not_there(tmp_path: Path, port: str) -> None:
    done = run("record", "--port", port, "--out", tmp_path / "a.qhr", "--for", "1s")
    lines = done.stderr.decode().splitlines()
    assert done.returncode == 2
    assert len(lines) == 1
    assert port.split("/")[-1] in lines[0]


def test_a_verb_misspelt_and_an_option_unknown() -> None:
    for args in (["anlyse"], ["analyse", "--fromat", "json"], ["analyse"]):
        done = run(*args)
        assert done.returncode == 2
        assert len(done.stderr.decode().splitlines()) == 1
        assert b"Traceback" not in done.stderr

"""`quiethand setup` and `quiethand launch` as a user types them."""

from __future__ import annotations

import csv
import io
import json
import re
import tomllib
from pathlib import Path

import pytest
from quiethand.bow.limit_names import LIMIT_MEASURES
from quiethand.bow.setup_file import TABLES, read_setup
from quiethand.commands import main


def run(capsys: pytest.CaptureFixture[str], *args: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as stop:
        main(list(args))
    out = capsys.readouterr()
    assert isinstance(stop.value.code, int)
    return stop.value.code, out.out, out.err


@pytest.fixture
def bow_toml(tmp_path: Path) -> Path:
    path = tmp_path / "bow.toml"
    path.write_text(
        '[bow]\nkind = "compound"\npeak_weight = "60 lbf"\nlet_off = 0.8\ndraw_length = "29.75 in"\n'
        'brace_height = "7 in"\nvirtual_mass = "70 grain"\nfriction = 0.0\n'
        'inertia = { pitch = "0.36 kg m^2", yaw = "0.3 kg m^2" }\n'
        '[arrow]\nmass = "350 grain"\n[target]\ndistance = "18 m"\n',
        encoding="utf-8",
    )
    return path


@pytest.mark.parametrize("kind", ["compound", "recurve"])
def test_a_written_set_up_reads_and_launches(kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "new.toml"
    assert run(capsys, "setup", "--kind", kind, "--out", str(out))[0] == 0
    assert read_setup(out).bow.kind == kind
    status, text, _ = run(capsys, "launch", "--setup", str(out))
    assert status == 0
    assert "Never shoot without an arrow" in text


@pytest.mark.parametrize("kind", ["compound", "recurve"])
def test_every_line_of_it_can_be_switched_on(kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each key is there, with a remark, and reads without error once its # is gone."""
    text = run(capsys, "setup", "--kind", kind)[1]
    switched_on = re.sub(r"^# (?=[a-z_]+ = |\]$)|^#(?=   \[)", "", text, flags=re.M)
    document = tomllib.loads(switched_on)
    for table, (_, keys) in TABLES.items():
        missing = set(keys) - set(document[table])
        assert missing <= ({"let_off"} if kind == "recurve" else set()), table
    assert set(document["limits"]) <= set(LIMIT_MEASURES)
    path = tmp_path / "on.toml"
    path.write_text(switched_on, encoding="utf-8")
    setup = read_setup(path)
    assert setup.notes == ()
    assert setup.bow.draw_force_curve is not None
    result = json.loads(run(capsys, "launch", "--setup", str(path), "--format", "json")[1])
    assert result["curve_from"] == "measured"
    assert max(len(line) for line in text.splitlines()) <= 120


def test_a_file_is_overwritten_only_by_force(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "mine.toml"
    out.write_text("precious", encoding="utf-8")
    status, _, err = run(capsys, "setup", "--out", str(out))
    assert (status, out.read_text(encoding="utf-8")) == (2, "precious")
    assert err.count("\n") == 1
    assert "--force" in err
    assert run(capsys, "setup", "--out", str(out), "--force")[0] == 0
    assert read_setup(out).bow.kind == "compound"
    status, _, err = run(capsys, "setup", "--out", str(tmp_path), "--force")
    assert status == 2
    assert "is a folder; name a file" in err
    status, _, err = run(capsys, "setup", "--out", str(tmp_path / "no" / "where.toml"))
    assert status == 2
    assert "cannot be written (No such file or directory)" in err


def test_the_contract_s_object(bow_toml: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, text, err = run(capsys, "launch", "--setup", str(bow_toml), "--format", "json")
    assert (status, err) == (0, "")
    result = json.loads(text)
    assert result["time_on_string_s"] * 1e3 == pytest.approx(14.8178, abs=1e-4)
    assert result["rest_clear_s"] * 1e3 == pytest.approx(16.8155, abs=1e-4)
    assert result["arrow_speed_m_s"] == pytest.approx(89.0002, abs=1e-4)
    assert result["efficiency"] == pytest.approx(350 / 420)
    assert result["kinetic_energy_j"] == pytest.approx(result["efficiency"] * result["stored_energy_j"])
    assert result["holding_weight_n"] == pytest.approx(53.3786594)
    per_nm = 18_000 * result["time_on_string_s"] ** 2 / 2
    assert result["sensitivity_mm_per_nm"] == pytest.approx({"pitch": per_nm / 0.36, "yaw": per_nm / 0.3})
    assert result["curve_from"] == "assumed"
    curve, motion = result["curve"], result["motion"]
    assert curve["position_m"][0] == pytest.approx(0.1778)
    assert curve["position_m"][-1] == pytest.approx(28 * 0.0254)
    assert curve["force_n"][-1] == pytest.approx(result["holding_weight_n"])
    assert motion["time_s"][-1] == result["time_on_string_s"]
    assert len({len(column) for column in motion.values()}) == 1


def test_another_arrow_and_let_off(bow_toml: Path, capsys: pytest.CaptureFixture[str]) -> None:
    args = ("launch", "--setup", str(bow_toml), "--format", "json")
    heavy = json.loads(run(capsys, *args, "--arrow-mass", "450 grain")[1])
    assert heavy["time_on_string_s"] * 1e3 == pytest.approx(16.4877, abs=1e-4)
    held = json.loads(run(capsys, *args, "--let-off", "0.65")[1])
    assert held["time_on_string_s"] * 1e3 == pytest.approx(13.2598, abs=1e-4)
    light = json.loads(run(capsys, *args, "--arrow-mass", "250 gr")[1])
    assert "4.2 grains per pound" in light["cautions"][0]
    assert not any("grains per pound" in caution for caution in heavy["cautions"])


def test_csv_is_the_string_s_way(bow_toml: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rows = list(csv.DictReader(io.StringIO(run(capsys, "launch", "--setup", str(bow_toml), "--format", "csv")[1])))
    assert list(rows[0]) == ["time_s", "travel_m", "speed_m_s", "force_n"]
    assert float(rows[0]["speed_m_s"]) == 0
    assert float(rows[-1]["time_s"]) * 1e3 == pytest.approx(14.8178, abs=1e-4)
    assert float(rows[-1]["travel_m"]) == pytest.approx(21 * 0.0254)


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (("--arrow-mass", "350"), '--arrow-mass: "350" has no unit; write a mass with its unit'),
        (("--arrow-mass", "0 g"), "never shoot without an arrow"),
        (("--let-off", "80"), "write 0.80 for 80 %"),
        (("--let-off", "most"), '--let-off: "most" is not a number'),
    ],
)
def test_one_line_for_a_mistake(
    bow_toml: Path, more: tuple[str, ...], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    status, out, err = run(capsys, "launch", "--setup", str(bow_toml), *more)
    assert (status, out) == (2, "")
    assert says in err
    assert err.count("\n") == 1


def test_no_such_set_up(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, _, err = run(capsys, "launch", "--setup", str(tmp_path / "none.toml"))
    assert status == 2
    assert "no such set-up file" in err

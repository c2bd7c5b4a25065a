"""A set-up file that a person wrote is changed without losing anything of it."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from quiethand.bow.setup_file import read_setup
from quiethand.bow.template import template
from quiethand.commands.setup_edit import Change, plan_edit, write_edit
from quiethand.errors import InputError

BIAS = Change("sensor", "gyro_bias", ["0.1 deg/s", "0.2 deg/s", "0.3 deg/s"], "lying still")


def written(path: Path, *changes: Change) -> Path:
    return write_edit(plan_edit(path, changes))


def names(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.iterdir())


@pytest.mark.parametrize("kind", ["compound", "recurve"])
def test_every_line_of_a_template_stays(kind: str, tmp_path: Path) -> None:
    path = tmp_path / "bow.toml"
    path.write_text(template(kind), encoding="utf-8")  # type: ignore[arg-type]
    before = path.read_text(encoding="utf-8").splitlines()
    written(path, BIAS, Change("bow", "inertia", "0.3 kg m^2", "20 swings", axis="yaw"))
    after = path.read_text(encoding="utf-8").splitlines()
    added = [line for line in after if line not in before]
    assert [line for line in after if line not in added] == before
    assert len(added) == 2
    assert added[0].startswith("inertia = ")
    assert after.index(added[1]) < after.index("[target]")


def test_the_files_before_are_kept_and_numbered(tmp_path: Path) -> None:
    path = tmp_path / "bow.toml"
    path.write_text("[sensor]\n# one\n")
    (tmp_path / "bow.toml.before-7").write_text("an old one")
    kept = [written(path, BIAS), written(path, BIAS)]
    assert [k.name for k in kept] == ["bow.toml.before-8", "bow.toml.before-9"]
    assert kept[0].read_text() == "[sensor]\n# one\n"
    assert "gyro_bias" in kept[1].read_text()
    assert names(tmp_path) == ["bow.toml", "bow.toml.before-7", "bow.toml.before-8", "bow.toml.before-9"]


def test_a_second_calibration_takes_the_place_of_the_first(tmp_path: Path) -> None:
    path = tmp_path / "bow.toml"
    path.write_text('[sensor]\ngyro_bias = ["1 deg/s", "0 deg/s", "0 deg/s"] # by eye; in March\n')
    written(path, BIAS)
    written(path, Change("sensor", "gyro_bias", ["0.4 deg/s", "0 deg/s", "0 deg/s"], "again"))
    assert path.read_text().splitlines()[1:] == [
        'gyro_bias = ["0.4 deg/s", "0 deg/s", "0 deg/s"] # by eye; in March; calibrated: again'
    ]


@pytest.mark.parametrize(
    "text",
    [
        "",
        '[bow]\ninertia = {pitch = "0.4 kg m^2"} # mine\n',
        '[bow.inertia]\npitch = "0.4 kg m^2" # mine\n',
        '[bow]\nmass = "2 kg"\n\n[bow.inertia]\npitch = "0.4 kg m^2"\nyaw = "9 kg m^2" # typed\n',
        'bow.inertia.pitch = "0.4 kg m^2"\n',
    ],
)
def test_one_axis_of_inertia_however_it_is_written(text: str, tmp_path: Path) -> None:
    path = tmp_path / "bow.toml"
    path.write_text(text)
    for value in ("0.3", "0.35"):
        written(path, Change("bow", "inertia", f"{value} kg m^2", "20 swings", axis="yaw"))
    inertia = read_setup(path).bow.inertia_kg_m2
    assert inertia is not None
    assert inertia.yaw == pytest.approx(0.35)
    assert inertia.pitch == (pytest.approx(0.4) if "pitch" in text else None)
    assert path.read_text().count("yaw calibrated: 20 swings") == 1
    for remark in ("# mine", "# typed"):
        assert (remark in path.read_text()) == (remark in text)


@pytest.mark.parametrize("lead", ["", "﻿"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_line_ends_and_byte_order_mark_stay(lead: str, end: str, tmp_path: Path) -> None:
    path = tmp_path / "bow.toml"
    path.write_bytes(f'{lead}[archer]{end}name = "Lane 4 – Zoë" # ☂{end}[sensor]{end}'.encode())
    before = path.read_bytes()
    written(path, BIAS)
    assert path.read_bytes().startswith(before)
    assert read_setup(path).archer.name == "Lane 4 – Zoë"


def test_a_link_stays_a_link_and_rights_stay(tmp_path: Path) -> None:
    real = tmp_path / "club" / "bow.toml"
    real.parent.mkdir()
    real.write_text("[sensor]\n")
    real.chmod(0o640)
    link = tmp_path / "mine.toml"
    link.symlink_to(real)
    kept = written(link, BIAS)
    assert link.is_symlink()
    assert "gyro_bias" in real.read_text()
    assert real.stat().st_mode & 0o777 == 0o640
    assert kept == real.parent / "bow.toml.before-1"


@pytest.mark.parametrize("fails", ["fsync", "replace", "chmod"])
def test_a_full_disk_loses_nothing(fails: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "bow.toml"
    path.write_text("[sensor]\n# precious\n")

    def fail(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, fails, fail)
    with pytest.raises(InputError, match="No space left on device"):
        written(path, BIAS)
    assert path.read_text() == "[sensor]\n# precious\n"
    assert [n for n in names(tmp_path) if n.startswith(".")] == []


def test_somebody_elses_change_is_not_overwritten(tmp_path: Path) -> None:
    path = tmp_path / "bow.toml"
    path.write_text("[sensor]\n")
    edit = plan_edit(path, [BIAS])
    path.write_text("[sensor]\n# saved from an editor meanwhile\n")
    with pytest.raises(InputError, match="changed by somebody else"):
        write_edit(edit)
    assert names(tmp_path) == ["bow.toml"]
    assert "meanwhile" in path.read_text()


def test_values_that_contradict_are_refused_before_anything_is_written(tmp_path: Path) -> None:
    path = tmp_path / "bow.toml"
    path.write_text('[bow]\ninertia = {cant = "0.1 kg m^2", pitch = "0.1 kg m^2"}\n')
    with pytest.raises(InputError, match="nothing was written"):
        plan_edit(path, [Change("bow", "inertia", "0.9 kg m^2", "20 swings", axis="yaw")])
    assert names(tmp_path) == ["bow.toml"]

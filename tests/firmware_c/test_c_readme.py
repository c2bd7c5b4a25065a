"""The C side's README: its ten lines compile, as C and as C++, and write what they say; its headers stand alone."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest
import quiethand_protocol as qp
from firmware_c.c_side import EXAMPLES, SANITIZED, C, build

README = (C / "README.md").read_text("utf-8")
HEADERS = [*C.glob("*.h"), *(EXAMPLES / "common").glob("*.h"), *(EXAMPLES / "sensors").glob("*.h")]


@pytest.mark.parametrize("compiler", ["gcc", "g++"])
def test_ten_lines(tmp_path: Path, compiler: str) -> None:
    (code,) = re.findall(r"```c\n(.*?)```", README, re.DOTALL)
    source = tmp_path / "ten.c"
    source.write_text(code, "utf-8")
    program = build(tmp_path / "ten", [source, C / "qh_wire.c"], SANITIZED, compiler)
    written = subprocess.run([program], capture_output=True, check=True).stdout
    (item,) = qp.Parser("device").feed(written)
    assert isinstance(item, qp.Blocks)
    assert item.counts.tolist() == [[0, 0, 2008, 0, 3, -512], [1, -1, 2009, 0, 2, -511]]
    assert (item.index[0], item.ticks[0]) == (20, 20_999)


@pytest.mark.parametrize("header", HEADERS, ids=lambda path: path.name)
def test_every_header_stands_alone(tmp_path: Path, header: Path) -> None:
    source = tmp_path / "alone.c"
    source.write_text(f'#include "{header.name}"\nint main(void) {{ return 0; }}\n')
    includes = [f"-I{EXAMPLES / 'common'}", f"-I{EXAMPLES / 'sensors'}", "-Wno-unused-const-variable"]
    build(tmp_path / "alone", [source], includes)
    build(tmp_path / "alone", [source], includes, "g++")


@pytest.mark.parametrize("folder", ["c", "examples"])
def test_paths_named_in_the_readmes_are_there(folder: str) -> None:
    root = C.parent / folder
    text = (root / "README.md").read_text("utf-8")
    for link in re.findall(r"\]\(([^)#]+)\)", text):
        assert (root / link).exists(), link

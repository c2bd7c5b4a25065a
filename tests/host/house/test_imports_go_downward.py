"""The house stands: imports go downward only; the measuring core touches no clock, port, thread, log or file."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]
SOURCES = {
    "quiethand_protocol": ROOT / "firmware_protocol/quiethand_protocol",
    "quiethand": ROOT / "host/quiethand",
    "quiethand_dashboard": ROOT / "dashboard/quiethand_dashboard",
}
# Each room may import from itself and from those listed.
EVERYWHERE = {"quiethand.errors", "quiethand.axes", "quiethand.words"}
MAY_IMPORT = {
    "quiethand_protocol": set(),
    "quiethand.bow": set(),
    "quiethand.motion": {"quiethand_protocol", "quiethand.bow"},
    "quiethand.calibrate": {"quiethand.motion", "quiethand.bow"},
    "quiethand.shots": {"quiethand.motion", "quiethand.bow", "quiethand.judge"},
    "quiethand.judge": {"quiethand.shots", "quiethand.bow"},
    "quiethand.emulator": {"quiethand_protocol"},
}
PURE = (
    "quiethand.motion",
    "quiethand.calibrate",
    "quiethand.shots",
    "quiethand.bow",
    "quiethand.judge",
    "quiethand_protocol",
)
IMPURE_MODULES = {"socket", "threading", "logging", "subprocess", "time", "serial", "sqlalchemy", "asyncio"}


def modules() -> dict[str, ast.Module]:
    found = {}
    for package, folder in SOURCES.items():
        for path in folder.rglob("*.py"):
            parts = [package, *path.relative_to(folder).with_suffix("").parts]
            if parts[-1] == "__init__":
                parts.pop()
            found[".".join(parts)] = ast.parse(path.read_text(encoding="utf-8"))
    return found


def imported(tree: ast.Module) -> set[str]:
    names = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names |= {node.module} | {f"{node.module}.{alias.name}" for alias in node.names}
    return names


def within(name: str, room: str) -> bool:
    return name == room or name.startswith(room + ".")


MODULES = modules()


@pytest.mark.parametrize("room", sorted(MAY_IMPORT))
def test_each_room_imports_only_from_below(room: str) -> None:
    allowed = MAY_IMPORT[room] | EVERYWHERE | {room, "quiethand.__version__"}
    wrong = [
        f"{module} imports {name}"
        for module, tree in MODULES.items()
        if within(module, room)
        for name in imported(tree)
        if name.split(".")[0] in SOURCES and name != "quiethand" and not any(within(name, a) for a in allowed)
    ]
    assert wrong == []


@pytest.mark.parametrize("room", PURE)
def test_the_core_is_pure(room: str) -> None:
    wrong = [
        f"{module} imports {name}"
        for module, tree in MODULES.items()
        if within(module, room)
        for name in imported(tree)
        if name.split(".")[0] in IMPURE_MODULES
    ]
    assert wrong == []


def test_nothing_below_the_page_knows_of_the_page() -> None:
    wrong = [
        f"{module} imports {name}"
        for module, tree in MODULES.items()
        if not within(module, "quiethand_dashboard") and not within(module, "quiethand.commands")
        for name in imported(tree)
        if within(name, "quiethand_dashboard") or name.split(".")[0] in {"dash", "dash_mantine_components"}
    ]
    assert wrong == []


def test_every_folder_says_what_lives_there() -> None:
    silent = [
        str(path.relative_to(ROOT))
        for folder in SOURCES.values()
        for path in folder.rglob("__init__.py")
        if not ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))
    ]
    assert silent == []

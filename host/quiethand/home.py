"""Where data lives: the folder that QUIETHAND_HOME names, or else the platform's user data folder."""

from __future__ import annotations

import os
from pathlib import Path

from quiethand.errors import InputError

__all__ = ["home", "place_in_home", "recordings_folder", "store_url", "whole_path", "with_folder", "within_home"]


def home() -> Path:
    """The folder of all stored data. It is created by `place_in_home`, not by asking for it."""
    stated = os.environ.get("QUIETHAND_HOME")
    if stated:
        return Path(stated).expanduser().absolute()
    import platformdirs  # 40 ms, and not needed where QUIETHAND_HOME is set

    return Path(platformdirs.user_data_path("quiethand", appauthor=False))


def place_in_home(*parts: str) -> Path:
    """A path inside the home whose parent folder exists.

    Raises:
        InputError: the folder can't be made.
    """
    return with_folder(home().joinpath(*parts))


def with_folder(path: Path) -> Path:
    """`path`, once its folder exists.

    Raises:
        InputError: the folder can't be made.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            f"the data folder can't be made ({error.strerror})",
            where=str(path.parent),
            do="set QUIETHAND_HOME to a folder that you may write to",
        ) from None
    return path


def recordings_folder() -> Path:
    """Where `live` puts its recordings, created if need be."""
    return place_in_home("recordings", "x").parent


def store_url() -> str:
    """The URL of the default store, a SQLite file in the home (created if need be)."""
    return f"sqlite:///{place_in_home('shots.sqlite3').as_posix()}"


def within_home(path: Path) -> str:
    """`path` as the store keeps it: relative to the home if it lies inside (a home can be moved), else whole."""
    absolute = path.absolute()
    root = home()
    return absolute.relative_to(root).as_posix() if absolute.is_relative_to(root) else str(absolute)


def whole_path(stored: str) -> Path:
    """The place of what `within_home` gave."""
    return home() / stored  # an absolute path stays as it is

"""Quiethand: how a bow turned and was twisted while the arrow was still on the string.

In a notebook:

    import quiethand as qh

    qh.read("evening.qhr")      # a row a sample
    qh.shots("evening.qhr")     # a row a shot; without a recording, those of the store
    qh.trace("evening.qhr", 3)  # how the bow moved around one shot
    qh.launch("bow.toml")       # what bow and arrow should do

Nothing of that is imported until it is asked for, so that the command line starts as quickly as ever.
"""

from __future__ import annotations

import sys
from types import ModuleType

# Type checkers know the name; the module `typing` would take most of the time that this import takes.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any, Final

    from quiethand.errors import InputError as InputError
    from quiethand.notebook import launch as launch
    from quiethand.notebook import measures as measures
    from quiethand.notebook import read as read
    from quiethand.notebook import rejected as rejected
    from quiethand.notebook import shots as shots
    from quiethand.notebook import trace as trace

__version__ = "0.1.0"

_FACE: Final = ("launch", "measures", "read", "rejected", "shots", "trace")
__all__ = ["InputError", "__version__", "launch", "measures", "read", "rejected", "shots", "trace"]


class _CallableRoom(ModuleType):
    """The room `quiethand.shots`, which a notebook calls: importing it gives the package an attribute of that name."""

    def __call__(self, *args: Any, **wanted: Any) -> Any:
        """See `quiethand.notebook.shots`."""
        from quiethand.notebook import shots

        return shots(*args, **wanted)


class _Face(ModuleType):
    """This package as a module: it learns when the room of shots is imported, and lets it be called."""

    def __setattr__(self, name: str, value: object) -> None:
        if name == "shots" and type(value) is ModuleType:
            value.__class__ = _CallableRoom
        super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Face


def __getattr__(name: str) -> Any:
    if name == "InputError":
        from quiethand.errors import InputError

        return InputError
    if name in _FACE:
        from quiethand import notebook

        return getattr(notebook, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)

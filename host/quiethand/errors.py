"""Every error this program raises on purpose.

    QuiethandError
    └── InputError      what a user gave is unusable: one line on stderr, exit status 2

A message says what is wrong, where, with the offending value, and what to do about it.
"""

from __future__ import annotations

__all__ = ["InputError", "QuiethandError"]


class QuiethandError(Exception):
    """The root of every error raised on purpose."""


class InputError(QuiethandError):
    """A file, option, port or set-up that cannot be used, told in one line.

    Args:
        what: what is wrong, with the offending value.
        where: the file, key, line or port it was found in ("" if the message names it).
        do: what the user can do about it.
    """

    def __init__(self, what: str, *, where: str = "", do: str = "") -> None:
        self.what, self.where, self.do = what, where, do
        head = f"{where}: {what}" if where else what
        super().__init__(f"{head}; {do}" if do else head)

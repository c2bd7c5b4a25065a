"""Verbs run as processes of their own that never outlive the one that started them, however it dies.

A child holds one end of a pipe as its standard input. When its parent closes the other end, or is killed, the child
sees the end and stops as if a person had pressed Ctrl-C.
"""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Mapping, Sequence
from typing import IO, Any, Final

__all__ = ["Child", "run_child", "stop_all"]

_STOP_PATIENCE_S: Final = 10.0  # a recorder syncs, a follower finishes its last shot
_START: Final = "from quiethand.commands.children import run_child; run_child()"

# In a group of its own, so that Ctrl-C reaches the parent alone and the parent decides who stops when.
_OWN_GROUP: dict[str, Any]
if sys.platform == "win32":
    _OWN_GROUP = {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP}
else:
    _OWN_GROUP = {"start_new_session": True}


class Child:
    """A verb, or a module's `main`, in a process of its own.

    Args:
        name: for messages.
        environment: variables to set beside ours.
        args: the command line after `quiethand`.
        output, errors: where its standard output and errors go: None (ours), a file, or subprocess.PIPE; errors also
            subprocess.STDOUT.
    """

    def __init__(
        self,
        name: str,
        args: Sequence[str],
        *,
        output: IO[Any] | int | None = None,
        errors: int | None = None,
        environment: Mapping[str, str] | None = None,
    ) -> None:
        self.name, self.args = name, list(args)
        self.process = subprocess.Popen(
            [sys.executable, "-c", _START, *self.args],
            stdin=subprocess.PIPE,
            stdout=output,
            stderr=errors,
            text=True,
            env={**os.environ, **(environment or {})},
            **_OWN_GROUP,
        )

    @property
    def ended(self) -> int | None:
        """Its exit status, None while it runs."""
        return self.process.poll()

    def ask_to_stop(self) -> None:
        if self.process.stdin is not None:
            with contextlib.suppress(OSError):
                self.process.stdin.close()

    def wait(self, until_s: float) -> int:
        """Its exit status, killed where it has not ended by `until_s` (time.monotonic)."""
        try:
            return self.process.wait(max(0.0, until_s - time.monotonic()))
        except subprocess.TimeoutExpired:
            self.process.kill()
            return self.process.wait()


def stop_all(children: Sequence[Child]) -> None:
    """Stop them one after the other, in the order given: each may still need those after it."""
    for child in children:
        child.ask_to_stop()
        child.wait(time.monotonic() + _STOP_PATIENCE_S)


def run_child() -> None:
    """What a child runs: the verb, until it ends or the parent does."""
    from quiethand.commands import main

    args = sys.argv[1:]
    # Set, as whoever was started in a shell's background has this signal ignored and would pass that on; without a
    # word, as the parent speaks for its children. A verb that has an end of its own sets its own.
    signal.signal(signal.SIGINT, lambda _number, _frame: sys.exit(130))
    # The verb must not read the pipe: it gets an empty input, and the pipe is kept here.
    pipe = os.dup(0)
    nothing = os.open(os.devnull, os.O_RDONLY)
    os.dup2(nothing, 0)
    os.close(nothing)
    threading.Thread(target=_stop_with_parent, args=(pipe,), daemon=True, name="parent").start()
    main(args)


def _stop_with_parent(pipe: int) -> None:
    while os.read(pipe, 4096):
        pass
    _interrupt()
    time.sleep(_STOP_PATIENCE_S)
    os._exit(1)  # it does not stop: better gone than left behind with the port


def _interrupt() -> None:
    if sys.platform == "win32":
        import _thread

        _thread.interrupt_main()
    else:
        main_thread = threading.main_thread().ident
        if main_thread is not None:
            signal.pthread_kill(main_thread, signal.SIGINT)

"""Every module can be imported where there is no POSIX: what only such systems have is imported where it is used."""

from __future__ import annotations

import subprocess
import sys

# Modules and functions that Windows lacks (docs.python.org: "Availability" of each).
CODE = """
import importlib, os, pkgutil, signal, sys
for name in ("fcntl", "termios", "pty", "tty", "resource", "pwd", "grp", "posix_ipc", "readline", "curses"):
    sys.modules[name] = None  # import raises ImportError
for module, names in ((os, "openpty fork forkpty ttyname getuid geteuid mkfifo setsid killpg"),
                      (signal, "SIGHUP SIGKILL pthread_kill SIGUSR1 setitimer")):
    for name in names.split():
        if hasattr(module, name):
            delattr(module, name)
count = 0
for package in ("quiethand_protocol", "quiethand", "quiethand_dashboard"):
    root = importlib.import_module(package)
    for found in pkgutil.walk_packages(root.__path__, package + "."):
        # a migration's environment runs within Alembic alone; a __main__ runs at once
        if not found.name.endswith(("__main__", "migrations.env")):
            importlib.import_module(found.name)
            count += 1
print(count)
"""


def test_all_modules_import_without_posix() -> None:
    done = subprocess.run([sys.executable, "-c", CODE], capture_output=True, text=True, check=False, timeout=120)
    assert done.returncode == 0, done.stderr
    print(f"{done.stdout.strip()} modules")
    assert int(done.stdout) > 200

"""A PostgreSQL server of the tests' own: made, started and thrown away, reached by nobody else."""

from __future__ import annotations

import contextlib
import itertools
import os
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from absent import ABSENT

__all__ = ["Databases", "postgres_folder", "server"]

_COUNT = itertools.count()


def postgres_folder() -> Path | None:
    """Where the server's programs are; Debian keeps them off the path."""
    on_path = shutil.which("initdb")
    if on_path:
        return Path(on_path).resolve().parent
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    return found[-1].parent if found else None


@contextlib.contextmanager
def server() -> Iterator[str]:
    """The URL of its first database, without any safety against power cuts, as it is thrown away."""
    programs = postgres_folder()
    if programs is None:
        pytest.skip(ABSENT + "postgresql")
    folder = Path(tempfile.mkdtemp(prefix="quiethand-pg-", dir="/tmp"))  # a socket's path must be short
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    as_postgres: list[str] = []
    if os.geteuid() == 0:  # it refuses to run as root
        shutil.chown(folder, "postgres", "postgres")
        as_postgres = ["setpriv", "--reuid=postgres", "--regid=postgres", "--clear-groups"]

    def run(program: str, *args: str) -> None:
        # The server keeps what it inherits open: its words go to a file, or a reader of ours would wait for its end.
        with (folder.parent / f"{folder.name}.log").open("ab") as log:
            done = subprocess.run(
                [*as_postgres, str(programs / program), *args], stdout=log, stderr=log, cwd=folder, check=False
            )
        assert done.returncode == 0, (folder.parent / f"{folder.name}.log").read_text()

    data = str(folder / "data")
    settings = f"-p {port} -h 127.0.0.1 -k {folder} -c fsync=off -c full_page_writes=off -c max_connections=40"
    try:
        run("initdb", "-D", data, "-U", "coach", "-A", "trust", "--no-sync", "-E", "UTF8", "--locale=C.UTF-8")
        run("pg_ctl", "-D", data, "-w", "-l", str(folder / "server.log"), "-o", settings, "start")
        try:
            yield f"postgresql+psycopg://coach@127.0.0.1:{port}/postgres"
        finally:
            run("pg_ctl", "-D", data, "-w", "-m", "immediate", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)
        (folder.parent / f"{folder.name}.log").unlink(missing_ok=True)


class Databases:
    """Databases of one server, each a copy of a first one that was brought to our schema once."""

    def __init__(self, url: str) -> None:
        self.url = url
        self._template: str | None = None

    def empty(self) -> str:
        """The URL of a database without a table."""
        return self._made("")

    def fresh(self) -> str:
        """The URL of an empty store."""
        if self._template is None:
            from quiethand.store import open_store

            made = self.empty()
            open_store(made).close()
            self._template = made.rpartition("/")[2]
        return self._made(f" TEMPLATE {self._template}")

    def _made(self, words: str) -> str:
        import psycopg

        name = f"club_{next(_COUNT)}"
        with psycopg.connect(self.url.replace("+psycopg", ""), autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {name}{words}")
        return f"{self.url.rpartition('/')[0]}/{name}"

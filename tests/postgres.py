"""A real PostgreSQL server of one test run: its own folder, its own socket, gone afterwards."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, NoReturn

import psycopg
import pytest
from psycopg import sql

VARIABLE = "TALLYTARE_TEST_POSTGRES"
"""Set to "required", a machine without PostgreSQL fails the tests instead of skipping them."""
_ACCOUNT = "postgres"
_START_S = 60.0


class NoPostgresError(Exception):
    """There is no PostgreSQL here, or it does not start; says why."""


def programs() -> Path:
    """Return the folder of PostgreSQL's programs: on the path, or where Debian puts them.

    Raises NoPostgresError when there is none.
    """
    found = shutil.which("initdb")
    if found is not None:
        return Path(found).parent
    versions = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), reverse=True)
    if not versions:
        raise NoPostgresError("PostgreSQL is not installed (Debian's package: postgresql)")
    return versions[0].parent


def leave_out(reason: str) -> NoReturn:
    """Skip the test, or fail it where PostgreSQL is required: CI must not pass without."""
    if os.environ.get(VARIABLE) == "required":
        pytest.fail(f"{VARIABLE}=required, but: {reason}")
    pytest.skip(reason)


class PostgresServer:
    """A server that listens on a socket in its own folder only."""

    def __init__(self, folder: Path, *, fsync: bool, small_log: bool = False) -> None:
        """With `small_log` the write-ahead log stands in `wal` and takes up little room."""
        self.folder = folder
        self.data = folder / "data"
        self.wal = folder / "wal"
        self._small_log = small_log
        self._fsync = fsync
        self._bin = programs()
        # PostgreSQL refuses to run as root; Debian's package makes an account for it.
        self._account: dict[str, Any] = (
            {"user": _ACCOUNT, "group": _ACCOUNT, "extra_groups": []} if os.geteuid() == 0 else {}
        )
        self._process: subprocess.Popen[bytes] | None = None
        self._made = 0

    def set_up(self) -> None:
        """Make an empty cluster. Raises NoPostgresError when that fails."""
        if self._account:
            shutil.chown(self.folder, _ACCOUNT, _ACCOUNT)
        log = ("-X", self.wal, "--wal-segsize=1") if self._small_log else ()
        self._run(
            "initdb", "-D", self.data, "-U", _ACCOUNT, "-A", "trust", "-E", "UTF8", "-N", *log
        )

    def start(self) -> None:
        """Start, and wait until it answers. Raises NoPostgresError when it does not."""
        options = {
            "listen_addresses": "",
            "unix_socket_directories": str(self.folder),
            "fsync": "on" if self._fsync else "off",
            "max_connections": "200",
            "shared_buffers": "32MB",
        }
        if self._small_log:
            # Its files are not used again, so that a full disk is felt at the next one.
            options |= {"min_wal_size": "2MB", "max_wal_size": "32MB", "wal_recycle": "off"}
        given = [part for key, value in options.items() for part in ("-c", f"{key}={value}")]
        with (self.folder / "server.log").open("ab") as log:
            self._process = subprocess.Popen(
                [self._bin / "postgres", "-D", self.data, *given],
                stdout=log,
                stderr=log,
                stdin=subprocess.DEVNULL,
                cwd=self.folder,
                # Ctrl+C in the terminal is for the tests; the server is stopped at their end.
                start_new_session=True,
                **self._account,
            )
        deadline = time.monotonic() + _START_S
        while True:
            try:
                self._connect("postgres").close()
                return
            except psycopg.OperationalError as error:
                if self._process.poll() is not None or time.monotonic() > deadline:
                    said = (self.folder / "server.log").read_text(errors="replace")[-800:]
                    raise NoPostgresError(f"PostgreSQL does not start: {said}") from error
                time.sleep(0.05)

    def stop(self) -> None:
        """Stop at once, in good order."""
        if self._process is not None:
            if self._process.poll() is None:
                self._process.send_signal(signal.SIGINT)
            self._process.wait(_START_S)
            self._process = None

    def kill(self) -> None:
        """End the server with -9; its workers see that and end in the middle of what they do."""
        assert self._process is not None
        os.killpg(self._process.pid, signal.SIGKILL)
        self._process.wait(_START_S)
        self._process = None

    def revive(self) -> bool:
        """Start a server that ended by itself; return whether it had."""
        assert self._process is not None
        if self._process.poll() is None:
            return False
        self.start()
        return True

    def use_up_log(self) -> None:
        """Write into the log until its full disk refuses, as others on the server may.

        Segments that exist already would else last for minutes.
        """
        with suppress(psycopg.Error), self._connect("postgres") as connection:
            for _ in range(200):
                connection.execute("SELECT pg_logical_emit_message(false, 'test', 'x')")
                connection.execute("SELECT pg_switch_wal()")

    def url(self, database: str) -> str:
        """Return the URL of a database, as the settings take it."""
        return f"postgresql://{_ACCOUNT}@/{database}?host={self.folder}"

    def new_database(self, template: str = "template0") -> str:
        """Make a database as a copy of another that nobody is connected to; return its name."""
        self._made += 1
        name = f"test_{self._made}"
        self._do("CREATE DATABASE {} TEMPLATE {} STRATEGY FILE_COPY", name, template)
        return name

    def drop(self, database: str) -> None:
        """Delete a database, whoever is connected to it."""
        self._do("DROP DATABASE IF EXISTS {} WITH (FORCE)", database)

    def _do(self, statement: str, *names: str) -> None:
        with self._connect("postgres") as connection:
            connection.execute(sql.SQL(statement).format(*(sql.Identifier(name) for name in names)))

    def _connect(self, database: str) -> psycopg.Connection[Any]:
        return psycopg.connect(
            host=str(self.folder), user=_ACCOUNT, dbname=database, autocommit=True
        )

    def _run(self, program: str, *given: object) -> None:
        command: Sequence[str] = [str(self._bin / program), *map(str, given)]
        done = subprocess.run(
            command, capture_output=True, check=False, cwd=self.folder, text=True, **self._account
        )
        if done.returncode:
            raise NoPostgresError(f"{program} failed: {done.stderr[-800:]}")


@contextmanager
def running_server(*, fsync: bool = False) -> Iterator[PostgresServer]:
    """Give a running server; its folder is deleted afterwards.

    Without fsync it is quick and survives the end of a process, though no power cut.
    """
    # A short path: that of a socket may have 107 bytes.
    folder = Path(tempfile.mkdtemp(prefix="tallytare-pg-"))
    try:
        server = PostgresServer(folder, fsync=fsync)
        server.set_up()
        server.start()
        try:
            yield server
        finally:
            server.stop()
    finally:
        shutil.rmtree(folder, ignore_errors=True)

"""A disk that fills up under load: the store's own, PostgreSQL's tables, or its write-ahead log."""

from __future__ import annotations

import random
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Literal

from service.settings import Settings
from tests.crash.audit import audit
from tests.crash.fleet import Fleet
from tests.crash.scenarios import Line, Load
from tests.postgres import PostgresServer

Part = Literal["data", "wal"]
_MEGABYTES = {"data": 96, "wal": 64}
"""An empty cluster takes about 50 MB; its log up to twice what starts a checkpoint."""


class SmallDisk:
    """A file system in memory that can be filled to its last byte."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    @contextmanager
    def full(self) -> Iterator[None]:
        """Fill it; make room again at the end."""
        ballast = self.folder / "ballast"
        with suppress(OSError), ballast.open("wb") as file:
            while True:
                file.write(b"\0" * 65_536)
                file.flush()
        try:
            yield
        finally:
            ballast.unlink(missing_ok=True)


@contextmanager
def small_disk(
    folder: Path, *, megabytes: int = 64, account: str = "root"
) -> Iterator[SmallDisk | None]:
    """Give a disk at `folder` that belongs to an account, or None where none may be mounted."""
    import pwd  # not on Windows, where these tests are collected all the same

    folder.mkdir(parents=True, exist_ok=True)
    user = pwd.getpwnam(account)
    options = f"size={megabytes}m,mode=700,uid={user.pw_uid},gid={user.pw_gid}"
    mount = ["mount", "-t", "tmpfs", "-o", options, "tmpfs", str(folder)]
    try:
        mounted = subprocess.run(mount, capture_output=True, check=False).returncode == 0
    except OSError:
        mounted = False
    if not mounted:
        yield None
        return
    try:
        yield SmallDisk(folder)
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True, capture_output=True)


@contextmanager
def server_on_small_disk(part: Part) -> Iterator[tuple[PostgresServer, SmallDisk] | None]:
    """Give a PostgreSQL server whose tables, or whose log, have a small disk of their own.

    None where none may be mounted. Raises NoPostgresError.
    """
    folder = Path(tempfile.mkdtemp(prefix="tallytare-pg-"))
    try:
        server = PostgresServer(folder, fsync=True, small_log=True)
        with small_disk(folder / part, megabytes=_MEGABYTES[part], account="postgres") as disk:
            if disk is None:
                yield None
                return
            server.set_up()
            server.start()
            try:
                yield server, disk
            finally:
                server.stop()
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def full_disk(
    settings: Settings,
    disk: SmallDisk,
    *,
    times: int,
    seed: int = 5,
    what: str = "disk full, SQLite",
    database: PostgresServer | None = None,
) -> Line:
    """Let the disk fill up under load, kill a server that is in trouble, then make room.

    A `database` that gave up because of it is started again, as an init system does.
    """
    chance = random.Random(seed)
    ended = 0
    with Fleet(settings, servers=1) as fleet, Load(fleet.ports, seed=seed) as load:
        for _ in range(times):
            load.wait_for(20, at_most_s=20)
            with disk.full():
                before = load.account.refusals
                if database is not None and disk.folder == database.wal:
                    database.use_up_log()
                deadline = time.monotonic() + 20
                while load.account.refusals < before + 10 and time.monotonic() < deadline:
                    time.sleep(0.02)
                if chance.random() < 0.5:
                    fleet.kill(fleet.ports)
                time.sleep(chance.uniform(0, 0.3))
            ended += database is not None and database.revive()
            fleet.wait_for(fleet.ports[0])
        load.wait_for(20, at_most_s=20)
    events = f"{times} times full, {load.account.refusals} refusals"
    if ended:
        events += f", database ended {ended} times"
    return Line(what, events, load.account, audit(settings, load.account))

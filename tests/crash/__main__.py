"""`python -m tests.crash --kills 200`: prints what was acknowledged beside what is stored."""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from service.settings import Settings
from tests.crash.full import Part, full_disk, server_on_small_disk, small_disk
from tests.crash.scenarios import Line, kills
from tests.crash.torn import torn_log
from tests.postgres import NoPostgresError, running_server


def main() -> int:
    """Run all and return 1 if anything was lost, doubled or wrong."""
    parser = argparse.ArgumentParser(prog="python -m tests.crash", description=__doc__)
    parser.add_argument("--kills", type=int, default=200, help="kills on SQLite")
    parser.add_argument("--postgres-kills", type=int, default=60, help="kills on PostgreSQL")
    parser.add_argument("--cuts", type=int, default=200, help="cuts of SQLite's last write")
    parser.add_argument("--full", type=int, default=10, help="times that the disk fills up")
    parser.add_argument("--seed", type=int, default=2026)
    given = parser.parse_args()
    began = time.monotonic()
    lines = []
    with tempfile.TemporaryDirectory(prefix="tallytare-crash-") as folder:
        for line in _all(Path(folder), given):
            lines.append(line)
            # At once: what comes later may be stopped.
            rows = [*table([line])]
            sys.stdout.write("\n".join(rows if len(lines) == 1 else rows[2:]) + "\n")
            sys.stdout.flush()
            _show("", f"done after {time.monotonic() - began:.0f} s")
    for line in lines:
        found = line.finding
        for what in (*found.lost, *found.doubled, *found.wrong, *found.problems)[:20]:
            sys.stdout.write(f"{line.scenario}: {what}\n")
    return 0 if all(line.finding.well for line in lines) else 1


def _all(folder: Path, given: argparse.Namespace) -> Iterator[Line]:
    if given.kills:
        settings = Settings(data_dir=folder / "kills" / "store")
        settings.data_dir.mkdir(parents=True)
        yield kills(settings, times=given.kills, seed=given.seed, progress=_kills_so_far)
    if given.postgres_kills:
        try:
            with running_server(fsync=True) as server:
                settings = Settings(
                    data_dir=folder / "postgres" / "store",
                    database_url=server.url(server.new_database()),
                )
                settings.data_dir.mkdir(parents=True)
                yield kills(
                    settings,
                    times=given.postgres_kills,
                    seed=given.seed,
                    database=server,
                    progress=_kills_so_far,
                )
        except NoPostgresError as error:
            _show("", f"left out: {error}")
    if given.cuts:
        (folder / "torn").mkdir()
        yield torn_log(folder / "torn", cuts=given.cuts, seed=given.seed)
    if given.full:
        with small_disk(folder / "disk") as disk:
            if disk is None:
                _show("", "left out: a full disk (no file system may be mounted here)")
            else:
                settings = Settings(data_dir=disk.folder / "store")
                settings.data_dir.mkdir()
                yield full_disk(settings, disk, times=given.full, seed=given.seed)
        yield from _full_postgres(folder, given, "data", "disk of the tables full, PostgreSQL")
        yield from _full_postgres(folder, given, "wal", "disk of the log full, PostgreSQL")


def _full_postgres(
    folder: Path, given: argparse.Namespace, part: Part, what: str
) -> Iterator[Line]:
    try:
        with server_on_small_disk(part) as found:
            if found is None:
                _show("", f"left out: {what} (no file system may be mounted here)")
                return
            server, disk = found
            settings = Settings(
                data_dir=folder / part / "store", database_url=server.url(server.new_database())
            )
            settings.data_dir.mkdir(parents=True)
            yield full_disk(
                settings, disk, times=given.full, seed=given.seed, what=what, database=server
            )
    except NoPostgresError as error:
        _show("", f"left out: {error}")


def table(lines: list[Line]) -> Iterator[str]:
    """Give the table as Markdown."""
    yield (
        "| what | events | requests sent | sent again | dropped by the phone | acknowledged "
        "| stored | lost | double | wrong totals | orphan photos |"
    )
    yield "|---|---|--:|--:|--:|--:|--:|--:|--:|--:|--:|"
    for line in lines:
        account, found = line.account, line.finding
        cells = (
            line.scenario,
            line.events,
            account.sent,
            account.resent,
            account.cut,
            found.acknowledged,
            found.stored,
            len(found.lost),
            len(found.doubled),
            len(found.wrong),
            found.orphans,
        )
        yield f"| {' | '.join(str(cell) for cell in cells)} |"


def _kills_so_far(number: int) -> None:
    _show("\r", f"{number} kills")


def _show(start: str, text: str) -> None:
    sys.stderr.write(f"{start}{text}" + ("" if start else "\n"))
    sys.stderr.flush()


if __name__ == "__main__":
    sys.exit(main())

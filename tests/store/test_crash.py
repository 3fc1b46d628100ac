"""A short version of `python -m tests.crash`: nothing acknowledged is lost or counted twice."""

from __future__ import annotations

from pathlib import Path

import pytest

from service.settings import Settings
from tests.crash.__main__ import table
from tests.crash.audit import audit
from tests.crash.full import Part, full_disk, server_on_small_disk, small_disk
from tests.crash.scenarios import Line, kills
from tests.crash.stations import Account, EnteredItem
from tests.crash.torn import torn_log
from tests.postgres import PostgresServer

pytestmark = [pytest.mark.slow, pytest.mark.sqlite_only]


def _well(line: Line) -> None:
    assert line.finding.well, line.finding
    assert line.finding.acknowledged == line.finding.stored > 20


def test_servers_are_killed(tmp_path: Path) -> None:
    """Two on one SQLite store, six times in all."""
    settings = Settings(data_dir=tmp_path / "a" / "store")
    settings.data_dir.mkdir(parents=True)
    _well(kills(settings, times=6))


def test_servers_and_their_database_are_killed(tmp_path: Path, postgres: PostgresServer) -> None:
    """Two on one PostgreSQL store; the database itself is ended too."""
    name = postgres.new_database()
    settings = Settings(data_dir=tmp_path / "a" / "store", database_url=postgres.url(name))
    settings.data_dir.mkdir(parents=True)
    line = kills(settings, times=4, database=postgres)
    _well(line)
    assert "of the database" in line.events
    postgres.drop(name)


def test_the_last_write_is_torn(tmp_path: Path) -> None:
    """Cut off, followed by zeros, followed by rubbish."""
    _well(torn_log(tmp_path, cuts=9))


def test_the_disk_fills_up(tmp_path: Path) -> None:
    """What was refused is sent again until there is room."""
    with small_disk(tmp_path / "disk") as disk:
        if disk is None:
            pytest.skip("no file system may be mounted here")
        settings = Settings(data_dir=disk.folder / "store")
        settings.data_dir.mkdir()
        line = full_disk(settings, disk, times=1)
        _well(line)
        assert line.account.refusals


@pytest.mark.parametrize("part", ["data", "wal"])
@pytest.mark.usefixtures("postgres")
def test_the_disk_of_the_database_fills_up(tmp_path: Path, part: Part) -> None:
    """That of PostgreSQL's tables: refused one by one. That of its log: the server gives up."""
    with server_on_small_disk(part) as found:
        if found is None:
            pytest.skip("no file system may be mounted here")
        server, disk = found
        settings = Settings(
            data_dir=tmp_path / "a" / "store", database_url=server.url(server.new_database())
        )
        settings.data_dir.mkdir(parents=True)
        line = full_disk(settings, disk, times=2, database=server)
        _well(line)
        assert line.account.refusals
        said = (server.folder / "server.log").read_text(errors="replace")
        assert "No space left on device" in said
        assert ("PANIC" in said) == (part == "wal")


def test_the_audit_sees_what_is_wrong(tmp_path: Path) -> None:
    """Else an empty table would prove nothing."""
    settings = Settings(data_dir=tmp_path)
    account = Account(changes={"a"}, voids={"b"}, weighings={"c": True})
    account.items["d"] = EnteredItem("e", None, "food", 1)
    finding = audit(settings, account)
    assert not finding.well
    assert len(finding.lost) == 4
    (row,) = [row for row in table([Line("x", "y", account, finding)]) if row.startswith("| x")]
    assert row == "| x | y | 0 | 0 | 0 | 4 | 0 | 4 | 0 | 0 | 0 |"

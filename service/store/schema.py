"""Brings a database to the newest schema, in one transaction."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Connection, inspect, text

from classifier.errors import StorageError
from service.store.database import Database
from service.store.engines import make_engine

# A test compares it with the newest migration; knowing it here saves loading Alembic at each start.
HEAD = "0003"
OLDER = ("0001", "0002")
"""Their backups are restored too: since then came only tables, and columns with a default."""
# Any number that no other program in the same database locks.
_MIGRATION_KEY = 0x74617265


def open_database(place: str | Path, *, busy_timeout_s: float = 10.0) -> Database:
    """Open a database by its URL or the path of a SQLite file, at the newest schema.

    It is made or migrated first, in one transaction.

    Raises StorageError when it is damaged, locked, not writable or made by a newer version.
    """
    database = Database(
        make_engine(place, busy_timeout_s=busy_timeout_s), busy_timeout_s=busy_timeout_s
    )
    try:
        with database.read() as connection:
            found = _version(connection)
        if found != HEAD:
            database.write(_migrate)
    except BaseException:
        database.close()
        raise
    return database


def _version(connection: Connection) -> str | None:
    if not inspect(connection).has_table("alembic_version"):
        return None
    version: str | None = connection.scalar(text("SELECT version_num FROM alembic_version"))
    return version


def _migrate(connection: Connection) -> None:
    from alembic import command
    from alembic.config import Config
    from alembic.script import ScriptDirectory

    if connection.dialect.name == "postgresql":
        # Two services that start at once: the second waits here, then finds the work done.
        connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _MIGRATION_KEY})
    config = Config()
    config.set_main_option("script_location", "service.store:migrations")
    config.attributes["connection"] = connection
    found = _version(connection)
    known = {script.revision for script in ScriptDirectory.from_config(config).walk_revisions()}
    if found is not None and found not in known:
        raise StorageError(
            f"the database has schema {found}, which this version of tallytare does not know: "
            "it was opened by a newer version; install that one",
            found=found,
            known=sorted(known),
        )
    command.upgrade(config, "head")

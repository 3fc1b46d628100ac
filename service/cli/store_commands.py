"""The commands that keep a store: backup, restore, move."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from service.cli.settings import read_settings


def add_store_commands(app: typer.Typer) -> None:
    """Add them to the command line."""
    app.command("backup")(backup_command)
    app.command("restore")(restore_command)
    app.command("move")(move_command)


def backup_command(
    target: Annotated[
        Path,
        typer.Argument(metavar="FILE_OR_FOLDER", help="File to write, or a folder to put one in."),
    ],
) -> None:
    """Write the whole store, with its photos, to one file; the service may go on meanwhile.

    Exit code 0: all was written and read back; 1: it was not, or photos are missing.
    """
    from service.cli.keep import run_backup

    raise typer.Exit(0 if run_backup(read_settings(), target) else 1)


def restore_command(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A file that backup wrote.")],
    overwrite: Annotated[
        bool,
        typer.Option("--overwrite", help="Replace what the store holds; without it, refuse."),
    ] = False,
) -> None:
    """Bring a backup into the store: SQLite or PostgreSQL, whichever it was made from.

    Exit code 0: restored and proven equal; 1: nothing was changed, or all was restored but photos
    that were missing or damaged when the backup was made, which are named.
    """
    from service.cli.keep import run_restore

    raise typer.Exit(0 if run_restore(read_settings(), file, overwrite=overwrite) else 1)


def move_command(
    store: Annotated[
        Path, typer.Argument(help="Data folder with a SQLite store, or its .sqlite3 file.")
    ],
    to: Annotated[
        str,
        typer.Option(
            "--to",
            metavar="URL",
            help="Empty database to move to; left out: TALLYTARE_DATABASE_URL, which keeps a "
            "password out of the list of processes.",
        ),
    ] = "",
    photos: Annotated[
        str,
        typer.Option(
            "--photos",
            metavar="FOLDER_OR_URL",
            help="Where its photos go; left out: where the settings say.",
        ),
    ] = "",
) -> None:
    """Copy a SQLite store with its photos to another database and prove the totals equal.

    Exit code 0: moved, and the proof is shown; 1: nothing was moved.
    """
    from service.cli.keep import run_move

    run_move(read_settings(), store, to=to, photos=photos)

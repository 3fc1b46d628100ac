"""A ZIP of labelled pictures, unpacked where an import can look at it before anything is kept."""

from __future__ import annotations

import io
import os
import shutil
import threading
import time
import zipfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path, PurePosixPath

from classifier.errors import InvalidEntryError, StorageError, UnknownIdError
from service.entries import check_id
from service.examples.arrival import arrive, write_arrived
from service.examples.folder import PICTURE_SUFFIXES
from service.private import make_private, write_private
from service.services import Services

MOST_FILES = 5_000
MOST_BYTES = 500_000_000
"""Unpacked; a small archive may hold far more than it seems to."""
MOST_LIST_BYTES = 20_000_000
"""Of the manifest."""
MOST_LEVELS = 8
LONGEST_NAME_BYTES = 200
PATIENCE_S = 5.0
"""How long an archive waits while another is looked at, before its sender is asked to wait."""
KEPT_HOURS = 24
"""How long an upload waits for its import. What is unpacked may tell where it was taken."""
MOST_KEPT = 3
"""Uploads that wait at the same time; the oldest makes room for another."""
_LOOKING = threading.Lock()
_MANIFEST = "manifest.csv"
_LISTED = b"PK\1\2"  # begins each entry of the list at the end of a ZIP
_LOCKED = 0x1  # the flag of an encrypted entry, as Python's zipfile reads it
_PLAIN = ": pack the folder as a plain ZIP, without a password"
_CUT_OFF = ": it may have been cut off on its way; fetch it once more, then send it again"
_DAMAGED = (
    ": a file in it is damaged or packed in a rare way; fetch it once more, or pack the "
    "folder again as a plain ZIP"
)


@contextmanager
def unpack(services: Services, data: bytes, *, token: str) -> Iterator[Path]:
    """Unpack an archive and give its folder, which then waits for its import.

    Where something fails, also what the caller does with it, the folder goes and those that wait
    stay; only after that does the oldest make room.

    Pictures are written as cleaned copies, see `arrival`. One archive is looked at at a time.

    Raises InvalidEntryError for what is no ZIP, is too large, or holds names that lead elsewhere;
    StorageError when the disk refuses, or another archive takes long.
    """
    folder = _root(services.settings.data_dir) / check_id(token, "token")
    try:
        with _one_at_a_time():
            make_private(folder.parent.parent)
            make_private(folder.parent)
            _unpack(services, data, folder)
            yield folder
    except BaseException:
        forget_upload(services, token)
        raise
    forget_old_uploads(services.settings.data_dir)


@contextmanager
def _one_at_a_time() -> Iterator[None]:
    """Look at one archive at a time: each may hold half a gigabyte of pictures."""
    if not _LOOKING.acquire(timeout=PATIENCE_S):
        raise StorageError(
            "another set is being looked at: nothing was recorded; send it again in a minute"
        )
    try:
        yield
    finally:
        _LOOKING.release()


def _unpack(services: Services, data: bytes, folder: Path) -> None:
    if data.count(_LISTED) > 2 * MOST_FILES:  # before a list of millions is read
        raise InvalidEntryError(_too_large())
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            left = MOST_BYTES
            arrived = {}
            wanted = _wanted(archive)
            if wanted:
                make_private(folder)
            for info, path in wanted:
                target = folder.joinpath(*path.parts)
                if path.parts == (_MANIFEST,):
                    content = _content(archive, info, MOST_LIST_BYTES)
                    write_private(target, content)
                elif len(path.parts) > 1 or path.suffix.lower() in PICTURE_SUFFIXES:
                    content = _content(archive, info, left)
                    target.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
                    arrived[path.as_posix()] = arrive(services, content, target)
                else:
                    continue
                left -= len(content)
            if wanted:
                write_arrived(folder, arrived)
    except (zipfile.BadZipFile, NotImplementedError, ValueError) as error:
        # The list of a ZIP stands at its end: what was cut off still begins like one.
        cut_off = isinstance(error, zipfile.BadZipFile) and data.startswith(b"PK")
        raise _unreadable(_CUT_OFF if cut_off else _PLAIN) from error
    except OSError as error:
        raise StorageError(
            f"the archive can't be unpacked ({error.strerror or error}): free some space, then "
            "send it again; nothing was recorded"
        ) from error


def _content(archive: zipfile.ZipFile, info: zipfile.ZipInfo, most: int) -> bytes:
    """Return what a file of the archive holds.

    Raises InvalidEntryError when that is damaged, or more than `most` bytes.
    """
    try:
        with archive.open(info) as packed:
            content = packed.read(most + 1)
    except Exception as error:  # each way of packing raises its own; bzip2 that of a bad disk
        locked = info.flag_bits & _LOCKED
        raise _unreadable(_PLAIN if locked else _DAMAGED) from error
    if len(content) > most:
        raise InvalidEntryError(_too_large())
    return content


def unpacked(services: Services, token: str) -> Path:
    """Return the folder of an upload, which then counts as fresh again.

    Raises UnknownIdError when it is gone: it was imported, others made it give way, or photos were
    withdrawn.
    """
    folder = _root(services.settings.data_dir) / check_id(token, "token")
    try:
        os.utime(folder)
    except OSError as error:
        raise UnknownIdError(
            f"this upload is no longer there (each waits {KEPT_HOURS} hours, {MOST_KEPT} at most, "
            "none once photos are withdrawn): send the archive again",
            token=token,
        ) from error
    return folder


def forget_upload(services: Services, token: str) -> None:
    """Delete what was unpacked."""
    shutil.rmtree(_root(services.settings.data_dir) / check_id(token, "token"), ignore_errors=True)


def forget_old_uploads(data_dir: Path) -> None:
    """Delete uploads that nobody imported for a day, and all but the newest."""
    waiting = _uploads(data_dir)
    kept = [folder for folder, hours in waiting if hours < KEPT_HOURS][:MOST_KEPT]
    for folder, _ in waiting:
        if folder not in kept:
            shutil.rmtree(folder, ignore_errors=True)


def forget_uploads(data_dir: Path) -> None:
    """Delete all uploads that wait: any of them may hold a photo that was withdrawn."""
    for folder, _ in _uploads(data_dir):
        shutil.rmtree(folder, ignore_errors=True)


def left_uploads(data_dir: Path) -> tuple[Path, ...]:
    """Return the folders of uploads that nobody imported for a day."""
    return tuple(folder for folder, hours in _uploads(data_dir) if hours >= KEPT_HOURS)


def _uploads(data_dir: Path) -> list[tuple[Path, float]]:
    """Return all uploads with the hours since each was last used, the newest first."""
    found = []
    now = time.time()
    try:
        folders = list(_root(data_dir).iterdir())
    except OSError:  # there is none, or it may not be read
        return []
    for folder in folders:
        with suppress(OSError):  # another process has just deleted it
            # From the future: the clock was set back, and nothing says how old it is.
            found.append((folder, abs(now - folder.stat().st_mtime) / 3600))
    return sorted(found, key=lambda each: each[1])


def _root(data_dir: Path) -> Path:
    return data_dir / "examples" / "incoming"


def _wanted(archive: zipfile.ZipFile) -> list[tuple[zipfile.ZipInfo, PurePosixPath]]:
    found = []
    for info in archive.infolist():
        path = PurePosixPath(info.filename.replace("\\", "/"))
        hidden = any(part.startswith((".", "__MACOSX")) and part != ".." for part in path.parts)
        if info.is_dir() or hidden or not path.parts:  # "." is the folder itself
            continue
        if path.is_absolute() or ".." in path.parts or ":" in info.filename:
            raise InvalidEntryError(
                f"the archive holds {info.filename[:80]!r}, which leads out of it: pack it again"
            )
        if len(path.parts) > MOST_LEVELS or _longest(path) > LONGEST_NAME_BYTES:
            raise InvalidEntryError(
                f"the archive holds {info.filename[:80]!r}..., deeper than {MOST_LEVELS} folders "
                f"or with a name over {LONGEST_NAME_BYTES} bytes: pack a folder per label again"
            )
        found.append((info, path))
    if len(found) > MOST_FILES or sum(info.file_size for info, _ in found) > MOST_BYTES:
        raise InvalidEntryError(_too_large())
    _refuse_files_that_are_folders([path for _, path in found])
    return _without_wrapping(found)


def _longest(path: PurePosixPath) -> int:
    return max(len(part.encode(errors="replace")) for part in path.parts)


def _refuse_files_that_are_folders(paths: Sequence[PurePosixPath]) -> None:
    files = set(paths)
    for path in paths:
        twice = next((each for each in path.parents if each in files), None)
        if twice is not None:
            raise InvalidEntryError(
                f"the archive holds {str(twice)[:80]!r} as a file and as a folder: pack it again"
            )


def _without_wrapping(
    found: list[tuple[zipfile.ZipInfo, PurePosixPath]],
) -> list[tuple[zipfile.ZipInfo, PurePosixPath]]:
    """Leave out the one folder that an archive of a folder holds; the labels are those in it.

    Pictures tell which folder that is, not what else somebody has put beside them.
    """
    paths = [path for _, path in found]
    pictures = [path for path in paths if path.suffix.lower() in PICTURE_SUFFIXES] or paths
    tops = {path.parts[0] for path in pictures}
    deep = all(len(path.parts) > 2 for path in pictures)
    listed = [path.parts[0] for path in paths if path.parts[1:] == ("manifest.csv",)]
    if PurePosixPath("manifest.csv") in paths or len(tops) != 1 or not (deep or tops & {*listed}):
        return found
    return [
        (info, PurePosixPath(*path.parts[1:]))
        for info, path in found
        if path.parts[0] in tops and len(path.parts) > 1
    ]


def _unreadable(remedy: str) -> InvalidEntryError:
    return InvalidEntryError(f"the file is no ZIP that can be read{remedy}")


def _too_large() -> str:
    return (
        f"the archive holds more than {MOST_FILES:,} files or {MOST_BYTES:,} bytes: import it with "
        "'tallytare examples import FOLDER'"
    )

"""A ZIP of labelled pictures, unpacked where an import can look at it before anything is kept."""

from __future__ import annotations

import io
import shutil
import zipfile
from pathlib import Path, PurePosixPath

from classifier.domain.errors import InvalidEntryError, StorageError, UnknownIdError
from service.usecases.entries import check_id
from service.usecases.services import Services

MOST_FILES = 5_000
MOST_BYTES = 500_000_000
"""Unpacked; a small archive may hold far more than it seems to."""


def unpack(services: Services, data: bytes, *, token: str) -> Path:
    """Unpack an archive into a folder of its own, which replaces that of any earlier upload.

    Raises InvalidEntryError for what is no ZIP, is too large, or holds names that lead elsewhere;
    StorageError when the disk refuses.
    """
    root = services.settings.data_dir / "examples" / "incoming"
    folder = root / check_id(token, "token")
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            wanted = _wanted(archive)
            shutil.rmtree(root, ignore_errors=True)
            left = MOST_BYTES
            for info, path in wanted:
                target = folder.joinpath(*path.parts)
                target.parent.mkdir(parents=True, exist_ok=True)
                with archive.open(info) as packed:
                    content = packed.read(left + 1)
                left -= len(content)
                if left < 0:
                    raise InvalidEntryError(_too_large())
                target.write_bytes(content)
    except InvalidEntryError:
        shutil.rmtree(root, ignore_errors=True)
        raise
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, ValueError) as error:
        raise InvalidEntryError(
            f"the file is no ZIP that can be read ({error}): pack the folder as a plain ZIP, "
            "without a password"
        ) from error
    except OSError as error:
        raise StorageError(
            f"the archive can't be unpacked ({error.strerror or error}): free some space, then "
            "send it again; nothing was recorded"
        ) from error
    return folder


def unpacked(services: Services, token: str) -> Path:
    """Return the folder of an upload.

    Raises UnknownIdError when it is gone: another upload took its place, or it was imported.
    """
    folder = services.settings.data_dir / "examples" / "incoming" / check_id(token, "token")
    if not folder.is_dir():
        raise UnknownIdError("this upload is no longer there: send the archive again", token=token)
    return folder


def forget_upload(services: Services) -> None:
    """Delete what was unpacked: the raw files may still tell where they were taken."""
    shutil.rmtree(services.settings.data_dir / "examples" / "incoming", ignore_errors=True)


def _wanted(archive: zipfile.ZipFile) -> list[tuple[zipfile.ZipInfo, PurePosixPath]]:
    found = []
    for info in archive.infolist():
        path = PurePosixPath(info.filename.replace("\\", "/"))
        hidden = any(part.startswith((".", "__MACOSX")) and part != ".." for part in path.parts)
        if info.is_dir() or hidden:
            continue
        if path.is_absolute() or ".." in path.parts or ":" in info.filename:
            raise InvalidEntryError(
                f"the archive holds {info.filename[:80]!r}, which leads out of it: pack it anew"
            )
        found.append((info, path))
    if len(found) > MOST_FILES or sum(info.file_size for info, _ in found) > MOST_BYTES:
        raise InvalidEntryError(_too_large())
    tops = {path.parts[0] for _, path in found if len(path.parts) > 1}
    deep = all(len(path.parts) > 2 for _, path in found)
    # Archives of a folder hold that folder; the labels are the folders in it.
    beside = {path.name for _, path in found if len(path.parts) == 2}
    if len(tops) == 1 and (deep or "manifest.csv" in beside):
        found = [(info, PurePosixPath(*path.parts[1:])) for info, path in found]
    return found


def _too_large() -> str:
    return (
        f"the archive holds more than {MOST_FILES:,} files or {MOST_BYTES:,} bytes: import it with "
        "'tallytare examples import FOLDER'"
    )

"""Pictures of an archive on arrival: cleaned at once, so that no place they tell reaches the disk.

Each is decoded here, once. What waits for its import is the copy that would be kept; what the file
itself was is remembered by its digest.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path

from classifier.errors import PhotoTooLargeError, UnreadablePhotoError
from service.private import write_private
from service.services import Services
from service.sorting.captures import TRAINING_SIDE_PX

_INDEX = ".arrived.json"


@dataclass(frozen=True, slots=True)
class Arrived:
    """The SHA-256 of a file as it came and, if it can't be taken, why."""

    sha256: str
    problem: str = ""


def arrive(services: Services, data: bytes, target: Path) -> Arrived:
    """Write the cleaned copy of a picture, or an empty file where it is none. Raises OSError."""
    problem, jpeg = "", b""
    try:
        _, jpeg = services.reader.read(data, max_side=TRAINING_SIDE_PX)
    except (UnreadablePhotoError, PhotoTooLargeError) as error:
        problem = str(error)
    write_private(target, jpeg)
    return Arrived(hashlib.sha256(data).hexdigest(), problem)


def write_arrived(folder: Path, arrived: Mapping[str, Arrived]) -> None:
    """Write down what arrived, by the path in the folder. Raises OSError."""
    found = {path: asdict(each) for path, each in arrived.items()}
    write_private(folder / _INDEX, json.dumps(found).encode())


def read_arrived(folder: Path) -> dict[str, Arrived]:
    """Return what arrived, nothing for a folder that is gone."""
    try:
        found = json.loads((folder / _INDEX).read_bytes())
    except OSError:
        return {}
    return {path: Arrived(**each) for path, each in found.items()}

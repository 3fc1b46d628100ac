"""What a backup says of itself: schema, time, and the digest of each part."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from service.photos.names import checked_name
from service.store.row_text import TableDigest

FORMAT = 1
"""Archives of version 0.1 have no bundles and are read all the same; 0.1 reads ours without."""


@dataclass(frozen=True, slots=True)
class Manifest:
    """What an archive holds; photos map a name to the SHA-256 of its content.

    `missing` and `damaged` name photos that could not be kept. Bundles map the name of a folder to
    those of its files; archives of version 0.1 have none.
    """

    schema: str
    made_at: str
    tables: Mapping[str, TableDigest]
    columns: Mapping[str, tuple[str, ...]]
    photos: Mapping[str, str]
    missing: tuple[str, ...]
    damaged: tuple[str, ...]
    bundles: Mapping[str, Mapping[str, str]]

    @property
    def rows(self) -> int:
        """Rows of all tables together."""
        return sum(digest.rows for digest in self.tables.values())


def from_json(found: Mapping[str, Any]) -> Manifest:
    """Read a manifest.

    Raises what damage makes: KeyError, TypeError, ValueError, AttributeError, UnknownIdError.
    """
    return Manifest(
        schema=str(found["schema"]),
        made_at=str(found["made_at"]),
        tables={
            name: TableDigest(int(each["rows"]), str(each["sha256"]))
            for name, each in found["tables"].items()
        },
        columns={name: tuple(each["columns"]) for name, each in found["tables"].items()},
        photos={checked_name(name): str(sha) for name, sha in found["photos"].items()},
        missing=tuple(map(checked_name, found["missing_photos"])),
        damaged=tuple(map(checked_name, found.get("damaged_photos", ()))),
        bundles={
            str(name): {str(file): str(sha) for file, sha in files.items()}
            for name, files in found.get("bundles", {}).items()
        },
    )


def as_json(manifest: Manifest) -> dict[str, object]:
    """Return a manifest as it stands in the archive."""
    return {
        "format": FORMAT,
        "schema": manifest.schema,
        "made_at": manifest.made_at,
        "tables": {
            name: {
                "rows": digest.rows,
                "sha256": digest.sha256,
                "columns": manifest.columns[name],
            }
            for name, digest in manifest.tables.items()
        },
        "photos": manifest.photos,
        "missing_photos": manifest.missing,
        "damaged_photos": manifest.damaged,
        "bundles": manifest.bundles,
    }

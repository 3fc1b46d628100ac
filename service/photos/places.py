"""From a folder or a URL to the place that keeps the photos."""

from __future__ import annotations

from pathlib import Path

from classifier.errors import StorageError
from service.photos.files import PhotoFiles
from service.photos.names import PhotoStore


def open_photos(place: str) -> PhotoStore:
    """Return the photos of a folder, or of anything that fsspec can reach by URL.

    Raises StorageError when the URL can't be used or fsspec is not installed.
    """
    if "://" not in place:
        return PhotoFiles(Path(place))
    try:
        from service.photos.remote import RemotePhotos

        return RemotePhotos(place)
    except (ImportError, ValueError, OSError) as error:
        # A URL may hold a key, so it is not repeated.
        raise StorageError(
            f"TALLYTARE_PHOTOS can't be used ({error}): give a folder or a URL that fsspec knows, "
            "and install what it needs: pip install 'tallytare[remote]' and the URL's own package"
        ) from error

"""Categories, programmes and bundles as the settings and arguments name them."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from classifier.errors import DataFileError, UnknownIdError
from classifier.inference.bundle import Bundle, check_bundle_categories, find_bundle, load_bundle
from classifier.rules.category_parts import Categories
from classifier.rules.programme import (
    Programme,
    load_programme,
    load_programmes,
    load_shipped_programmes,
)
from service.settings import Settings


def known_programmes(settings: Settings, categories: Categories) -> Mapping[str, Programme]:
    """Return the shipped programmes and those of `programmes_dir`, by id.

    Raises DataFileError for a file with a mistake, and for an id that two files have.
    """
    shipped = load_shipped_programmes(categories)
    further = (
        load_programmes(settings.programmes_dir, categories) if settings.programmes_dir else ()
    )
    programmes = {programme.id: programme for programme in shipped}
    for programme in further:
        if programme.id in programmes:
            raise DataFileError(
                f"{settings.programmes_dir}: programme {programme.id!r} has the id of a shipped "
                "one; allowed: an id of its own; change the id in the file",
                programme=programme.id,
            )
        programmes[programme.id] = programme
    return programmes


def choose_programme(settings: Settings, categories: Categories, wanted: str) -> Programme:
    """Return a programme by its id or its file; "" is the first of those shipped.

    Raises UnknownIdError when there is none, DataFileError for a file with a mistake.
    """
    path = Path(wanted)
    if path.suffix.lower() == ".toml":
        return load_programme(path, categories)
    programmes = known_programmes(settings, categories)
    if not wanted:
        return next(iter(programmes.values()))
    if wanted not in programmes:
        raise UnknownIdError(
            f"there is no programme {wanted!r}; allowed: {', '.join(programmes)}, or a file "
            "that ends in .toml; name one of these",
            programme=wanted,
        )
    return programmes[wanted]


def choose_bundle(settings: Settings, categories: Categories, wanted: str) -> Bundle:
    """Load a bundle by name or directory; "" is the one in the settings, or the default.

    Raises BundleError for one that is missing, damaged or doesn't fit the categories.
    """
    bundle = load_bundle(find_bundle(wanted or settings.bundle or None))
    check_bundle_categories(bundle, {category.id for category in categories.categories})
    return bundle

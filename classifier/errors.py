"""Everything that can be wrong with what a person gave us.

Each message says what was given, what is allowed and what to do. Attributes carry the values, so
that a page or a program need not parse the sentence.
"""

from __future__ import annotations

from typing import ClassVar


class TallytareError(Exception):
    """Base of all errors that a person can fix; `code` names the kind in JSON answers.

    `fields` names the fields of the entry that it is about, as the entry calls them, if any.
    """

    code: ClassVar[str] = "error"

    def __init__(
        self, message: str, *, field: str | tuple[str, ...] = (), **details: object
    ) -> None:
        super().__init__(message)
        self.message = message
        self.fields = (field,) if isinstance(field, str) else field
        self.details = details


class InvalidQuantityError(TallytareError):
    """A number, unit or date that can't be what was meant."""

    code = "invalid_quantity"


class InvalidEntryError(TallytareError):
    """A text, choice or client-made id that can't be kept: empty, too long, not offered."""

    code = "invalid_entry"


class ImpossibleWeighingError(TallytareError):
    """A weighing that no scale can have shown: net below zero, tare above gross, over capacity."""

    code = "impossible_weighing"


class UnknownIdError(TallytareError):
    """An id (sort, capture, item, batch, category, fact, form, programme) that is not there."""

    code = "unknown_id"


class ConflictError(TallytareError):
    """Something else was already recorded under this id, or the state does not allow the step."""

    code = "conflict"


class ClosedSortError(ConflictError):
    """The sort is closed; it must be reopened before anything is added."""

    code = "closed_sort"


class NotLetInError(TallytareError):
    """A join code, session or role that does not open what was asked for."""

    code = "not_let_in"


class UnreadablePhotoError(TallytareError):
    """Bytes that are no photograph we can read."""

    code = "unreadable_photo"


class PhotoTooLargeError(TallytareError):
    """A photograph over the limit of bytes or pixels."""

    code = "photo_too_large"


class DataFileError(TallytareError):
    """A category, programme or table file with a mistake: names file, line and what to do."""

    code = "data_file"


class BundleError(TallytareError):
    """A model bundle that is missing, incomplete or damaged."""

    code = "bundle"


class StorageError(TallytareError):
    """The disk or the database refused to keep something (full, read-only, locked)."""

    code = "storage"

"""Labelled pictures from elsewhere: what an import would do, and the import.

They go into a sort of their own kind that counts in no total, report or list of sorts.
"""

from __future__ import annotations

import hashlib
import uuid
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from classifier.errors import (
    BundleError,
    InvalidEntryError,
    PhotoTooLargeError,
    UnknownIdError,
    UnreadablePhotoError,
)
from classifier.log.records import SortInfo
from service.entries import NAME_LENGTH, check_sorter, check_text
from service.examples.arrival import Arrived
from service.examples.folder import FolderPicture, read_pictures
from service.examples.labels import LabelBook, UnknownLabel
from service.examples.origin import origin_of, read_origin
from service.examples.upload import forget_old_uploads
from service.services import Services
from service.sorting.captures import TRAINING_SIDE_PX
from service.store.engines import is_storable
from service.store.example_import_log import ImportedPhoto

_NAMESPACE = uuid.UUID("2f6c8a51-7d0b-4c8e-9a55-0c6b7a1de4f3")
_AT_ONCE = 40  # photos in one transaction
_NAMED_DIGITS = 16  # so much of the digest of its content does the name of a photo hold
_ASTRAY = "only pictures straight in the folder of a label are read: move it there"
Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Incoming:
    """A picture that would be imported, and as what."""

    picture: FolderPicture
    category: str
    digest: str
    clean: bool
    """Whether the file is the cleaned copy that will be kept."""


@dataclass(frozen=True, slots=True)
class ImportPlan:
    """What an import would do: pictures that come in, and all that stay out, with the reason."""

    source: str
    set_id: str
    new: tuple[Incoming, ...]
    read_as: Mapping[str, str]
    """Each label of the folder that is known, and the category that it is read as."""
    unknown: tuple[UnknownLabel, ...]
    left_out: Mapping[str, int]
    """Labels that were asked to be left out, or that name no item, with their pictures."""
    duplicates: tuple[tuple[str, str], ...]
    """Pictures whose very file is there already, and where."""
    unreadable: tuple[tuple[str, str], ...]
    """Pictures that can't be taken as they are, and why."""

    @property
    def labels(self) -> Mapping[str, int]:
        """How many pictures of each category would come in."""
        return Counter(each.category for each in self.new)


def plan_import(
    services: Services,
    folder: Path,
    *,
    source: str = "",
    renamed: Mapping[str, str] | None = None,
    leave_out: Sequence[str] = (),
    called: str = "",
    arrived: Mapping[str, Arrived] | None = None,
    progress: Progress | None = None,
) -> ImportPlan:
    """Say what importing a folder would do; nothing is written.

    The folder holds one folder per label, or a `manifest.csv` with the columns path and label (or
    form) and perhaps group. `renamed` gives labels another name first, `leave_out` drops some.
    Messages name the folder `called`, else by its path. `arrived` tells what pictures were that
    were cleaned on arrival.

    Raises InvalidEntryError for a folder that is none, or without pictures; DataFileError for a
    manifest that can't be read; UnknownIdError where `renamed` leads to no category.
    """
    name = check_text(source or folder.resolve().name, "source", longest=NAME_LENGTH, needed=True)
    found, astray = read_pictures(folder, called=called)
    pictures, unreadable = _with_good_names(found)
    unreadable += [(_shown(path), _ASTRAY) for path in astray]
    book = LabelBook(services, renamed or {}, leave_out)
    known = _KnownFiles(services)
    new: list[Incoming] = []
    duplicates, digests = [], []
    for done, picture in enumerate(pictures, 1):
        try:
            digest, jpeg = _read(services, picture, arrived or {})
        except OSError as error:
            unreadable.append((picture.path, error.strerror or str(error)))
            continue
        except (UnreadablePhotoError, PhotoTooLargeError) as error:
            unreadable.append((picture.path, str(error)))
            continue
        finally:
            if progress is not None:
                progress(done, len(pictures))
        digests.append(digest)
        earlier = known.find(picture, digest, jpeg)
        if earlier is not None:
            duplicates.append((picture.path, earlier))
            continue
        category = book.read(picture.label)  # asked only of what could come in
        if category is not None:
            known.add(digest, picture.path)
            new.append(Incoming(picture, category, digest, picture.path in (arrived or {})))
    return ImportPlan(
        source=name,
        set_id=str(uuid.uuid5(_NAMESPACE, "\n".join([name, *sorted(digests)]))),
        new=tuple(new),
        read_as=book.read_as,
        unknown=book.unknown(),
        left_out=book.left_out,
        duplicates=tuple(duplicates),
        unreadable=tuple(unreadable),
    )


def run_import(
    services: Services, plan: ImportPlan, *, sorter: str = "", progress: Progress | None = None
) -> int:
    """Import what a plan says; return how many photos were new.

    Ids come from the pictures themselves: an import that was cut off is finished by the next one.

    Raises InvalidEntryError while there are unknown labels, nothing is new or a picture is gone,
    StorageError.
    """
    if plan.unknown:
        names = ", ".join(each.label for each in plan.unknown)
        raise InvalidEntryError(
            f"labels that are no category: {names}; rename or leave them out, then import again"
        )
    if not plan.new:
        raise InvalidEntryError("nothing to import: no readable picture is new")
    who = check_sorter(sorter)
    forget_old_uploads(services.settings.data_dir)
    sort_id = str(uuid.uuid5(uuid.UUID(plan.set_id), "sort"))
    programme = next(iter(services.programmes.values()))
    _start(services, plan, sort_id)
    new = done = 0
    for portion in _portions(plan.new):
        photos = [_photo(services, plan, sort_id, each) for each in portion]
        new += services.log.add_imported(
            sort_id,
            photos,
            sorter=who,
            categories_version=services.categories.version,
            programme_version=programme.version,
        )
        done += len(photos)
        if progress is not None:
            progress(done, len(plan.new))
    return new


def _read(
    services: Services, picture: FolderPicture, arrived: Mapping[str, Arrived]
) -> tuple[str, bytes]:
    """Return the digest of a picture's file as it came, and the copy that would be kept.

    Raises OSError, UnreadablePhotoError, PhotoTooLargeError.
    """
    data = _bytes(services, picture)
    known = arrived.get(picture.path)
    if known is None:
        _, jpeg = services.reader.read(data, max_side=TRAINING_SIDE_PX)
        return hashlib.sha256(data).hexdigest(), jpeg
    if known.problem:
        raise UnreadablePhotoError(known.problem)
    return known.sha256, data


def _bytes(services: Services, picture: FolderPicture) -> bytes:
    """Return a file's content, cut where it is too large for a photo. Raises OSError."""
    with picture.file.open("rb") as file:
        return file.read(services.settings.max_upload_bytes + 1)


def _with_good_names(
    pictures: Sequence[FolderPicture],
) -> tuple[list[FolderPicture], list[tuple[str, str]]]:
    """Return the pictures that can be named in the log, and of the others what to fix."""
    good = [each for each in pictures if is_storable(each.path + each.label)]
    bad = [
        (_shown(each.path), "its name is not UTF-8: rename it")
        for each in pictures
        if not is_storable(each.path + each.label)
    ]
    return good, bad


def _shown(path: str) -> str:
    """Return a path as text that can be shown, whatever bytes it holds."""
    return path.encode(errors="replace").decode()


def _start(services: Services, plan: ImportPlan, sort_id: str) -> None:
    programme = next(iter(services.programmes.values()))
    now = services.clock()
    sort = SortInfo(
        id=sort_id,
        name=f"Imported: {plan.source}"[:NAME_LENGTH],
        place="",
        stratum="",
        sorted_on=now.date(),
        days=1,
        persons=1,
        programme_id=programme.id,
        sorters=(),
        keeps_photos=True,
        created_at=now,
        closed=False,
    )
    services.log.add_example_set(
        sort,
        set_id=plan.set_id,
        source=plan.source,
        programme_version=programme.version,
        sent={"source": plan.source},
    )


def _photo(services: Services, plan: ImportPlan, sort_id: str, each: Incoming) -> ImportedPhoto:
    own = uuid.uuid5(uuid.UUID(plan.set_id), each.digest)
    try:
        data = _bytes(services, each.picture)
    except OSError as error:
        raise InvalidEntryError(
            f"{each.picture.path} can't be read any more ({error.strerror or error}): import again "
            "from the beginning; what came in already is not taken twice"
        ) from error
    photo, jpeg = services.reader.read(data, max_side=TRAINING_SIDE_PX)
    if each.clean:
        jpeg = data
    name = services.photos.keep(str(own), jpeg, sent=f"{sort_id} {each.digest}")
    forms: tuple[tuple[str, float], ...] = ()
    embedding = None
    answering = services.models.newest()
    if answering.predictor is not None:
        # Without an answer the photo is still an example; it is judged by nothing then.
        with suppress(BundleError):
            seen = answering.predictor.predict(photo)
            forms = tuple((form.id, form.p) for form in seen.forms)
            embedding = seen.embedding.astype("<f2").tobytes()
    where = f"{plan.source}/{each.picture.path}"
    label = each.picture.label
    return ImportedPhoto(
        capture_id=str(own),
        item_id=str(uuid.uuid5(own, "item")),
        photo_name=name,
        category=each.category,
        note="" if label == each.category else f"label {label}"[:NAME_LENGTH],
        forms=forms,
        embedding=embedding,
        model=answering.record if forms else None,
        origin=origin_of(where, each.digest, each.picture.made_from),
        object_group=each.picture.group or None,
        at=services.clock(),
    )


class _KnownFiles:
    """Files that are there already: imported before, exported from here, or twice in the folder."""

    def __init__(self, services: Services) -> None:
        self._services = services
        self._digests: dict[str, str] = {}
        for text in services.log.origins():
            where, digests = read_origin(text)
            self._digests |= dict.fromkeys(digests, f"imported from {where}")
        self._exported = services.log.photos_by_capture()
        self._withdrawn = services.log.withdrawn_captures()
        # Names of photos end with a digest of the content, which is all that is left of these.
        self._gone = {Path(name).stem.split("-")[-1] for name in services.log.withdrawn_photos()}

    def find(self, picture: FolderPicture, digest: str, jpeg: bytes) -> str | None:
        """Return where this very file is, None if it is new; `jpeg` is how it would be kept."""
        digests = (digest, *picture.made_from)
        kept = hashlib.sha256(jpeg).hexdigest()
        if picture.file.stem in self._withdrawn or any(
            each[:_NAMED_DIGITS] in self._gone for each in (kept, *digests)
        ):
            return "withdrawn from this store; no import brings it back"
        for each in digests:
            if each in self._digests:
                return self._digests[each]
        # An export names each file after its capture.
        name = self._exported.get(picture.file.stem)
        if name is not None and self._holds(name, digest):
            return f"photo {picture.file.stem} of this store"
        return None

    def _holds(self, name: str, digest: str) -> bool:
        with suppress(UnknownIdError):  # lost from the disk: the export brings the picture back
            return hashlib.sha256(self._services.photos.read(name)).hexdigest() == digest
        return False

    def add(self, digest: str, where: str) -> None:
        """Remember a file of the folder."""
        self._digests[digest] = where


def _portions(new: Sequence[Incoming]) -> Iterator[Sequence[Incoming]]:
    for start in range(0, len(new), _AT_ONCE):
        yield new[start : start + _AT_ONCE]

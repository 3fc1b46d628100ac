"""Whether all is well: for `tallytare check` and for the health page."""

from __future__ import annotations

from dataclasses import dataclass

from classifier.errors import StorageError
from service.photos.names import faults_of
from service.services import Services


@dataclass(frozen=True, slots=True)
class StoreCheck:
    """What `tallytare check` found in the store; empty tuples are good news."""

    problems: tuple[str, ...]
    orphan_photos: tuple[str, ...]
    missing_photos: tuple[str, ...]
    unfinished_photos: tuple[str, ...]
    withdrawn_photos: tuple[str, ...] = ()
    """Withdrawn, and still on the disk: deleting was cut off."""
    damaged_photos: tuple[str, ...] = ()
    """There, with other content than was kept, or not to be read."""
    risks: tuple[str, ...] = ()
    """How the database server is set up to lose what it acknowledged; nothing is lost yet."""

    @property
    def ok(self) -> bool:
        """Whether nothing acknowledged is missing or damaged, and nothing withdrawn is there."""
        return not (
            self.problems or self.missing_photos or self.withdrawn_photos or self.damaged_photos
        )


@dataclass(frozen=True, slots=True)
class Health:
    """Whether store and model answer, and in words what does not."""

    ok: bool
    store: bool
    model: str | None
    problems: tuple[str, ...]


def check_store(services: Services) -> StoreCheck:
    """Compare log and photos: files that no row names, rows whose file is gone, damage.

    Reads every photo: one that changed on the disk is found by the digest in its name.

    A photo is written before its row, so one that nothing names is what a crash left, or belongs
    to a request that is still running: it does no harm.

    Raises StorageError when the database can't be read.
    """
    problems = services.log.problems()
    if problems:
        # Comparing with a log that can't be trusted would name good photos as orphans.
        return StoreCheck(problems, (), (), tuple(sorted(services.photos.unfinished())))
    on_disk = frozenset(services.photos.names())
    risks = services.log.risks()
    withdrawn = services.log.withdrawn_photos()
    named = services.log.photo_names() - withdrawn
    faults = faults_of(services.photos, named)
    return StoreCheck(
        problems=problems,
        orphan_photos=tuple(sorted(on_disk - named - withdrawn)),
        missing_photos=faults.missing,
        unfinished_photos=tuple(sorted(services.photos.unfinished())),
        withdrawn_photos=tuple(sorted(on_disk & withdrawn)),
        damaged_photos=faults.damaged,
        risks=risks,
    )


def health(services: Services) -> Health:
    """Return whether store and model answer; without a model the rest goes on."""
    try:
        services.log.ping()
        model, problem = services.model, services.model_problem  # asks the log what was promoted
    except StorageError as error:
        return Health(ok=False, store=False, model=None, problems=(error.message,))
    problems = [each for each in (problem, services.models.trouble) if each]
    name = None if model is None else model.label
    return Health(ok=not problems, store=True, model=name, problems=tuple(problems))

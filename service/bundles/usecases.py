"""Which model answers: use another bundle, or go back to the one before."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from classifier.errors import BundleError, ConflictError
from service.entries import check_id, check_sorter
from service.model_cache import RegisteredBundle
from service.services import Services
from service.store.promotion_log import Promotion


@dataclass(frozen=True, slots=True)
class BundlesView:
    """What answers (`promoted` is "" for the settings' bundle), what could, and what did.

    `previous` is what a roll back leads to, None where there is nothing to take back.
    """

    answering: str | None
    promoted: str
    previous: str | None
    bundles: tuple[RegisteredBundle, ...]
    history: tuple[Promotion, ...]
    problem: str


def list_bundles(services: Services) -> BundlesView:
    """Return the bundles and the history of promotions, the newest first."""
    answering = services.models.newest().record
    history = services.log.list_promotions()
    line = _line(history)
    return BundlesView(
        answering=None if answering is None else answering.label,
        promoted=line[-1],
        previous=line[-2] if len(line) > 1 else None,
        bundles=services.models.registry.bundles(),
        history=history[::-1],
        problem=services.models.trouble or services.model_problem,
    )


def promote(
    services: Services, *, promotion_id: str, bundle: str, sorter: str = "", paths: bool = False
) -> BundlesView:
    """Have a bundle answer from the next photo on, in every process on this store.

    The bundle is checked and copied first; one that can't be used is refused, and what answered
    goes on. Only on the machine itself may it be a path.

    Raises BundleError, UnknownIdError, ConflictError, InvalidEntryError, StorageError.
    """
    own = check_id(promotion_id, "promotion_id")
    return _choose(services, own, services.models.registry.install(bundle, paths=paths), sorter)


def roll_back(services: Services, *, promotion_id: str, sorter: str = "") -> BundlesView:
    """Have the bundle answer that did before the last promotion; again goes one further back.

    Raises ConflictError where nothing was promoted; BundleError for one that is damaged by now.
    """
    own = check_id(promotion_id, "promotion_id")
    history = services.log.list_promotions()
    done = {promotion.id: promotion.bundle for promotion in history}
    if own in done:
        return _choose(services, own, done[own], sorter)
    line = _line(history)
    if len(line) < 2:
        raise ConflictError(
            "there is no earlier model to go back to: the one named in the settings is in use"
        )
    if services.models.registry.load(line[-2]).predictor is None:
        raise BundleError("the model named in the settings can't be used: choose another instead")
    return _choose(services, own, line[-2], sorter)


def _choose(services: Services, promotion_id: str, bundle: str, sorter: str) -> BundlesView:
    services.log.add_promotion(
        Promotion(promotion_id, bundle, check_sorter(sorter), services.clock())
    )
    return list_bundles(services)


def _line(history: Iterable[Promotion]) -> list[str]:
    """Return the bundles from the settings' own to the one that answers, less those taken back."""
    line = [""]
    for promotion in history:
        if len(line) > 1 and promotion.bundle == line[-2]:
            line.pop()
        elif promotion.bundle != line[-1]:
            line.append(promotion.bundle)
    return line

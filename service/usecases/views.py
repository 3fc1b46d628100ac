"""What the use cases hand to the pages and to JSON: frozen, complete, nothing left to look up."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from classifier.domain.categories import Category, Caution, Fact, Group
from classifier.domain.conversions import FarFromUsual
from classifier.domain.ledger import BatchTotal
from classifier.domain.quantities import Mass
from classifier.domain.records import Item, ItemChange, SortInfo, Tare, Weighing, WeighingVoid
from classifier.domain.suggestion import RouteAnswer, Suggestion
from classifier.estimators.result import Estimate
from service.store.study_rows import Study


@dataclass(frozen=True, slots=True)
class CurrentItem:
    """An item after its corrections."""

    item: Item
    category_name: str
    route_name: str
    corrected: bool
    voided: bool


@dataclass(frozen=True, slots=True)
class ItemHistory:
    """An item as first recorded, each change in order, and as it stands."""

    first: CurrentItem
    changes: tuple[ItemChange, ...]
    current: CurrentItem


@dataclass(frozen=True, slots=True)
class TallyLine:
    """One category's count and the names of the routes it goes by."""

    category: str
    name: str
    count: int
    routes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Tally:
    """Running tally: `items` entries which hold `objects` counted pieces."""

    lines: tuple[TallyLine, ...]
    items: int
    objects: int


@dataclass(frozen=True, slots=True)
class ItemView:
    """The answer to a confirmation, correction or undo."""

    current: CurrentItem
    route: RouteAnswer
    tally: Tally

    @property
    def item(self) -> Item:
        """The item as it stands."""
        return self.current.item


@dataclass(frozen=True, slots=True)
class ModelName:
    """Which model spoke."""

    name: str
    version: str


@dataclass(frozen=True, slots=True)
class CaptureView:
    """A photo, what was suggested for it, and what it was confirmed as.

    `audit`: the sorter has to choose before seeing the suggestion; while nobody has, it is
    `hidden` and `suggestion` holds nothing but perhaps a caution. `learned_from` is the number of
    confirmations that had a part in the suggestion, None where none had.
    """

    id: str
    sort_id: str
    photo_name: str | None
    suggestion: Suggestion
    confirmed: CurrentItem | None
    model: ModelName | None
    notice: str
    audit: bool
    hidden: bool
    learned_from: int | None


@dataclass(frozen=True, slots=True)
class WeighingLine:
    """A weighing with its net mass and, if taken back, its void."""

    weighing: Weighing
    net: Mass
    void: WeighingVoid | None


@dataclass(frozen=True, slots=True)
class BatchLine:
    """A container or heap of a pile: what the ledger says of it, and each of its weighings.

    `far` is there where its objects weigh far more or less than those of its category do.
    """

    total: BatchTotal
    weighings: tuple[WeighingLine, ...]
    far: FarFromUsual | None = None


@dataclass(frozen=True, slots=True)
class PileLine:
    """All of one category in a sort; `mass` is the sum of its measured batches, if any."""

    category: str
    name: str
    group: str
    count: int
    mass: Mass | None
    batches: tuple[BatchLine, ...]


@dataclass(frozen=True, slots=True)
class PilesView:
    """Everything that the piles page shows."""

    sort: SortInfo
    piles: tuple[PileLine, ...]
    tares: tuple[Tare, ...]


@dataclass(frozen=True, slots=True)
class ProgrammeName:
    """A programme as offered when a sort starts."""

    id: str
    name: str
    area: str
    version: str
    valid_from: date
    valid_to: date | None
    statement: str


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
    """There, with other content than was kept."""
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


@dataclass(frozen=True, slots=True)
class GuideLine:
    """A category with its cautions; under a programme also every route it can take."""

    category: Category
    group: Group
    cautions: tuple[Caution, ...]
    routes: tuple[RouteAnswer, ...]


@dataclass(frozen=True, slots=True)
class Guide:
    """The list of categories; `programme` is None when no rules were asked for."""

    version: str
    programme: ProgrammeName | None
    lines: tuple[GuideLine, ...]
    facts: tuple[Fact, ...]


@dataclass(frozen=True, slots=True)
class Export:
    """What an export wrote: files relative to its folder, and reports that could not be made."""

    files: tuple[str, ...]
    sorts: int
    failed: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class StudyLine:
    """A study with its sorts, the oldest first."""

    study: Study
    sorts: tuple[SortInfo, ...]


@dataclass(frozen=True, slots=True)
class LearningScope:
    """What learns as one: a study, or a sort outside a study."""

    id: str
    name: str
    is_study: bool


@dataclass(frozen=True, slots=True)
class Accuracy:
    """Of how many audits the suggestion agreed with the blind choice; no estimate without one."""

    audits: int
    agreed: int
    estimate: Estimate | None


@dataclass(frozen=True, slots=True)
class LearningState:
    """How learning stands in a scope.

    `confirmations` were learned from, `left_out` can't be (another model's, or a category that left
    the list). Losses are -log p of the confirmed category (nats), each photo predicted before it
    was learned from. `trusted`: what was learned answers; else the shipped model does. `ready` is
    False while the first head after a start of the service is still being built.
    """

    scope: LearningScope
    learns: bool
    audit_percent: int
    model: str | None
    ready: bool
    up_to_date: bool
    confirmations: int
    left_out: int
    trusted: bool
    shipped_losses: tuple[float, ...]
    learned_losses: tuple[float, ...]
    start: str | None
    start_problem: str
    accuracy: Accuracy

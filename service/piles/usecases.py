"""Batches and what they weigh, as read off a scale."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from classifier.errors import InvalidEntryError
from classifier.log.piles import BatchTotal
from classifier.log.quantities import (
    MAX_LOADS,
    Mass,
    Reading,
    Unit,
    parse_count,
    parse_decimal,
    parse_unit,
    sum_masses,
)
from classifier.log.records import Batch, LoadAsked, Method, SortInfo, Tare, Weighing, WeighingVoid
from classifier.log.weighing import METHODS, net_mass
from classifier.report.categories import Names
from classifier.report.conversions import FarFromUsual
from service.entries import NAME_LENGTH, NOTE_LENGTH, check_id, check_sorter, check_text
from service.piles.item_weights import item_weights
from service.services import Services
from service.store.rows import SortRows, said


@dataclass(frozen=True, slots=True)
class WeighingLine:
    """A weighing with its net mass and, if taken back, its void."""

    weighing: Weighing
    net: Mass
    void: WeighingVoid | None

    @property
    def void_reason(self) -> str | None:
        """Why the weighing was taken back, if it was."""
        return None if self.void is None else self.void.reason


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


def piles(services: Services, sort_id: str, *, judged: bool = False) -> PilesView:
    """Return every category that has items or batches, with its batches and weighings.

    `judged` also holds each batch against the mean item weight of its category, which reads the
    other sorts of the study.

    Raises UnknownIdError when there is no such sort.
    """
    rows = services.log.sort_rows(sort_id.lower())
    ledger = rows.ledger()
    far = item_weights(services, ledger).far if judged else ()
    unusual = {each.batch_id: each for each in far}
    names = Names(services.categories)
    groups = dict(names.groups())
    return PilesView(
        sort=rows.sort,
        piles=tuple(
            PileLine(
                category=total.category,
                name=names.category(total.category),
                group=groups[names.group_of(total.category)],
                count=total.count,
                mass=_mass_of(total.batches),
                batches=tuple(_batch_line(batch, rows, unusual) for batch in total.batches),
            )
            for total in names.ordered(ledger.categories)
        ),
        tares=services.log.list_tares(),
    )


def start_batch(
    services: Services, *, sort_id: str, batch_id: str, category: str, label: str = ""
) -> Batch:
    """Start another container or heap; items confirmed from now on go into it.

    Raises ClosedSortError, ConflictError, UnknownIdError, InvalidEntryError.
    """
    services.categories.get(category)
    batch = Batch(
        id=check_id(batch_id, "batch_id"),
        sort_id=sort_id.lower(),
        category=category,
        label=check_text(label, "label", longest=NAME_LENGTH),
        at=services.clock(),
    )
    return services.log.add_batch(batch)


def weigh(
    services: Services,
    *,
    sort_id: str,
    weighing_id: str,
    batch_id: str | None = None,
    category: str | None = None,
    method: str,
    gross: str | None = None,
    tare: str | None = None,
    unit: str,
    resolution: str,
    tare_unit: str | None = None,
    tare_resolution: str | None = None,
    capacity: str | None = None,
    contents_left: bool = False,
    note: str = "",
    sorter: str = "",
    load: LoadAsked = 1,
) -> WeighingLine:
    """Record what a scale showed, as typed; `category` alone means its newest batch.

    `load` is the bucketful of the batch that was weighed, from 1 to at most one above the highest
    that stands; "further" is that next one, "only" the first, refused where one stands.

    Raises ImpossibleWeighingError, InvalidQuantityError, InvalidEntryError, ClosedSortError,
    ConflictError, UnknownIdError. Nothing is recorded then.
    """
    weighing = Weighing(
        id=check_id(weighing_id, "weighing_id"),
        batch_id="" if batch_id is None else check_id(batch_id, "batch_id"),
        method=_method(method),
        gross=_number(gross, "gross"),
        tare=_number(tare, "tare"),
        unit=parse_unit(unit),
        resolution=parse_decimal(resolution, what="resolution"),
        tare_resolution=_number(tare_resolution, "tare resolution", field="tare_resolution"),
        capacity=_number(capacity, "capacity"),
        contents_left=contents_left,
        note=check_text(note, "note", longest=NOTE_LENGTH),
        sorter=check_sorter(sorter),
        at=services.clock(),
        tare_unit=parse_unit(tare_unit) if tare_unit else None,
    )
    net = net_mass(weighing)
    if load not in ("only", "further"):
        load = parse_count(load, what="load", most=MAX_LOADS)
    recorded = services.log.add_weighing(
        weighing,
        sort_id=sort_id.lower(),
        category=_category(services, batch_id, category),
        load=load,
        sent=_sent(weighing, sort_id.lower(), batch_id, category, load),
    )
    return WeighingLine(weighing=recorded, net=net, void=None)


def void_weighing(
    services: Services, *, weighing_id: str, void_id: str, reason: str, sorter: str = ""
) -> str:
    """Take a weighing back and return the id of its sort; the reading stays in the log.

    Raises InvalidEntryError without a reason, ConflictError, ClosedSortError, UnknownIdError.
    """
    void = WeighingVoid(
        id=check_id(void_id, "void_id"),
        weighing_id=weighing_id.lower(),
        reason=check_text(reason, "reason", longest=NOTE_LENGTH, needed=True),
        sorter=check_sorter(sorter),
        at=services.clock(),
    )
    return services.log.void_weighing(void)


def add_tare(
    services: Services, *, tare_id: str, name: str, weight: str, unit: str, resolution: str
) -> Tare:
    """Add a bucket or bag to the tare library.

    Raises InvalidEntryError, InvalidQuantityError, ConflictError.
    """
    reading = Reading(
        value=parse_decimal(weight, what="weight"),
        unit=parse_unit(unit),
        resolution=parse_decimal(resolution, what="resolution"),
    )
    tare = Tare(
        id=check_id(tare_id, "tare_id"),
        name=check_text(name, "name", longest=NAME_LENGTH, needed=True),
        weight=reading.value,
        unit=Unit(reading.unit),
        resolution=reading.resolution,
        at=services.clock(),
    )
    return services.log.add_tare(tare)


def _mass_of(batches: Iterable[BatchTotal]) -> Mass | None:
    masses = [batch.mass for batch in batches if batch.mass is not None]
    return sum_masses(masses) if masses else None


def _batch_line(
    total: BatchTotal, rows: SortRows, unusual: Mapping[str, FarFromUsual]
) -> BatchLine:
    voids = {void.weighing_id: void for void in rows.voids}
    return BatchLine(
        total=total,
        weighings=tuple(
            WeighingLine(weighing=weighing, net=net_mass(weighing), void=voids.get(weighing.id))
            for weighing in rows.weighings
            if weighing.batch_id == total.batch.id
        ),
        far=unusual.get(total.batch.id),
    )


def _number(typed: str | None, what: str, *, field: str = "") -> Decimal | None:
    return parse_decimal(typed, what=what, field=field) if typed and typed.strip() else None


def _sent(
    weighing: Weighing,
    sort_id: str,
    batch_id: str | None,
    category: str | None,
    load: LoadAsked,
) -> dict[str, object]:
    """Return what the client said: all of the weighing but its time.

    The first load goes without saying, as in what was sent before there were loads.
    """
    given = {"id": weighing.id, **said(weighing, "load")}
    sent: dict[str, object] = {name: str(value) for name, value in given.items()}
    if load not in (1, "only"):
        sent["load"] = str(load)
    return {**sent, "sort_id": sort_id, "batch_id": batch_id, "category": category}


def _method(given: str) -> Method:
    for method in METHODS:
        if method == given:
            return method
    raise InvalidEntryError(
        f"method {given[:40]!r} is not known: use one of {', '.join(METHODS)}",
        field="method",
        given=given,
    )


def _category(services: Services, batch_id: str | None, category: str | None) -> str:
    if category is not None:
        return services.categories.get(category).id
    if batch_id is None:
        raise InvalidEntryError(
            "the weighing names neither a batch nor a category: choose what was weighed",
            field="pile",
        )
    return services.log.get_batch(batch_id.lower()).category

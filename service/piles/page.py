"""The piles: batches, weighings as read off the scale, and the tare library."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import urlencode

from fastapi import APIRouter
from starlette.responses import HTMLResponse, RedirectResponse, Response

from classifier.errors import InvalidEntryError, TallytareError, UnknownIdError
from classifier.log.quantities import MAX_LOADS, Unit, parse_count
from classifier.log.records import LoadAsked, Tare
from service.piles import usecases as piles
from service.piles.choice import (
    batch_title,
    last_load_of,
    left_to_weigh,
    loads_of,
    pile_options,
    weighed_words,
)
from service.piles.usecases import PilesView
from service.services import Services
from service.web.dependencies import ServicesDep
from service.web.forms import FormState, Typed, refused
from service.web.page_support import go_to, sort_frame
from service.web.render import as_data, exact, page

router = APIRouter(prefix="/sorts/{sort_id}")

CONTAINER, DIFFERENCE, BELOW_RESOLUTION = "container", "difference", "below_resolution"
METHODS = (
    (CONTAINER, "In a container, or straight on the scale"),
    (DIFFERENCE, "Difference: person with the bag, minus person"),
    (BELOW_RESOLUTION, "Too light for this scale"),
)
METHOD_WORDS = {
    CONTAINER: "container",
    DIFFERENCE: "difference",
    BELOW_RESOLUTION: "too light for the scale",
}
UNITS = ((Unit.KG, "kg"), (Unit.G, "g"), (Unit.LB, "lb"), (Unit.OZ, "oz"))
_SAID = {
    "void": "The weighing is crossed out. It stays on the sheet but no longer counts.",
    "batch": "The new part is started.",
    "tare": "The container is in the list.",
}
_TARE_FIELDS = ("tare_id", "name", "weight", "unit", "resolution")
_EMPTY = FormState({})


@dataclass(frozen=True, slots=True)
class ScaleUsed:
    """The scale of the last weighing, so that it need not be described again."""

    unit: str = "kg"
    resolution: str = ""
    capacity: str = ""
    sorter: str = ""


@router.get("/piles", response_class=HTMLResponse)
def show_piles(
    services: ServicesDep, sort_id: str, said: str = "", pile: str = "", weighed: str = ""
) -> HTMLResponse:
    """Show the weigh sheet and its forms."""
    return _page(services, sort_id, said=_SAID.get(said, ""), pile=pile, weighed=weighed)


@router.post("/weighings", response_class=HTMLResponse)
def weigh(services: ServicesDep, sort_id: str, typed: Typed) -> Response:
    """Record a weighing; a refusal keeps what was typed."""
    try:
        _weigh(services, sort_id, typed)
    except TallytareError as error:
        return _page(services, sort_id, form=refused(typed, error))
    query = urlencode({"weighed": typed.get("weighing_id", "")})
    return go_to(f"/sorts/{sort_id}/piles?{query}")


@router.post("/weighings/{weighing_id}/void", response_class=HTMLResponse)
def void_weighing(services: ServicesDep, sort_id: str, weighing_id: str, typed: Typed) -> Response:
    """Take a weighing back; a reason is required."""
    try:
        piles.void_weighing(
            services,
            weighing_id=weighing_id,
            void_id=typed.get("void_id", ""),
            reason=typed.get("reason", ""),
        )
    except TallytareError as error:
        form = refused({**typed, "weighing_id": weighing_id}, error)
        return _page(services, sort_id, void_form=form)
    return go_to(f"/sorts/{sort_id}/piles?said=void#sheet")


@router.post("/batches")
def start_batch(services: ServicesDep, sort_id: str, typed: Typed) -> RedirectResponse:
    """Start another batch and choose it in the weighing form."""
    batch = piles.start_batch(
        services,
        sort_id=sort_id,
        batch_id=typed.get("batch_id", ""),
        category=typed.get("category", ""),
        label=typed.get("label", ""),
    )
    return go_to(f"/sorts/{sort_id}/piles?said=batch&pile=batch:{batch.id}")


@router.post("/tares", response_class=HTMLResponse)
def add_tare(services: ServicesDep, sort_id: str, typed: Typed) -> Response:
    """Add a container to the tare library."""
    try:
        piles.add_tare(services, **{name: typed.get(name, "") for name in _TARE_FIELDS})
    except TallytareError as error:
        return _page(services, sort_id, tare_form=refused(typed, error))
    return go_to(f"/sorts/{sort_id}/piles?said=tare#tares")


def _weigh(services: Services, sort_id: str, typed: Mapping[str, str]) -> None:
    kind, _, ident = typed.get("pile", "").partition(":")
    if not ident:
        raise InvalidEntryError(
            "no pile is chosen: choose the one that is on the scale", field="pile"
        )
    method = typed.get("method", "")
    reading = {name: typed.get(name, "") for name in ("gross", "tare")}
    tare_unit = tare_resolution = None
    if method == BELOW_RESOLUTION:
        # Without script the fields stay in sight; what stands in them can't be meant.
        reading = {"gross": "", "tare": ""}
    chosen = typed.get("tare_from", "")
    if method == CONTAINER and chosen and not reading["tare"].strip():
        tare = _library_tare(services, chosen)
        reading["tare"] = exact(tare.weight)
        tare_unit, tare_resolution = str(tare.unit), exact(tare.resolution)
    piles.weigh(
        services,
        sort_id=sort_id,
        weighing_id=typed.get("weighing_id", ""),
        batch_id=ident if kind == "batch" else None,
        category=ident if kind == "category" else None,
        method=method,
        gross=reading["gross"].strip() or None,
        tare=reading["tare"].strip() or None,
        unit=typed.get("unit", ""),
        resolution=typed.get("resolution", ""),
        tare_unit=tare_unit,
        tare_resolution=tare_resolution,
        capacity=typed.get("capacity", "").strip() or None,
        contents_left=typed.get("contents_left") == "yes",
        note=typed.get("note", ""),
        sorter=typed.get("sorter", ""),
        load=_load(typed.get("load", "")),
    )


def _load(said: str) -> LoadAsked:
    """Return the load that is meant; whoever says nothing takes the pile for unweighed."""
    if said == "further":
        return "further"
    return parse_count(said, what="load", most=MAX_LOADS) if said else "only"


def _library_tare(services: Services, tare_id: str) -> Tare:
    for tare in services.log.list_tares():
        if tare.id == tare_id:
            return tare
    raise UnknownIdError(
        f"there is no container {tare_id!r} in the list: choose another, or type the tare",
        tare=tare_id,
    )


def last_scale(view: PilesView) -> ScaleUsed:
    """Return the scale of the newest weighing, with nothing in it if there is none."""
    weighings = [
        line.weighing for pile in view.piles for batch in pile.batches for line in batch.weighings
    ]
    if not weighings:
        return ScaleUsed()
    last = max(weighings, key=lambda weighing: weighing.at)
    capacity = "" if last.capacity is None else exact(last.capacity)
    return ScaleUsed(str(last.unit), exact(last.resolution), capacity, last.sorter)


def _page(
    services: Services,
    sort_id: str,
    *,
    form: FormState | None = None,
    void_form: FormState = _EMPTY,
    tare_form: FormState = _EMPTY,
    said: str = "",
    pile: str = "",
    weighed: str = "",
) -> HTMLResponse:
    view = piles.piles(services, sort_id, judged=True)
    said = weighed_words(view, weighed) or said
    last = last_scale(view)
    if form is None:
        form = FormState(
            {
                "pile": pile,
                "resolution": last.resolution,
                "capacity": last.capacity,
                "sorter": last.sorter,
            }
        )
    options = pile_options(services, view)
    tares = [
        {"id": each.id, "weight": exact(each.weight), "unit": str(each.unit)} for each in view.tares
    ]
    return page(
        "piles.html",
        **sort_frame(services, view.sort, "piles"),
        view=view,
        form=form,
        void_form=void_form,
        tare_form=tare_form,
        said=said,
        nothing_left=bool(weighed) and not left_to_weigh(view),
        last=last,
        methods=METHODS,
        method_words=METHOD_WORDS,
        unit_options=UNITS,
        pile_options=options,
        last_load=last_load_of(options, form.value("pile")),
        loads_of=loads_of,
        tare_options=[
            ("", "none"),
            *((t.id, f"{t.name}: {exact(t.weight)} {t.unit}") for t in view.tares),
        ],
        tare_data=as_data(tares),
        sorters=dict.fromkeys([*view.sort.sorters, *filter(None, [form.value("sorter")])]),
        batch_title=batch_title,
        groups=_groups(services),
    )


def _groups(services: Services) -> list[dict[str, object]]:
    return [
        {"name": group.name, "categories": services.categories.in_group(group.id)}
        for group in services.categories.groups
    ]

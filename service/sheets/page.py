"""Paper first: the blank field sheet to print, its CSV template, and the import of a filled one."""

from __future__ import annotations

import base64
import binascii
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends
from starlette.datastructures import UploadFile
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from classifier.errors import InvalidEntryError, TallytareError
from classifier.log.records import SortInfo
from classifier.sheet.lines import Scale
from classifier.sheet.read import sheet_template
from classifier.sheet.table import COLUMNS, MAX_BYTES
from service.guide.pickers import ways
from service.piles.page import UNITS
from service.services import Services
from service.sheets import usecases as field_sheet
from service.web.dependencies import ServicesDep
from service.web.forms import FormState, refused
from service.web.page_support import go_to, sort_frame
from service.web.render import page

router = APIRouter()
Paper = Literal["a4", "letter"]
DECIMALS = (("", "as the file shows"), ("comma", "comma: 1,25"), ("point", "point: 1.25"))
_COMMA = {"comma": True, "point": False}


@dataclass(frozen=True, slots=True)
class Posted:
    """A form with a file in it: the fields as typed, the file's bytes and its name."""

    typed: Mapping[str, str] = field(default_factory=dict)
    data: bytes = b""
    name: str = ""

    @property
    def options(self) -> dict[str, Any]:
        """How the file is to be read."""
        scale = Scale(self.typed.get("unit", ""), self.typed.get("resolution", "").strip())
        return {
            "sheet": self.typed.get("sheet", "").strip() or "1",
            "scale": scale,
            "decimal_comma": _COMMA.get(self.typed.get("decimal", "")),
        }


async def _posted(request: Request) -> Posted:
    async with request.form(max_files=1) as form:
        typed = {name: value for name, value in form.items() if isinstance(value, str)}
        file = form.get("file")
        if isinstance(file, UploadFile):
            return Posted(typed, await file.read(), file.filename or "")
    try:
        data = base64.b64decode(typed.pop("content", ""), validate=True)
    except binascii.Error:
        data = b""
    return Posted(typed, data, typed.get("name", ""))


PostedDep = Annotated[Posted, Depends(_posted)]


@router.get("/sheet", response_class=HTMLResponse)
def blank_sheet(services: ServicesDep, programme: str = "", paper: Paper = "a4") -> HTMLResponse:
    """Show a blank field sheet under a programme, to print."""
    chosen = services.programme(programme or next(iter(services.programmes)))
    return _sheet(services, chosen.id, None, paper)


@router.get("/sheet.csv")
def template(services: ServicesDep) -> Response:
    """Return the empty sheet as CSV, to be filled in a spreadsheet."""
    return Response(
        # Spreadsheets take a file without the mark for their own code page.
        "\ufeff" + sheet_template(services.categories),
        media_type="text/csv",
        headers={"content-disposition": 'attachment; filename="field-sheet.csv"'},
    )


@router.get("/sorts/{sort_id}/sheet/print", response_class=HTMLResponse)
def sheet_of_sort(services: ServicesDep, sort_id: str, paper: Paper = "a4") -> HTMLResponse:
    """Show a field sheet with the head of a sort filled in, to print."""
    sort = services.log.get_sort(sort_id)
    return _sheet(services, sort.programme_id, sort, paper)


@router.get("/sorts/{sort_id}/sheet", response_class=HTMLResponse)
def show_import(
    services: ServicesDep, sort_id: str, recorded: int = -1, before: int = 0, left: int = 0
) -> HTMLResponse:
    """Show where a filled sheet is given, and what the last import did."""
    done = {"recorded": recorded, "before": before, "left": left} if recorded >= 0 else None
    return _import(services, sort_id, FormState({"sheet": "1"}), done=done)


@router.post("/sorts/{sort_id}/sheet", response_class=HTMLResponse)
def look_at_sheet(services: ServicesDep, sort_id: str, posted: PostedDep) -> HTMLResponse:
    """Read a filled sheet and show what it would record; nothing is recorded yet."""
    try:
        if not posted.data:
            raise InvalidEntryError(
                "no file was given: choose the filled CSV file, then look at it"
            )
        found = field_sheet.preview_sheet(
            services, sort_id=sort_id, data=posted.data, **posted.options
        )
    except TallytareError as error:
        return _import(services, sort_id, refused(posted.typed, error))
    return _import(services, sort_id, FormState(posted.typed), found=found, posted=posted)


@router.post("/sorts/{sort_id}/sheet/import", response_class=HTMLResponse)
def import_sheet(services: ServicesDep, sort_id: str, posted: PostedDep) -> Response:
    """Record the sheet that was looked at; with problems only the good lines, if accepted."""
    try:
        done = field_sheet.import_sheet(
            services,
            sort_id=sort_id,
            data=posted.data,
            **posted.options,
            sorter=posted.typed.get("sorter", ""),
            accept_good=posted.typed.get("accept_good") == "yes",
        )
    except TallytareError as error:
        return _import(services, sort_id, refused(posted.typed, error))
    left = len({problem.line for problem in done.problems})
    return go_to(
        f"/sorts/{done.sort.id}/sheet?recorded={done.recorded}&before={done.before}&left={left}"
    )


def _import(
    services: Services,
    sort_id: str,
    form: FormState,
    *,
    found: field_sheet.SheetPreview | None = None,
    posted: Posted | None = None,
    done: Mapping[str, int] | None = None,
) -> HTMLResponse:
    sort = services.log.get_sort(sort_id)
    return page(
        "sheet_import.html",
        **sort_frame(services, sort, "piles"),
        form=form,
        found=found,
        posted=posted,
        content="" if posted is None else base64.b64encode(posted.data).decode("ascii"),
        done=done,
        columns=COLUMNS,
        most_bytes=MAX_BYTES,
        unit_options=[("", "as in the file"), *UNITS],
        decimal_options=DECIMALS,
        sorter_options=[("", "not named"), *((name, name) for name in sort.sorters)],
    )


def _sheet(
    services: Services, programme_id: str, sort: SortInfo | None, paper: Paper
) -> HTMLResponse:
    programme = services.programme(programme_id)
    return page(
        "sheet_print.html",
        here="sorts",
        sort=sort,
        programme=programme,
        programmes=list(services.programmes.values()),
        groups=[
            (
                group.name,
                [
                    (each, [way.name for way in ways(each, programme, services.categories)])
                    for each in services.categories.in_group(group.id)
                ],
            )
            for group in services.categories.groups
        ],
        stops=[each.name for each in services.categories.categories if each.stop],
        paper=paper,
    )

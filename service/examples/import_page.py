"""Import of a labelled set from the page: a dry run first, then the import."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from anyio import to_thread
from fastapi import APIRouter
from starlette.datastructures import UploadFile
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from classifier.errors import DataFileError, InvalidEntryError, TallytareError
from service.examples.arrival import read_arrived
from service.examples.importing import ImportPlan, plan_import, run_import
from service.examples.review_page import category_groups
from service.examples.upload import forget_upload, unpack, unpacked
from service.services import Services
from service.web.dependencies import ServicesDep
from service.web.errors import problem_of
from service.web.forms import Typed
from service.web.page_support import go_to
from service.web.render import new_id, page

_ARCHIVE = "the archive"
"""What messages call the folder where it was unpacked, which is nobody's business."""

router = APIRouter()
LEAVE_OUT = "-"
MOST_LINES = 50
"""Of pictures that stay out, so many are named; their number is always given."""
_LABEL, _TO = "label-", "to-"


@router.get("/examples/import", response_class=HTMLResponse)
def show_import(services: ServicesDep, done: str = "") -> HTMLResponse:
    """Show the form that takes an archive."""
    return _page(services, done=done)


@router.post("/examples/import", response_class=HTMLResponse)
async def post_archive(services: ServicesDep, request: Request) -> Response:
    """Unpack an archive and say what importing it would do; nothing is recorded."""
    form = await request.form(max_files=1, max_fields=10)
    archive, source = form.get("archive"), form.get("source")
    token = new_id()

    def plan() -> Response:
        try:
            if not isinstance(archive, UploadFile) or not archive.filename:
                raise InvalidEntryError("no file is chosen: choose a ZIP")
            data = archive.file.read()
            if not data:
                raise InvalidEntryError(
                    "the file is empty: fetch it once more, it may have been cut off on its way"
                )
            name = str(source or "").strip() or archive.filename.rsplit(".", 1)[0]
            with unpack(services, data, token=token) as place:
                if not place.is_dir():
                    raise InvalidEntryError("the archive is empty: pack the folder again")
                made = plan_import(
                    services, place, source=name, called=_ARCHIVE, arrived=read_arrived(place)
                )
        except TallytareError as error:
            return _page(services, refusal=error.message, status=_status(error))
        return _page(services, plan=made, token=token)

    try:
        return await to_thread.run_sync(plan)
    finally:
        await form.close()


@router.post("/examples/import/run", response_class=HTMLResponse)
def post_run(services: ServicesDep, typed: Typed) -> Response:
    """Import what was unpacked, its unknown labels read as the form says."""
    token, source = typed.get("token", ""), typed.get("source", "")
    chosen = {
        typed[name]: typed.get(_TO + name.removeprefix(_LABEL), "")
        for name in typed
        if name.startswith(_LABEL)
    }
    try:
        folder = unpacked(services, token)
    except TallytareError as error:
        return _page(services, refusal=error.message, status=problem_of(error).status)
    try:
        plan = plan_import(
            services,
            folder,
            source=source,
            called=_ARCHIVE,
            arrived=read_arrived(folder),
            renamed={old: new for old, new in chosen.items() if new not in ("", LEAVE_OUT)},
            leave_out=[old for old, new in chosen.items() if new == LEAVE_OUT],
        )
        count = run_import(services, plan, sorter=typed.get("sorter", ""))
    except TallytareError as error:
        return _refused(services, error, folder, token=token, source=source)
    forget_upload(services, token)
    return go_to(f"/examples/import?done={count}")


def _refused(
    services: Services, error: TallytareError, folder: Path, *, token: str, source: str
) -> HTMLResponse:
    """Show what would happen once more, without the choices, so that each is asked again."""
    try:
        plan = plan_import(
            services, folder, source=source, called=_ARCHIVE, arrived=read_arrived(folder)
        )
    except TallytareError:  # the folder was deleted meanwhile
        return _page(services, refusal=error.message, status=_status(error))
    return _page(
        services,
        plan=plan,
        token=token,
        refusal=error.message,
        status=_status(error),
    )


def _status(error: TallytareError) -> int:
    """Return the status of a refusal; a data file with a mistake is here one that was sent."""
    return 422 if isinstance(error, DataFileError) else problem_of(error).status


def _page(
    services: Services,
    *,
    plan: ImportPlan | None = None,
    token: str = "",
    refusal: str = "",
    done: str = "",
    status: int = 200,
) -> HTMLResponse:
    duplicates, unreadable = (plan.duplicates, plan.unreadable) if plan else ((), ())
    values: dict[str, Any] = {
        "plan": plan,
        "kept_out": [
            (title, lines)
            for title, lines in (
                ("Already there, or withdrawn", duplicates),
                ("Can't be taken", unreadable),
            )
            if lines
        ],
        "most_lines": MOST_LINES,
        "token": token,
        "refusal": refusal,
        "leave_out": LEAVE_OUT,
        "groups": category_groups(services),
        "names": {each.id: each.name for each in services.categories.categories},
        "most_mb": services.settings.max_upload_bytes // 1_000_000,
    }
    return page("example_import.html", status=status, here="examples", done=done, **values)

"""What endpoints are given: the services, and an uploaded photo."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from anyio import CapacityLimiter
from fastapi import Depends, Request
from starlette.datastructures import UploadFile
from starlette.formparsers import MultiPartException, MultiPartParser
from starlette.requests import ClientDisconnect

from classifier.errors import InvalidEntryError
from service.services import Services


def get_services(request: Request) -> Services:
    """Return the services that `create_app` built."""
    services: Services = request.app.state.services
    return services


ServicesDep = Annotated[Services, Depends(get_services)]


def get_photo_threads(request: Request) -> CapacityLimiter:
    """Return the bound on threads that wait for a photo.

    Photos wait here for their turn and not in the threads of all other requests: a heap of slow
    ones holds up nobody else.
    """
    threads: CapacityLimiter = request.app.state.photo_threads
    return threads


PhotoThreadsDep = Annotated[CapacityLimiter, Depends(get_photo_threads)]


@dataclass(frozen=True, slots=True)
class Upload:
    """A photo as it came, with the id that the page made for it."""

    capture_id: str
    data: bytes


class _MemoryParser(MultiPartParser):
    """Keeps the photo in memory: on disk its location data would outlive the request."""

    spool_max_size = 2**40


async def read_upload(request: Request) -> Upload:
    """Read the form of a photo; its size was limited on the way in.

    Raises InvalidEntryError when it is no such form.
    """
    kind = request.headers.get("content-type", "")
    if not kind.lower().startswith("multipart/form-data"):
        raise InvalidEntryError(
            f"content type {kind[:60]!r}: send multipart/form-data with capture_id and photo"
        )
    parser = _MemoryParser(request.headers, request.stream(), max_files=1, max_fields=10)
    try:
        form = await parser.parse()
    except MultiPartException as error:
        raise InvalidEntryError(
            f"the form can't be read ({error.message}): send capture_id and one photo"
        ) from error
    except ClientDisconnect as error:
        raise InvalidEntryError("the upload broke off: send the photo again") from error
    capture_id, photo = form.get("capture_id"), form.get("photo")
    try:
        if not isinstance(capture_id, str) or not isinstance(photo, UploadFile):
            raise InvalidEntryError(
                "the form needs the text capture_id and the file photo: reload the page",
                fields=sorted(form),
            )
        return Upload(capture_id=capture_id, data=await photo.read())
    finally:
        await form.close()


UploadDep = Annotated[Upload, Depends(read_upload)]

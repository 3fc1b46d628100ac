"""Learning from confirmations in the JSON interface."""

from __future__ import annotations

import base64
import binascii

from fastapi import APIRouter, Response

from classifier.errors import InvalidEntryError
from service.learning import usecases as learning
from service.learning.wire import LearningChange, LearningOut, LearningStart
from service.web.dependencies import ServicesDep

router = APIRouter()


class HeadResponse(Response):
    """A learned head, for the description of the interface too."""

    media_type = "application/octet-stream"


@router.get("/learning/{scope_id}")
def get_learning(services: ServicesDep, scope_id: str) -> LearningOut:
    """Return how learning stands in a study, or in a sort outside one."""
    return LearningOut.model_validate(learning.learning_state(services, scope_id))


@router.post("/learning/{scope_id}/settings")
def post_learning_settings(
    services: ServicesDep, scope_id: str, body: LearningChange
) -> LearningOut:
    """Switch learning on or off, and set the share of photos that are judged blind."""
    learning.set_learning(services, scope_id=scope_id, **body.model_dump())
    return LearningOut.model_validate(learning.learning_state(services, scope_id))


@router.post("/learning/{scope_id}/start")
def post_learning_start(services: ServicesDep, scope_id: str, body: LearningStart) -> LearningOut:
    """Have learning start from an exported head, another study, or the shipped model again."""
    common = {"scope_id": scope_id, "start_id": body.start_id, "sorter": body.sorter}
    if body.head is not None and body.from_scope is not None:
        raise InvalidEntryError("head and from_scope were both given: give one of them")
    if body.head is not None:
        content = _decoded(body.head)
        learning.start_from_file(services, **common, name=body.name, content=content)
    elif body.from_scope is not None:
        learning.start_from_scope(services, **common, other_id=body.from_scope)
    else:
        learning.start_from_shipped(services, **common)
    return LearningOut.model_validate(learning.learning_state(services, scope_id))


@router.get("/learning/{scope_id}/head", response_class=HeadResponse)
def get_head(services: ServicesDep, scope_id: str) -> Response:
    """Export what was learned, for another study to start from."""
    name, content = learning.export_head(services, scope_id)
    return head_file(name, content)


def head_file(name: str, content: bytes) -> Response:
    """Return a learned head as a file to keep."""
    return HeadResponse(content, headers={"content-disposition": f'attachment; filename="{name}"'})


def _decoded(text: str) -> bytes:
    try:
        return base64.b64decode(text, validate=True)
    except (binascii.Error, ValueError):
        raise InvalidEntryError(
            "head is no base64: encode the bytes of the exported file"
        ) from None

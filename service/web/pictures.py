"""Pictures for the browser, which may keep them but asks each time whether they still stand.

A withdrawn photo is thereby gone from every page at once, also where it was shown before.
"""

from __future__ import annotations

import hashlib

from starlette.requests import Request
from starlette.responses import Response


def picture(request: Request, jpeg: bytes) -> Response:
    """Return a picture, or only that the one that the browser keeps is still right."""
    tag = f'"{hashlib.sha256(jpeg).hexdigest()[:32]}"'
    headers = {"cache-control": "private, no-cache", "etag": tag}
    if tag in request.headers.get("if-none-match", ""):
        return Response(status_code=304, headers=headers)
    return Response(jpeg, media_type="image/jpeg", headers=headers)

"""What the browser keeps of the sorting page, so that it opens while the server is away.

All of it has one version, a digest of everything that makes the pages: a browser never mixes the
files of two, and old ones go when a new version arrives.
"""

from __future__ import annotations

import hashlib
import json
from functools import cache
from importlib.resources import files
from pathlib import Path

SHELL_HEADER = "x-tallytare-shell"
"""Tells the worker in the browser whether a page belongs to the files that it holds."""


@cache
def shell_version() -> str:
    """Return a digest of all templates, style sheets, scripts and code behind the pages."""
    digest = hashlib.sha256()
    folder = _folder()
    for path in sorted(each for each in folder.rglob("*") if _counts(each)):
        digest.update(path.relative_to(folder).as_posix().encode() + b"\0")
        digest.update(hashlib.sha256(path.read_bytes()).digest())
    return digest.hexdigest()[:16]


@cache
def worker_script() -> str:
    """Return the service worker with the version and the digest of each file that it keeps."""
    static = _folder() / "static"
    kept = {
        f"/static/{path.relative_to(static).as_posix()}": hashlib.sha256(
            path.read_bytes()
        ).hexdigest()
        for path in sorted(static.rglob("*"))
        if path.is_file()
    }
    source = (_folder() / "templates" / "worker.js").read_text(encoding="utf-8")
    return source.replace('"VERSION"', json.dumps(shell_version())).replace(
        '{ "FILES": "" }', json.dumps(kept, indent=2)
    )


def _folder() -> Path:
    return Path(str(files("service.web")))


def _counts(path: Path) -> bool:
    return path.is_file() and "__pycache__" not in path.parts

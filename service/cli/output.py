"""Where the result of a command goes: a file, or standard output."""

from __future__ import annotations

import re
from importlib.resources import files
from pathlib import Path
from typing import Annotated

import typer

Output = Annotated[
    Path | None, typer.Option("--output", "-o", metavar="FILE", help="File to write to.")
]
_STYLE = re.compile(r'<link rel="stylesheet" href="/static/([\w.-]+)">')
_OTHER_PARTS = re.compile(r"<link rel=\"icon\"[^>]*>|<script\b[^>]*\bsrc=[^>]*></script>")
_ONLY_IN_SERVICE = (
    "<style>.masthead nav, .tabs, .skip, .no-print { display: none; }</style>\n</head>"
)
_LOCAL_LINK = re.compile(r'\s(?:href|src|action)="/[^"]*"')


def write_text(text: str, output: Path | None) -> None:
    """Write a text as it is: in text mode Windows would turn each CRLF of a CSV into CRCRLF."""
    data = text.encode("utf-8")
    if output is None:
        typer.echo(data, nl=False)
    else:
        output.write_bytes(data)


def standalone_page(body: bytes) -> str:
    """Return a page with its styles inside and no links into the service."""
    page = body.decode("utf-8")
    static = files("service.web") / "static"

    def style(match: re.Match[str]) -> str:
        return f"<style>\n{(static / match.group(1)).read_text(encoding='utf-8')}</style>"

    bare = _LOCAL_LINK.sub("", _OTHER_PARTS.sub("", _STYLE.sub(style, page)))
    return bare.replace("</head>", _ONLY_IN_SERVICE, 1)

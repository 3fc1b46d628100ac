"""Settings as the environment and the options of a command give them."""

from __future__ import annotations

from typing import Annotated, Any

import typer
from pydantic import ValidationError

from service.settings import Settings

Host = Annotated[
    str, typer.Option("--host", metavar="HOST", help="Address to listen on (TALLYTARE_HOST).")
]
Port = Annotated[
    int | None, typer.Option("--port", help="Port to listen on; 0 picks one.", show_default=False)
]
Open = Annotated[bool, typer.Option("--open/--no-open", help="Open the page in the browser.")]
Bundle = Annotated[
    str, typer.Option("--bundle", metavar="NAME", help="Model bundle: a shipped name or a folder.")
]


def read_settings(**given: Any) -> Settings:
    """Return the settings of the environment, less those given; a wrong one is a usage error.

    An option that was left out, "" or None, is not given.
    """
    given = {name: value for name, value in given.items() if value not in ("", None)}
    try:
        return Settings(**given)
    except ValidationError as error:
        wrong = []
        for each in error.errors():
            name = str(each["loc"][0])
            source = f"--{name}" if name in given else f"TALLYTARE_{name.upper()}"
            wrong.append(f"{source} is {each['input']!r}: {each['msg']}; set it right, or leave it")
        raise typer.BadParameter("\n".join(wrong)) from error

"""Settings as the environment and the options of a command give them."""

from __future__ import annotations

from typing import Any

import typer
from pydantic import ValidationError

from service.settings import Settings


def read_settings(**given: Any) -> Settings:
    """Return the settings of the environment, less those given; a wrong one is a usage error."""
    try:
        return Settings(**given)
    except ValidationError as error:
        wrong = []
        for each in error.errors():
            name = str(each["loc"][0])
            source = f"--{name}" if name in given else f"TALLYTARE_{name.upper()}"
            wrong.append(f"{source} is {each['input']!r}: {each['msg']}; set it right, or leave it")
        raise typer.BadParameter("\n".join(wrong)) from error

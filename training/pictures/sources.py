"""Where the pictures come from, who made them and under which licence."""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from training.pictures.manifest import Example


@dataclass(frozen=True, slots=True)
class Origin:
    """One set of pictures as a card names it."""

    title: str
    authors: str
    licence: str
    shows: str
    published: str = ""  # accuracy that its authors report, and what differs from ours


def load_origins() -> dict[str, Origin]:
    """Read the table of known sources."""
    text = (files("training") / "data" / "sources.toml").read_text(encoding="utf-8")
    return {name: Origin(**row) for name, row in tomllib.loads(text).items()}


def origin_of(name: str) -> Origin | None:
    """Return where a source is from, or None; groups of one origin are named ORIGIN_GROUP."""
    origins = load_origins()
    return origins.get(name) or origins.get(name.split("_")[0])


def count_sources(examples: Sequence[Example]) -> list[dict[str, Any]]:
    """Name, licence and number of pictures of each source, as bundle.json lists them."""
    return [
        {
            "name": name,
            "licence": origin.licence if (origin := origin_of(name)) else "not stated",
            "pictures": pictures,
        }
        for name, pictures in sorted(Counter(e.source for e in examples).items())
    ]

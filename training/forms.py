"""The table of forms that training labels and bundles share."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from importlib.resources import files

NON_ITEM = "non_item"


@dataclass(frozen=True, slots=True)
class Form:
    """One visual class; `material` and `stream` are empty for pictures without an item."""

    id: str
    name: str
    material: str
    stream: str
    categories: dict[str, float]


@dataclass(frozen=True, slots=True)
class FormTable:
    """Forms in the order of the network's outputs, with the coarser labels they add up to."""

    forms: tuple[Form, ...]

    @property
    def ids(self) -> list[str]:
        """Form ids in output order."""
        return [form.id for form in self.forms]

    @property
    def materials(self) -> list[str]:
        """Material names in output order."""
        return sorted({form.material for form in self.forms if form.material})

    @property
    def streams(self) -> list[str]:
        """Names of the coarse containers, in order."""
        return sorted({form.stream for form in self.forms if form.stream})

    def parents(self, level: str) -> list[int]:
        """Index of each form's material or stream; -1 for pictures without an item."""
        names = self.materials if level == "material" else self.streams
        values = [getattr(form, level) for form in self.forms]
        return [names.index(value) if value else -1 for value in values]


def load_forms() -> FormTable:
    """Read the shipped table."""
    text = (files("training") / "data" / "forms.toml").read_text(encoding="utf-8")
    return FormTable(tuple(Form(**row) for row in tomllib.loads(text)["form"]))

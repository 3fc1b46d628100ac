"""The table of forms that training labels and bundles share."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from importlib.resources import files

from classifier.errors import DataFileError
from classifier.rules.category_parts import Categories, Category
from classifier.rules.suggestion_parts import NON_ITEM


@dataclass(frozen=True, slots=True)
class Form:
    """One visual class; `material` and `stream` are empty for pictures without an item."""

    id: str
    name: str
    material: str
    stream: str
    categories: dict[str, float]
    near: tuple[str, ...] = ()  # forms that it is taken for and that lead elsewhere


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

    def near(self) -> list[list[float]]:
        """Table (F, F) with 1 where one of two forms names the other in `near`, else 0."""
        return [[float(a.id in b.near or b.id in a.near) for b in self.forms] for a in self.forms]


def load_forms() -> FormTable:
    """Read the shipped table."""
    text = (files("training") / "data" / "forms.toml").read_text(encoding="utf-8")
    return FormTable(tuple(Form(**row) for row in tomllib.loads(text)["form"]))


def table_of_labels(labels: Iterable[str], categories: Categories) -> FormTable:
    """Make the table of a set of pictures: the labels that occur, and "no item" as the last.

    A label is a form of the shipped table or a category of the log; an empty one is undecided.

    Raises
    ------
    DataFileError
        A label that is neither, with the nearest names, or fewer than two kinds of item.
    """
    present = set(labels) - {""}
    shipped = load_forms().forms
    by_id = {form.id: form for form in shipped}
    extra = {c.id: c for c in categories.categories if c.id not in by_id}
    refuse_unknown(present, [*by_id, *extra], "label")
    forms = [form for form in shipped if form.id in present and form.id != NON_ITEM]
    forms += [
        form_of_category(category, shipped) for id_, category in extra.items() if id_ in present
    ]
    if len(forms) < 2:
        raise DataFileError(
            f"the pictures have {len(forms) or 'no'} label besides {NON_ITEM}; at least 2 are "
            "needed to tell one from another"
        )
    return FormTable((*forms, by_id[NON_ITEM]))


def refuse_unknown(names: Iterable[str], known: Sequence[str], kind: str) -> None:
    """Raise DataFileError for names that aren't known, each with the nearest known ones."""
    near = {
        name: difflib.get_close_matches(name, known) for name in sorted(set(names) - set(known))
    }
    words = [
        f"unknown {kind} {name!r}" + (f"; did you mean {', '.join(close)}?" if close else "")
        for name, close in near.items()
    ]
    if not all(near.values()):
        words.append(f"there are {', '.join(known)}")
    if words:
        raise DataFileError("\n".join(words))


def form_of_category(category: Category, shipped: Sequence[Form]) -> Form:
    """Return a category as a form of its own, with the material of the form that shows it most."""
    likest = max(shipped, key=lambda form: form.categories.get(category.id, 0.0))
    known = category.id in likest.categories
    return Form(
        id=category.id,
        name=category.name,
        material=likest.material if known else "miscellaneous",
        stream=likest.stream if known else "rest",
        categories={category.id: 1.0},
    )

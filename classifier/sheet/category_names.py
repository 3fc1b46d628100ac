"""Categories by what people write: id or name, any case, singular or plural; never a guess."""

from __future__ import annotations

import difflib
import re

from classifier.errors import UnknownIdError
from classifier.rules.category_parts import Categories, Category
from classifier.sheet.table import plain

_MOST_NEAR = 3


class CategoryNames:
    """Finds a category by id or name; a near miss is refused with what may have been meant."""

    def __init__(self, categories: Categories) -> None:
        self._written: dict[str, Category] = {}
        stems: dict[str, set[str]] = {}
        for category in categories.categories:
            for name in (category.id, category.name, re.sub(r"\(.*\)", "", category.name)):
                self._written.setdefault(plain(name), category)
                stems.setdefault(_stem(plain(name)), set()).add(category.id)
        self._stems = {
            stem: categories.get(next(iter(ids))) for stem, ids in stems.items() if len(ids) == 1
        }

    def find(self, given: str) -> Category:
        """Return the category that was written.

        Raises
        ------
        UnknownIdError
            If there is none, or more than one could be meant; names those that are near.
        """
        wanted = plain(given)
        found = self._written.get(wanted) or self._stems.get(_stem(wanted))
        if found is not None:
            return found
        near = self._near(wanted)
        hint = f"did you mean {' or '.join(near)}? Write" if near else "write"
        raise UnknownIdError(
            f"category {given[:60]!r} is not in the list: {hint} the name or id of a category of "
            "the list",
            given=given,
            near=near,
        )

    def _near(self, wanted: str) -> list[str]:
        words = set(_stem(wanted).split())
        holding = [
            category.name
            for name, category in self._written.items()
            if words and words <= set(_stem(name).split())
        ]
        close = difflib.get_close_matches(wanted, self._written, n=5, cutoff=0.6)
        names = [*holding, *(self._written[name].name for name in close)]
        return [*dict.fromkeys(names)][:_MOST_NEAR]


def _stem(text: str) -> str:
    return " ".join(_singular(word) for word in text.split())


def _singular(word: str) -> str:
    """Return the singular of an English plural, near enough to compare two spellings."""
    if len(word) > 4 and word.endswith("ies"):
        return f"{word[:-3]}y"
    if len(word) > 4 and word.endswith(("ses", "xes", "ches", "shes")):
        return word[:-2]
    if len(word) > 3 and word.endswith("s") and not word.endswith("ss"):
        return word[:-1]
    return word

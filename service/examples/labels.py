"""Somebody else's labels, read as categories of our list."""

from __future__ import annotations

import difflib
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from service.services import Services

NO_ITEM = "non_item"


@dataclass(frozen=True, slots=True)
class UnknownLabel:
    """A label that is no category, how many pictures have it, and the nearest categories."""

    label: str
    pictures: int
    nearest: tuple[str, ...]


class LabelBook:
    """Reads labels: ids and names of categories, and forms that the model tells apart.

    A form counts as the category that it mostly is. Raises UnknownIdError where a label was
    renamed to what is no category.
    """

    def __init__(
        self, services: Services, renamed: Mapping[str, str], leave_out: Sequence[str]
    ) -> None:
        self._known = _known(services)
        self._words = {
            each.id: {
                _stem(word)
                for text in (each.id, each.name, *each.belongs)
                for word in _plain(text).split()
            }
            for each in services.categories.categories
        }
        self._renamed = {
            _plain(old): services.categories.get(new).id for old, new in renamed.items()
        }
        self._leave_out = {_plain(each) for each in leave_out} | {_plain(NO_ITEM), ""}
        self._unknown: Counter[str] = Counter()
        self.left_out: Counter[str] = Counter()
        self.read_as: dict[str, str] = {}

    def read(self, label: str) -> str | None:
        """Return the category of a label, None where it is unknown or left out; counts each."""
        plain = _plain(label)
        if plain in self._renamed:
            self.read_as[label] = self._renamed[plain]
        elif plain in self._leave_out:
            self.left_out[label] += 1
            return None
        elif plain in self._known:
            self.read_as[label] = self._known[plain]
        else:
            self._unknown[label] += 1
            return None
        return self.read_as[label]

    def unknown(self) -> tuple[UnknownLabel, ...]:
        """Return the labels that could not be read, the commonest first."""
        return tuple(
            UnknownLabel(label, pictures, self._nearest(label))
            for label, pictures in sorted(self._unknown.items(), key=lambda pair: (-pair[1], pair))
        )

    def _nearest(self, label: str) -> tuple[str, ...]:
        plain = _plain(label)
        asked = {_stem(word) for word in plain.split() if len(word) > 2}
        # What a category says of itself comes first: nobody finds steel cans by the letters of tin.
        hits = {each: len(asked & words) for each, words in self._words.items()}
        given = sorted((each for each, n in hits.items() if n), key=lambda each: -hits[each])
        close = difflib.get_close_matches(plain, [*self._known], n=5, cutoff=0.6)
        found = dict.fromkeys([*given, *(self._known[each] for each in close)])
        return tuple(found)[:3]


def _known(services: Services) -> dict[str, str]:
    known = {}
    if services.model is not None:
        for form, weights in services.model.form_categories.items():
            if weights:
                known[_plain(form)] = max(sorted(weights), key=lambda each: weights[each])
    for each in services.categories.categories:
        known[_plain(each.name)] = each.id
        known[_plain(each.id)] = each.id
    return known


def _stem(word: str) -> str:
    """Return a word without the end of its plural, roughly."""
    return re.sub(r"(?:ies|es|s|y)$", "", word)


def _plain(label: str) -> str:
    return " ".join(re.split(r"[\W_]+", label.casefold())).strip()

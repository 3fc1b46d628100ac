"""Words as the search compares them: without case, accents, marks and the endings of plurals.

`service/web/static/js/search.js` does the same in the browser; one table of cases tests both.
"""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

_MARKS = re.compile(r"[^a-z0-9]+")
_SKIPPED = frozenset(("a", "an", "and", "for", "from", "in", "my", "of", "or", "some", "the"))
_KEEPS_S = ("ss", "us", "is")
_LOSES_E = re.compile(r"(?<=o|x|z)e$|(?<=ch|sh|ss)e$")
_F_OR_V = re.compile(r"[fv]e$")  # knife, knives
_SHORTEST_PLURAL = 4  # letters: "gas" and "bus" are none


@lru_cache(maxsize=8192)  # all names of the list, for every search
def stems_of(text: str) -> tuple[str, ...]:
    """Return the stems of a text's words, in order; words that only join are left out."""
    folded = unicodedata.normalize("NFD", text.lower())
    letters = "".join(each for each in folded if not unicodedata.combining(each))
    words = _MARKS.sub(" ", letters.replace("'", "").replace("\u2019", "")).split()
    return tuple(_stem(word) for word in words if word not in _SKIPPED)


def _stem(word: str) -> str:
    """Return one form for singular and plural: battery, batteries -> batteri; boxes -> box."""
    plural = word.endswith("s") and not word.endswith(_KEEPS_S)
    single = word[:-1] if plural and len(word) >= _SHORTEST_PLURAL else word
    single = _F_OR_V.sub("f", _LOSES_E.sub("", single))
    if single.endswith("ie"):
        return single[:-1]
    return f"{single[:-1]}i" if single.endswith("y") else single

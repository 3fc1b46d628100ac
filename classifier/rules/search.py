"""The search for a pile: what somebody typed to categories, hazards first.

A word is compared with the name and the other names of each category (`Category.words`), and with
what its description says belongs there. Pure and small: `service/web/static/js/search.js` does the
same where the server can't be reached, and one table of cases tests both.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import IntEnum

from rapidfuzz.distance import OSA

from classifier.rules.category_parts import Categories, Category, Caution
from classifier.rules.search_words import stems_of

ASKED_FIRST = (
    "Nothing found. First: could it be sharp, hot, leaking or under pressure, or have a battery in "
    "it? Then set it aside and don't put it into any bin: look under “Electronics and hazardous”. "
    "If not, try another word, or one for its material."
)
"""What somebody reads whose word finds nothing."""

_RESIDUAL = "residual"
_PHRASE = re.compile(r"[,;:]")
# Ours, no source: slips of one letter in a short word, two in a long one. Shorter words have too
# many neighbours: "tin" and "pin", "can" and "pan".
_ONE_SLIP, _TWO_SLIPS = 4, 6


class Fit(IntEnum):
    """How well a word fits a category, the best first; up to `BEGINS` all of the word is used."""

    WHOLE = 0
    """It is one of the names."""
    PART = 1
    """All of it stands in one of the names: "wine" in "wine bottle"."""
    BEGINS = 2
    """A name begins with it, or each part begins a word of one name: somebody still types."""
    HOLDS = 3
    """It holds a whole name: "my old car battery"."""
    MENTIONED = 4
    """It stands in the description of what belongs there."""
    NEAR = 5
    """It is a name with a slip of one or two letters."""


@dataclass(frozen=True, slots=True)
class Found:
    """A category that was found; `slips` counts letters, 0 unless `fit` is `NEAR`."""

    category: Category
    fit: Fit
    slips: int


def search(text: str, categories: Categories) -> tuple[Found, ...]:
    """Return the categories that a word or several words may mean, the likeliest first.

    Of two that fit alike a stop category comes first. A stop category that fits in any way comes
    before the piles for residual waste, unless the word is the very name of one of these. Names
    with a slip count only where part of the text would be left over otherwise.
    """
    wanted = stems_of(text)
    if not wanted:
        return ()
    found = [each for category in categories.categories for each in _best(wanted, category)]
    used = any(each.fit <= Fit.BEGINS for each in found)
    kept = [each for each in found if not (used and each.fit == Fit.NEAR)]
    return tuple(sorted(kept, key=lambda each: _order(each, used)))


def cautions_for(found: Sequence[Found], categories: Categories) -> tuple[Caution, ...]:
    """Return the cautions of what a word most likely means, each once.

    These are the cautions of the first category, and of each stop category that fits as well or is
    named as a part; where no category uses all of the words, of every stop category that was found.
    """
    if not found:
        return ()
    warned = [
        each.category
        for each in found
        if each is found[0] or (each.category.stop and _warns(each.fit, found[0].fit))
    ]
    return tuple({c.id: c for each in warned for c in categories.cautions_of(each)}.values())


def _warns(fit: Fit, best: Fit) -> bool:
    return fit <= best or fit == Fit.HOLDS or best > Fit.BEGINS


def _order(found: Found, used: bool) -> tuple[int, ...]:
    """Return what to sort by: where nothing uses all of the text, hazards come first of all."""
    stop = not found.category.stop
    to_waste = found.category.group == _RESIDUAL and found.fit > Fit.WHOLE
    if used:
        return (to_waste, found.fit, stop, found.slips)
    return (to_waste, stop, found.fit, found.slips)


def _best(wanted: tuple[str, ...], category: Category) -> Iterator[Found]:
    """Yield the best way in which a category fits, if it does at all."""
    ways = [way for name in _names(category) if (way := _fit(wanted, name)) is not None]
    if _mentioned(wanted, category):
        ways.append((Fit.MENTIONED, 0))
    if ways:
        fit, slips = min(ways)
        yield Found(category, fit, slips)


def _names(category: Category) -> Iterator[tuple[str, ...]]:
    for name in (category.name, *category.words):
        yield stems_of(name)


def _mentioned(wanted: tuple[str, ...], category: Category) -> bool:
    phrases = (phrase for line in category.belongs for phrase in _PHRASE.split(line))
    return any(set(wanted) <= set(stems_of(phrase)) for phrase in phrases)


def _fit(wanted: tuple[str, ...], name: tuple[str, ...]) -> tuple[Fit, int] | None:
    """Say how well a text fits one name, with its slips; None if it doesn't."""
    typed, written = "".join(wanted), "".join(name)
    if typed == written:
        return Fit.WHOLE, 0
    if set(wanted) <= set(name):
        return Fit.PART, 0
    if written.startswith(typed) or _each_begins(wanted, name):
        return Fit.BEGINS, 0
    if set(name) <= set(wanted):
        return Fit.HOLDS, 0
    slips = _slips(typed, written)
    if slips is None:
        slips = _least(_slips_of_all(wanted, name), _slips_of_all(name, wanted))
    return None if slips is None else (Fit.NEAR, slips)


def _each_begins(wanted: Sequence[str], name: Sequence[str]) -> bool:
    return all(any(stem.startswith(each) for stem in name) for each in wanted)


def _slips(typed: str, written: str) -> int | None:
    """Return how many letters were mistyped, None if too many for a slip."""
    length = min(len(typed), len(written))
    most = 2 if length >= _TWO_SLIPS else 1 if length >= _ONE_SLIP else 0
    slips = int(OSA.distance(typed, written, score_cutoff=most))
    return slips if slips <= most else None


def _slips_of_all(these: Sequence[str], those: Sequence[str]) -> int | None:
    """Return the slips if each of these is one of those but for a slip, None if one is not."""
    total = 0
    for each in these:
        slips = _least(*(_slips(each, other) for other in those))
        if slips is None:
            return None
        total += slips
    return total


def _least(*counts: int | None) -> int | None:
    known = [count for count in counts if count is not None]
    return min(known) if known else None

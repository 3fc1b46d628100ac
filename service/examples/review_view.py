"""What the review page shows: filters read from the address, cards, words for verdicts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from urllib.parse import urlencode

from classifier.errors import InvalidEntryError
from classifier.rules.category_parts import Categories
from service.examples.survey import Finding, Survey, still_true
from service.store.example_rows import (
    DONT_USE,
    LABEL,
    LEFT_OUT,
    TWO_ITEMS,
    UNCLEAR,
    Example,
    Wanted,
)
from service.web.forms import parse_day

SHOWN = (
    ("all", "All"),
    ("doubted", "Label in doubt"),
    ("two_labels", "Look alike, labelled differently"),
    ("teaching", "Most useful to label next"),
    ("grouped", "Several shots of one object"),
    ("poor", "Blurred, dark, pale or tiny"),
)
STATES = (
    ("", "Any"),
    ("no", "Not yet reviewed"),
    ("yes", "Reviewed"),
    (UNCLEAR, "Unclear"),
    (TWO_ITEMS, "Two items"),
    (DONT_USE, "Don't use"),
)
VERDICT_WORDS = {
    LABEL: "reviewed",
    UNCLEAR: "unclear",
    TWO_ITEMS: "two items",
    DONT_USE: "don't use",
    "open": "review undone",
    "confirmed": "confirmed",
    "corrected": "corrected",
    "undone": "undone",
}
FIELDS = ("show", "category", "sorter", "sort", "state", "disagreement", "below", "since", "until")


@dataclass(frozen=True, slots=True)
class Filters:
    """What the address asks for, as typed."""

    values: Mapping[str, str]

    def value(self, name: str) -> str:
        """Return a filter as typed, empty if it is not set."""
        return self.values.get(name, "")

    def address(self, path: str = "/examples", **changes: str | int) -> str:
        """Return the address of the list, or of a page that leads back to it, changes included."""
        merged = {**self.values, **{name: str(value) for name, value in changes.items()}}
        query = urlencode({name: value for name, value in merged.items() if value})
        return f"{path}?{query}" if query else path

    @property
    def narrowed(self) -> bool:
        """Whether anything is asked for."""
        return any(self.value(name) for name in FIELDS if name != "show") or self.show != "all"

    @property
    def show(self) -> str:
        """Which list is shown."""
        return self.value("show") or "all"


@dataclass(frozen=True, slots=True)
class Card:
    """One example on the page."""

    example: Example
    name: str
    suggested: str
    doubt: str
    badges: tuple[str, ...]
    spoken: str


def read_filters(query: Mapping[str, str]) -> Filters:
    """Return the filters of an address; others of its parts are left out."""
    return Filters({name: query[name] for name in FIELDS if query.get(name)})


def wanted_of(filters: Filters, survey: Survey | None) -> Wanted:
    """Return which examples the filters mean.

    Raises InvalidEntryError or InvalidQuantityError for what can't be read.
    """
    state, disagreement = filters.value("state"), filters.value("disagreement")
    if state not in dict(STATES):
        raise InvalidEntryError(f"there is no review state {state[:40]!r}: choose one")
    if disagreement not in ("", "yes"):
        raise InvalidEntryError(f"disagreement {disagreement[:40]!r}: it is 'yes' or left out")
    return Wanted(
        category=filters.value("category") or None,
        sorter=filters.value("sorter") or None,
        sort_id=filters.value("sort") or None,
        verdict=state if state in LEFT_OUT else None,
        reviewed={"yes": True, "no": False}.get(state),
        disagreement=bool(disagreement),
        confidence_below=_percent(filters.value("below")),
        since=_moment(filters.value("since")),
        before=_moment(filters.value("until"), days=1),
        ids=None if filters.show == "all" else listed(filters.show, survey),
    )


def listed(show: str, survey: Survey | None) -> list[str]:
    """Return the captures of a list of the survey, in its order."""
    lists = {
        "doubted": Survey.doubted,
        "two_labels": Survey.of_two_labels,
        "teaching": Survey.teaching,
        "grouped": Survey.grouped,
        "poor": Survey.poor,
    }
    if show not in lists:
        raise InvalidEntryError(f"there is no list {show[:40]!r}: choose one")
    return [] if survey is None else lists[show](survey)


def cards_of(
    examples: Sequence[Example], survey: Survey | None, categories: Categories
) -> list[Card]:
    """Return the cards of a page."""
    names = {each.id: each.name for each in categories.categories}
    findings = {} if survey is None else survey.findings
    return [_card(each, findings.get(each.capture_id), names) for each in examples]


def _card(example: Example, finding: Finding | None, names: Mapping[str, str]) -> Card:
    name = names.get(example.label, example.label)
    disagrees = example.suggested is not None and example.suggested != example.label
    suggested = names.get(example.suggested or "", example.suggested or "") if disagrees else ""
    doubt = ""
    badges = []
    if finding is not None:
        if finding.doubt and still_true(finding, example):
            doubt = names.get(finding.doubt, finding.doubt)
        badges += list(finding.poor)
    if example.verdict is not None:
        badges.insert(0, VERDICT_WORDS[example.verdict])
    spoken = ", ".join(filter(None, [name, doubt and f"perhaps {doubt}", *badges]))
    return Card(example, name, suggested, doubt, tuple(badges), spoken)


def _percent(text: str) -> float | None:
    if not text:
        return None
    try:
        number = float(text.replace(",", "."))
    except ValueError:
        number = -1.0
    if not 0 <= number <= 100:
        raise InvalidEntryError(f"confidence below {text[:20]!r}: give a per cent from 0 to 100")
    return number / 100


def _moment(text: str, *, days: int = 0) -> datetime | None:
    """Return midnight of a day by this machine's clock, `days` later."""
    if not text:
        return None
    day = parse_day(text)
    try:
        day += timedelta(days=days)
        return datetime(day.year, day.month, day.day).astimezone(UTC)
    except (OverflowError, ValueError) as error:  # the first or last days that dates can tell
        raise InvalidEntryError(f"day {text[:20]}: no photo was taken so far from today") from error

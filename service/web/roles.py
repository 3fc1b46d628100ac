"""Who may do what: one table from roles to acts, one from every address to the act it needs.

An address that has no row is open to the laptop itself only. A test walks all routes of the app
and fails for one without a row.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache


class Act(StrEnum):
    """What an address is for."""

    ENTER = "enter"
    """Join; load style sheets and scripts, which say nothing about any sort."""
    READ = "read"
    """See sorts, photos, piles, reports and the guide."""
    RECORD = "record"
    """Start, close and reopen sorts; photograph, confirm, correct, undo, weigh."""
    TEACH = "teach"
    """Studies, learning and its audits; review and withdraw examples."""
    OWN = "own"
    """What holds for all sorts at once: which model answers, the whole data package."""
    ADMIT = "admit"
    """Make join codes, see who has joined, shut devices out."""


class Standing(StrEnum):
    """What a visitor counts as. `laptop` is a request from the machine itself."""

    NOBODY = "nobody"
    SORTER = "sorter"
    TRAINER = "trainer"
    OWNER = "owner"
    LAPTOP = "laptop"


MAY: Mapping[Standing, frozenset[Act]] = {
    Standing.NOBODY: frozenset({Act.ENTER}),
    Standing.SORTER: frozenset({Act.ENTER, Act.READ, Act.RECORD}),
    Standing.TRAINER: frozenset({Act.ENTER, Act.READ, Act.RECORD, Act.TEACH}),
    Standing.OWNER: frozenset({Act.ENTER, Act.READ, Act.RECORD, Act.TEACH, Act.OWN}),
    Standing.LAPTOP: frozenset(Act),
}

_GET, _POST, _BOTH = ("GET",), ("POST",), ("GET", "POST")

RULES: tuple[tuple[Act, tuple[str, ...], str], ...] = (
    (Act.ENTER, _BOTH, "/join"),
    (Act.ENTER, _GET, "/join/{code}"),
    (Act.ENTER, _POST, "/leave"),
    (Act.ENTER, _GET, "/away"),
    (Act.ENTER, _GET, "/sw.js"),
    (Act.ENTER, _GET, "/static/{path:path}"),
    (Act.ADMIT, _GET, "/devices"),
    (Act.ADMIT, _POST, "/devices/codes"),
    (Act.ADMIT, _POST, "/devices/{device_id}/revoke"),
    (Act.OWN, _GET, "/bundles"),
    (Act.OWN, _POST, "/bundles/promote"),
    (Act.OWN, _POST, "/bundles/rollback"),
    # pages
    (Act.READ, _GET, "/"),
    (Act.READ, _GET, "/sorts"),
    (Act.RECORD, _POST, "/sorts"),
    (Act.RECORD, _GET, "/sorts/new"),
    (Act.READ, _GET, "/sorts/{sort_id}"),
    (Act.RECORD, _BOTH, "/sorts/{sort_id}/details"),
    (Act.RECORD, _POST, "/sorts/{sort_id}/close"),
    (Act.RECORD, _POST, "/sorts/{sort_id}/reopen"),
    (Act.READ, _GET, "/sorts/{sort_id}/piles"),
    (Act.RECORD, _POST, "/sorts/{sort_id}/weighings"),
    (Act.RECORD, _POST, "/sorts/{sort_id}/weighings/{weighing_id}/void"),
    (Act.RECORD, _POST, "/sorts/{sort_id}/batches"),
    (Act.RECORD, _POST, "/sorts/{sort_id}/tares"),
    (Act.READ, _GET, "/sorts/{sort_id}/report"),
    (Act.READ, _GET, "/sheet"),
    (Act.READ, _GET, "/sheet.csv"),
    (Act.READ, _GET, "/sorts/{sort_id}/sheet/print"),
    (Act.RECORD, _BOTH, "/sorts/{sort_id}/sheet"),
    (Act.RECORD, _POST, "/sorts/{sort_id}/sheet/import"),
    (Act.READ, _GET, "/categories"),
    (Act.READ, _GET, "/categories/{category_id}"),
    (Act.READ, _GET, "/photos/{capture_id}.jpg"),
    (Act.READ, _GET, "/studies"),
    (Act.TEACH, _POST, "/studies"),
    (Act.READ, _GET, "/studies/{study_id}"),
    (Act.READ, _GET, "/studies/{study_id}/report"),
    (Act.READ, _GET, "/studies/{study_id}/annex"),
    (Act.READ, _GET, "/studies/{study_id}/report.json"),
    (Act.READ, _GET, "/studies/{study_id}/package.zip"),
    (Act.TEACH, _POST, "/studies/{study_id}/sorts"),
    (Act.TEACH, _POST, "/sorts/{sort_id}/study"),
    (Act.READ, _GET, "/sorts/{sort_id}/learning"),
    (Act.TEACH, _POST, "/learning/{scope_id}/settings"),
    (Act.TEACH, _POST, "/learning/{scope_id}/start"),
    (Act.TEACH, _GET, "/learning/{scope_id}/head"),
    (Act.TEACH, _GET, "/examples"),
    (Act.TEACH, _POST, "/examples/review"),
    (Act.TEACH, _POST, "/examples/undo"),
    (Act.TEACH, _GET, "/examples/photo/{capture_id}"),
    (Act.TEACH, _BOTH, "/examples/trouble"),
    (Act.TEACH, _GET, "/examples/set"),
    (Act.TEACH, _BOTH, "/examples/import"),
    (Act.TEACH, _POST, "/examples/import/run"),
    (Act.TEACH, _GET, "/examples/export.zip"),
    (Act.TEACH, _BOTH, "/examples/withdraw"),
    (Act.TEACH, _GET, "/examples/agreement"),
    (Act.TEACH, _GET, "/thumbs/{capture_id}.jpg"),
    (Act.RECORD, _BOTH, "/second-opinions"),
    # JSON
    (Act.READ, _GET, "/api/openapi.json"),
    (Act.READ, _GET, "/api/health"),
    (Act.OWN, _GET, "/api/bundles"),
    (Act.OWN, _POST, "/api/bundles/promote"),
    (Act.OWN, _POST, "/api/bundles/rollback"),
    (Act.READ, _GET, "/api/sorts"),
    (Act.RECORD, _POST, "/api/sorts"),
    (Act.READ, _GET, "/api/sorts/{sort_id}"),
    (Act.RECORD, _POST, "/api/sorts/{sort_id}/corrections"),
    (Act.RECORD, _POST, "/api/sorts/{sort_id}/close"),
    (Act.RECORD, _POST, "/api/sorts/{sort_id}/reopen"),
    (Act.READ, _GET, "/api/sorts/{sort_id}/captures"),
    (Act.RECORD, _POST, "/api/sorts/{sort_id}/captures"),
    (Act.READ, _GET, "/api/captures/{capture_id}"),
    (Act.RECORD, _POST, "/api/captures/{capture_id}/facts"),
    (Act.READ, _GET, "/api/sorts/{sort_id}/preview"),
    (Act.READ, _GET, "/api/sorts/{sort_id}/items"),
    (Act.RECORD, _POST, "/api/sorts/{sort_id}/items"),
    (Act.READ, _GET, "/api/items/{item_id}"),
    (Act.RECORD, _POST, "/api/items/{item_id}/corrections"),
    (Act.RECORD, _POST, "/api/items/{item_id}/undo"),
    (Act.READ, _GET, "/api/sorts/{sort_id}/tally"),
    (Act.READ, _GET, "/api/programmes"),
    (Act.READ, _GET, "/api/categories"),
    (Act.READ, _GET, "/api/tares"),
    (Act.RECORD, _POST, "/api/tares"),
    (Act.READ, _GET, "/api/sorts/{sort_id}/piles"),
    (Act.RECORD, _POST, "/api/sorts/{sort_id}/batches"),
    (Act.RECORD, _POST, "/api/sorts/{sort_id}/weighings"),
    (Act.RECORD, _POST, "/api/weighings/{weighing_id}/void"),
    (Act.READ, _GET, "/api/sorts/{sort_id}/report"),
    (Act.READ, _GET, "/api/sorts/{sort_id}/report.json"),
    (Act.READ, _GET, "/api/sorts/{sort_id}/report.csv"),
    (Act.READ, _GET, "/api/data-dictionary.csv"),
    (Act.READ, _GET, "/api/studies"),
    (Act.TEACH, _POST, "/api/studies"),
    (Act.READ, _GET, "/api/studies/{study_id}"),
    (Act.TEACH, _POST, "/api/sorts/{sort_id}/study"),
    (Act.READ, _GET, "/api/learning/{scope_id}"),
    (Act.TEACH, _POST, "/api/learning/{scope_id}/settings"),
    (Act.TEACH, _POST, "/api/learning/{scope_id}/start"),
    (Act.TEACH, _GET, "/api/learning/{scope_id}/head"),
)


@dataclass(frozen=True, slots=True)
class Need:
    """What an address takes: the acts that a request needs, and the methods that it knows."""

    acts: frozenset[Act]
    methods: frozenset[str]


def need_of(method: str, path: str) -> Need:
    """Return what a request needs; no acts and no methods for an address without a row.

    Where several rows fit one address ("/sorts/new" and "/sorts/{sort_id}"), all of them must be
    met, so that it can't matter which of them the router takes.
    """
    fitting = [(act, methods) for act, methods, regex in _compiled() if regex.fullmatch(path)]
    return Need(
        acts=frozenset(act for act, methods in fitting if method in methods),
        methods=frozenset(each for _, methods in fitting for each in methods),
    )


@cache
def _compiled() -> tuple[tuple[Act, tuple[str, ...], re.Pattern[str]], ...]:
    return tuple((act, methods, _regex(path)) for act, methods, path in RULES)


def _regex(path: str) -> re.Pattern[str]:
    parts = re.split(r"(\{[^}]+\})", path)
    return re.compile("".join(_piece(part) for part in parts))


def _piece(part: str) -> str:
    if not part.startswith("{"):
        return re.escape(part)
    return "(?s:.+)" if part.endswith(":path}") else "[^/]+"

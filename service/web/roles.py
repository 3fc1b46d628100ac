"""Who may do what: one table from access levels to permissions, one from every
address to the permission that it needs.

An address that has no row is open to the laptop itself only. A test walks all routes of the app
and fails for one without a row.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache


class Permission(StrEnum):
    """What an address lets a visitor do."""

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
    """Make join codes, see who has joined, remove their access."""


class AccessLevel(StrEnum):
    """How far a visitor's access goes. `laptop` is a request from the machine itself."""

    NOBODY = "nobody"
    SORTER = "sorter"
    TRAINER = "trainer"
    OWNER = "owner"
    LAPTOP = "laptop"


PERMISSIONS: Mapping[AccessLevel, frozenset[Permission]] = {
    AccessLevel.NOBODY: frozenset({Permission.ENTER}),
    AccessLevel.SORTER: frozenset({Permission.ENTER, Permission.READ, Permission.RECORD}),
    AccessLevel.TRAINER: frozenset(
        {Permission.ENTER, Permission.READ, Permission.RECORD, Permission.TEACH}
    ),
    AccessLevel.OWNER: frozenset(
        {Permission.ENTER, Permission.READ, Permission.RECORD, Permission.TEACH, Permission.OWN}
    ),
    AccessLevel.LAPTOP: frozenset(Permission),
}

_GET, _POST, _BOTH = ("GET",), ("POST",), ("GET", "POST")

RULES: tuple[tuple[Permission, tuple[str, ...], str], ...] = (
    (Permission.ENTER, _BOTH, "/join"),
    (Permission.ENTER, _GET, "/join/{code}"),
    (Permission.ENTER, _POST, "/leave"),
    (Permission.ENTER, _GET, "/away"),
    (Permission.ENTER, _GET, "/sw.js"),
    (Permission.ENTER, _GET, "/static/{path:path}"),
    (Permission.ADMIT, _GET, "/devices"),
    (Permission.ADMIT, _POST, "/devices/codes"),
    (Permission.ADMIT, _POST, "/devices/{device_id}/revoke"),
    (Permission.OWN, _GET, "/bundles"),
    (Permission.OWN, _POST, "/bundles/promote"),
    (Permission.OWN, _POST, "/bundles/rollback"),
    # pages
    (Permission.READ, _GET, "/"),
    (Permission.READ, _GET, "/sorts"),
    (Permission.RECORD, _POST, "/sorts"),
    (Permission.RECORD, _GET, "/sorts/new"),
    (Permission.READ, _GET, "/sorts/{sort_id}"),
    (Permission.RECORD, _BOTH, "/sorts/{sort_id}/details"),
    (Permission.RECORD, _POST, "/sorts/{sort_id}/close"),
    (Permission.RECORD, _POST, "/sorts/{sort_id}/reopen"),
    (Permission.READ, _GET, "/sorts/{sort_id}/piles"),
    (Permission.RECORD, _POST, "/sorts/{sort_id}/weighings"),
    (Permission.RECORD, _POST, "/sorts/{sort_id}/weighings/{weighing_id}/void"),
    (Permission.RECORD, _POST, "/sorts/{sort_id}/batches"),
    (Permission.RECORD, _POST, "/sorts/{sort_id}/tares"),
    (Permission.READ, _GET, "/sorts/{sort_id}/report"),
    (Permission.READ, _GET, "/sheet"),
    (Permission.READ, _GET, "/sheet.csv"),
    (Permission.READ, _GET, "/sorts/{sort_id}/sheet/print"),
    (Permission.RECORD, _BOTH, "/sorts/{sort_id}/sheet"),
    (Permission.RECORD, _POST, "/sorts/{sort_id}/sheet/import"),
    (Permission.READ, _GET, "/categories"),
    (Permission.READ, _GET, "/categories/{category_id}"),
    (Permission.READ, _GET, "/photos/{capture_id}.jpg"),
    (Permission.READ, _GET, "/studies"),
    (Permission.TEACH, _POST, "/studies"),
    (Permission.READ, _GET, "/studies/{study_id}"),
    (Permission.READ, _GET, "/studies/{study_id}/report"),
    (Permission.READ, _GET, "/studies/{study_id}/annex"),
    (Permission.READ, _GET, "/studies/{study_id}/report.json"),
    (Permission.READ, _GET, "/studies/{study_id}/package.zip"),
    (Permission.TEACH, _POST, "/studies/{study_id}/sorts"),
    (Permission.TEACH, _POST, "/sorts/{sort_id}/study"),
    (Permission.READ, _GET, "/sorts/{sort_id}/learning"),
    (Permission.TEACH, _POST, "/learning/{scope_id}/settings"),
    (Permission.TEACH, _POST, "/learning/{scope_id}/start"),
    (Permission.TEACH, _GET, "/learning/{scope_id}/head"),
    (Permission.TEACH, _GET, "/examples"),
    (Permission.TEACH, _POST, "/examples/review"),
    (Permission.TEACH, _POST, "/examples/undo"),
    (Permission.TEACH, _GET, "/examples/photo/{capture_id}"),
    (Permission.TEACH, _BOTH, "/examples/trouble"),
    (Permission.TEACH, _GET, "/examples/set"),
    (Permission.TEACH, _BOTH, "/examples/import"),
    (Permission.TEACH, _POST, "/examples/import/run"),
    (Permission.TEACH, _GET, "/examples/export.zip"),
    (Permission.TEACH, _BOTH, "/examples/withdraw"),
    (Permission.TEACH, _GET, "/examples/agreement"),
    (Permission.TEACH, _GET, "/thumbs/{capture_id}.jpg"),
    (Permission.RECORD, _BOTH, "/second-opinions"),
    # JSON
    (Permission.READ, _GET, "/api/openapi.json"),
    (Permission.READ, _GET, "/api/health"),
    (Permission.OWN, _GET, "/api/bundles"),
    (Permission.OWN, _POST, "/api/bundles/promote"),
    (Permission.OWN, _POST, "/api/bundles/rollback"),
    (Permission.READ, _GET, "/api/sorts"),
    (Permission.RECORD, _POST, "/api/sorts"),
    (Permission.READ, _GET, "/api/sorts/{sort_id}"),
    (Permission.RECORD, _POST, "/api/sorts/{sort_id}/corrections"),
    (Permission.RECORD, _POST, "/api/sorts/{sort_id}/close"),
    (Permission.RECORD, _POST, "/api/sorts/{sort_id}/reopen"),
    (Permission.READ, _GET, "/api/sorts/{sort_id}/captures"),
    (Permission.RECORD, _POST, "/api/sorts/{sort_id}/captures"),
    (Permission.READ, _GET, "/api/captures/{capture_id}"),
    (Permission.RECORD, _POST, "/api/captures/{capture_id}/facts"),
    (Permission.READ, _GET, "/api/sorts/{sort_id}/preview"),
    (Permission.READ, _GET, "/api/sorts/{sort_id}/items"),
    (Permission.RECORD, _POST, "/api/sorts/{sort_id}/items"),
    (Permission.READ, _GET, "/api/items/{item_id}"),
    (Permission.RECORD, _POST, "/api/items/{item_id}/corrections"),
    (Permission.RECORD, _POST, "/api/items/{item_id}/undo"),
    (Permission.READ, _GET, "/api/sorts/{sort_id}/tally"),
    (Permission.READ, _GET, "/api/programmes"),
    (Permission.READ, _GET, "/api/categories"),
    (Permission.READ, _GET, "/api/tares"),
    (Permission.RECORD, _POST, "/api/tares"),
    (Permission.READ, _GET, "/api/sorts/{sort_id}/piles"),
    (Permission.RECORD, _POST, "/api/sorts/{sort_id}/batches"),
    (Permission.RECORD, _POST, "/api/sorts/{sort_id}/weighings"),
    (Permission.RECORD, _POST, "/api/weighings/{weighing_id}/void"),
    (Permission.READ, _GET, "/api/sorts/{sort_id}/report"),
    (Permission.READ, _GET, "/api/sorts/{sort_id}/report.json"),
    (Permission.READ, _GET, "/api/sorts/{sort_id}/report.csv"),
    (Permission.READ, _GET, "/api/data-dictionary.csv"),
    (Permission.READ, _GET, "/api/studies"),
    (Permission.TEACH, _POST, "/api/studies"),
    (Permission.READ, _GET, "/api/studies/{study_id}"),
    (Permission.TEACH, _POST, "/api/sorts/{sort_id}/study"),
    (Permission.READ, _GET, "/api/learning/{scope_id}"),
    (Permission.TEACH, _POST, "/api/learning/{scope_id}/settings"),
    (Permission.TEACH, _POST, "/api/learning/{scope_id}/start"),
    (Permission.TEACH, _GET, "/api/learning/{scope_id}/head"),
)


@dataclass(frozen=True, slots=True)
class Need:
    """The permissions that a request needs, and the methods that its address knows."""

    permissions: frozenset[Permission]
    methods: frozenset[str]


def need_of(method: str, path: str) -> Need:
    """Return what a request needs; no permissions and no methods for an address without a row.

    Where several rows fit one address ("/sorts/new" and "/sorts/{sort_id}"), all of them must be
    met, so that it can't matter which of them the router takes.
    """
    fitting = [
        (permission, methods) for permission, methods, regex in _compiled() if regex.fullmatch(path)
    ]
    return Need(
        permissions=frozenset(each for each, methods in fitting if method in methods),
        methods=frozenset(each for _, methods in fitting for each in methods),
    )


@cache
def _compiled() -> tuple[tuple[Permission, tuple[str, ...], re.Pattern[str]], ...]:
    return tuple((permission, methods, _regex(path)) for permission, methods, path in RULES)


def _regex(path: str) -> re.Pattern[str]:
    parts = re.split(r"(\{[^}]+\})", path)
    return re.compile("".join(_piece(part) for part in parts))


def _piece(part: str) -> str:
    if not part.startswith("{"):
        return re.escape(part)
    return "(?s:.+)" if part.endswith(":path}") else "[^/]+"

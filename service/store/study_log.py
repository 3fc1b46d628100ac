"""Studies: which sorts belong together, how each learns, and from what it started."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from sqlalchemy import ColumnElement, Connection, Select, exists, select

from classifier.log.records import SortInfo
from service.store.append import (
    already_recorded,
    insert,
    load_sort,
    lock_sort,
    newest_of,
    one_row,
    record_once,
    select_sorts,
)
from service.store.part import LogPart
from service.store.rows import (
    LearnedStart,
    LearningSettings,
    Row,
    Scope,
    Study,
    record,
    said,
    to_sort,
)
from service.store.tables import (
    example_sets,
    learned_starts,
    learning_settings,
    sorts,
    studies,
    study_sorts,
)


class StudyLog(LogPart):
    """The part of the log that is about studies."""

    def add_study(self, study: Study, *, sent: Mapping[str, object]) -> Study:
        """Record a study; a resend returns the first.

        Raises ConflictError when the id already belongs to another study.
        """

        def work(connection: Connection) -> Study:
            record_once(connection, studies, study, sent, "study", at=study.created_at)
            return _load_study(connection, study.id)

        return self._database.write(work)

    def studies(self) -> tuple[Study, ...]:
        """Return all studies, the newest first."""
        rows = self._rows(select(studies).order_by(studies.c.seq.desc()))
        return tuple(_to_study(row) for row in rows)

    def study(self, study_id: str) -> Study:
        """Return a study.

        Raises UnknownIdError when there is none.
        """
        with self._database.read() as connection:
            return _load_study(connection, study_id)

    def is_study(self, scope_id: str) -> bool:
        """Tell whether an id is that of a study."""
        with self._database.read() as connection:
            return is_study(connection, scope_id)

    def place_sort(self, change_id: str, sort_id: str, study_id: str | None, at: datetime) -> None:
        """Put a sort into a study, or with None into none; a resend changes nothing.

        Raises UnknownIdError for sort or study, ConflictError when the id already belongs to
        another change.
        """
        sent = {"sort_id": sort_id, "study_id": study_id}

        def work(connection: Connection) -> None:
            load_sort(connection, sort_id)
            if study_id is not None:
                _load_study(connection, study_id)
            if already_recorded(connection, study_sorts, change_id, sent, "change"):
                return
            lock_sort(
                connection, sort_id
            )  # two changes of one sort keep the order of their numbers
            insert(connection, study_sorts, sent, {"id": change_id, "at": at, **sent})

        self._database.write(work)

    def sorts_of_study(self, study_id: str, *, imported: bool = False) -> tuple[SortInfo, ...]:
        """Return the sorts of a study, the oldest first; or its sets of imported photos instead.

        Such a set was put there to teach; it counts in no total.

        Raises UnknownIdError when there is no such study.
        """
        is_set = exists().where(example_sets.c.sort_id == sorts.c.id)
        query = select_sorts().where(
            sorts.c.id.in_(sort_ids_of(study_id.lower())), is_set if imported else ~is_set
        )
        with self._database.read() as connection:
            _load_study(connection, study_id.lower())
            rows = connection.execute(query.order_by(sorts.c.seq))
            return tuple(to_sort(row) for row in rows.mappings())

    def studies_of_sorts(self, sort_ids: Sequence[str]) -> dict[str, Study]:
        """Return the study of each of the sorts that is in one, by sort."""
        query = (
            select(study_sorts.c.sort_id, studies)
            .join(studies, studies.c.id == study_sorts.c.study_id)
            .where(study_sorts.c.sort_id.in_(sort_ids), _last_of_sort())
        )
        return {row["sort_id"]: _to_study(row) for row in self._rows(query)}

    def study_of_sort(self, sort_id: str) -> Study | None:
        """Return the study that a sort is in, if it is in one."""
        return self.studies_of_sorts([sort_id.lower()]).get(sort_id.lower())

    def scope(self, scope_id: str) -> Scope:
        """Return a study, or a sort outside one, as a scope of learning."""
        with self._database.read() as connection:
            return _load_scope(connection, scope_id, is_study=is_study(connection, scope_id))

    def set_learning(
        self, change_id: str, scope_id: str, wanted: LearningSettings, *, sorter: str, at: datetime
    ) -> None:
        """Record how a scope learns from now on; a resend changes nothing.

        Raises ConflictError when the id already belongs to another change.
        """
        sent = {"scope_id": scope_id, "sorter": sorter, **said(wanted)}

        def work(connection: Connection) -> None:
            if already_recorded(connection, learning_settings, change_id, sent, "change"):
                return
            insert(connection, learning_settings, sent, {"id": change_id, **sent, "at": at})

        self._database.write(work)

    def add_learned_start(
        self, start: LearnedStart, *, scope_id: str, sent: Mapping[str, object]
    ) -> None:
        """Record from which exported head a scope starts; a resend changes nothing.

        Raises ConflictError when the id already belongs to another start.
        """
        self._database.write(
            lambda connection: record_once(
                connection, learned_starts, start, sent, "start", scope_id=scope_id
            )
        )

    def learned_start(self, scope_id: str) -> LearnedStart | None:
        """Return the head that a scope started from, None for the shipped one.

        A row without content puts the shipped head back.
        """
        own = select(learned_starts).where(learned_starts.c.scope_id == scope_id)
        query = own.order_by(learned_starts.c.seq.desc()).limit(1)
        starts = [record(LearnedStart, row) for row in self._rows(query) if row["content"]]
        return starts[0] if starts else None


def is_study(connection: Connection, scope_id: str) -> bool:
    """Tell whether an id is that of a study."""
    found = connection.scalar(select(studies.c.seq).where(studies.c.id == scope_id))
    return found is not None


def sort_ids_of(study_id: str) -> Select[tuple[str]]:
    """Select the sorts whose last change of study put them into this one."""
    return select(study_sorts.c.sort_id).where(study_sorts.c.study_id == study_id, _last_of_sort())


def _last_of_sort() -> ColumnElement[bool]:
    """Return the condition that no later change puts the same sort somewhere else."""
    later = study_sorts.alias()
    return ~exists().where(
        later.c.sort_id == study_sorts.c.sort_id, later.c.seq > study_sorts.c.seq
    )


def load_scope_of(connection: Connection, sort_id: str) -> Scope:
    """Return the scope in which a sort learns: its study, or itself outside one."""
    last = newest_of(study_sorts.c.study_id, study_sorts.c.sort_id == sort_id)
    study_id = connection.scalar(last)
    return _load_scope(connection, study_id or sort_id, is_study=study_id is not None)


def _load_scope(connection: Connection, scope_id: str, *, is_study: bool) -> Scope:
    own = select(learning_settings).where(learning_settings.c.scope_id == scope_id)
    last = own.order_by(learning_settings.c.seq.desc()).limit(1)
    row = connection.execute(last).mappings().first()
    return Scope(scope_id, is_study, None if row is None else record(LearningSettings, row))


def _load_study(connection: Connection, study_id: str) -> Study:
    return _to_study(one_row(connection, studies, study_id, "study"))


def _to_study(row: Row) -> Study:
    return record(Study, row, created_at=row["at"])

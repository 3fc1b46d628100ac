"""Studies in the log: which sorts are in one, what was set for it, what it started from."""

from __future__ import annotations

import pytest

from classifier.errors import ConflictError, InvalidEntryError, UnknownIdError
from service.services import Services
from service.sorts import studies
from service.store.rows import LearnedStart, LearningSettings
from tests.fakes import new_id
from tests.store.entries import start


def test_a_study_is_recorded_once(services: Services) -> None:
    study_id = new_id()
    first = studies.create_study(services, study_id=study_id, name="Spring")
    assert studies.create_study(services, study_id=study_id, name=" Spring ") == first
    with pytest.raises(ConflictError):
        studies.create_study(services, study_id=study_id, name="Autumn")
    with pytest.raises(InvalidEntryError):
        studies.create_study(services, study_id=new_id(), name=" ")
    assert [line.study for line in studies.list_studies(services)] == [first]


def test_the_last_placing_of_a_sort_counts(services: Services) -> None:
    spring = studies.create_study(services, study_id=new_id(), name="Spring")
    autumn = studies.create_study(services, study_id=new_id(), name="Autumn")
    one, two = start(services), start(services)
    for sort, study in ((one, spring), (two, spring), (one, autumn)):
        studies.place_sort(services, sort_id=sort.id, study_id=study.id, change_id=new_id())
    assert [s.id for s in studies.get_study(services, spring.id).sorts] == [two.id]
    assert [s.id for s in studies.get_study(services, autumn.id).sorts] == [one.id]
    assert services.log.studies_of_sorts([one.id, two.id]) == {one.id: autumn, two.id: spring}
    assert services.log.item_place(one.id, None).scope.id == autumn.id
    studies.place_sort(services, sort_id=one.id, study_id=None, change_id=new_id())
    assert studies.get_study(services, autumn.id).sorts == ()
    assert services.log.study_of_sort(one.id) is None
    assert services.log.item_place(one.id, None).scope.id == one.id


def test_a_sort_is_not_put_where_nothing_is(services: Services) -> None:
    sort = start(services)
    with pytest.raises(UnknownIdError):
        studies.place_sort(services, sort_id=sort.id, study_id=new_id(), change_id=new_id())
    with pytest.raises(UnknownIdError):
        studies.place_sort(services, sort_id=new_id(), study_id=None, change_id=new_id())
    change_id = new_id()
    study = studies.create_study(services, study_id=new_id(), name="Spring")
    studies.place_sort(services, sort_id=sort.id, study_id=study.id, change_id=change_id)
    studies.place_sort(services, sort_id=sort.id, study_id=study.id, change_id=change_id)
    with pytest.raises(ConflictError):
        studies.place_sort(services, sort_id=sort.id, study_id=None, change_id=change_id)


def test_the_last_setting_of_a_scope_counts(services: Services) -> None:
    log, scope = services.log, new_id()
    assert log.scope(scope).chosen is None
    change_id = new_id()
    for own, learns, percent in ((change_id, True, 20), (new_id(), False, 5)):
        wanted = LearningSettings(learns=learns, audit_percent=percent)
        log.set_learning(own, scope, wanted, sorter="Ada", at=services.clock())
    assert log.scope(scope).chosen == LearningSettings(learns=False, audit_percent=5)
    again = LearningSettings(learns=True, audit_percent=20)
    log.set_learning(change_id, scope, again, sorter="Ada", at=services.clock())
    assert log.scope(scope).chosen == LearningSettings(learns=False, audit_percent=5)
    with pytest.raises(ConflictError):
        log.set_learning(change_id, scope, again, sorter="Ben", at=services.clock())


def test_the_last_start_of_a_scope_counts(services: Services) -> None:
    log, scope = services.log, new_id()
    assert log.learned_start(scope) is None
    start_id = new_id()
    for own, content in ((start_id, b"head"), (new_id(), b"other"), (start_id, b"head")):
        given = LearnedStart(own, "north", content, "Ada", services.clock())
        log.add_learned_start(given, scope_id=scope, sent={"content": content.hex()})
    found = log.learned_start(scope)
    assert found is not None
    assert (found.name, found.content) == ("north", b"other")
    none = LearnedStart(new_id(), "", b"", "Ada", services.clock())
    log.add_learned_start(none, scope_id=scope, sent={})
    assert log.learned_start(scope) is None

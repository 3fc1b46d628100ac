"""Learning in place: from confirmations in the log to the next suggestion."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from classifier.errors import ConflictError, InvalidEntryError, UnknownIdError
from classifier.learning.confirmation import Confirmation
from classifier.learning.head import HeadError
from classifier.learning.learner import Learner
from classifier.log.records import SortInfo
from service.head_cache import Course, HeadCache
from service.learning import course
from service.learning import usecases as learning
from service.learning.audits import accuracy, is_audit
from service.model_cache import LoadedModel
from service.services import Services
from service.settings import Settings
from service.sorting import captures, items
from service.sorting.captures import CaptureView
from service.sorts import studies
from service.store.example_import_log import ImportedPhoto
from service.store.example_rows import Review
from service.store.rows import Study
from service.wiring import build_services
from tests.fakes import FakeClock, FakePredictor, fixed_model, model_record, new_id
from tests.store.entries import enter, start, take

# What the camera sees of two kinds of tub that the fake model takes for cardboard.
ROUND = (1.0, 0.2, 0.0, 0.0, 0.1, 0.0, 0.0, 0.3)
SQUARE = (0.0, 0.1, 1.0, 0.3, 0.0, 0.2, 0.0, 0.0)


@pytest.fixture
def other(settings: Settings, predictor: FakePredictor, clock: FakeClock) -> Iterator[Services]:
    """Return the services of a second process on the same store."""
    model = LoadedModel(predictor, model_record(), "")
    built = replace(build_services(settings, model=model), clock=clock)
    yield built
    built.close()


def look(services: Services, sort: SortInfo, predictor: FakePredictor, kind: object) -> CaptureView:
    """Take a photo of a kind of thing."""
    predictor.embedding = kind  # type: ignore[assignment]
    return take(services, sort)


def teach(
    services: Services,
    sort: SortInfo,
    predictor: FakePredictor,
    kind: object,
    category: str,
    times: int = 1,
) -> list[str]:
    """Confirm photos and wait until they are learned; return the items."""
    made = []
    for _ in range(times):
        seen = look(services, sort, predictor, kind)
        made.append(enter(services, sort, category, capture_id=seen.id).item.id)
        services.learning.settle()
    return made


def top(view: CaptureView) -> str:
    return view.suggestion.alternatives[0].category


def in_study(services: Services, *sorts: SortInfo, percent: int = 0) -> Study:
    """Return a study of sorts, without audits unless asked."""
    study = studies.create_study(services, study_id=new_id(), name="Spring")
    for sort in sorts:
        studies.place_sort(services, sort_id=sort.id, study_id=study.id, change_id=new_id())
    set_learning(services, study.id, percent=percent)
    return study


def set_learning(
    services: Services, scope_id: str, *, learns: bool = True, percent: int = 0
) -> None:
    learning.set_learning(
        services, scope_id=scope_id, change_id=new_id(), learns=learns, audit_percent=percent
    )


def test_nothing_learned_changes_nothing(
    services: Services, sort: SortInfo, predictor: FakePredictor
) -> None:
    seen = look(services, sort, predictor, ROUND)
    assert top(seen) == "corrugated_cardboard"
    assert seen.learned_from is None


def test_what_was_corrected_is_suggested_right(
    services: Services, sort: SortInfo, predictor: FakePredictor
) -> None:
    """Two corrections of a category that the model would never name, then the suggestion."""
    teach(services, sort, predictor, ROUND, "foam_polystyrene", 2)
    seen = look(services, sort, predictor, ROUND)
    assert top(seen) == "foam_polystyrene"
    assert seen.learned_from == 2
    assert [each.id for each in seen.suggestion.forms] == ["corrugated_cardboard", "food"]


def test_a_recorded_photo_reads_the_same_for_ever(
    services: Services, sort: SortInfo, predictor: FakePredictor
) -> None:
    teach(services, sort, predictor, ROUND, "foam_polystyrene", 3)
    seen = look(services, sort, predictor, ROUND)
    teach(services, sort, predictor, ROUND, "nappies_hygiene", 6)
    assert captures.get_capture(services, seen.id) == seen


def test_what_was_learned_is_kept_finely(
    services: Services, sort: SortInfo, predictor: FakePredictor
) -> None:
    """To six digits, so that forty categories still sum to 1; what rounds to none is left out."""
    teach(services, sort, predictor, ROUND, "foam_polystyrene", 3)
    kept = services.log.get_capture(look(services, sort, predictor, ROUND).id).capture.learned
    assert kept is not None
    shares = [p for _, p in kept.categories]
    assert sum(shares) == pytest.approx(1.0, abs=4e-5)
    assert shares == sorted((round(p, 6) for p in shares), reverse=True)
    assert min(shares) >= 1e-6


def test_rebuilt_it_suggests_the_same(
    services: Services, other: Services, sort: SortInfo, predictor: FakePredictor
) -> None:
    for _ in range(4):
        teach(services, sort, predictor, ROUND, "foam_polystyrene")
        teach(services, sort, predictor, SQUARE, "rigid_plastics")
    for kind in (ROUND, SQUARE):
        here = look(services, sort, predictor, kind)
        there = look(other, sort, predictor, kind)
        assert there.suggestion == here.suggestion
        assert there.learned_from == here.learned_from == 8


def test_switched_off_the_shipped_model_is_back(
    services: Services, sort: SortInfo, predictor: FakePredictor
) -> None:
    before = look(services, sort, predictor, ROUND)
    teach(services, sort, predictor, ROUND, "foam_polystyrene", 3)
    set_learning(services, sort.id, learns=False)
    after = look(services, sort, predictor, ROUND)
    assert after.suggestion == before.suggestion
    assert after.learned_from is None
    set_learning(services, sort.id, learns=True)
    assert top(look(services, sort, predictor, ROUND)) == "foam_polystyrene"


def test_one_scope_learns_nothing_from_another(
    services: Services, sort: SortInfo, predictor: FakePredictor
) -> None:
    teach(services, sort, predictor, ROUND, "foam_polystyrene", 5)
    stranger = look(services, start(services), predictor, ROUND)
    assert stranger.learned_from is None
    assert top(stranger) == "corrugated_cardboard"
    study = in_study(services, start(services))
    (member,) = studies.get_study(services, study.id).sorts
    assert look(services, member, predictor, ROUND).learned_from is None


def test_the_sorts_of_a_study_learn_together(services: Services, predictor: FakePredictor) -> None:
    one, two = start(services), start(services)
    study = in_study(services, one, two)
    teach(services, one, predictor, ROUND, "foam_polystyrene", 3)
    assert look(services, two, predictor, ROUND).learned_from == 3
    studies.place_sort(services, sort_id=one.id, study_id=None, change_id=new_id())
    services.learning.settle()
    learning.up_to_date(services, study.id)
    assert look(services, two, predictor, ROUND).learned_from in (None, 0)
    assert learning.learning_state(services, study.id).confirmations == 0
    assert look(services, one, predictor, ROUND).learned_from == 3


def test_what_was_undone_is_forgotten(
    services: Services, sort: SortInfo, predictor: FakePredictor
) -> None:
    teach(services, sort, predictor, SQUARE, "rigid_plastics", 3)
    before = look(services, sort, predictor, ROUND)
    for item_id in teach(services, sort, predictor, ROUND, "foam_polystyrene", 3):
        items.undo(services, item_id=item_id, change_id=new_id())
    services.learning.settle()
    after = look(services, sort, predictor, ROUND)
    assert after.suggestion == before.suggestion
    assert after.learned_from == before.learned_from == 3


def test_an_undo_goes_back_to_the_last_stage_that_still_holds(
    services: Services, sort: SortInfo, predictor: FakePredictor, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = teach(services, sort, predictor, ROUND, "foam_polystyrene", 9)
    before = look(services, sort, predictor, ROUND)
    made += teach(services, sort, predictor, SQUARE, "rigid_plastics", 2)
    learned: list[str] = []
    learn = Learner.learn

    def counted(self: Learner, given: Confirmation) -> object:
        learned.append(given.category)
        return learn(self, given)

    monkeypatch.setattr(Learner, "learn", counted)
    items.undo(services, item_id=made[-1], change_id=new_id())
    services.learning.settle()
    assert learned == [], "the stage after ten photos is still there"
    items.correct(
        services, item_id=made[-2], change_id=new_id(), category="foam_polystyrene", count=1
    )
    services.learning.settle()
    assert learned == ["foam_polystyrene"]
    items.undo(services, item_id=made[-2], change_id=new_id())
    services.learning.settle()
    assert look(services, sort, predictor, ROUND).suggestion == before.suggestion
    items.undo(services, item_id=made[0], change_id=new_id())
    services.learning.settle()
    assert len(learned) == 1 + 8, "from the beginning"
    assert learning.learning_state(services, sort.id).confirmations == 8


def test_a_correction_teaches_what_it_says(
    services: Services, sort: SortInfo, predictor: FakePredictor
) -> None:
    made = teach(services, sort, predictor, ROUND, "foam_polystyrene", 4)
    for item_id in made:
        items.correct(
            services, item_id=item_id, change_id=new_id(), category="nappies_hygiene", count=1
        )
    services.learning.settle()
    seen = look(services, sort, predictor, ROUND)
    assert top(seen) == "nappies_hygiene"
    assert seen.learned_from == 4


def test_two_processes_see_each_others_confirmations(
    services: Services, other: Services, sort: SortInfo, predictor: FakePredictor
) -> None:
    teach(services, sort, predictor, ROUND, "foam_polystyrene", 3)
    assert look(other, sort, predictor, ROUND).learned_from == 3
    teach(other, sort, predictor, SQUARE, "rigid_plastics", 3)
    look(services, sort, predictor, SQUARE)  # notices; the last head answers meanwhile
    services.learning.settle()
    seen = look(services, sort, predictor, SQUARE)
    assert seen.learned_from == 6
    assert top(seen) == "rigid_plastics"


def test_a_confirmation_does_not_wait_for_the_fit(
    services: Services, sort: SortInfo, predictor: FakePredictor, monkeypatch: pytest.MonkeyPatch
) -> None:
    teach(services, sort, predictor, ROUND, "foam_polystyrene", 2)
    free, begun = threading.Event(), threading.Event()
    fit = course._learn

    def slow(*given: object) -> object:
        begun.set()
        assert free.wait(30)
        return fit(*given)  # type: ignore[arg-type]

    monkeypatch.setattr(course, "_learn", slow)
    try:
        seen = look(services, sort, predictor, ROUND)
        enter(services, sort, "foam_polystyrene", capture_id=seen.id)
        assert begun.wait(30), "the worker has begun"
        while_fitting = look(services, sort, predictor, ROUND)
        assert while_fitting.learned_from == 2, "the last head answers"
    finally:
        free.set()
    services.learning.settle()
    assert look(services, sort, predictor, ROUND).learned_from == 3


def test_a_photo_does_not_wait_for_long_for_the_first_head(
    services: Services,
    other: Services,
    sort: SortInfo,
    predictor: FakePredictor,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    teach(services, sort, predictor, ROUND, "foam_polystyrene", 2)
    monkeypatch.setattr(learning, "FIRST_HEAD_WAIT_S", 0.05)
    free = threading.Event()
    other.learning.bring_on("elsewhere", lambda _: free.wait(30))  # type: ignore[arg-type,return-value]
    try:
        assert look(other, sort, predictor, ROUND).learned_from is None
    finally:
        free.set()
    other.learning.settle()
    assert look(other, sort, predictor, ROUND).learned_from == 2


def test_photos_of_another_model_teach_nothing(
    services: Services, sort: SortInfo, predictor: FakePredictor
) -> None:
    teach(services, sort, predictor, ROUND, "foam_polystyrene", 3)
    newer_model = LoadedModel(predictor, model_record("2.0.0"), "")
    newer = replace(services, models=fixed_model(newer_model))
    assert look(newer, sort, predictor, ROUND).learned_from is None
    newer.learning.settle()
    state = learning.learning_state(newer, sort.id)
    assert (state.confirmations, state.left_out) == (0, 3)
    teach(newer, sort, predictor, SQUARE, "rigid_plastics", 2)
    assert look(newer, sort, predictor, SQUARE).learned_from == 2


def test_without_a_model_nothing_is_learned(
    services: Services, sort: SortInfo, predictor: FakePredictor
) -> None:
    teach(services, sort, predictor, ROUND, "foam_polystyrene", 2)
    no_model = LoadedModel(None, None, "")
    blind = replace(services, models=fixed_model(no_model))
    assert take(blind, sort).learned_from is None
    state = learning.learning_state(blind, sort.id)
    assert (state.confirmations, state.left_out, state.model) == (0, 2, None)


def test_a_hazard_is_not_learned_away(
    services: Services, sort: SortInfo, predictor: FakePredictor
) -> None:
    predictor.forms = (("battery_electronics", 0.8), ("food", 0.2))
    teach(services, sort, predictor, ROUND, "food", 8)
    seen = look(services, sort, predictor, ROUND)
    assert seen.learned_from == 8
    assert seen.suggestion.decision == "stop"
    assert seen.suggestion.cautions


def test_a_head_that_does_worse_is_not_asked(
    services: Services, sort: SortInfo, predictor: FakePredictor
) -> None:
    """The model is right each time and was talked into something else: it answers again."""
    teach(services, sort, predictor, ROUND, "foam_polystyrene", 12)
    assert look(services, sort, predictor, ROUND).learned_from == 12
    predictor.forms = (("corrugated_cardboard", 1.0),)
    done = 0
    while learning.learning_state(services, sort.id).trusted and done < 20:
        teach(services, sort, predictor, ROUND, "corrugated_cardboard")
        done += 1
    assert 0 < done < 20
    seen = look(services, sort, predictor, ROUND)
    assert seen.learned_from is None
    assert top(seen) == "corrugated_cardboard"


def test_a_learned_head_is_started_from_only_when_asked(
    services: Services, sort: SortInfo, predictor: FakePredictor
) -> None:
    with pytest.raises(ConflictError, match="nothing"):
        learning.export_head(services, sort.id)
    teach(services, sort, predictor, ROUND, "foam_polystyrene", 4)
    name, content = learning.export_head(services, sort.id)
    assert name.endswith(".npz")
    fresh, second = start(services), start(services)
    start_id = new_id()
    learning.start_from_file(
        services, scope_id=fresh.id, start_id=start_id, name="north", content=content
    )
    learning.start_from_scope(services, scope_id=second.id, start_id=new_id(), other_id=sort.id)
    services.learning.settle()
    for each, said in ((fresh, "north"), (second, sort.name)):
        seen = look(services, each, predictor, ROUND)
        assert top(seen) == "foam_polystyrene"
        assert seen.learned_from == 0, "none of its own yet"
        assert learning.learning_state(services, each.id).start == said
    learning.start_from_shipped(services, scope_id=fresh.id, start_id=new_id())
    services.learning.settle()
    assert look(services, fresh, predictor, ROUND).learned_from is None
    with pytest.raises(InvalidEntryError):
        learning.start_from_scope(services, scope_id=sort.id, start_id=new_id(), other_id=sort.id)


def test_a_foreign_or_damaged_head_is_refused(
    services: Services, sort: SortInfo, predictor: FakePredictor
) -> None:
    teach(services, sort, predictor, ROUND, "foam_polystyrene", 2)
    _, content = learning.export_head(services, sort.id)
    newer_model = LoadedModel(predictor, model_record("2.0.0"), "")
    newer = replace(services, models=fixed_model(newer_model))
    for broken in (b"", b"PK", content[:-20], content.replace(b"about", b"abouT")):
        with pytest.raises(HeadError):
            learning.start_from_file(
                services, scope_id=sort.id, start_id=new_id(), name="x", content=broken
            )
    with pytest.raises(HeadError, match=r"2\.0\.0"):
        learning.start_from_file(
            newer, scope_id=sort.id, start_id=new_id(), name="x", content=content
        )
    fresh = start(services)
    learning.start_from_file(
        services, scope_id=fresh.id, start_id=new_id(), name="old", content=content
    )
    newer.learning.settle()
    state = learning.learning_state(newer, fresh.id)
    newer.learning.settle()
    state = learning.learning_state(newer, fresh.id)
    assert "2.0.0" in state.start_problem, "the model was replaced since"


def review(services: Services, capture_id: str, verdict: str, category: str | None = None) -> None:
    given = Review(new_id(), capture_id, verdict, category, "", "Cy", services.clock())
    services.log.add_reviews([given], {"n": given.id})
    place = services.log.item_place(_sort_of(services, capture_id), None)
    learning.up_to_date(services, place.scope.id)


def _sort_of(services: Services, capture_id: str) -> str:
    return services.log.get_capture(capture_id).capture.sort_id


def test_a_review_teaches_what_it_says_and_a_withdrawn_photo_nothing(
    services: Services, predictor: FakePredictor
) -> None:
    sort = start(services, keeps_photos=True)
    shown = [look(services, sort, predictor, ROUND) for _ in range(4)]
    for each in shown:
        enter(services, sort, "foam_polystyrene", capture_id=each.id)
    services.learning.settle()

    def taught() -> list[str]:
        course = learning.up_to_date(services, sort.id)
        assert course is not None
        return [key.category for key in course.learned]

    review(services, shown[0].id, "label", "nappies_hygiene")
    review(services, shown[1].id, "unclear")
    review(services, shown[2].id, "second", "food")
    assert taught() == ["nappies_hygiene", "foam_polystyrene", "foam_polystyrene"]
    review(services, shown[1].id, "open")
    services.log.withdraw(
        {shown[3].id: new_id()}, reason="asked for", sorter="Ada", at=services.clock()
    )
    assert taught() == ["nappies_hygiene", "foam_polystyrene", "foam_polystyrene"]


def test_imported_photos_teach_only_where_they_are_put(
    services: Services, predictor: FakePredictor
) -> None:
    member = start(services)
    study = in_study(services, member)
    imported = replace(start(services), id=new_id())
    services.log.add_example_set(
        imported, set_id=new_id(), source="a folder", programme_version="1", sent={"a": 1}
    )
    photos = [
        ImportedPhoto(
            capture_id=new_id(),
            item_id=new_id(),
            photo_name=f"{place}.jpg",
            category="foam_polystyrene",
            note="",
            forms=(("corrugated_cardboard", 1.0),),
            embedding=np.array(ROUND, dtype="<f2").tobytes(),
            model=model_record(),
            origin=f"a folder {place}",
            object_group="one tub" if place < 2 else None,
            at=services.clock(),
        )
        for place in range(5)
    ]
    services.log.add_imported(
        imported.id, photos, sorter="", categories_version="1", programme_version="1"
    )
    assert look(services, member, predictor, ROUND).learned_from is None
    studies.place_sort(services, sort_id=imported.id, study_id=study.id, change_id=new_id())
    course = learning.up_to_date(services, study.id)
    assert course is not None
    assert [key.weight for key in course.learned] == [0.5, 0.5, 1, 1, 1]
    seen = look(services, member, predictor, ROUND)
    assert (top(seen), seen.learned_from) == ("foam_polystyrene", 5)
    third = replace(photos[0], capture_id=new_id(), item_id=new_id(), origin="a folder 5")
    services.log.add_imported(
        imported.id, [third], sorter="", categories_version="1", programme_version="1"
    )
    course = learning.up_to_date(services, study.id)
    assert course is not None
    third_part = pytest.approx(1 / 3)
    weights = [key.weight for key in course.learned]
    assert weights == [third_part, third_part, 1, 1, 1, third_part], "those before count less now"
    assert studies.get_study(services, study.id).sorts == (member,), "it counts in no total"
    assert [each.id for each in services.log.sorts_of_study(study.id, imported=True)] == [
        imported.id
    ]


@pytest.mark.parametrize(("given", "used"), [({}, "1"), ({"OPENBLAS_NUM_THREADS": "3"}, "3")])
def test_matrix_products_take_one_core_unless_told_otherwise(
    given: dict[str, str], used: str
) -> None:
    code = (
        "import os, service, sys; print(os.environ['OPENBLAS_NUM_THREADS'], 'numpy' in sys.modules)"
    )
    env = {name: value for name, value in os.environ.items() if name != "OPENBLAS_NUM_THREADS"}
    done = subprocess.run(
        [sys.executable, "-c", code], env=env | given, capture_output=True, text=True, check=True
    )
    assert done.stdout.split() == [used, "False"]


@pytest.mark.sqlite_only
@pytest.mark.parametrize("percent", [0, 10, 100])
def test_audits_are_drawn_at_exactly_their_share(percent: int) -> None:
    """Of the ten thousand digests that there are for it; none is drawn where none is wanted."""

    def place(name: str) -> int:
        digest = hashlib.sha256(f"scope:{name}".encode()).digest()
        return int.from_bytes(digest[:8], "big") % 10_000

    first, last = 100 * percent, 100 * percent - 1
    names = {place(str(n)): str(n) for n in range(200_000)}
    if percent < 100:
        assert not is_audit("scope", names[first], percent)
    if percent > 0:
        assert is_audit("scope", names[last], percent)


@pytest.mark.parametrize(("hazard", "warned"), [(0.0, []), (0.12, ["audit_hazard"])])
def test_a_hidden_suggestion_warns_of_what_it_would_not_stop_for(
    services: Services, sort: SortInfo, predictor: FakePredictor, hazard: float, warned: list[str]
) -> None:
    """Two hazards of 6 % each: enough for a caution, too little for "stop"."""
    predictor.forms = (("corrugated_cardboard", 1 - hazard), ("battery_electronics", hazard))
    assert take(services, sort).suggestion.decision == "route"
    set_learning(services, sort.id, learns=False, percent=100)
    hidden = take(services, sort).suggestion
    assert [caution.id for caution in hidden.cautions] == warned


def test_an_audit_judges_by_its_first_choice_while_an_item_stands(
    services: Services, sort: SortInfo
) -> None:
    """An undone choice can't be made blind again; a photo that counts nowhere judges nothing."""
    set_learning(services, sort.id, learns=False, percent=100)

    def choose(category: str, photo: CaptureView) -> str:
        return enter(services, sort, category, capture_id=photo.id).item.id

    def take_back(item_id: str) -> None:
        items.undo(services, item_id=item_id, change_id=new_id())

    take_back(choose("food", take(services, sort)))
    again = take(services, sort)
    take_back(choose("food", again))
    choose("corrugated_cardboard", again)
    choose("corrugated_cardboard", take(services, sort))
    found = accuracy(services, sort.id)
    assert (found.audits, found.agreed) == (2, 1)


def test_settings_have_their_defaults_and_limits(services: Services, sort: SortInfo) -> None:
    outside = learning.learning_state(services, sort.id)
    assert (outside.learns, outside.audit_percent) == (True, 0)
    study = studies.create_study(services, study_id=new_id(), name="Spring")
    inside = learning.learning_state(services, study.id)
    assert (inside.learns, inside.audit_percent) == (True, 10)
    with pytest.raises(InvalidEntryError, match="101"):
        set_learning(services, study.id, percent=101)
    with pytest.raises(UnknownIdError):
        learning.learning_state(services, new_id())
    studies.place_sort(services, sort_id=sort.id, study_id=study.id, change_id=new_id())
    with pytest.raises(ConflictError, match="Spring"):
        learning.learning_state(services, sort.id)


def test_only_so_many_heads_are_kept(
    services: Services, predictor: FakePredictor, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(services.learning, "_most", 1)
    one, two = start(services), start(services)
    teach(services, one, predictor, ROUND, "foam_polystyrene", 2)
    teach(services, two, predictor, ROUND, "nappies_hygiene", 2)
    assert services.learning.course(one.id) is None
    assert look(services, one, predictor, ROUND).learned_from == 2
    assert services.learning.course(two.id) is None


@pytest.mark.sqlite_only
def test_work_that_comes_while_the_desk_closes(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is done or left, but never an error."""
    heads = HeadCache()
    submit = heads._worker.submit
    closing = threading.Thread(target=heads.close)

    def overtaken(*given: Any, **named: Any) -> Any:
        closing.start()
        closing.join(0.05)
        return submit(*given, **named)

    def work(_before: object) -> Course:
        raise ConflictError("nothing to learn")

    monkeypatch.setattr(heads._worker, "submit", overtaken)
    heads.bring_on("one", work)
    closing.join()
    assert heads.bring_on("two", work).done()

"""A store of every released version is brought to the newest schema with all that it says.

The rows of schema 0001 are written by hand, as version 0.1 wrote them: the program of today must
not be needed to make them.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, text

from classifier.report.as_json import report_json
from service.keeping import upkeep
from service.model_cache import LoadedModel
from service.piles import usecases as piles
from service.reports import usecases as reports
from service.settings import Settings
from service.sorting import captures, items
from service.sorts import studies
from service.store.columns import metadata
from service.store.engines import make_engine
from service.store.schema import HEAD, OLDER, open_database
from service.wiring import build_services
from tests.fakes import FakePredictor, jpeg, model_record
from tests.postgres import PostgresServer
from tests.store.entries import correct_details, enter, take, weigh

pytestmark = pytest.mark.sqlite_only  # brings both engines itself

SORT = "11111111-1111-4111-8111-111111111111"
PHOTO = "22222222-2222-4222-8222-222222222222"
PHOTO_NAME = f"22/{PHOTO}-0123456789ab.jpg"
BATCH, ITEM, WRONG, GONE = (f"{n}3333333-3333-4333-8333-333333333333" for n in range(4))
AT = "2026-04-01 09:00:00.000000"
ROWS_0001 = f"""
INSERT INTO sorts (id, fingerprint, name, place, stratum, sorted_on, days, persons, programme_id,
  programme_version, sorters, keeps_photos, at)
  VALUES ('{SORT}', 'f1', 'Old sort', 'Flat 3', 'household', '2026-04-01', 7, 2, 'alder_valley',
  '1', '["Ada"]', FALSE, '{AT}');
INSERT INTO sort_events (id, fingerprint, sort_id, kind, at)
  VALUES ('{SORT}', 'f2', '{SORT}', 'close', '{AT}');
INSERT INTO sort_events (id, fingerprint, sort_id, kind, at)
  VALUES ('{PHOTO}', 'f3', '{SORT}', 'reopen', '{AT}');
INSERT INTO models (id, name, version, content, at)
  VALUES ('fake:0.9:abc', 'fake', '0.9', '{{"form_categories": {{"drink_can":
  {{"aluminium_cans": 1.0}}}}, "thresholds": {{"route": 0.7, "stop": 0.2, "unsure": 0.35,
  "non_item": 0.6}}}}', '{AT}');
INSERT INTO captures (id, fingerprint, sort_id, photo_name, forms, model_id, categories_version,
  programme_version, notice, at)
  VALUES ('{PHOTO}', 'f4', '{SORT}', '{PHOTO_NAME}', '[["drink_can", 1.0]]', 'fake:0.9:abc', '1',
  '1', '', '{AT}');
INSERT INTO fact_answers (capture_id, fact, answer, at) VALUES ('{PHOTO}', 'empty', 'yes', '{AT}');
INSERT INTO batches (id, fingerprint, sort_id, category, label, at)
  VALUES ('{BATCH}', 'f5', '{SORT}', 'aluminium_cans', '', '{AT}');
INSERT INTO items (id, fingerprint, sort_id, capture_id, attempt, batch_id, category, count, facts,
  route, sorter, note, suggested, model_version, categories_version, programme_version, at)
  VALUES ('{ITEM}', 'f6', '{SORT}', '{PHOTO}', 0, '{BATCH}', 'aluminium_cans', 3,
  '{{"empty": "yes"}}', 'kerbside', 'Ada', 'dented', 'aluminium_cans', 'fake 0.9', '1', '1',
  '{AT}');
INSERT INTO items (id, fingerprint, sort_id, batch_id, category, count, facts, sorter, note,
  categories_version, programme_version, at)
  VALUES ('{WRONG}', 'f7', '{SORT}', '{BATCH}', 'aluminium_cans', 1, '{{}}', 'Ada', '', '1', '1',
  '{AT}');
INSERT INTO items (id, fingerprint, sort_id, batch_id, category, count, facts, sorter, note,
  categories_version, programme_version, at)
  VALUES ('{GONE}', 'f8', '{SORT}', '{BATCH}', 'aluminium_cans', 9, '{{}}', '', '', '1', '1',
  '{AT}');
INSERT INTO item_changes (id, fingerprint, sort_id, item_id, kind, category, count, route, facts,
  batch_id, reason, sorter, programme_version, at)
  VALUES ('{ITEM}', 'f9', '{SORT}', '{WRONG}', 'correct', 'aluminium_cans', 4, 'kerbside', '{{}}',
  '{BATCH}', 'miscounted', 'Ada', '1', '{AT}');
INSERT INTO item_changes (id, fingerprint, sort_id, item_id, kind, reason, sorter,
  programme_version, at)
  VALUES ('{WRONG}', 'f10', '{SORT}', '{GONE}', 'void', 'dropped', 'Ada', '1', '{AT}');
INSERT INTO weighings (id, fingerprint, sort_id, batch_id, method, gross, tare, unit, resolution,
  contents_left, note, sorter, at)
  VALUES ('{ITEM}', 'f11', '{SORT}', '{BATCH}', 'container', '1.20', '0.25', 'kg', '0.01', FALSE,
  '', 'Ada', '{AT}');
INSERT INTO weighings (id, fingerprint, sort_id, batch_id, method, gross, tare, unit, resolution,
  contents_left, note, sorter, at)
  VALUES ('{WRONG}', 'f12', '{SORT}', '{BATCH}', 'container', '9.20', '0.25', 'kg', '0.01', FALSE,
  '', 'Ada', '{AT}');
INSERT INTO weighing_voids (id, fingerprint, sort_id, weighing_id, reason, sorter, at)
  VALUES ('{ITEM}', 'f13', '{SORT}', '{WRONG}', 'wrong bag', 'Ada', '{AT}');
INSERT INTO tares (id, fingerprint, name, weight, unit, resolution, at)
  VALUES ('{ITEM}', 'f14', 'Tub', '80.0', 'g', '5', '{AT}');
"""
STUDY = "44444444-4444-4444-8444-444444444444"
ROWS_0002 = f"""{ROWS_0001}
INSERT INTO studies (id, fingerprint, name, at) VALUES ('{STUDY}', 'f15', 'Old study', '{AT}');
INSERT INTO study_sorts (id, fingerprint, sort_id, study_id, at)
  VALUES ('{STUDY}', 'f16', '{SORT}', '{STUDY}', '{AT}');
UPDATE captures SET audit = TRUE, origin = 'camera';
"""
WRITTEN = {"0001": ROWS_0001, "0002": ROWS_0002}
"""By the schema of each released version, rows as that version wrote them."""


def _config(connection: Connection) -> Config:
    config = Config()
    config.set_main_option("script_location", "service.store:migrations")
    config.attributes["connection"] = connection
    return config


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """Return the URL of a database without a schema."""
    if request.param == "sqlite":
        (tmp_path / "data").mkdir()
        yield f"sqlite:///{tmp_path / 'data' / 'tallytare.sqlite3'}"
        return
    server: PostgresServer = request.getfixturevalue("postgres")
    name = server.new_database()
    yield server.url(name)
    server.drop(name)


def _make(url: str, version: str) -> None:
    """Make a database as that version left it."""
    engine = make_engine(url, busy_timeout_s=5)
    with engine.begin() as connection:
        command.upgrade(_config(connection), version)
        for statement in WRITTEN[version].split(";\n"):
            if statement.strip():
                connection.exec_driver_sql(statement)
    engine.dispose()


def test_every_version_before_the_newest_has_its_rows_here() -> None:
    """A new migration needs rows of the version before it."""
    config = Config()
    config.set_main_option("script_location", "service.store:migrations")
    versions = {script.revision for script in ScriptDirectory.from_config(config).walk_revisions()}
    assert versions - {HEAD} == set(WRITTEN) == set(OLDER)


@pytest.mark.parametrize("version", WRITTEN)
def test_an_old_store_says_the_same_afterwards(url: str, version: str, tmp_path: Path) -> None:
    """Counts, weights, corrections, voids, photos and facts; then it goes on."""
    _make(url, version)
    settings = Settings(data_dir=tmp_path / "data", database_url=url)
    photo = settings.photos_dir / PHOTO_NAME
    photo.parent.mkdir(parents=True)
    photo.write_bytes(jpeg())
    services = build_services(settings, model=LoadedModel(FakePredictor(), model_record(), ""))
    (sort,) = services.log.list_sorts()
    assert (sort.name, sort.closed, sort.sorters, sort.days) == ("Old sort", False, ("Ada",), 7)
    said = {
        each.first.item.id: (each.current.item.count, each.current.voided)
        for each in items.list_items(services, SORT)
    }
    assert said == {ITEM: (3, False), WRONG: (4, False), GONE: (9, True)}
    (pile,) = piles.piles(services, SORT).piles
    assert (pile.category, pile.count) == ("aluminium_cans", 7)
    assert pile.mass is not None
    assert pile.mass.value_g == 950
    assert {line.weighing.load for line in pile.batches[0].weighings} == {1}
    assert [tare.name for tare in services.log.list_tares()] == ["Tub"]
    seen = captures.get_capture(services, PHOTO)
    assert (seen.confirmed is not None, captures.read_photo(services, PHOTO)) == (
        True,
        jpeg(),
    )
    assert upkeep.check_store(services).ok
    report = report_json(reports.report(services, SORT))
    (line,) = report["categories"]
    assert (line["id"], line["count"]) == ("aluminium_cans", 7)
    enter(services, sort, "food", capture_id=take(services, sort).id)
    weigh(services, sort, "food")
    assert len(piles.piles(services, SORT).piles) == 2
    correct_details(services, sort, days=14)
    assert services.log.get_sort(SORT).days == 14
    services.close()


def test_a_study_of_schema_0002_keeps_its_sort(url: str, tmp_path: Path) -> None:
    """What the second schema added is there after the third."""
    _make(url, "0002")
    services = build_services(Settings(data_dir=tmp_path / "data", database_url=url))
    (line,) = studies.list_studies(services)
    assert (line.study.name, [each.id for each in line.sorts]) == ("Old study", [SORT])
    assert captures.get_capture(services, PHOTO).audit
    services.close()


@pytest.mark.parametrize("version", WRITTEN)
def test_an_upgraded_schema_is_what_the_tables_say(url: str, version: str) -> None:
    """Nothing is left to do on either engine, and what is new is empty."""
    _make(url, version)
    database = open_database(url)
    with database.read() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, metadata) == []
        assert connection.scalar(text("SELECT version_num FROM alembic_version")) == HEAD
        audits = connection.scalar(text("SELECT count(*) FROM captures WHERE audit"))
        assert audits == (0 if version == "0001" else 1)
        assert connection.scalar(text("SELECT count(*) FROM sort_corrections")) == 0
    database.close()

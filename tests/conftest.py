"""A temporary app with its own database, photos, model and clock for every test."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from classifier.log.records import SortInfo
from service.app import create_app
from service.model_cache import LoadedModel
from service.services import Services
from service.settings import Settings
from service.sorts.usecases import create_sort
from service.store.schema import open_database
from service.wiring import build_services
from tests.fakes import FakeClock, FakePredictor, model_record, new_id
from tests.postgres import NoPostgresError, PostgresServer, leave_out, running_server

ON_BOTH = ("tests/store/", "tests/web/test_api")
"""Where every test that uses a store runs twice: on SQLite and on PostgreSQL."""


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Run the tests of store, use cases and interface on both engines, less those of one file."""
    if "engine" not in metafunc.fixturenames:
        return
    path = metafunc.definition.path.relative_to(metafunc.config.rootpath).as_posix()
    only = metafunc.definition.get_closest_marker("sqlite_only")
    engines = ["sqlite", "postgresql"] if path.startswith(ON_BOTH) and not only else ["sqlite"]
    metafunc.parametrize("engine", engines, indirect=True)


@pytest.fixture(scope="session")
def empty_store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return an empty, migrated database: copying it is quicker than migrating for each test."""
    path = tmp_path_factory.mktemp("empty") / "tallytare.sqlite3"
    open_database(f"sqlite:///{path}").close()
    return path


@pytest.fixture(scope="session")
def postgres() -> Iterator[PostgresServer]:
    """Return a server of this run; without PostgreSQL the test is skipped, or fails if required."""
    try:
        with running_server() as server:
            yield server
    except NoPostgresError as error:
        leave_out(str(error))


@pytest.fixture(scope="session")
def empty_postgres(postgres: PostgresServer) -> str:
    """Return an empty, migrated database that is only ever copied."""
    name = postgres.new_database()
    open_database(postgres.url(name)).close()
    return name


@pytest.fixture
def engine(request: pytest.FixtureRequest) -> str:
    """Return the name of the database engine that the test runs on."""
    return str(getattr(request, "param", "sqlite"))


@pytest.fixture
def settings(
    tmp_path: Path, empty_store: Path, engine: str, request: pytest.FixtureRequest
) -> Iterator[Settings]:
    """Return settings of a store that is gone after the test."""
    data = tmp_path / "data"
    data.mkdir()
    if engine == "sqlite":
        shutil.copy(empty_store, data / "tallytare.sqlite3")
        yield Settings(data_dir=data, busy_timeout_s=5.0)
        return
    server: PostgresServer = request.getfixturevalue("postgres")
    name = server.new_database(request.getfixturevalue("empty_postgres"))
    yield Settings(data_dir=data, busy_timeout_s=5.0, database_url=server.url(name))
    server.drop(name)


@pytest.fixture
def predictor() -> FakePredictor:
    """Return a model that answers what the test tells it to."""
    return FakePredictor()


@pytest.fixture
def clock() -> FakeClock:
    """Return a clock that the test moves."""
    return FakeClock()


@pytest.fixture
def services(settings: Settings, predictor: FakePredictor, clock: FakeClock) -> Iterator[Services]:
    """Return services with the fake model and clock, everything else real."""
    model = LoadedModel(predictor, model_record(), "")
    built = replace(build_services(settings, model=model), clock=clock)
    yield built
    built.close()


@pytest.fixture
def client(settings: Settings, services: Services) -> Iterator[TestClient]:
    """Return a client of the whole app, without a network."""
    with TestClient(create_app(settings, services=services), base_url="http://localhost") as made:
        yield made


@pytest.fixture
def sort(services: Services) -> SortInfo:
    """Return an open sort."""
    return create_sort(
        services,
        sort_id=new_id(),
        name="Kitchen bag",
        place="Flat 3",
        stratum="household",
        sorted_on=date(2026, 5, 1),
        days=7,
        persons=2,
        programme_id="alder_valley",
        sorters=("Ada", "Ben"),
    )

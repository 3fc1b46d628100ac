"""A temporary app with its own database, photos, model and clock for every test."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from classifier.domain.records import SortInfo
from service.app import create_app
from service.settings import Settings
from service.store.schema import open_database
from service.usecases.services import Services
from service.usecases.sorts import create_sort
from service.wiring import LoadedModel, build_services
from tests.fakes import FakeClock, FakePredictor, model_record, new_id


@pytest.fixture(scope="session")
def empty_store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return an empty, migrated database: copying it is quicker than migrating for each test."""
    path = tmp_path_factory.mktemp("empty") / "tallytare.sqlite3"
    open_database(f"sqlite:///{path}").close()
    return path


@pytest.fixture
def settings(tmp_path: Path, empty_store: Path) -> Settings:
    """Return settings of a data folder that is gone after the test."""
    data = tmp_path / "data"
    data.mkdir()
    shutil.copy(empty_store, data / "tallytare.sqlite3")
    return Settings(data_dir=data, busy_timeout_s=5.0)


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
    built.log.close()


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

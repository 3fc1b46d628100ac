"""Settings come from the environment, are checked, and say what they are."""

from __future__ import annotations

from pathlib import Path

import pytest
from pydantic import ValidationError

from service.settings import Settings


def test_every_setting_says_what_it_is() -> None:
    """The README's table is made of these."""
    for name, field in Settings.model_fields.items():
        assert field.description, name
        assert field.description.endswith("."), name


def test_settings_come_from_the_environment(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """With the prefix TALLYTARE_."""
    monkeypatch.setenv("TALLYTARE_DATA_DIR", str(tmp_path))
    monkeypatch.setenv("TALLYTARE_PORT", "9000")
    monkeypatch.setenv("TALLYTARE_ALLOWED_HOSTS", '["laptop.local"]')
    settings = Settings()
    assert (settings.data_dir, settings.port) == (tmp_path, 9000)
    assert settings.allowed_hosts == ("laptop.local",)
    assert settings.store_place == tmp_path / "tallytare.sqlite3"
    assert settings.photos_dir == tmp_path / "photos"


@pytest.mark.parametrize(
    ("typed", "names"),
    [
        ("laptop.local", ("laptop.local",)),
        (" laptop.local, sorting ,", ("laptop.local", "sorting")),
        ('["a", "b"]', ("a", "b")),
        ("", ()),
    ],
)
def test_hosts_are_typed_with_commas(
    monkeypatch: pytest.MonkeyPatch, typed: str, names: tuple[str, ...]
) -> None:
    """JSON is taken too."""
    monkeypatch.setenv("TALLYTARE_ALLOWED_HOSTS", typed)
    assert Settings().allowed_hosts == names


def test_hosts_in_broken_json_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """Named like any other wrong setting, not with a trace."""
    monkeypatch.setenv("TALLYTARE_ALLOWED_HOSTS", '["a"')
    with pytest.raises(ValidationError, match="allowed_hosts"):
        Settings()


def test_an_empty_variable_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    """Else the store would be wherever the program was started."""
    for name in Settings.model_fields:
        monkeypatch.setenv(f"TALLYTARE_{name.upper()}", "")
    empty = Settings()
    for name in Settings.model_fields:
        monkeypatch.delenv(f"TALLYTARE_{name.upper()}")
    assert empty == Settings()


def test_it_listens_on_this_machine_only_by_default() -> None:
    """Anything else must be asked for."""
    settings = Settings()
    assert settings.host == "127.0.0.1"
    assert settings.data_dir.name == "tallytare"
    assert settings.database_url == ""


def test_another_database_can_be_named() -> None:
    """By its URL."""
    assert Settings(database_url="postgresql://x/y").store_place == "postgresql://x/y"


@pytest.mark.parametrize(
    ("name", "value"),
    [("port", 70_000), ("max_upload_bytes", 0), ("inference_concurrency", 0), ("host", "")],
)
def test_a_senseless_setting_is_refused(name: str, value: object) -> None:
    """With its name."""
    with pytest.raises(ValidationError, match=name):
        Settings(**{name: value})  # type: ignore[arg-type]


def test_a_misspelled_setting_is_refused() -> None:
    """Not ignored in silence."""
    with pytest.raises(ValidationError, match="prot"):
        Settings(prot=1)  # type: ignore[call-arg]


def test_settings_do_not_change() -> None:
    """They are read once."""
    with pytest.raises(ValidationError, match="frozen"):
        Settings().port = 1

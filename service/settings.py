"""Everything that can be set from outside, with its unit in its name."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

from platformdirs import user_data_path
from pydantic import BeforeValidator, Field
from pydantic_settings import BaseSettings, NoDecode, SettingsConfigDict


def _default_data_dir() -> Path:
    return user_data_path("tallytare", appauthor=False)


def _names(given: object) -> object:
    """Return names typed with commas between them, or as JSON, as names."""
    if not isinstance(given, str):
        return given
    if given.lstrip().startswith("["):
        return json.loads(given)
    return tuple(name.strip() for name in given.split(",") if name.strip())


class Settings(BaseSettings):
    """Read from environment variables that start with TALLYTARE_; never changed afterwards.

    An empty variable is one that is not set: a folder "" would be whichever one was started in.
    """

    model_config = SettingsConfigDict(
        env_prefix="TALLYTARE_", env_ignore_empty=True, frozen=True, extra="forbid"
    )

    data_dir: Path = Field(
        default_factory=_default_data_dir,
        description="Folder that holds the database and the photos; made when missing.",
    )
    database_url: str = Field(
        default="",
        description="SQLAlchemy URL of the database; empty means SQLite in the data folder.",
    )
    photos: str = Field(
        default="",
        description=(
            "Folder of the photos, or a URL that fsspec knows; empty means the data folder. "
            "Several services on one database need the same."
        ),
    )
    busy_timeout_s: float = Field(
        default=10.0,
        ge=0,
        le=120,
        description="How long a write waits, in seconds, while another process writes.",
    )
    host: str = Field(
        default="127.0.0.1",
        min_length=1,
        description="Address to listen on; the default is reachable from this machine only.",
    )
    port: int = Field(default=8017, ge=0, le=65535, description="Port to listen on; 0 picks one.")
    allowed_hosts: Annotated[tuple[str, ...], NoDecode, BeforeValidator(_names)] = Field(
        default=(),
        description=(
            "More host names, without port, under which the pages may be opened; commas between."
        ),
    )
    bundle: str = Field(
        default="",
        description=(
            "Model bundle that answers until another is promoted: a name among those shipped, or "
            "a folder; empty: household."
        ),
    )
    programmes_dir: Path | None = Field(
        default=None,
        description="Folder of further programme files (*.toml) beside those shipped.",
    )
    max_upload_bytes: int = Field(
        default=40_000_000, ge=10_000, description="Largest photo accepted, in bytes."
    )
    max_json_bytes: int = Field(
        default=1_000_000, ge=1_000, description="Largest request accepted that is no photo."
    )
    max_pixels: int = Field(
        default=120_000_000,
        ge=10_000,
        description="Largest photo accepted, in pixels; if not plain JPEG, 25 million at most.",
    )
    inference_concurrency: int = Field(
        default=2,
        ge=1,
        le=64,
        description="How many photos are decoded and looked at by the model at once.",
    )

    @property
    def photos_dir(self) -> Path:
        """Folder of the cleaned photos, unless `photos` names another place."""
        return self.data_dir / "photos"

    @property
    def photos_place(self) -> str:
        """Folder or URL of the cleaned photos."""
        return self.photos or str(self.photos_dir)

    @property
    def bundles_dir(self) -> Path:
        """Folder of the model bundles that were promoted."""
        return self.data_dir / "bundles"

    @property
    def store_place(self) -> str | Path:
        """URL of the database in use, or the path of its SQLite file."""
        return self.database_url or self.data_dir / "tallytare.sqlite3"

"""Hostile uploads over HTTP: none crashes the service, holds it up or leaves a place behind.

`python -m tests.hostile --count 10000` is the same at length.
"""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from tests.hostile.__main__ import table
from tests.hostile.attack import attack, shots
from tests.hostile.photographs import MAKER, SECRET, mutated, photographs
from tests.hostile.server import running
from tests.hostile.stored import faults_of_jpeg, traces
from tests.tiny_bundle import write_tiny_bundle

COUNT = 160


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore::UserWarning:PIL")
def test_hostile_uploads_to_a_real_server(tmp_path: Path) -> None:
    """Each is kept as a bare JPEG or refused in words, within two seconds and a gigabyte."""
    bundle = write_tiny_bundle(tmp_path / "bundle")
    with running(tmp_path / "store" / "data", bundle=str(bundle)) as server:
        tally = attack(server, COUNT)
        messages = server.log.read_text("utf-8", "replace")
    assert tally.faults == [], table(tally)
    assert "Traceback" not in messages
    assert sum(tally.sent.values()) == COUNT
    assert sum(tally.kept.values()) <= tally.stored < COUNT // 2
    assert min(sum(tally.kept.values()), sum(tally.refused.values())) > COUNT // 10


def test_a_long_run_sends_every_kind() -> None:
    """What the short run leaves out, the long one sends."""
    found = list(shots(2_000))
    assert {shot.kind for shot in found} >= {"jpeg", "png", "webp", "gif", "tiff", "bombs"}
    assert len({shot.name for shot in found if shot.kind == "bombs"}) == 26
    assert len({shot.name for shot in found if shot.kind == "wrong lengths and forms"}) == 27
    assert [shot.data for shot in shots(50)] == [shot.data for shot in found[:50]]


def test_the_search_for_traces_finds_them(tmp_path: Path) -> None:
    """Each whole file holds the place somewhere; a JPEG as it came is no bare one."""
    for form, files in photographs().items():
        if form != "BMP":
            assert all(SECRET in data or MAKER in data for data in files), form
    camera = photographs()["JPEG"][0]
    (tmp_path / "a.jpg").write_bytes(camera)
    seen = "\n".join(traces(tmp_path))
    for what in ("place", "camera", "degrees", "XMP", "EXIF", "segment e1", "segment fe"):
        assert what in seen, what
    assert "bytes after its end" in faults_of_jpeg(camera + b"x")
    assert mutated(b"", random.Random(1)) == b""

"""The interface does what its own description says, as schemathesis finds out by itself."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from tests.fakes import jpeg, new_id
from tests.hostile.server import Server, running
from tests.hostile.wire import BOUND, form
from tests.tiny_bundle import write_tiny_bundle

EXAMPLES = 4
SEED = 2026
BEYOND_A_SCHEMA = (
    "/api/sorts/{sort_id}/weighings",
    "/api/learning/{scope_id}/start",
    "/api/sorts/{sort_id}/captures",
)
"""What these take no schema says: method and tare that go together, head or from_scope, a whole
photograph. What does not fit is refused with 422 and a sentence; all other checks hold here too."""


def _filled(server: Server) -> dict[str, str]:
    """Put one of everything into the store, so that requests get beyond "there is none"."""
    kind = f"multipart/form-data; boundary={BOUND}"
    sort, capture, item, weighing, study = (new_id() for _ in range(5))
    sent = {"name": "Bag", "sorted_on": "2026-05-01", "days": 7, "persons": 2}
    server.send("/api/sorts", {"sort_id": sort, "programme_id": "alder_valley", **sent})
    server.ask(f"/api/sorts/{sort}/captures", form(capture, jpeg()), kind)
    server.send(f"/api/sorts/{sort}/items", {"item_id": item, "category": "steel_cans"})
    reading = {"method": "container", "unit": "kg", "resolution": "0.02", "gross": "1.2"}
    weighed = {"weighing_id": weighing, "category": "steel_cans", **reading}
    server.send(f"/api/sorts/{sort}/weighings", weighed)
    server.send("/api/studies", {"study_id": study, "name": "Spring"})
    return {
        "path.sort_id": sort,
        "path.scope_id": sort,
        "path.capture_id": capture,
        "path.item_id": item,
        "path.weighing_id": weighing,
        "path.study_id": study,
    }


def _settings(ids: dict[str, str]) -> str:
    lines = ["[parameters]", *(f'"{name}" = "{value}"' for name, value in ids.items())]
    for path in BEYOND_A_SCHEMA:
        lines += ["[[operations]]", f'include-path = "{path}"']
        lines.append("checks.positive_data_acceptance.enabled = false")
    return "\n".join(lines) + "\n"


@pytest.mark.slow
def test_schemathesis_finds_nothing(tmp_path: Path) -> None:
    """All its checks: status, type and shape of answers, other methods, Allow, wrong data."""
    bundle = write_tiny_bundle(tmp_path / "bundle")
    with running(tmp_path / "store" / "data", bundle=str(bundle)) as server:
        settings = tmp_path / "schemathesis.toml"
        settings.write_text(_settings(_filled(server)), encoding="utf-8")
        done = subprocess.run(
            [
                str(Path(sys.executable).with_name("schemathesis")),
                f"--config-file={settings}",
                "run",
                f"{server.address}/api/openapi.json",
                f"--max-examples={EXAMPLES}",
                f"--seed={SEED}",
                "--phases=coverage,fuzzing",
                "--continue-on-failure",
                "--warnings=off",
                "--generation-database=none",
            ],
            capture_output=True,
            text=True,
            check=False,
            cwd=tmp_path,
        )
        messages = server.log.read_text("utf-8", "replace")
    assert done.returncode == 0, done.stdout[-8_000:] + done.stderr[-2_000:]
    assert "Traceback" not in messages
    assert "No issues found" in done.stdout

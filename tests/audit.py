"""What the service is made of: `python -m tests.audit` lists and checks its dependencies.

Checked here, without a network: that installed packages fit each other, that none is older than
the release which fixed a known hole, that each has a licence that permits what we do, and that no
package came in which nobody has looked at. Advisories published since are looked up by pip-audit,
which counts as done only for packages that its service answered for.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tempfile
import tomllib
from dataclasses import dataclass
from importlib.metadata import Distribution, distribution
from pathlib import Path
from typing import Any

from packaging.requirements import Requirement
from packaging.version import Version

ROOT = Path(__file__).resolve().parents[1]
LOOK_UP_S = 120

FIXED = {
    "cryptography": ("44.0.1", "CVE-2024-12797"),
    "fastapi": ("0.109.1", "CVE-2024-24762"),
    "h11": ("0.16.0", "CVE-2025-43859"),
    "idna": ("3.7", "CVE-2024-3651"),
    "jinja2": ("3.1.6", "CVE-2025-27516"),
    "mako": ("1.2.2", "CVE-2022-40023"),
    "pillow": ("11.3.0", "CVE-2025-48379"),
    "python-multipart": ("0.0.18", "CVE-2024-53981"),
    "starlette": ("0.49.1", "CVE-2025-62727"),
    "tqdm": ("4.66.3", "CVE-2024-34062"),
    "uvicorn": ("0.11.7", "CVE-2020-7694"),
}
"""The release that fixed the newest hole known when this was written, and its number. From memory
(confidence D of DOMAIN.md): written down offline, to be compared with the advisories."""

KNOWN = frozenset(
    """
    alembic annotated-doc annotated-types anyio cffi click colorama cryptography fastapi flatbuffers
    h11 idna ifaddr jinja2 mako markdown-it-py markupsafe mdurl ml-dtypes numpy onnxruntime
    opentelemetry-api packaging pillow platformdirs protobuf pycparser pydantic pydantic-core
    pydantic-settings pygments python-dotenv python-multipart rapidfuzz rich scipy segno shellingham
    sqlalchemy starlette tqdm typer typing-extensions typing-inspection tzdata uvicorn greenlet
    rapidfuzz coloredlogs humanfriendly sympy mpmath sniffio exceptiongroup importlib-metadata zipp
    """.split()
)
"""All that a service's installation may bring; a new name fails until somebody has looked."""

PERMISSIVE = re.compile(
    r"\b(MIT|BSD|0BSD|Apache|ISC|PSF|MPL|HPND|Zlib|CC0|Python Software Foundation)\b", re.IGNORECASE
)
COPYLEFT = re.compile(r"\b(GPL|AGPL|LGPL|SSPL|EUPL)", re.IGNORECASE)


@dataclass(frozen=True)
class Package:
    """One installed dependency of the service."""

    name: str
    version: str
    licence: str


def packages() -> tuple[Package, ...]:
    """Return what serving needs, direct and indirect, as it is installed."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    found: dict[str, Package] = {}
    waiting = [Requirement(text) for text in project["dependencies"]]
    while waiting:
        wanted = waiting.pop()
        name = re.sub(r"[-_.]+", "-", wanted.name).lower()
        extras = [*wanted.extras, ""]
        if name in found or (wanted.marker and not wanted.marker.evaluate({"extra": ""})):
            continue
        installed = distribution(name)
        found[name] = Package(name, installed.version, _licence(installed))
        for text in installed.requires or ():
            needed = Requirement(text)
            if needed.marker is None or any(
                needed.marker.evaluate({"extra": extra}) for extra in extras
            ):
                needed.marker = None
                waiting.append(needed)
    return tuple(sorted(found.values(), key=lambda each: each.name))


def _licence(installed: Distribution) -> str:
    metadata: Any = installed.metadata  # a message; its type tells less than it can do
    classifiers = metadata.get_all("Classifier") or []
    said = [each.rpartition(":: ")[2] for each in classifiers if each.startswith("License ::")]
    plain = metadata.get("License-Expression") or ", ".join(said) or metadata.get("License") or ""
    return plain.strip().partition("\n")[0][:80]


def faults(found: tuple[Package, ...]) -> list[str]:
    """Return what is wrong with a list of packages, as far as it shows without a network."""
    wrong = []
    for each in found:
        fixed, hole = FIXED.get(each.name, ("0", ""))
        if Version(each.version) < Version(fixed):
            wrong.append(f"{each.name} {each.version} has {hole}: take {fixed} or newer")
        if each.name not in KNOWN:
            wrong.append(f"{each.name} is new here: look at it, then add it to KNOWN")
        if COPYLEFT.search(each.licence) or not PERMISSIVE.search(each.licence):
            wrong.append(f"{each.name} has licence {each.licence!r}: look at its terms")
    return wrong


def look_up(found: tuple[Package, ...]) -> tuple[int, list[str]]:
    """Ask pip-audit's service; return for how many packages it answered, and the holes it knows.

    pip-audit calls it a success when no package could be looked up, hence the count.
    """
    with tempfile.TemporaryDirectory() as folder:
        listed = Path(folder) / "requirements.txt"
        listed.write_text("".join(f"{each.name}=={each.version}\n" for each in found))
        command = [sys.executable, "-m", "pip_audit", "--format=json", "--progress-spinner=off"]
        command += ["--no-deps", "--disable-pip", "--timeout=5", f"--requirement={listed}"]
        try:
            done = subprocess.run(
                command, capture_output=True, text=True, check=False, timeout=LOOK_UP_S
            )
            said = json.loads(done.stdout)["dependencies"]
        except (subprocess.TimeoutExpired, ValueError, KeyError):
            return 0, []
    holes = [
        f"{each['name']} {each['version']} has {hole['id']}"
        for each in said
        for hole in each.get("vulns", ())
    ]
    return sum("skip_reason" not in each for each in said), holes


def main() -> int:
    """Print the table and what was and was not checked; exit code 1 if anything is wrong."""
    found = packages()
    for each in found:
        sys.stdout.write(f"{each.name:22} {each.version:14} {each.licence}\n")
    wrong = faults(found)
    fits = subprocess.run([sys.executable, "-m", "pip", "check"], capture_output=True, check=False)
    if fits.returncode:
        wrong.append(fits.stdout.decode().strip())
    answered, holes = look_up(found)
    wrong += holes
    sys.stdout.write(
        f"\n{len(found)} packages; advisories looked up for {answered}, NOT looked up for "
        f"{len(found) - answered}.\n"
    )
    for line in wrong:
        sys.stdout.write(f"FAULT {line}\n")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())

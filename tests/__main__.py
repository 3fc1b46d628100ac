"""Every check in the order of CI: `python -m tests`; stops at the first that fails."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
CODE = ("classifier", "service", "training", "tests", "demo_images")
CORE_TESTS = ("tests/unit", "tests/property", "tests/published")


def main() -> int:
    """Run the checks and return the exit code of the first that fails, else 0."""
    python = [sys.executable, "-m"]
    lint_imports = shutil.which("lint-imports", path=str(Path(sys.executable).parent))
    steps: list[tuple[str, list[str]]] = [
        ("style", [*python, "ruff", "check", *CODE]),
        ("layout of lines", [*python, "ruff", "format", "--check", "--quiet", *CODE]),
        ("types", [*python, "mypy"]),
        ("import contracts", [lint_imports or "lint-imports"]),
        (
            "the core, every branch covered",
            [*python, "pytest", *CORE_TESTS, "--cov", "--cov-branch", "--cov-report=term-missing"],
        ),
        (
            "everything around it",
            [*python, "pytest", "tests", *(f"--ignore={folder}" for folder in CORE_TESTS)],
        ),
    ]
    for title, command in steps:
        sys.stdout.write(f"\n== {title}: {' '.join(Path(c).name for c in command[:3])} ...\n")
        sys.stdout.flush()
        code = subprocess.run(command, cwd=ROOT, check=False).returncode
        if code:
            sys.stdout.write(f"\n{title}: failed with exit code {code}\n")
            return code
    return 0


if __name__ == "__main__":
    sys.exit(main())

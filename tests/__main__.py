"""Every check in the order of CI: `python -m tests`; stops at the first that fails.

`python -m tests style types` runs only these steps.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
CODE = ("classifier", "service", "training", "tests", "demo_images")
CORE_TESTS = ("tests/unit", "tests/property", "tests/published")
MOST_WORKERS = 4  # each has a PostgreSQL server and a browser of its own


def steps() -> dict[str, list[str]]:
    """Return the command of each step by its name."""
    python = [sys.executable, "-m"]
    lint_imports = shutil.which("lint-imports", path=str(Path(sys.executable).parent))
    workers = str(min(os.cpu_count() or 1, MOST_WORKERS))
    pytest = [*python, "pytest", "-n", workers, "--dist", "worksteal"]
    return {
        "style": [*python, "ruff", "check", *CODE],
        "lines": [*python, "ruff", "format", "--check", "--quiet", *CODE],
        "types": [*python, "mypy"],
        "imports": [lint_imports or "lint-imports"],
        "core": [*pytest, *CORE_TESTS, "--cov", "--cov-branch", "--cov-report=term-missing"],
        "rest": [*pytest, "tests", *(f"--ignore={folder}" for folder in CORE_TESTS)],
    }


def main() -> int:
    """Run the steps and return the exit code of the first that fails, else 0."""
    parser = argparse.ArgumentParser(prog="python -m tests", description=__doc__)
    parser.add_argument("step", nargs="*", help=f"of {', '.join(steps())}; left out: all")
    wanted = parser.parse_args().step or [*steps()]
    if unknown := {*wanted} - {*steps()}:
        parser.error(f"no step {', '.join(sorted(unknown))}: give some of {', '.join(steps())}")
    # The workers share the cores: threads of the arithmetic beside them would only wait.
    alone = os.environ | {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    for name, command in steps().items():
        if name not in wanted:
            continue
        sys.stdout.write(f"\n== {name}: {' '.join(Path(c).name for c in command[:3])} ...\n")
        sys.stdout.flush()
        code = subprocess.run(command, cwd=ROOT, env=alone, check=False).returncode
        if code:
            sys.stdout.write(f"\n{name}: failed with exit code {code}\n")
            return code
    return 0


if __name__ == "__main__":
    sys.exit(main())

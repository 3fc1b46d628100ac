"""Everything that CI runs: `python -m tests`."""

"""How fast it is: `python -m tests.benchmarks` writes one table; ratios stand side by side."""

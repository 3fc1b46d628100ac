"""Hostile uploads against a real server: `python -m tests.hostile --count 10000`."""

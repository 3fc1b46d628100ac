"""The append-only log on SQL: the only package that holds SQL."""

"""Alembic migrations; they travel in the package and run when a store is opened."""

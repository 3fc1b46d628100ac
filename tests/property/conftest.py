"""Hypothesis settings: a shared or busy machine must not fail an example for being slow."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("tallytare", deadline=None)
settings.load_profile("tallytare")

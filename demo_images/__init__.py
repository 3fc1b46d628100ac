"""Rendered demonstration pictures of invented, unbranded discarded items, and their makers."""

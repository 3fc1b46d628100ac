"""Versioned data of the core: categories, programmes, published tables."""

"""Recipes of the bundles that ship, one TOML file each."""

"""Photographs on disk: cleaned copies under names of our own."""

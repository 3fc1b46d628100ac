"""Data files of the study report."""

"""The report of one sort: figures, estimates, and how they are written."""

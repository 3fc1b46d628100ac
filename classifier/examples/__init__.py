"""What a set of labelled pictures shows: repeats, doubts, poor pictures, gaps, splits.

Pure functions on arrays (numpy only), shared by `service` and `training`, which never meet.
"""

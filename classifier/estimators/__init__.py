"""Pure functions on arrays: intervals, shares, weights, agreement of model and person.

Those that a service imports when it starts name scipy's functions in full (`scipy.special.ndtri`):
scipy loads each of its parts at the first use, which takes a quarter of a second and 40 MB.
"""

"""Pure functions on arrays: intervals, shares, weights, agreement of model and person."""

"""Many sorts as one study: from totals to estimates, and the forms in which they are written."""

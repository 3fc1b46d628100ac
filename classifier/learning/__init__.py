"""Learning in place: what a study confirmed corrects the shipped model at once.

Pure functions on arrays. Nothing here knows of the store, of a page or of a network: a photo is an
embedding and the shipped probabilities of its categories. scipy's functions are named in full, as
in `classifier.estimators`, so that scipy loads with the first confirmation.
"""

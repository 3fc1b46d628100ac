"""Tables of the training code: forms, their materials, streams and categories."""

"""Training pictures of invented items, made by rule and rasterised with OpenGL.

`python -m training.makers --help` writes a labelled set. `families` holds the items, one module
a family; `compose` lays items on a floor; `canvas` draws; `phone` turns the drawing into a
photograph. Rendered pictures train and, from the held-out half, show what hazards a network
knows; they never stand for photographs in a test.
"""

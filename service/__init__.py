"""The service: command line, pages, JSON interface and the store behind them."""

import gc
import os

# Each request has a thread of its own, so that a matrix product spread over all cores gains nothing
# and, on a busy machine, waits for the slowest of them: a refit on 500 photos took 35 ms on one
# thread and seconds on two. It counts only before numpy is loaded; a value from outside wins.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# What is imported makes hundreds of thousands of objects that stay. Python's usual 700 new ones
# between two looks for garbage make these looks a fifth of the time that a start takes.
gc.set_threshold(50_000, 20, 20)

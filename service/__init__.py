"""The service: command line, pages, JSON interface and the store behind them."""

import os

# Each request has a thread of its own, so that a matrix product spread over all cores gains nothing
# and, on a busy machine, waits for the slowest of them: a refit on 500 photos took 35 ms on one
# thread and seconds on two. It counts only before numpy is loaded; a value from outside wins.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

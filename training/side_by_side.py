"""Several processes that train on one machine, each a network of its own."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Set
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from typing import Any, TypeVar

import torch

_T = TypeVar("_T")
_shared: tuple[Any, ...] = ()
_THREADS = 2  # of each process; a GPU does the rest


def in_order(
    needs: Mapping[_T, Set[_T]],
    work: Callable[..., object],
    shared: tuple[Any, ...],
    *,
    jobs: int,
) -> None:
    """Call `work(task, *shared)` for each task, `jobs` at a time, in processes of their own.

    Parameters
    ----------
    needs:
        Each task with those that must be finished before it, in the order of their start.
    work:
        A function of a module, so that other processes find it.
    shared:
        Handed to each process once; tensors in shared memory are not copied.

    Raises
    ------
    Exception
        What the first task that failed raised. Tasks that run then are waited for, others are not
        begun.
    """
    context = torch.multiprocessing.get_context("spawn")
    waiting, done = list(needs), set[_T]()
    running: dict[Future[object], _T] = {}
    with ProcessPoolExecutor(jobs, context, initializer=_share, initargs=shared) as pool:
        while waiting or running:
            for task in [each for each in waiting if needs[each] <= done]:
                running[pool.submit(_call, work, task)] = task
                waiting.remove(task)
            finished, _ = wait(running, return_when=FIRST_COMPLETED)
            for future in finished:
                done.add(running.pop(future))
                if future.exception() is not None:
                    pool.shutdown(cancel_futures=True)
                future.result()


def _share(*shared: Any) -> None:
    global _shared
    _shared = shared
    torch.set_num_threads(_THREADS)


def _call(work: Callable[..., object], task: object) -> None:
    work(task, *_shared)

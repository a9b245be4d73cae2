"""Work that takes longer than a tap may: done beside the notebook, once for all panels, and given up when asked."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor, wait
from typing import Any

KEPT = 24  # results kept; the same question of the same log is answered at once

_jobs: OrderedDict[tuple, Job] = OrderedDict()
_lock = threading.RLock()
# One worker: the numerical libraries are held to one thread, and two fits at once would only wait for each other.
_worker = ThreadPoolExecutor(1, thread_name_prefix="testpour-panel")


class Job:
    """One piece of work and, once it is done, its result or its problem."""

    def __init__(self, make: Callable[[], Any]) -> None:
        self.stopped = False
        self._future = _worker.submit(make)

    @property
    def done(self) -> bool:
        """Whether there is a result or a problem."""
        return self.stopped or self._future.done()

    def wait(self) -> None:
        """Wait until there is a result or a problem."""
        wait([self._future])

    def stop(self) -> None:
        """Give it up: what is queued never begins, and nobody asks for the result of what is running."""
        self.stopped = True
        self._future.cancel()

    def result(self) -> Any:
        """The result; waits for it, and raises what the work raised."""
        problem = self._future.exception()
        if problem is not None:
            raise problem.with_traceback(None)
        return self._future.result()


def job(key: tuple, make: Callable[[], Any]) -> Job:
    """The work known by `key`, begun now unless it is under way or done already.

    `key` is all that the result depends on. The result is shared and must not be changed.
    """
    with _lock:
        if key not in _jobs:
            _jobs[key] = Job(make)
            finished = [k for k, one in _jobs.items() if one.done and k != key]
            for old in finished[: max(len(_jobs) - KEPT, 0)]:
                del _jobs[old]
        _jobs.move_to_end(key)
        return _jobs[key]


def is_done(key: tuple) -> bool:
    """Whether work that was begun has come to an end; false of work nobody began."""
    with _lock:
        return key in _jobs and _jobs[key].done


def give_up(key: tuple) -> None:
    """Stop a piece of work that is not done."""
    with _lock:
        if key in _jobs and not _jobs[key].done:
            _jobs[key].stop()


def forget(key: tuple) -> None:
    """Drop a result, so that it is worked out anew when asked for."""
    with _lock:
        _jobs.pop(key, None)

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

    def __init__(self, words: str, make: Callable[[], Any]) -> None:
        self.words, self.stopped = words, False
        self._future = _worker.submit(self._run, make)

    def _run(self, make):
        if self.stopped:
            raise Stopped("stopped before it began")
        return make()

    @property
    def done(self) -> bool:
        """Whether there is a result or a problem."""
        return self.stopped or self._future.done()

    def wait(self) -> None:
        """Wait until there is a result or a problem."""
        wait([self._future])

    def result(self) -> Any:
        """The result; waits for it, and raises what the work raised."""
        if self.stopped:
            raise Stopped("stopped")
        problem = self._future.exception()
        if problem is not None:
            raise problem.with_traceback(None)
        return self._future.result()


class Stopped(Exception):
    """The work was given up because somebody asked for it."""


def job(key: tuple, words: str, make: Callable[[], Any]) -> Job:
    """The work known by `key`, begun now unless it is under way or done already.

    `key` is all that the result depends on. The result is shared and must not be changed.
    """
    with _lock:
        if key not in _jobs:
            _jobs[key] = Job(words, make)
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
    """Stop waiting for a piece of work: a step that is running finishes, and nobody asks for its result; those after it never begin."""
    with _lock:
        if key in _jobs and not _jobs[key].done:
            _jobs[key].stopped = True
            _jobs[key]._future.cancel()


def forget(key: tuple) -> None:
    """Drop a result, so that it is worked out anew when asked for."""
    with _lock:
        _jobs.pop(key, None)

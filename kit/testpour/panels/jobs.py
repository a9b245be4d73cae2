"""Work too long for a tap: done in the background, once for all panels, and stopped on request."""

import threading
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Any

KEPT = 24  # results kept; the same question of the same log is answered at once

_jobs: OrderedDict[tuple, Future] = OrderedDict()
_lock = threading.RLock()
# One worker: the numerical libraries use one thread, so two fits at once would only wait for each other.
_worker = ThreadPoolExecutor(1, thread_name_prefix="testpour-panel")


def job(key: tuple, make: Callable[[], Any]) -> Future:
    """The work named by `key`, begun now unless it is under way or done; cancelled if it was stopped.

    `key` is everything that the result depends on. The result is shared and must not be changed.
    """
    with _lock:
        if key not in _jobs:
            _jobs[key] = _worker.submit(make)
            finished = [k for k, one in _jobs.items() if one.done() and k != key]
            for old in finished[: max(len(_jobs) - KEPT, 0)]:
                del _jobs[old]
        _jobs.move_to_end(key)
        return _jobs[key]


def is_done(key: tuple) -> bool:
    """Whether work that was begun has ended; False for work that nobody began."""
    with _lock:
        return key in _jobs and _jobs[key].done()


def give_up(key: tuple) -> None:
    """Stop work that is not done: if queued it never begins, if running its result is ignored."""
    with _lock:
        if key in _jobs and not _jobs[key].done():
            _jobs[key].cancel()
            given_up: Future[Any] = Future()
            _jobs[key] = given_up
            given_up.cancel()
            given_up.set_running_or_notify_cancel()  # or whoever waits for it would wait for ever


def forget(key: tuple) -> None:
    """Drop a result, so that it is worked out again when needed."""
    with _lock:
        _jobs.pop(key, None)

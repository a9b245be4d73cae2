"""One thread for small matrices: several wait for each other, and take five times as long on a busy machine."""

from collections.abc import Callable
from functools import cache, wraps
from typing import ParamSpec, TypeVar

P = ParamSpec("P")
R = TypeVar("R")


@cache
def _controller():
    from threadpoolctl import ThreadpoolController  # looks up the libraries that are loaded: once, and not on import

    return ThreadpoolController()


def one_thread(function: Callable[P, R]) -> Callable[P, R]:
    """Run a function with the linear algebra on one thread; the setting is restored afterwards."""

    @wraps(function)
    def run(*given, **named):
        with _controller().limit(limits=1, user_api="blas"):
            return function(*given, **named)

    return run

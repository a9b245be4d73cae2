"""One thread for small matrices: several only wait for each other, five times as long on a busy machine."""

from functools import cache, wraps


@cache
def _controller():
    from threadpoolctl import (
        ThreadpoolController,  # looks up the libraries that are loaded: once, and not on import
    )

    return ThreadpoolController()


def one_thread(function):
    """Run a function with the linear algebra on one thread, as the machine had it again afterwards."""

    @wraps(function)
    def run(*given, **named):
        with _controller().limit(limits=1, user_api="blas"):
            return function(*given, **named)

    return run

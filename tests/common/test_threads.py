"""The linear algebra runs on one thread while the kit works, and as before afterwards."""

import inspect

import numpy as np
import pytest
from threadpoolctl import threadpool_info, threadpool_limits

import testpour as tp
from testpour.common.threads import one_thread


def threads():
    """Threads of every linear algebra library that is loaded."""
    return {entry["num_threads"] for entry in threadpool_info() if entry["user_api"] == "blas"}


def test_one_thread_inside_and_what_it_was_afterwards():
    np.ones((2, 2)) @ np.ones((2, 2))
    inside = one_thread(lambda: threads())
    with threadpool_limits(2, user_api="blas"):
        before = threads()
        assert inside() == {1} and threads() == before


def test_what_was_set_comes_back_after_a_refusal():
    @one_thread
    def refuse():
        raise ValueError("no")

    with threadpool_limits(2, user_api="blas"):
        before = threads()
        with pytest.raises(ValueError, match="no"):
            refuse()
        assert threads() == before


@pytest.mark.parametrize("name", [
    "fit_castings", "next_pours", "recommend", "recipe_chart", "why", "why_all", "pool", "plan_pours", "repair_plan", "findings_page",
])
def test_what_takes_time_runs_on_one(name):
    """The wrapped function is the one of that name, its signature kept."""
    found = getattr(tp, name)
    assert found.__wrapped__.__name__ == name
    assert inspect.signature(found) == inspect.signature(found.__wrapped__)

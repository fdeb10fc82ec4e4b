"""One thread for many tiny products, and as many as before once the last fit has ended."""

from __future__ import annotations

from contextlib import ExitStack

from threadpoolctl import threadpool_info, threadpool_limits

from growthcast.fit.solver.machine import one_blas_thread


def threads():
    """Return the threads of every BLAS that is loaded."""
    return {each["num_threads"] for each in threadpool_info() if each["user_api"] == "blas"}


def test_a_fit_runs_on_one_thread_and_the_last_that_ends_gives_all_back():
    with threadpool_limits(2, user_api="blas"):
        first, second = ExitStack(), ExitStack()
        first.enter_context(one_blas_thread())
        assert threads() == {1}
        second.enter_context(one_blas_thread())
        first.close()
        assert threads() == {1}
        second.close()
        assert threads() == {2}
        with one_blas_thread():
            assert threads() == {1}
        assert threads() == {2}

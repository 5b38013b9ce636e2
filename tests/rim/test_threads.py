"""The digits of a photo do not go with the number of cores."""

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import Barrier

import numpy as np
import pytest
from threadpoolctl import threadpool_info, threadpool_limits

from rimread.photo import read_photo
from rimread.rim.find import find_rim
from rimread.rim.threads import one_thread

PHOTO = Path(__file__).parents[2] / "sample_images" / "hall-plate-1.jpg"


def of_products():
    """Threads that the libraries for matrix products use."""
    np.ones((2, 2)) @ np.ones((2, 2))
    return {one["num_threads"] for one in threadpool_info() if one["user_api"] == "blas"}


def one_of(before):
    """The same libraries on one thread; none where they cannot be told, as Apple's."""
    return {1} if before else set()


def test_products_run_on_one_thread_meanwhile_and_on_as_many_as_before_afterwards():
    with threadpool_limits(limits=2, user_api="blas"):
        before = of_products()
        assert one_thread(of_products)() == one_of(before)
        assert of_products() == before


def test_a_fault_leaves_the_threads_as_they_were():
    with threadpool_limits(limits=2, user_api="blas"):
        before = of_products()
        with pytest.raises(ZeroDivisionError):
            one_thread(lambda: 1 / 0)()
        assert of_products() == before


def test_of_two_at_once_neither_lifts_the_limit_of_the_other():
    """Without a limit round it: where one thread holds a limit, others may not set theirs."""
    at_work = Barrier(2, timeout=10)

    def begin():
        at_work.wait()
        return one_thread(lambda: [of_products() for _ in range(20)])()

    before = of_products()
    with ThreadPoolExecutor(2) as pool:
        told = [future.result() for future in (pool.submit(begin), pool.submit(begin))]
    assert told == [[one_of(before)] * 20] * 2
    assert of_products() == before


def test_a_rim_is_the_same_on_one_thread_and_on_two():
    photo, rims = read_photo(PHOTO), []
    for threads in (1, 2):
        with threadpool_limits(limits=threads, user_api="blas"):
            rims.append(find_rim(photo))
    one, two = rims
    assert one.ellipse == two.ellipse
    assert np.array_equal(one.points_px, two.points_px)

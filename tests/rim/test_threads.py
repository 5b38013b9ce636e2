"""The digits of a photo do not go with the number of cores."""

from pathlib import Path

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


def test_products_run_on_one_thread_meanwhile_and_on_as_many_as_before_afterwards():
    with threadpool_limits(limits=2, user_api="blas"):
        before = of_products()
        assert one_thread(of_products)() == {1}
        assert of_products() == before


def test_a_fault_leaves_the_threads_as_they_were():
    before = of_products()
    with pytest.raises(ZeroDivisionError):
        one_thread(lambda: 1 / 0)()
    assert of_products() == before


def test_a_rim_is_the_same_on_one_thread_and_on_two():
    photo, rims = read_photo(PHOTO), []
    for threads in (1, 2):
        with threadpool_limits(limits=threads, user_api="blas"):
            rims.append(find_rim(photo))
    one, two = rims
    assert one.ellipse == two.ellipse
    assert np.array_equal(one.points_px, two.points_px)

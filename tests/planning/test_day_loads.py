"""A slab's placing lasts until the loads ordered for it are empty."""

import numpy as np
import pytest

from pourstats.planning.day.slabs import held_by_loads


def test_loads_far_apart_hold_placing_up_and_loads_close_together_do_not():
    place_h = np.array([1.0, 3.0, 2.0])
    assert held_by_loads(place_h, np.array([6.0, 5.0, 7.0])).tolist() == [5.0, 7.0, 6.0]
    assert held_by_loads(place_h, np.array([0.2, 0.3, 0.1])).tolist() == place_h.tolist()


def test_two_readings_of_the_same_length_do_not_add_up_to_a_longer_one():
    rng = np.random.default_rng(3)
    place_h, out_h = np.exp(rng.normal(0.4, 0.3, (2, 20_000)))
    # the longer of two unmatched ones would be some 17 % longer
    assert np.maximum(place_h, out_h).mean() > 1.1 * place_h.mean()
    assert held_by_loads(place_h, out_h).mean() == pytest.approx(place_h.mean(), rel=0.02)

"""The individuals chart and the usual range."""

import numpy as np
import pytest

from pourstats.learning.control import individuals_chart, ratio_chart, usual_range
from tests.published_week import (
    NIST_FLOW,
    NIST_FLOW_LOWER,
    NIST_FLOW_MEAN,
    NIST_FLOW_MEAN_RANGE,
    NIST_FLOW_UPPER,
)


def test_the_individuals_chart_is_the_handbooks():
    # NIST/SEMATECH e-Handbook 6.3.2.2, printed to four decimals.
    chart = individuals_chart(NIST_FLOW)
    assert chart.centre == pytest.approx(NIST_FLOW_MEAN, abs=5e-5)
    assert chart.mean_range == pytest.approx(NIST_FLOW_MEAN_RANGE, abs=5e-5)
    assert chart.upper == pytest.approx(NIST_FLOW_UPPER, abs=5e-5)
    assert chart.lower == pytest.approx(NIST_FLOW_LOWER, abs=5e-5)
    assert not chart.outside(NIST_FLOW).any()


def test_a_value_on_a_limit_is_inside_and_one_beyond_is_out():
    chart = individuals_chart(NIST_FLOW)
    values = [chart.upper, np.nextafter(chart.upper, 99), chart.lower - 0.1, np.nan]
    assert chart.outside(values).tolist() == [False, True, True, False]


def test_unknown_values_are_left_out_and_one_value_makes_no_chart():
    with_gaps = individuals_chart([49.6, np.nan, *NIST_FLOW[1:]])
    assert with_gaps == individuals_chart(NIST_FLOW)
    assert individuals_chart([3.0]) is None
    assert individuals_chart([]) is None
    assert ratio_chart([np.nan, -1.0, 0.0, 2.0]) is None


def test_ratio_limits_are_symmetric_in_factors_and_above_zero():
    ratios = np.array([0.5, 2.0, 0.6, 1.7, 1.0, 0.4])
    chart, turned = ratio_chart(ratios), ratio_chart(1.0 / ratios)
    assert chart.lower > 0.0
    assert chart.upper == pytest.approx(1.0 / turned.lower)
    assert chart.centre == pytest.approx(np.exp(np.log(ratios).mean()))


def test_the_usual_range_holds_the_next_value_eight_times_in_ten():
    # 2,000 crews of 20 weeks each, then one more week: 80 percent, and its own sampling error
    # (standard error 0.9 points, so 4 points is beyond 4 of them).
    random = np.random.default_rng(5)
    weeks = random.lognormal(size=(2000, 21))
    ranges = [usual_range(crew[:20]) for crew in weeks]
    inside = [r.place(crew[20]) == "usual" for r, crew in zip(ranges, weeks, strict=True)]
    assert np.mean(inside) == pytest.approx(0.8, abs=0.04)


def test_few_values_make_no_range():
    assert usual_range([1.0] * 7) is None
    assert usual_range([1.0, np.nan] * 7) is None
    known = usual_range(range(1, 10))
    assert (known.low, known.middle, known.high, known.count) == (1.0, 5.0, 9.0, 9)
    assert [known.place(v) for v in (0.5, 3.0, 9.5, None)] == ["below", "usual", "above", None]

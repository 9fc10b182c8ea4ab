"""NPV, IRR and annuities, against textbooks and a reference library."""

from __future__ import annotations

import numpy as np
import pytest
import pyxirr

from reclaim.appraisal import (
    annuity_factor,
    internal_rate_of_return,
    net_present_value,
    payback_years,
)


def flows(*values):
    return np.array([values], dtype=float)


def test_textbook_npv_and_irr() -> None:
    # Brealey and Myers, Principles of Corporate Finance: -4000, 2000, 4000 has an IRR of 28.08 %.
    flow = flows(-4000, 2000, 4000)
    assert net_present_value(flow, np.array([0.10]))[0] == pytest.approx(1123.9669, abs=5e-5)
    assert internal_rate_of_return(flow)[0][0] == pytest.approx(0.28077641, abs=5e-9)


def test_second_textbook_irr() -> None:
    # Gitman (2003), Principles of Managerial Finance, p. 348, as in the manual of numpy: 28.09 %.
    rate, roots = internal_rate_of_return(flows(-100, 39, 59, 55, 20))
    assert rate[0] == pytest.approx(0.28094842, abs=5e-9)
    assert roots[0] == 1


def test_flow_with_two_rates_gets_none() -> None:
    # Lorie and Savage (1955), the oil pump: 25 % and 400 %.
    flow = flows(-1600, 10000, -10000)
    rate, roots = internal_rate_of_return(flow)
    assert roots[0] == 2
    assert np.isnan(rate[0])
    for known in (0.25, 4.0):
        assert net_present_value(flow, np.array([known]))[0] == pytest.approx(0, abs=1e-9)


def test_npv_of_manual_example() -> None:
    # The example of numpy-financial's manual (from memory): NPV 3065.2227 at 8 %.
    flow = flows(-40000, 5000, 8000, 12000, 30000)
    assert net_present_value(flow, np.array([0.08]))[0] == pytest.approx(3065.2227, abs=5e-5)
    assert internal_rate_of_return(flow)[0][0] == pytest.approx(0.10582260, abs=5e-9)


@pytest.mark.parametrize("values", [(-100, 0, 0, 74), (-100, 100, 0, 7), (-5, 1, 1, 1, 9)])
def test_against_reference_library(values) -> None:
    # pyxirr, an independent implementation.
    flow = flows(*values)
    assert internal_rate_of_return(flow)[0][0] == pytest.approx(pyxirr.irr(values), abs=1e-9)
    expected = pyxirr.npv(0.035, values)
    assert net_present_value(flow, np.array([0.035]))[0] == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("rate", "years", "expected"),
    [(0.03, 30, 19.6004), (0.035, 10, 8.3166), (0.05, 20, 12.4622), (0.08, 5, 3.9927), (0, 7, 7)],
)
def test_annuity_factors(rate, years, expected) -> None:
    # Present-value tables of any finance textbook.
    assert annuity_factor(rate, years) == pytest.approx(expected, abs=5e-5)
    paid = np.concatenate([[0.0], np.ones(years)])[None, :]
    assert net_present_value(paid, np.array([rate]))[0] == pytest.approx(
        annuity_factor(rate, years), rel=1e-12
    )


def test_payback_within_a_year() -> None:
    # By hand: 100 paid, 40 a year: after 2.5 years.
    assert payback_years(flows(-100, 40, 40, 40))[0] == pytest.approx(2.5)
    assert np.isnan(payback_years(flows(-100, 40, 40))[0])
    assert payback_years(flows(10, -5))[0] == 0


def test_no_sign_change_has_no_rate() -> None:
    rate, roots = internal_rate_of_return(np.array([[-1.0, -1.0], [1.0, 1.0], [0.0, 0.0]]))
    assert np.isnan(rate).all()
    assert (roots == 0).all()

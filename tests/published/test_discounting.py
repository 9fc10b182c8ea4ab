"""NPV, IRR and annuities, against textbooks and a reference library."""

from __future__ import annotations

import numpy as np
import pytest
import pyxirr

from reclaim.appraisal import (
    all_rates_of_return,
    annuity_factor,
    convention_factors,
    equivalent_annual_cost,
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


@pytest.mark.parametrize(
    ("year", "factor"),
    [(1, 0.9662), (5, 0.8420), (10, 0.7089), (20, 0.5026), (30, 0.3563), (31, 0.3459),
     (40, 0.2651), (50, 0.1973), (60, 0.1468), (75, 0.0942), (76, 0.0919), (100, 0.0508),
     (125, 0.0274)],
)  # fmt: skip
def test_green_book_declining_factors(year, factor) -> None:
    # HM Treasury, The Green Book: 3.5 % to year 30, 3.0 % to 75, 2.5 % to 125; factors worked out
    # year by year.
    assert convention_factors("uk_green_book", 126)[year] == pytest.approx(factor, abs=5e-5)


@pytest.mark.parametrize(
    ("convention", "rate"), [("eu_social", 0.03), ("eu_financial", 0.04), ("us_a94", 0.07)]
)
def test_constant_conventions(convention, rate) -> None:
    # EU guide to cost-benefit analysis (2014) and OMB A-94 (1992), from memory.
    np.testing.assert_allclose(convention_factors(convention, 40), (1 + rate) ** -np.arange(40.0))


@pytest.mark.parametrize(
    ("rate", "factor"),
    [(0.03, 0.067216), (0.035, 0.070361), (0.05, 0.080243), (0.07, 0.094393), (0.08, 0.101852)],
)
def test_capital_recovery_over_20_years(rate, factor) -> None:
    # Present-value tables of any finance textbook.
    found = equivalent_annual_cost(np.ones(1), np.array([rate]), np.array([20.0]))
    assert found[0] == pytest.approx(factor, abs=5e-7)


@pytest.mark.parametrize("values", [(-100, 100, 0, -7), (-1600, 10000, -10000), (-4, 2, 4)])
def test_every_rate_makes_it_worth_nothing(values) -> None:
    # pyxirr's npv as the reference: at each rate found the value is nothing.
    flow = np.array(values, dtype=float)
    for rate in all_rates_of_return(flow):
        assert pyxirr.npv(float(rate), values) == pytest.approx(0, abs=1e-7)


def test_two_rates_of_a_late_liability() -> None:
    # -100, 100, 0, -7: -8.33 % (numpy's root) and -67.89 % both solve it; aftercare makes flows
    # like this one.
    rates = all_rates_of_return(np.array([-100.0, 100.0, 0.0, -7.0]))
    np.testing.assert_allclose(rates, [-0.6789, -0.0833], atol=5e-5)

"""Laboratory means in place of reference values."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest

from reclaim.assumptions import Draws, stated_assumption
from reclaim.plant import run_line
from reclaim.reference import assumption_defaults
from reclaim.waste import LabMean, core_composites, laboratory_fits, laboratory_means, to_laboratory

MEASURED = (
    LabMean("ash", 0.62, 0.02, 9),
    LabMean("ncv_dry_mj_kg", 8.5, 0.6, 9),
    LabMean("chlorine", 0.006, 0.0005, 9),
    LabMean("mercury_mg_kg", 1.3, 0.2, 9),
)


def with_weight(assumptions, value):
    key = "waste.laboratory_weight"
    return {**assumptions, key: stated_assumption(assumption_defaults()[key], value)}


def mix(feed, quantity):
    share = feed.dry_t / feed.dry_t.sum(axis=1, keepdims=True)
    return (share * getattr(feed.properties, quantity)).sum(axis=1)


def lab_cores(make_cores, ncv, moisture=0.4):
    names = [f"C{number}" for number in range(len(ncv))]
    return make_cores(
        [(name, 1.0, 3.0, moisture, {"fines": 60.0, "glass": 20.0}) for name in names],
        [(name, 1.0, 3.0, "waste", "") for name in names],
        lab=[(name, 1.0, 3.0, value, 0.7) for name, value in zip(names, ncv, strict=True)],
    )


@pytest.mark.parametrize("measured", MEASURED)
def test_the_mix_meets_the_measured_mean(make_feed, assumptions, best, measured) -> None:
    feed = to_laboratory(make_feed(), [measured], assumptions, best)
    assert mix(feed, measured.quantity)[0] == pytest.approx(measured.mean, rel=1e-9)


def test_draws_carry_the_standard_error(make_feed, assumptions) -> None:
    draws = Draws(4000, seed=2)
    feed = to_laboratory(make_feed(draws=draws), MEASURED, assumptions, draws)
    for measured in MEASURED:
        found = mix(feed, measured.quantity)
        assert found.mean() == pytest.approx(measured.mean, rel=0.01)
        assert found.std() == pytest.approx(measured.standard_error, rel=0.03)


def test_one_factor_for_all(make_feed, assumptions, best) -> None:
    before = make_feed()
    feed = to_laboratory(before, MEASURED[1:2], assumptions, best)
    burning = before.properties.ncv_dry_mj_kg > 0
    ratio = feed.properties.ncv_dry_mj_kg[burning] / before.properties.ncv_dry_mj_kg[burning]
    np.testing.assert_allclose(ratio, ratio[0], rtol=1e-12)
    np.testing.assert_array_equal(feed.properties.ash, before.properties.ash)


def test_weight_nought_keeps_the_reference_values(make_feed, assumptions, best) -> None:
    before = make_feed()
    feed = to_laboratory(before, MEASURED, with_weight(assumptions, 0), best)
    for measured in MEASURED:
        np.testing.assert_allclose(
            getattr(feed.properties, measured.quantity),
            getattr(before.properties, measured.quantity),
            rtol=1e-9,
        )


def test_nothing_measured_changes_nothing(make_feed, assumptions, best) -> None:
    before = make_feed()
    after = to_laboratory(before, [], assumptions, best)
    assert after.properties == before.properties


@pytest.mark.parametrize("ash", [0.25, 0.95])
@pytest.mark.parametrize("ncv", [1.0, 25.0])
def test_extremes_stay_physical_and_balances_close(
    make_feed, assumptions, default_line, ash, ncv
) -> None:
    draws = Draws(200, seed=5)
    means = (LabMean("ash", ash, 0.05, 5), LabMean("ncv_dry_mj_kg", ncv, 2.0, 5), *MEASURED[2:])
    before = make_feed(draws=draws)
    feed = to_laboratory(before, means, assumptions, draws)
    found, reference = feed.properties, before.properties
    assert (found.ash >= 0).all()
    assert (found.degradable <= 1 - found.ash + 1e-12).all()
    assert (found.ash <= np.maximum(1 - found.carbon, reference.ash) + 1e-12).all()
    assert (found.chlorine <= 1).all()
    # Polyethylene, the best fuel of all, has about 43 MJ/kg net: common practice, no source.
    assert (found.ncv_dry_mj_kg <= 45 * (1 - found.ash) + 1e-9).all()
    assert (found.ncv_dry_mj_kg >= 0).all()
    balance = run_line(feed, default_line, assumptions, draws).balance
    for item in fields(balance):
        assert getattr(balance, item.name) < 1e-9, item.name


def test_calorific_value_is_turned_dry_by_the_moisture_of_its_core(make_cores) -> None:
    # ISO 21654: q_dry = (q_ar + 2.443 M) / (1 - M); 5 MJ/kg at 40 % water is 9.962 MJ/kg dry.
    cores = lab_cores(make_cores, [5.0] * 5)
    found = {mean.quantity: mean for mean in laboratory_means(cores, core_composites(cores))}
    assert found["ncv_dry_mj_kg"].mean == pytest.approx((5 + 2.443 * 0.4) / 0.6, rel=1e-4)
    assert found["ncv_dry_mj_kg"].standard_error == pytest.approx(0, abs=1e-12)
    assert found["ash"].mean == pytest.approx(0.7)
    assert set(found) == {"ash", "ncv_dry_mj_kg"}


def test_standard_error_by_hand(make_cores) -> None:
    # Equal lengths: s / sqrt(n) = 1.5811 / sqrt(5), times sqrt(4 / 2) for the t distribution with
    # four degrees of freedom, whose variance is 4 / (4 - 2).
    cores = lab_cores(make_cores, [3.0, 4.0, 5.0, 6.0, 7.0], moisture=0.0)
    (ncv,) = (
        mean
        for mean in laboratory_means(cores, core_composites(cores))
        if mean.quantity == "ncv_dry_mj_kg"
    )
    assert ncv.standard_error == pytest.approx(np.sqrt(2.5 / 5) * np.sqrt(2), rel=1e-9)


def test_too_few_cores_and_unknown_moisture_are_left_out(make_cores) -> None:
    few = lab_cores(make_cores, [5.0] * 3)
    assert laboratory_means(few, core_composites(few)) == ()
    dry = lab_cores(make_cores, [5.0] * 5, moisture=float("nan"))
    (ash,) = laboratory_means(dry, core_composites(dry))
    assert ash.quantity == "ash"


def test_fit_sets_measured_beside_reference(make_feed, assumptions, best) -> None:
    before = make_feed()
    after = to_laboratory(before, MEASURED, assumptions, best)
    ash = laboratory_fits(before, after, MEASURED)[0]
    assert ash.of_materials == pytest.approx(mix(before, "ash")[0])
    assert ash.used == pytest.approx(0.62)
    assert ash.misfit == pytest.approx(0.62 / mix(before, "ash")[0] - 1)
    assert replace(ash, of_materials=0.0).misfit == float("inf")

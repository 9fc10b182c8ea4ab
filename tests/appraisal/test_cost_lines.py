"""Lines of the cash flow worked by hand: hours, exhaust heat, contingency, grant; long works."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from reclaim.appraisal import appraise_quantities, quantities_of
from reclaim.appraisal.findings import appraisal_checks
from reclaim.ground import DugVolumes
from reclaim.plant import run_line


def lines(quantities, price):
    return {item.name: item for item in appraise_quantities(quantities, price).items}


def test_hours_are_paid_at_the_hourly_rate(make_quantities, priced) -> None:
    # By hand: 1000 t at 10 000 t in 3000 hours are 300 hours, at 90 an hour 27 000.
    price = priced({
        "plant.capacity_t_y": 10_000.0, "plant.working_hours_y": 3000.0,
        "money.plant_cost_per_h": 90.0,
    })  # fmt: skip
    found = lines(make_quantities(), price)["plant_hours"]
    assert found.group == "operation"
    assert found.flow.sum() == pytest.approx(-27_000)


def test_exhaust_heat_is_bought_too(make_feed, default_line, assumptions, best) -> None:
    feed = make_feed()
    made = run_line(feed, default_line, assumptions, best)
    one = np.ones(1)
    found = quantities_of(DugVolumes(one, one, one, one[:, None]), feed, made, 1.0)
    assert made.drying.air_treatment_mwh[0] > 0
    assert found.heat_mwh[0] == pytest.approx(
        made.drying.heat_bought_mwh[0] + made.drying.air_treatment_mwh[0]
    )


def test_contingency_stays_with_what_it_is_on(make_quantities, priced) -> None:
    found = lines(make_quantities(), priced({"money.contingency_share": 0.3}))
    for group, left_out in (("capital", {"salvage"}), ("operation", set())):
        own = f"contingency_{group}"
        others = [
            item.flow
            for item in found.values()
            if item.group == group and item.name not in {own, *left_out}
        ]
        assert found[own].group == group
        np.testing.assert_allclose(found[own].flow, 0.3 * np.sum(others, axis=0))


def test_a_grant_has_a_group_of_its_own(make_quantities, priced) -> None:
    found = lines(make_quantities(), priced({"money.grant": 5000.0}))
    assert [item.name for item in found.values() if item.group == "grant"] == ["grant"]
    assert found["grant"].flow[0, 0] == 5000


@pytest.mark.parametrize(("capacity", "level"), [(30.0, "warning"), (200.0, "note")])
def test_long_works_are_warned_of(make_quantities, priced, capacity, level) -> None:
    # 1000 t at 30 t a year take 33 years, at 200 t a year 5.
    price = priced({"plant.capacity_t_y": capacity})
    appraisal = appraise_quantities(make_quantities(), price)
    quiet = SimpleNamespace(outside=SimpleNamespace(flags=()), readings=())
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("reclaim.appraisal.findings.answer_survives", lambda _readings: True)
        (check,) = appraisal_checks(appraisal, quiet, 1000.0, price.assumptions)
    assert check.level == level
    assert ("longer than" in check.what) == (level == "warning")

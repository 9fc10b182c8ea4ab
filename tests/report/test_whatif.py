"""The what-if panel: exact where the model is linear, because it is the model."""

from __future__ import annotations

import tomllib
from base64 import b64decode
from dataclasses import replace
from importlib.resources import files

import numpy as np
import pytest

from reclaim.appraisal import appraise
from reclaim.assumptions import Draws
from reclaim.report.whatif import DRAWS_UP_TO, what_if


def numbers(text):
    return np.frombuffer(b64decode(text), dtype="<f4").astype(float)


@pytest.fixture(scope="module")
def panel(demo_estimate):
    return what_if(demo_estimate)


def npv_of_model(estimate, changes):
    """The whole appraisal again with some inputs fixed, best estimate and draws."""
    site = estimate.site
    assumptions = dict(site.assumptions)
    for key, value in changes.items():
        assumptions[key] = replace(assumptions[key], kind="fixed", numbers=(value,), given=True)
    found = []
    for outcome, draws in (
        (estimate.best, Draws.best_estimate()),
        (estimate.draws, estimate.confidence.source),
    ):
        found.append(
            appraise(
                outcome.volumes, outcome.feed, outcome.products,
                float(estimate.excavation.area_m2.sum()), assumptions, draws,
                closed_months=site.closed_months,
                discount_convention=site.discount_convention,
            ).npv
        )  # fmt: skip
    return found


def npv_of_panel(panel, moves, rate=0):
    """What the page's script works out, in the same steps."""
    at = panel.data["rates"][rate]
    best, npv = at["best"], numbers(at["npv"])
    for place, price in moves.items():
        driver = panel.data["drivers"][place]
        was = driver["value"] if driver["drawn"] is None else numbers(driver["drawn"])
        best = best + at["best_slopes"][place] * (price - driver["value"])
        npv = npv + numbers(at["slopes"][place]) * (price - was)
    return best, npv


def test_untouched_it_says_what_the_estimate_says(demo_estimate, panel) -> None:
    best, npv = npv_of_panel(panel, {})
    assert best == pytest.approx(demo_estimate.best.appraisal.npv[0], rel=1e-12)
    assert npv == pytest.approx(demo_estimate.draws.appraisal.npv, rel=1e-6)


@pytest.mark.parametrize("place", range(len(
    tomllib.loads(files("reclaim.report").joinpath("panel.toml").read_text())["drivers"]
)))  # fmt: skip
def test_each_driver_moves_it_as_the_whole_model_does(demo_estimate, panel, place) -> None:
    driver = panel.drivers[place]
    for price in (driver.low, driver.high, driver.low + 0.3 * (driver.high - driver.low)):
        best, npv = npv_of_panel(panel, {place: price})
        model_best, model = npv_of_model(demo_estimate, {driver.key: price})
        scale = abs(model).max()
        assert best == pytest.approx(model_best[0], abs=1e-9 * scale)
        assert npv == pytest.approx(model, abs=1e-6 * scale)


def test_several_drivers_and_another_rate_at_once(demo_estimate, panel) -> None:
    moves = {place: driver.high for place, driver in enumerate(panel.drivers)}
    changes = {driver.key: driver.high for driver in panel.drivers}
    rates = tomllib.loads(files("reclaim.report").joinpath("panel.toml").read_text())["rates"]
    place = rates.index(0.08)
    best, npv = npv_of_panel(panel, moves, 1 + place)
    model_best, model = npv_of_model(demo_estimate, {**changes, "money.discount_rate": 0.08})
    scale = abs(model).max()
    assert best == pytest.approx(model_best[0], abs=1e-9 * scale)
    assert npv == pytest.approx(model, abs=1e-6 * scale)


def test_too_many_draws_leave_it_out(demo_estimate) -> None:
    confidence = demo_estimate.confidence
    source = replace(confidence.source, n_draws=DRAWS_UP_TO + 1)
    many = replace(demo_estimate, confidence=replace(confidence, source=source))
    assert what_if(many) is None

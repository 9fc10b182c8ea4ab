"""Gas let out at an opened face, against mass balances and published curves."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reclaim.assumptions import Draws, default_assumption
from reclaim.hazards.opening import (
    FARTHEST_M,
    NEAREST_M,
    axis_share,
    diffusive_release,
    dilution_air,
    distance_downwind,
    face_caution,
    open_face,
)
from reclaim.hazards.readings import Reading
from reclaim.hazards.residual_methane import residual_gas, residual_methane
from reclaim.hazards.rough_numbers import rough
from reclaim.reference import assumption_defaults, constant

ASSUMPTIONS = {key: default_assumption(row) for key, row in assumption_defaults().items()}
CH4 = [Reading("ch4_pct", value, "C1") for value in (10.0, 25.0, 46.0)]
H2S = [Reading("h2s_ppm", value, "C1") for value in (0.0, 5.0, 40.0)]


def opened(readings: list[Reading], draws: Draws | None = None, waste_m3: float = 5e5) -> object:
    draws = draws or Draws.best_estimate()
    same = np.ones(draws.n_draws)
    return open_face(
        readings=readings,
        waste_m3=waste_m3 * same,
        area_m2=60_000.0,
        density_t_m3=1.1 * same,
        generated_m3_d=190.0 * same,
        trigger_pct=1.0,
        assumptions=ASSUMPTIONS,
        draws=draws,
    )


def test_the_best_estimate_by_hand() -> None:
    found = opened(CH4)
    dug = 60_000 / 1.1 / 250
    assert found.dug_m3_d[0] == pytest.approx(dug)
    assert found.stored_m3_d[0] == pytest.approx(dug * 0.2 * 0.25)
    assert found.generated_m3_d[0] == pytest.approx(190 * 3 * 500 / 60_000)
    hourly = found.stored_m3_d[0] / 8 + (found.seeping_m3_d[0] + found.generated_m3_d[0]) / 24
    assert found.peak_m3_s[0] == pytest.approx(hourly / 3600)


def test_stored_gas_day_by_day_adds_up_to_what_the_pores_hold() -> None:
    # Mass balance: all days of the dig together let out the stored gas, once.
    found = opened(CH4)
    days = 5e5 / found.dug_m3_d[0]
    assert days * found.stored_m3_d[0] == pytest.approx(found.whole_dig_m3[0])
    assert found.whole_dig_m3[0] == pytest.approx(5e5 * 0.2 * 0.25)


def test_a_face_never_gives_off_more_than_lies_behind_it() -> None:
    # A column of 50 m, closed at its far end, by finite differences: the closed form must match
    # it while the far end is untouched, and neither may exceed the gas that was there.
    pores, all_pores, share, days = 0.2, 0.5, 0.25, 30.0
    power = 10 / 3  # Millington and Quirk (1961)
    in_waste = constant("methane_diffusivity_m2_s") * pores**power / all_pores**2 / pores
    cell_m, cells = 0.05, 1000
    concentration = np.full(cells, share)
    step_s = 0.2 * cell_m**2 / in_waste
    for _ in range(int(days * 86_400 / step_s)):
        padded = np.concatenate(([-concentration[0]], concentration, [concentration[-1]]))
        concentration = concentration + 0.2 * np.diff(padded, 2)
    lost = pores * cell_m * (share - concentration).sum()
    formula = diffusive_release(share, np.array(pores), np.array(all_pores), np.array(days))
    assert float(formula) == pytest.approx(lost, rel=0.01)
    assert float(formula) < pores * share * cells * cell_m


def test_generation_at_the_face_is_never_more_than_all_there_is() -> None:
    wide = ASSUMPTIONS | {
        "hazards.face_area_m2": replace(
            ASSUMPTIONS["hazards.face_area_m2"], kind="fixed", numbers=(90_000.0,)
        )
    }
    one = np.ones(1)
    found = open_face(
        readings=CH4, waste_m3=5e5 * one, area_m2=60_000.0, density_t_m3=one,
        generated_m3_d=190.0 * one, trigger_pct=1.0, assumptions=wide,
        draws=Draws.best_estimate(),
    )  # fmt: skip
    assert found.generated_m3_d[0] == pytest.approx(190.0)


def test_dilution_air_closes_the_balance() -> None:
    # methane / (methane + air) is the trigger level
    source = np.array([0.02])
    air = dilution_air(source, 1.0)
    assert source / (source + air) == pytest.approx(0.01)


def test_briggs_curves_at_one_kilometre() -> None:
    # Briggs (1973), open country, from memory of the printed curves at 1 km: class D about 76 m
    # across and 38 m up, class F about 38 m and 12.3 m. share = source / (pi u across up).
    one = np.ones(1)
    for stability, across, up in (("neutral", 76.3, 37.9), ("stable", 38.1, 12.3)):
        share = axis_share(one, 1000 * one, one, 0 * one, stability)
        assert share[0] == pytest.approx(1 / (np.pi * across * up), rel=0.01)


def test_distance_and_share_are_inverse_and_stay_in_range() -> None:
    one = np.ones(1)
    found = distance_downwind(one, 1e-4, one, 22 * one)
    assert axis_share(one, found, one, 22 * one)[0] == pytest.approx(1e-4, rel=1e-3)
    assert distance_downwind(1e-9 * one, 0.5, one, one)[0] == pytest.approx(NEAREST_M)
    assert distance_downwind(1e9 * one, 1e-9, one, one)[0] == pytest.approx(FARTHEST_M)


def test_without_readings_the_usual_share_is_taken_and_zero_is_zero() -> None:
    # ATSDR (2001): 45 to 60 % methane
    assert opened([]).methane_share[0] == pytest.approx(0.525)
    assert opened([]).odour_distance_m is None
    nothing = opened([Reading("ch4_pct", 0.0, "C1"), *H2S])
    assert nothing.stored_m3_d[0] == 0
    assert np.isfinite(nothing.odour_distance_m[0])


def test_the_range_holds_the_best_estimate_and_is_the_same_function() -> None:
    spread = opened(CH4 + H2S, Draws(400, 1))
    low, high = np.quantile(spread.methane_m3_d, [0.05, 0.95])
    assert low < opened(CH4 + H2S).methane_m3_d[0] < high
    caution = face_caution(opened(CH4 + H2S), spread, 1.0)
    assert caution.key == "face_emission"
    assert "m3 of methane a day (P10 to P90" in caution.why
    assert "calm air none of this holds" in caution.why


def test_a_face_that_light_wind_cannot_thin_asks_for_controls() -> None:
    spread = opened(CH4)
    strong = replace(spread, mixed_pct=np.array([1.0]))
    assert face_caution(spread, strong, 1.0).level == "act"
    assert face_caution(spread, replace(spread, mixed_pct=np.array([0.99])), 1.0).level == "watch"


def test_methane_now_is_the_decay_of_what_is_left(make_feed) -> None:
    # IPCC (2006) Volume 5, equations 3.5 and 3.6: the share 1 - exp(-k) of the carbon left rots
    # in a year, so the yearly methane lies between those of the slowest and the quickest class.
    feed = make_feed()
    found = residual_methane(feed, "temperate_wet", ASSUMPTIONS, Draws.best_estimate())
    share = found.generated_t_y[0] / found.potential_t[0]
    assert 1 - np.exp(-0.03) <= share <= 1 - np.exp(-0.14)
    assert found.degradable_t[0] == pytest.approx((feed.dry_t * feed.properties.degradable).sum())


def test_food_waste_of_one_year_gives_the_published_first_year(make_feed) -> None:
    # 1000 t of wet waste, nothing but food and garden waste tipped in the price year: DDOCm times
    # (1 - exp(-k)) times F times 16/12, k 0.14 (Table 3.3, midway); fines and soil play no part.
    feed = make_feed(shares={"garden_food": 1.0}, years=(2025, 2025, 2025))
    found = residual_methane(feed, "temperate_wet", ASSUMPTIONS, Draws.best_estimate())
    assert found.generated_t_y[0] == pytest.approx(found.potential_t[0] * (1 - np.exp(-0.14)))


def test_residual_gas_gives_tonnes_share_and_age(make_feed) -> None:
    best = residual_methane(make_feed(), "temperate_wet", ASSUMPTIONS, Draws.best_estimate())
    (caution,), not_assessed = residual_gas(best, best, age_years=38.0, still_degradable_share=0.12)
    assert f"{best.degradable_t[0]:,.0f} t of dry matter" in caution.why
    assert "12% of the degradable carbon" in caution.why
    assert "38 years before" in caution.why
    assert "t of methane a year now" in caution.why
    assert not_assessed == ()


def test_waste_that_cannot_rot_raises_no_residual_gas_and_unknown_age_is_said(make_feed) -> None:
    best = residual_methane(make_feed(), "temperate_wet", ASSUMPTIONS, Draws.best_estimate())
    none = replace(best, degradable_t=np.zeros(1))
    cautions, not_assessed = residual_gas(none, none)
    assert cautions == ()
    assert any("age of the waste" in sentence for sentence in not_assessed)


@pytest.mark.parametrize(
    ("value", "words"), [(0.0, "0"), (96.4, "96"), (1251.0, "1,300"), (0.0104, "0.010")]
)
def test_rough_numbers_have_two_digits(value: float, words: str) -> None:
    assert rough(value) == words

from __future__ import annotations

import numpy as np
import pytest
import shapely

from reclaim.assumptions import Draws
from reclaim.reference import material_names
from reclaim.waste import (
    core_composites,
    lab_summary,
    layer_composites,
    lift_composites,
    study_cores,
)

NAN = float("nan")


def test_layers_wet_and_dry(make_cores) -> None:
    cores = make_cores(
        [
            ("A", 1.0, 3.0, 0.4, {"garden_food": 50.0, "glass": 50.0}),
            ("A", 3.0, 4.0, NAN, {"fines": 10.0}),
        ],
        [
            ("A", 0.0, 1.0, "cover", ""),
            ("A", 1.0, 3.5, "waste", "upper"),
            ("A", 3.5, 4.0, "waste", "lower"),
        ],
    )
    found = layer_composites(cores)
    wet = found[found["basis"] == "wet"].reset_index(drop=True)
    assert wet["note"].tolist() == ["upper", "lower"]
    # Two metres of one and half a metre of the other, by length.
    assert wet["glass"][0] == pytest.approx(0.5 * 2 / 2.5)
    assert wet["fines"][1] == 1
    dry = found[found["basis"] == "dry"]
    assert dry["note"].tolist() == ["upper"]
    assert float(dry[list(material_names())].sum(axis=1).iloc[0]) == pytest.approx(1)
    # Food holds nearly all of the water, so glass has more of the dry mass than of the wet.
    assert float(dry["glass"].iloc[0]) > 0.4


def test_lifts_cut_samples_at_elevations(make_cores) -> None:
    cores = make_cores(
        [
            ("A", 0.0, 4.0, NAN, {"glass": 1.0}),
            ("B", 0.0, 2.0, NAN, {"fines": 1.0}),
        ],
        [("A", 0.0, 4.0, "waste", ""), ("B", 0.0, 2.0, "waste", "")],
    )
    found = lift_composites(cores, 3.0)  # collars at 20 m, so lifts 21-18 and 18-15
    assert found["top_m"].tolist() == [21.0, 18.0]
    assert found["sampled_m"].tolist() == [4.0, 2.0]
    assert found["cores"].tolist() == [2, 1]
    assert found["glass"].tolist() == pytest.approx([0.5, 1.0])


def study(cores, **more):
    return study_cores(cores, core_composites(cores), seed=1, lift_m=3.0, **more)


def test_trend_with_age_is_that_with_depth_turned_round(make_cores) -> None:
    # Tipping went up 4 m from 1990 to 2000: a metre up is 2.5 years, so 10 years are 4 m up.
    samples = [
        (core, top, top + 2.0, 0.3, {"glass": 1.0 + top + place, "fines": 9.0})
        for place, core in enumerate("ABC")
        for top in (0.0, 2.0)
    ]
    cores = make_cores(samples, [(core, 0.0, 4.0, "waste", "") for core in "ABC"])
    trends = study(cores, years=(1990, 2000)).trends.set_index("material")
    assert trends.loc["glass", "slope_per_m"] > 0
    decade, metre = trends.loc["glass", ["slope_per_decade", "slope_per_m"]]
    assert decade == pytest.approx(-4 * metre)
    assert np.isnan(study(cores).trends["slope_per_decade"]).all()


def test_one_core_leaves_intervals_blank_and_says_so(make_cores) -> None:
    cores = make_cores(
        [("A", 0.0, 2.0, 0.3, {"glass": 1.0, "fines": 3.0})], [("A", 0.0, 2.0, "waste", "")]
    )
    found = study(cores, outline=shapely.box(-50, -50, 50, 50))
    site = found.statistics[found.statistics["zone"] == "site"].set_index("material")
    assert site.loc["glass", "mean"] == 0.25
    assert np.isnan(site.loc["glass", "bca_low"])
    assert np.isnan(site.loc["glass", "sd"])
    assert any("one core" in note for note in found.notes)
    assert any("Never found" in note for note in found.notes)
    assert np.isnan(found.zones_chance)
    assert found.precision["cores_needed"].isna().all()


def test_a_constant_material_has_no_width(make_cores) -> None:
    rng = np.random.default_rng(0)
    samples = []
    for name in "ABCDEF":
        wood = float(rng.uniform(1, 3))
        samples.append((name, 0.0, 2.0, 0.3, {"glass": 2.0, "wood": wood, "fines": 8 - wood}))
    found = study(make_cores(samples, [(n, 0.0, 2.0, "waste", "") for n in "ABCDEF"]))
    site = found.statistics.set_index("material")
    assert site.loc["glass", ["mean", "bca_low", "bca_high"]].to_numpy(float) == pytest.approx(0.2)
    assert site.loc["wood", "bca_low"] < site.loc["wood", "mean"] < site.loc["wood", "bca_high"]
    assert site.loc["hazardous", "mean"] == 0
    assert site.loc["hazardous", "found_in"] == 0
    assert any("declustered" in note for note in found.notes)
    assert any("on one line" in note for note in found.notes)


def test_declustered_mean_listens_to_the_lonely_core(make_cores) -> None:
    samples = [(n, 0.0, 2.0, NAN, {"fines": 1.0}) for n in "ABCD"]
    samples.append(("E", 0.0, 2.0, NAN, {"glass": 1.0}))
    places = {"A": (19, 20), "B": (23, 20), "C": (20, 17), "D": (20, 23), "E": (80, 80)}
    cores = make_cores(
        samples, [(n, 0.0, 2.0, "waste", "") for n in "ABCDE"], places, dict.fromkeys("ABCDE", "a")
    )
    found = study(cores, outline=shapely.box(0, 0, 100, 100))
    glass = found.statistics.set_index(["zone", "material"]).loc[("a", "glass")]
    assert glass["mean"] == pytest.approx(0.2)
    assert glass["mean_by_area"] == pytest.approx(0.5, abs=0.05)
    assert glass["mean_by_cells"] > 0.3
    assert glass["used"] == "zone mean"


def test_a_zone_of_two_cores_is_said_to_take_the_site(make_cores) -> None:
    samples = [(n, 0.0, 2.0, NAN, {"fines": 2.0, "glass": 1.0 + i}) for i, n in enumerate("ABCDE")]
    cores = make_cores(
        samples,
        [(n, 0.0, 2.0, "waste", "") for n in "ABCDE"],
        zones=dict.fromkeys("ABC", "a") | dict.fromkeys("DE", "b"),
    )
    used = study(cores).statistics.drop_duplicates("zone").set_index("zone")["used"]
    assert used["a"] == "zone mean"
    assert used["b"] == "site mean"


def test_no_sample_in_waste_is_refused(make_cores) -> None:
    cores = make_cores([("A", 0.0, 1.0, NAN, {"glass": 1.0})], [("A", 0.0, 1.0, "natural", "")])
    with pytest.raises(ValueError, match="No core"):
        study(cores)


def test_lab_values_by_core_and_length(make_cores) -> None:
    cores = make_cores(
        [("A", 0.0, 1.0, NAN, {"glass": 1.0})],
        [
            ("A", 0.0, 4.0, "waste", ""),
            ("B", 0.0, 2.0, "waste", ""),
            ("B", 2.0, 9.0, "natural", ""),
        ],
        lab=[
            ("A", 0.0, 3.0, 4.0, 0.5),
            ("A", 3.0, 4.0, 8.0, NAN),
            ("B", 1.0, 3.0, 6.0, 0.7),
            ("B", 5.0, 6.0, 99.0, 0.9),
        ],
    )
    found = lab_summary(cores, Draws(200, seed=1)).set_index("quantity")
    # Core A: (3 x 4 + 1 x 8) / 4 = 5 over 4 m; core B: 6 over the one metre that is waste.
    assert found.loc["ncv_mj_kg", "mean"] == pytest.approx((4 * 5 + 6) / 5)
    assert found.loc["ncv_mj_kg", "most"] == 6
    assert found.loc["ash", "mean"] == pytest.approx((3 * 0.5 + 0.7) / 4)
    assert found.loc["ash", "tests"] == 2
    assert lab_summary(make_cores([], [("A", 0.0, 1.0, "waste", "")]), Draws(9, seed=1)).empty

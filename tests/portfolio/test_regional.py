"""Defaults by region: they close, carry their sources, and never replace what is stated."""

from __future__ import annotations

import pytest

from reclaim.portfolio import Terrain, jobs_from_layer
from reclaim.portfolio.drivers import is_shared
from reclaim.portfolio.reader import read_job
from reclaim.portfolio.regional import composition_of, fill_in, regional_defaults, regions
from reclaim.reference import assumption_defaults, material_names, read_rows
from reclaim.site import Findings, SiteError

ERAS = {(row["region"], row["from_year"]) for row in read_rows("regional_compositions.csv")}


@pytest.mark.parametrize(("region", "year"), sorted(ERAS))
def test_a_regional_composition_has_every_material_and_adds_up(region, year) -> None:
    era, shares = composition_of(region, float(year) if year else None)
    assert era
    assert set(shares) == set(material_names())
    assert sum(share.mode for share in shares.values()) == pytest.approx(1, abs=1e-6)


def test_every_region_can_be_taken() -> None:
    assert set(regions()) == {region for region, _ in ERAS}


def test_eras_follow_each_other_without_a_gap() -> None:
    for year in range(1900, 2030):
        assert composition_of("europe", year)[0] != "any"
    assert composition_of("europe", 1964)[0] == "before_1965"
    assert composition_of("europe", 1965)[0] == "1965_1990"
    assert composition_of("europe", None)[0] == "any"
    assert composition_of("south_asia", 1980)[0] == "any"


def test_an_unknown_era_is_as_wide_as_all_eras() -> None:
    _, unknown = composition_of("europe", None)
    for year in (1950, 1980, 2000):
        for name, share in composition_of("europe", year)[1].items():
            assert unknown[name].low <= share.low
            assert share.high <= unknown[name].high


def test_published_sorts_lie_within_the_defaults() -> None:
    """Shares that others dug up and sorted; mass of wet waste."""
    _, europe = composition_of("europe", 1978)
    # Quaghebeur et al. (2013), Journal of Cleaner Production 55, household waste 14 to 29 years
    # old in Flanders, from memory: means with one standard deviation.
    plastics = europe["plastic_film"], europe["plastic_dense"]
    assert sum(share.low for share in plastics) < 0.17 < sum(share.high for share in plastics)
    assert europe["fines"].low <= 0.44 <= europe["fines"].high
    assert europe["paper_card"].low < 0.075 < europe["paper_card"].high
    assert europe["wood"].low < 0.067 < europe["wood"].high
    # Danish Environmental Protection Agency (2018), Miljoprojekt 1982: 75 % soil, 13 % stone.
    assert europe["fines"].high >= 0.75
    assert europe["stone_ceramic"].low < 0.13 < europe["stone_ceramic"].high
    # Stock study of all Chinese prefectures (2023): 61.1 % soil-like, 12.7 % plastic and rubber.
    _, china = composition_of("east_asia", None)
    assert china["fines"].mode == pytest.approx(0.611)
    names = ("plastic_film", "plastic_dense", "rubber_leather")
    assert sum(china[name].mode for name in names) == pytest.approx(0.127)


@pytest.mark.parametrize("key", ["waste.bulk_density_t_m3", "waste.moisture", "waste.age_years"])
def test_a_screening_is_wider_than_an_estimate(key) -> None:
    usual, wide = assumption_defaults()[key].quantity, regional_defaults()[key]
    assert wide.low < usual.low
    assert usual.high < wide.high


def test_what_is_stated_stays() -> None:
    document = {
        "site": {"name": "A", "opened": 1970, "closed": 1980},
        "waste": {"moisture": 0.2, "composition": {"fines": 1.0}},
        "surfaces": {"survey": "a.tif", "base_elevation_m": 3.0},
    }
    filled = fill_in(document, "a.toml", Findings())
    assert set(filled.quantities) == {"waste.bulk_density_t_m3"}
    assert document["waste"]["moisture"] == 0.2
    assert document["waste"]["composition"] == {"fines": 1.0}
    assert not filled.base_from_rim
    assert filled.era == ""


def test_samples_of_cores_go_before_the_region() -> None:
    document = {"site": {"name": "A"}, "cores": {"samples": "s.csv"}, "surfaces": {"base": "b"}}
    assert not fill_in(document, "a.toml", Findings()).quantities


def test_a_default_is_never_shown_as_given(place) -> None:
    job = jobs_from_layer(
        place.layer,
        Terrain(str(place.ground), None),
        shared=place.shared,
        mapping={"waste.moisture": "wetness"},
        id_column=None,
        findings=Findings(),
    )[0]
    site = read_job(job).site
    assert site.assumptions["waste.moisture"].given
    assert site.assumptions["waste.moisture"].central == pytest.approx(0.4)
    density = site.assumptions["waste.bulk_density_t_m3"]
    assert (density.given, density.status) == (False, "judgement")
    assert not any(share.given for share in site.composition.values())
    assert not site.settings["surfaces.base_sd_m"].given
    assert (
        site.settings["surfaces.base_sd_m"].value == regional_defaults()["surfaces.base_sd_m"].mode
    )


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"region": "atlantis"}, "no region 'atlantis'"),
        ({"regoin": "europe"}, "no key 'regoin'"),
        ({"depth_below_rim_m": "deep"}, "'deep'"),
        ({"depth_below_rim_m": -1}, "-1"),
        (3, "must be a section"),
    ],
)
def test_wrong_screening_keys_are_named(asked, words) -> None:
    findings = Findings()
    assert fill_in({"screening": asked}, "a.toml", findings) is None
    with pytest.raises(SiteError, match=words):
        findings.stop_on_errors()


def test_markets_are_shared_and_ground_is_not() -> None:
    for name in (
        "money.price_fuel_per_t",
        "share magnet ferrous",
        "wood ncv_dry",
        "plant.heat_loss",
    ):
        assert is_shared(name), name
    for name in ("ground.correlated", "waste.moisture", "waste.composition.wood", "cores of whole"):
        assert not is_shared(name), name
    assert not is_shared("money.land_value_per_m2")

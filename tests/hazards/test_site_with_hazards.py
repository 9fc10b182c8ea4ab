"""The section [hazards] of a site file, from the file to the cautions of the demo site."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

import reclaim
from reclaim.hazards import rule_book
from reclaim.site import SiteError

DEMO = Path(__file__).parents[2] / "demo_site"
LIMITS = "key,value,level,limit,jurisdiction\nmethane_excavation,0.5,stop,county rule 9,Fenshire\n"
WORDS = "key,word,match\ntyres,gumiabroncs,near\n"
RECEPTORS = """{"type": "FeatureCollection", "crs": {"type": "name", "properties":
 {"name": "%s"}}, "features": [{"type": "Feature", "properties": {"name": "Mill House"},
 "geometry": {"type": "Point", "coordinates": [493250, 5973000]}}]}"""


def site_with(folder: Path, section: str) -> Path:
    """Copy the demo site and put a section [hazards] in place of its own, if it has one."""
    shutil.copytree(DEMO, folder, ignore=shutil.ignore_patterns("*.py", "__pycache__"))
    text = (folder / "site.toml").read_text(encoding="utf-8")
    head = text.split("[hazards]")[0]
    (folder / "site.toml").write_text(f"{head}\n{section}", encoding="utf-8")
    return folder / "site.toml"


def crs_of_demo() -> str:
    import rasterio

    with rasterio.open(DEMO / "survey.tif") as survey:
        return str(survey.crs)


def test_the_whole_section_reaches_the_site(tmp_path: Path) -> None:
    path = site_with(
        tmp_path / "site",
        '[hazards]\nprofile = "uk"\nlocal_limits = "limits.csv"\nwords = "words.csv"\n'
        'receptors = "receptors.geojson"\nface_area_m2 = 300\n',
    )
    (path.parent / "limits.csv").write_text(LIMITS, encoding="utf-8")
    (path.parent / "words.csv").write_text(WORDS, encoding="utf-8")
    (path.parent / "receptors.geojson").write_text(RECEPTORS % crs_of_demo(), encoding="utf-8")
    site = reclaim.read_site(path)
    assert site.hazards.profile == "uk"
    assert site.hazards.words[0].word == "gumiabroncs"
    assert site.hazards.receptors[0].name == "Mill House"
    assert site.assumptions["hazards.face_area_m2"].central == 300
    assert site.files["gas"] == "gas.csv"
    assert {"limits.csv", "words.csv", "receptors.geojson"} <= {file.path for file in site.inputs}
    assert {"row", "date"} <= set(site.cores.gas.columns)
    book = rule_book(site.hazards.profile, site.hazards.limits)
    local = next(limit for limit in book.gas if limit.key == "methane_excavation")
    assert (local.value, local.level, local.status) == (0.5, "stop", "given")


def test_without_the_section_every_profile_counts(tmp_path: Path) -> None:
    site = reclaim.read_site(site_with(tmp_path / "site", ""))
    assert site.hazards.profile == "all"
    assert not site.hazards.receptors_given


@pytest.mark.parametrize(
    ("section", "where", "what"),
    [
        ('[hazards]\nprofile = "fr"\n', "[hazards] profile", "'fr'"),
        ('[hazards]\nlocal_limit = "x.csv"\n', "[hazards] local_limit", "no key 'local_limit'"),
        ('[hazards]\nwords = "none.csv"\n', "[hazards] words", "does not exist"),
        ("[hazards]\nface_area_m2 = -5\n", "[hazards] face_area_m2", "outside what this quantity"),
    ],
)
def test_bad_keys_are_errors_with_their_place(
    tmp_path: Path, section: str, where: str, what: str
) -> None:
    with pytest.raises(SiteError) as caught:
        reclaim.read_site(site_with(tmp_path / "site", section))
    (error,) = caught.value.checks
    assert where in error.where
    assert what in error.what

"""Whole site files as a portfolio: complete ones, thin ones, bad ones, in several systems."""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path

import geopandas as gpd
import pytest
import rasterio
from click.testing import CliRunner

from reclaim.cli import cli
from reclaim.portfolio import jobs_from_files
from reclaim.site import Findings

DEMO = Path(__file__).parents[2] / "demo_site"


def run(arguments, expected=0):
    shown = CliRunner().invoke(cli, ["portfolio", *map(str, arguments), "--draws", "32"])
    assert shown.exit_code == expected, shown.output
    return shown


def table(path):
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def thin_site(place, folder, name, crs=None):
    """Write a site file that knows its outline and its ground and nothing else."""
    folder.mkdir()
    frame = gpd.read_file(place.layer).iloc[:1]
    if crs is None:
        shutil.copy(place.ground, folder / "ground.tif")
    else:
        with rasterio.open(place.ground) as raster:
            profile, ground = raster.profile, raster.read(1)
        # The same ground somewhere else: only the name of the system is another.
        with rasterio.open(folder / "ground.tif", "w", **{**profile, "crs": crs}) as raster:
            raster.write(ground, 1)
        frame = frame.set_crs(crs, allow_override=True)
    frame.to_file(folder / "outline.gpkg", layer="outline")
    (folder / "site.toml").write_text(
        f'[site]\nname = "{name}"\ncurrency = "EUR"\nprice_year = 2025\n'
        '[footprint]\nfile = "outline.gpkg"\n[surfaces]\nsurvey = "ground.tif"\n'
    )
    return folder / "site.toml"


def test_cored_thin_and_bad_sites_together(place, tmp_path) -> None:
    shutil.copytree(DEMO, tmp_path / "demo")
    thin = thin_site(place, tmp_path / "thin", "Thin")
    far = thin_site(place, tmp_path / "far", "Far", crs="EPSG:32633")
    bad = thin_site(place, tmp_path / "bad", "Bad")
    bad.write_text(bad.read_text() + "[waste]\nmoisture = 7\n")
    dollars = thin_site(place, tmp_path / "dollars", "Dollars")
    text = dollars.read_text().replace('"EUR"', '"USD"')
    dollars.write_text(text + "[money]\ncurrency_per_eur = 1.1\n")
    out = tmp_path / "ranked"
    sites = [tmp_path / "demo" / "site.toml", thin, far, bad, dollars, thin]
    shown = run([*sites, "--out", out], expected=3)
    rows = {row["name"]: row for row in table(out / "ranking.csv")}
    assert set(rows) == {"Marrow Fen Tip", "Thin", "Far"}
    demo = rows["Marrow Fen Tip"]
    assert (demo["base_from"], demo["composition_from"]) == ("given", "cores")
    assert int(demo["cores"]) == 17
    assert rows["Thin"]["composition_from"] == "default: europe, any"
    problems = table(out / "problems.csv")
    told = {(row["site"], row["level"]): row["what"] for row in problems}
    assert "7 is outside" in told["bad/site.toml", "error"]
    assert "USD of 2025" in told["Dollars", "error"]
    assert "UTM zone 33N" in told["Far", "note"]
    assert any("named twice" in row["what"] for row in problems if row["level"] == "warning")
    assert "2 sites left out" in shown.output
    assert gpd.read_file(out / "ranking.gpkg").crs == "EPSG:4326"
    assert gpd.read_parquet(out / "ranking.parquet").crs == "EPSG:4326"
    # A cored site tells more, so its range is narrower beside its tonnes.
    spread = {
        name: (float(row["waste_t_p90"]) - float(row["waste_t_p10"])) / float(row["waste_t"])
        for name, row in rows.items()
    }
    assert spread["Marrow Fen Tip"] < 0.7 * spread["Thin"]


def test_a_changed_input_file_is_seen(place, tmp_path) -> None:
    sites = [thin_site(place, tmp_path / name, name) for name in ("a", "b")]
    out = tmp_path / "ranked"

    def screened():
        return json.loads(run([*sites, "--out", out, "--json"]).output)["sites"]["screened_now"]

    assert screened() == 2
    assert screened() == 0
    with rasterio.open(tmp_path / "a" / "ground.tif", "r+") as raster:
        ground = raster.read(1)
        raster.write(ground + 0.5, 1)
    assert screened() == 1


def test_the_same_site_in_a_file_and_in_a_row_is_the_same(place, tmp_path) -> None:
    """One model: where it came from changes nothing but the draws of its own."""
    thin_site(place, tmp_path / "thin", "Tip 1")
    run([tmp_path / "thin", "--out", tmp_path / "files"])
    place.shared.write_text('[site]\ncurrency = "EUR"\nprice_year = 2025\n')

    def bare(frame):
        return frame.iloc[:1][["name", "geometry"]]

    place.change_layer(bare)
    run(
        [place.layer, "--survey", place.ground, "--shared", place.shared,
         "--out", tmp_path / "rows"]
    )  # fmt: skip
    (file,), (row,) = (table(tmp_path / name / "ranking.csv") for name in ("files", "rows"))
    for name in ("area_m2", "waste_m3", "waste_t", "fuel_t", "npv", "airspace_m3", "base_sd_m"):
        assert float(file[name]) == pytest.approx(float(row[name]), rel=1e-6), name


def test_what_tells_sites_apart_is_the_end_of_their_paths() -> None:
    paths = [Path("/a/x/site.toml"), Path("/b/x/site.toml"), Path("/b/y/site.toml")]
    ids = [job.site_id for job in jobs_from_files(paths, Findings())]
    assert ids == ["a/x/site.toml", "b/x/site.toml", "y/site.toml"]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["nothing.toml", "--out", "o"], "no such site file"),
        (["layer.gpkg", "--out", "o"], "needs --survey"),
        (["a.toml", "--map", "name=x", "--out", "o"], "needs --survey"),
        (["a.gpkg", "b.gpkg", "--survey", "s.tif", "--out", "o"], "one layer"),
        (["a.gpkg", "--survey", "s.tif", "--map", "name", "--out", "o"], "KEY=COLUMN"),
        (["a.toml", "--reports", "few", "--out", "o"], "a number or 'all'"),
    ],
)
def test_what_cannot_be_meant_is_told(arguments, words, tmp_path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    shown = CliRunner().invoke(cli, ["portfolio", *arguments])
    assert shown.exit_code in {2, 3}
    told = shown.output + "".join(p.read_text() for p in tmp_path.rglob("problems.csv"))
    assert words in told

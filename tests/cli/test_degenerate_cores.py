"""Cores that give little to go on: a right answer or a clear refusal, never a traceback."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import rasterio
from click.testing import CliRunner

from reclaim.cli import cli
from reclaim.reference import material_names

DEMO = Path(__file__).parents[2] / "demo_site"
TABLES = ("collars.csv", "intervals.csv", "samples.csv", "lab.csv", "gas.csv")


@pytest.fixture
def site(tmp_path):
    folder = tmp_path / "site"
    shutil.copytree(DEMO, folder)
    text = (folder / "site.toml").read_text(encoding="utf-8")
    # Few draws; the cover is stated, so that a site with one core still has one.
    text = text.replace("draws = 2000", "draws = 20\ndrivers = false")
    text = text.replace("cover_from_cores = true", "cover_m = 0.8")
    (folder / "site.toml").write_text(text, encoding="utf-8")
    return folder


def keep(site, wanted):
    for name in TABLES:
        table = pd.read_csv(site / name, dtype=str)
        table[table["core_id"].isin(list(wanted))].to_csv(site / name, index=False)


def move(site, place_of):
    """Put collars elsewhere, on today's ground."""
    collars = pd.read_csv(site / "collars.csv")
    with rasterio.open(site / "survey.tif") as survey:
        for core, place in place_of.items():
            row = collars["core_id"] == core
            collars.loc[row, ["x", "y"]] = place
            collars.loc[row, "elevation_m"] = float(next(survey.sample([place]))[0])
    collars.round(2).to_csv(site / "collars.csv", index=False)


def run(site, tmp_path):
    """Run both commands; return the numbers of the geologist's and of the main report."""
    found = []
    for command, file in (("cores", "cores.json"), ("estimate", "estimate.json")):
        out = tmp_path / command
        shown = CliRunner().invoke(cli, [command, str(site / "site.toml"), "--out", str(out)])
        assert shown.exit_code == 0, shown.output
        found.append(json.loads((out / file).read_text(encoding="utf-8")))
    return found


def all_cores(site):
    return list(pd.read_csv(site / "collars.csv")["core_id"])


def test_one_core(site, tmp_path) -> None:
    keep(site, ["MF01"])
    geologist, estimate = run(site, tmp_path)
    samples = pd.read_csv(site / "samples.csv").rename(columns={"Film & bags": "plastic_film"})
    masses = samples[list(material_names())].to_numpy()
    length = (samples["to_m"] - samples["from_m"]).to_numpy()
    # Length-weighted mean of the core's own samples, none of which has a density: by hand.
    by_hand = length @ (masses / masses.sum(axis=1, keepdims=True)) / length.sum()
    assert samples["bulk_density_t_m3"].isna().all()
    shares = {row["name"]: row["wet_fraction"] for row in estimate["feed"]["materials"]}
    np.testing.assert_allclose(
        [shares[name]["value"] for name in material_names()], by_hand, rtol=1e-6
    )
    assert geologist["core_study"]["method"] == "zone mean"
    assert any("With one core" in note for note in geologist["core_study"]["notes"])


def test_cores_in_a_line(site, tmp_path) -> None:
    cores = all_cores(site)
    collars = pd.read_csv(site / "collars.csv")
    ends = collars.loc[[collars["y"].idxmin(), collars["y"].idxmax()], ["x", "y"]].to_numpy()
    steps = np.linspace(0, 1, len(cores))[:, None]
    places = ends[0] + steps * (ends[1] - ends[0])
    move(site, {core: tuple(place) for core, place in zip(cores, places.tolist(), strict=True)})
    for report in run(site, tmp_path):
        assert any("on one line" in note for note in report["core_study"]["notes"])
        assert report["core_study"]["why"]


def test_two_cores_in_one_place(site, tmp_path) -> None:
    collars = pd.read_csv(site / "collars.csv").set_index("core_id")
    move(site, {"MF02": tuple(collars.loc["MF01", ["x", "y"]])})
    for report in run(site, tmp_path):
        assert any("of another; kriging takes" in note for note in report["core_study"]["notes"])


def test_a_zone_without_cores_takes_all_and_says_so(site, tmp_path) -> None:
    composites = run(site, tmp_path)[1]["core_composites"]
    zones = sorted({row["zone"] for row in composites if row["zone"] != "site"})
    with_zone = pd.read_csv(tmp_path / "estimate" / "tables" / "core_composites.csv")
    kept = with_zone[with_zone["zone"] != zones[0]]["core_id"]
    assert 0 < len(kept) < len(with_zone)
    keep(site, kept)
    _, estimate = run(site, tmp_path)
    warned = [check["what"] for check in estimate["checks"] if check["level"] == "warning"]
    assert any(f"Too few sampled cores in zone {zones[0]}" in words for words in warned)


def test_no_core_in_waste_is_refused(site, tmp_path) -> None:
    log = pd.read_csv(site / "intervals.csv")
    log.assign(layer=log["layer"].replace("waste", "natural")).to_csv(
        site / "intervals.csv", index=False
    )
    for command in ("cores", "estimate"):
        shown = CliRunner().invoke(
            cli, [command, str(site / "site.toml"), "--out", str(tmp_path / command)]
        )
        assert shown.exit_code == 2, shown.output
        assert "Traceback" not in shown.output
        assert "waste" in shown.stderr

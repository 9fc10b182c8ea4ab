"""What is wrong with the ground itself, in a raster that is right by its header."""

from __future__ import annotations

import json

import numpy as np
import pytest
from affine import Affine


def top(u, v):
    return 20 + 0.02 * u + 0.01 * v


def bottom(u, _):
    return 12 + 0.01 * u


def corner(u, v):
    return (u < 40) & (v < 40)


@pytest.mark.parametrize(("middle", "cells"), [(60.5, 1), (60.0, 4)])
def test_a_spike_is_told_whether_one_cell_wide_or_two(site, middle, cells):
    def spiked(u, v):
        return top(u, v) + 25 * ((abs(u - middle) < 0.6) & (abs(v - middle) < 0.6))

    site.write_raster("survey.tif", 1.0, spiked)
    (message,) = site.warnings()
    assert f"stand out by more than 3 m from all cells around them: {cells}, " in message
    assert "survey.tif" in message


def test_a_false_low_reading_is_told(site):
    site.write_raster("survey.tif", 1.0, lambda u, v: top(u, v) - 7 * (abs(u - 60) + v * 0 < 0.6))
    assert site.warnings() == []  # a ditch across the site is no spike
    site.write_raster(
        "survey.tif", 1.0, lambda u, v: top(u, v) - 7 * ((abs(u - 60) < 1) & (abs(v - 50) < 1))
    )
    (message,) = site.warnings()
    assert "the worst by 7.0 m" in message or "the worst by 6.9 m" in message


@pytest.mark.parametrize(
    ("name", "cell", "formula"), [("survey.tif", 1.0, top), ("base.tif", 2.0, bottom)]
)
def test_unmarked_nodata_is_a_void_and_told(site, name, cell, formula):
    """-9999 without nodata in the header: the volume is that of the rest."""
    site.write_raster(
        name, cell, lambda u, v: np.where(corner(u, v), -9999.0, formula(u, v)), nodata=None
    )
    (message,) = site.warnings()
    assert message.startswith(f"{name}: The surface is unknown on about 9")
    assert "No volume is counted there" in message


def test_voids_filled_with_nought_are_told(site):
    site.write_raster(
        "base.tif", 2.0, lambda u, v: np.where(corner(u, v), 0.0, bottom(u, v)), nodata=None
    )
    assert any("exactly 0 m high" in message for message in site.warnings())


def test_ground_that_crosses_the_datum_is_not_taken_for_voids(site):
    site.write_raster("base.tif", 2.0, lambda u, v: np.round(0.05 * (u - 60) + 0 * v))
    assert not any("exactly 0" in message for message in site.warnings())


def test_a_void_under_a_building_is_told(site):
    def built(u, v):
        return np.where((abs(u - 60) < 8) & (abs(v - 50) < 8), -9999.0, top(u, v))

    site.write_raster("survey.tif", 1.0, built)
    (message,) = site.warnings()
    assert "unknown on about 256 m2 of the footprint (3.2 %)" in message


def test_a_base_under_half_the_footprint_is_told(site):
    site.write_raster("base.tif", 2.0, bottom, west=60.0)
    assert any("base.tif: The surface is unknown on about 4000 m2" in w for w in site.warnings())


def test_flights_that_do_not_meet_are_told(site):
    site.write_raster("survey.tif", 1.0, lambda u, v: top(u, v) + 0.6 * (u > 60))
    assert any("steps by 0.60 m along a straight north-south line" in w for w in site.warnings())


@pytest.mark.parametrize(
    ("transform", "word"),
    [
        (Affine(2, 0.2, 500_000, 0.2, -2, 5_400_100), "rotated"),
        (Affine(2, 0, 500_000, 0, 2, 5_400_000), "south-up"),
    ],
)
def test_a_base_that_is_not_north_up_is_refused(site, transform, word):
    site.write_raster("base.tif", 2.0, bottom, transform=transform)
    (message,) = site.errors()
    assert message.startswith("base.tif")
    assert word in message


def test_a_base_in_degrees_is_warped(site):
    from pyproj import Transformer

    degrees = Transformer.from_crs(32633, 4326, always_xy=True)
    west, south = degrees.transform(500_000, 5_400_000)
    east, north = degrees.transform(500_120, 5_400_100)
    corner = Affine((east - west) / 60, 0, west, 0, -(north - south) / 50, north)
    site.write_raster("base.tif", 2.0, bottom, crs="EPSG:4326", transform=corner)
    read = site.read()
    assert read.checks == ()
    with read.base.reader() as values:
        found = values(read.grid.window_around(500_060.2, 5_400_050.2, 500_060.8, 5_400_050.8))
    np.testing.assert_allclose(found, 12.605, atol=0.01)


def test_heights_of_a_base_in_feet_by_its_crs_are_told(site):
    site.write_raster("base.tif", 2.0, bottom, crs="EPSG:32633+6360")
    assert any(
        "base's coordinate system has heights in US survey foot" in w for w in site.warnings()
    )


def test_a_footprint_of_empty_shapes_only(site):
    site.footprint = [({"cell": "all"}, [])]
    (message,) = site.errors()
    assert "All shapes in the file are empty" in message


def test_a_warning_of_the_ground_reaches_results_and_page(site):
    """By the command line, from the file to both places where people look."""
    from click.testing import CliRunner

    from reclaim.cli import cli

    site.write_raster("survey.tif", 1.0, lambda u, v: np.where(corner(u, v), -9999.0, top(u, v)))
    out = site.folder / "out"
    done = CliRunner().invoke(cli, ["estimate", str(site.write()), "--out", str(out)])
    assert done.exit_code == 0, done.output
    told = "The surface is unknown on about 900 m2 of the footprint"
    checks = json.loads((out / "estimate.json").read_text(encoding="utf-8"))["checks"]
    assert any(told in check["what"] and check["level"] == "warning" for check in checks)
    assert told in (out / "report.html").read_text(encoding="utf-8")

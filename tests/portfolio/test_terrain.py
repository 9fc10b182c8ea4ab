"""The base under a site that nobody has cored, against shapes with a closed form."""

from __future__ import annotations

import numpy as np
import pytest
from shapely import MultiPolygon
from shapely.geometry import Point, box

from reclaim.estimate import measure_site
from reclaim.portfolio import Terrain, jobs_from_layer
from reclaim.portfolio.reader import read_job
from reclaim.portfolio.terrain import ArraySurface, base_from_rim, cropped, whole, window_around
from reclaim.site import Findings, Grid, SiteError, Window

GRID = Grid(west_m=0.0, north_m=400.0, cell_x_m=2.0, cell_y_m=2.0, rows=200, columns=200)
ROUND = MultiPolygon([Point(200, 200).buffer(80)])
LONG = MultiPolygon([box(60, 170, 340, 230)])


def surface(height):
    x = (np.arange(200) + 0.5) * 2
    x, y = np.meshgrid(x, 400 - x)
    return ArraySurface(height(x, y), "made up", GRID, whole(GRID))


def rim_base(ground, outline, depth_m=0.0):
    findings = Findings()
    found = base_from_rim(ground, GRID, outline, depth_m, "site", findings)
    findings.stop_on_errors()
    return found


def inside(found, outline):
    """Values and places of the base under a site."""
    frame = found.surface.frame
    row, column = np.mgrid[: frame.rows, : frame.columns]
    x, y = (frame.column + column + 0.5) * 2, 400 - (frame.row + row + 0.5) * 2
    import shapely

    under = shapely.contains_xy(outline, x, y)
    return found.surface.values_m[under], x[under], y[under]


@pytest.mark.parametrize("outline", [ROUND, LONG], ids=["round", "long"])
@pytest.mark.parametrize(
    "height",
    [
        lambda x, y: 30 + 0.02 * x - 0.01 * y,
        lambda x, y: 30 + ((x - 200) ** 2 - (y - 200) ** 2) / 2000,
        lambda x, y: 30 + (x - 200) * (y - 200) / 3000,
    ],
    ids=["plane", "saddle", "twist"],
)
def test_planes_and_saddles_are_met_under_a_mound(height, outline) -> None:
    """Harmonic ground is carried through exactly, whatever lies on it inside the outline."""
    mound = lambda x, y: np.maximum(0, 9 - np.hypot(x - 200, (y - 200) * 2) / 10)  # noqa: E731
    inner = outline.buffer(-4)

    def ground(x, y):
        import shapely

        return height(x, y) + np.where(shapely.contains_xy(inner, x, y), mound(x, y), 0)

    found = rim_base(surface(ground), outline)
    base, x, y = inside(found, outline)
    # Bilinear reading between cells of 2 m errs by a few millimetres on the curved ones.
    np.testing.assert_allclose(base, height(x, y), atol=0.01)
    assert found.residual_sd_m < 0.01


def test_rough_ground_around_widens_the_error() -> None:
    rng = np.random.default_rng(5)
    rough = rng.normal(0, 0.5, (200, 200))
    found = rim_base(surface(lambda x, _y: 30 + 0 * x + rough), ROUND)
    # Bilinear reading of independent cells averages four of them, unevenly: 0.44 of the variance.
    assert 0.2 < found.residual_sd_m < 0.5


def test_the_depth_below_lowers_the_base_alone() -> None:
    flat = surface(lambda x, _y: 30 + 0 * x)
    base, _, _ = inside(rim_base(flat, ROUND, depth_m=2.5), ROUND)
    np.testing.assert_allclose(base, 27.5)


def test_half_of_the_rim_must_be_known() -> None:
    def ground(x, _y):
        return np.where(x > 150, np.nan, 30.0)

    with pytest.raises(SiteError, match=r"known at .* of its length"):
        rim_base(surface(ground), ROUND)


def test_the_volume_of_a_cone_over_its_rim(place) -> None:
    """A cone holds a third of its base times its height: Euclid, Elements XII.10."""
    (place.shared).write_text(
        place.shared.read_text() + "\n[screening]\ndepth_below_rim_m = 0\n"
        "\n[excavation]\nside_slope = 0\n\n[surfaces]\ncover_m = 0\n",
    )
    jobs = jobs_from_layer(
        place.layer,
        Terrain(str(place.ground), None),
        shared=place.shared,
        mapping={},
        id_column=None,
        findings=Findings(),
    )
    for number, job in enumerate(jobs):
        found = read_job(job)
        volume = measure_site(found.site).waste_m3.sum()
        cone = np.pi * 60**2 * (8 + number) / 3
        assert volume == pytest.approx(cone, rel=0.004)
        assert found.rim_sd_m < 1e-3


def test_windows_are_cut_out_and_stay_in_place() -> None:
    window = window_around(GRID, ROUND, 5.0)
    part = cropped(GRID, window)
    assert (part.west_m, part.north_m) == (window.column * 2, 400 - window.row * 2)
    assert window_around(GRID, MultiPolygon([Point(2000, 2000).buffer(5)]), 5.0).rows == 0


def test_a_digest_sees_values_and_place() -> None:
    flat = surface(lambda x, _y: 30 + 0 * x)
    moved = ArraySurface(flat.values_m, "other", cropped(GRID, Window(0, 1, 200, 200)), flat.frame)
    bumped = ArraySurface(flat.values_m + 1e-9, "made up", GRID, flat.frame)
    same = ArraySurface(flat.values_m.copy(), "renamed", GRID, flat.frame)
    assert flat.digest() == same.digest()
    assert len({flat.digest(), moved.digest(), bumped.digest()}) == 3

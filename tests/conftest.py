"""What tests of several rooms share: default assumptions, the default line, and a feed."""

from __future__ import annotations

import numpy as np
import pytest

from reclaim.assumptions import Draws, default_assumption
from reclaim.reference import assumption_defaults, material_names
from reclaim.site import Findings
from reclaim.site.plantfile import read_line
from reclaim.waste import Feed, material_moisture, moisture_pattern, properties_of_site

# A mixed old dump, per cent of wet mass: the middle of published ranges for mixed municipal
# waste closed 15 to 40 years ago (Quaghebeur et al. 2013; Kaartinen et al. 2013).
OLD_WASTE = {
    "fines": 55,
    "plastic_film": 8,
    "plastic_dense": 4,
    "paper_card": 4,
    "wood": 5,
    "textiles": 4,
    "rubber_leather": 1.2,
    "ferrous": 2.2,
    "aluminium": 0.33,
    "other_nonferrous": 0.17,
    "glass": 1.5,
    "stone_ceramic": 11,
    "garden_food": 2,
    "hazardous": 0.2,
}


@pytest.fixture
def best():
    return Draws.best_estimate()


@pytest.fixture
def assumptions():
    return {key: default_assumption(default) for key, default in assumption_defaults().items()}


@pytest.fixture
def default_line():
    findings = Findings()
    line = read_line(None, "", findings)
    assert not findings.errors
    return line


@pytest.fixture
def old_waste():
    return dict(OLD_WASTE)


@pytest.fixture
def make_feed(assumptions, old_waste):
    """Return a function that makes a feed of 1000 t of wet waste."""

    def make(shares=None, moisture=0.33, years=(1961, 1987, 2025), draws=None):
        draws = draws or Draws.best_estimate()
        shares = shares or old_waste
        fractions = np.array([shares.get(name, 0.0) for name in material_names()], dtype=float)
        fractions = np.tile(fractions / fractions.sum(), (draws.n_draws, 1))
        water = material_moisture(fractions, moisture_pattern(), np.full(draws.n_draws, moisture))
        opened, closed, year = years
        return Feed(
            materials=material_names(),
            dry_t=1000 * fractions * (1 - water),
            water_t=1000 * fractions * water,
            bulk_density_t_m3=np.full(draws.n_draws, 1.1),
            cover_t=np.full(draws.n_draws, 100.0),
            overdig_t=np.full(draws.n_draws, 50.0),
            properties=properties_of_site(
                opened, closed, year, "temperate_wet", assumptions, draws
            ),
        )

    return make


@pytest.fixture(scope="session")
def demo_estimate(tmp_path_factory):
    """The demo site's estimate, with few draws: a whole, real one."""
    from reclaim import estimate, read_site
    from reclaim.demo import write_demo_site

    folder = tmp_path_factory.mktemp("demo") / "demo"
    write_demo_site(folder)
    path = folder / "site.toml"
    text = path.read_text(encoding="utf-8")
    assert "draws = 2000" in text
    path.write_text(text.replace("draws = 2000", "draws = 300"), encoding="utf-8")
    return estimate(read_site(path))

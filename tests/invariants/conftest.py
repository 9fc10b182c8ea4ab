"""How hard the properties are tried, and the grounds, lines and sites they are tried on.

The normal run takes few examples, always the same ones. ``RECLAIM_EXAMPLES_TIMES=20`` takes
twenty times as many; the slow test of `test_many_more.py` does so.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, is_hypothesis_test, settings
from hypothesis import strategies as st

from reclaim.assumptions import Draws
from reclaim.ground import measure
from reclaim.ground.known_surfaces import (
    KnownSurface,
    hummocks,
    level,
    plain_footprint,
    plane,
    rough_outline,
)
from reclaim.reference import material_names, read_rows
from reclaim.site import Findings
from reclaim.site.model import Grid
from reclaim.site.plantfile import read_line

HERE = Path(__file__).parent
EXAMPLES = 8
TIMES = int(os.environ.get("RECLAIM_EXAMPLES_TIMES", "1"))


def pytest_configure(config):
    config.addinivalue_line("markers", "examples(n): how many examples a property is tried on")


def pytest_itemcollected(item):
    """Give every property of this folder the same settings."""
    if item.path.parent != HERE or not is_hypothesis_test(item.obj):
        return
    marker = item.get_closest_marker("examples")
    item.add_marker(pytest.mark.filterwarnings("ignore:Generating overly large repr"))
    settings(
        max_examples=TIMES * (marker.args[0] if marker else EXAMPLES),
        derandomize=True,
        database=None,
        deadline=None,
        phases=[Phase.explicit, Phase.generate],  # a smaller example can take minutes to find
        # The fixtures are values and functions without a memory.
        suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
    )(item.obj)


SIDE_M = 120.0
NUMBERS = {
    "side_slope": 0.0,
    "overdig_m": 0.3,
    "lift_m": 3.0,
    "survey_sd_m": 0.05,
    "base_sd_m": 0.4,
    "error_range_m": 60.0,
}


@dataclass(frozen=True)
class Ground:
    """An irregular dump on rolling ground in a square of 120 m, at any origin."""

    seed: int
    spread_m: float
    tilt: float
    cover_m: float
    base_m: float = 15.0
    cell_m: float = 2.0

    @property
    def outline(self):
        return rough_outline(25, SIDE_M / 2, SIDE_M / 2, 35, jag=1, seed=self.seed)

    def formulas(self, east_m=0.0, north_m=0.0):
        """Survey, base and cover."""
        return (
            hummocks(20, self.spread_m, east_m, north_m),
            plane(self.base_m, self.tilt, self.tilt / 3, east_m + SIDE_M / 2, north_m + SIDE_M / 2),
            level(self.cover_m),
        )

    def dig(self, footprint=None, formulas=None, origin=(0.0, 0.0), cell_m=None, **numbers):
        cell_x, cell_y = np.broadcast_to(cell_m or self.cell_m, 2)
        grid = Grid(
            origin[0],
            origin[1] + SIDE_M,
            float(cell_x),
            float(cell_y),
            round(SIDE_M / cell_y),
            round(SIDE_M / cell_x),
        )
        surfaces = [KnownSurface(grid, each) for each in formulas or self.formulas(*origin)]
        footprint = footprint or plain_footprint(self.outline)
        return measure(footprint, grid, *surfaces, **NUMBERS | numbers)


@pytest.fixture(scope="session")
def grounds():
    """Strategy of grounds; the base comes above the survey here and there."""
    return _grounds(tilt=st.floats(-0.15, 0.15))


@pytest.fixture(scope="session")
def deep_grounds():
    """Strategy of grounds with waste everywhere, so that no cell holds a kink."""
    return _grounds(tilt=st.floats(-0.02, 0.02), base_m=st.floats(5, 12))


def _grounds(**more):
    return st.builds(
        Ground,
        seed=st.integers(0, 10_000),
        spread_m=st.floats(8, 60),
        cover_m=st.floats(0, 2),
        **more,
    )


def _share_table(draw, outlets):
    """Shares of some materials for a machine's outlets, never more than one together."""
    lines = []
    for material in draw(st.lists(st.sampled_from(material_names()), max_size=4, unique=True)):
        parts = draw(st.lists(st.floats(0, 1), min_size=len(outlets), max_size=len(outlets)))
        scale = max(sum(parts), 1.0)
        for outlet, part in zip(outlets, parts, strict=True):
            lines.append((outlet, f"{material} = {part / scale * 0.98!r}"))
    return {outlet: [text for name, text in lines if name == outlet] for outlet in outlets}


@st.composite
def _line_texts(draw, *, most_machines=8, recycles=True):
    """Plant files: any machines in any order, at times with shares of their own and recycles."""
    kinds = list(read_rows("machines.csv"))
    chosen = draw(st.lists(st.sampled_from(kinds), min_size=1, max_size=most_machines))
    products = [row["name"] for row in read_rows("products.csv")]
    names = [f"{number}_{row['kind']}" for number, row in enumerate(chosen)]
    text = f'[line]\nname = "random"\nlabel = "Random"\nfeed = "{names[0]}"\n'
    back = draw(st.integers(0, 2)) if recycles else 0
    for number, row in enumerate(chosen):
        outlets = row["outlets"].split()
        led = {outlet: draw(st.sampled_from(products)) for outlet in outlets}
        if number + 1 < len(chosen):
            led[draw(st.sampled_from(outlets))] = names[number + 1]
        for outlet in outlets:
            if led[outlet] in products and draw(st.integers(0, 3)) == 0:
                further = names[number + 1 :]
                if back and draw(st.booleans()):
                    further, back = names[: number + 1], back - 1
                if further:
                    led[outlet] = draw(st.sampled_from(further))
        leads = ", ".join(f'{outlet} = "{target}"' for outlet, target in led.items())
        text += f'\n[[machine]]\nname = "{names[number]}"\nkind = "{row["kind"]}"\n'
        text += f"outlets = {{ {leads} }}\n"
        for outlet, shares in _share_table(draw, outlets[1:]).items():
            if shares:
                text += f"[machine.shares.{outlet}]\n" + "\n".join(shares) + "\n"
    return text


@pytest.fixture(scope="session")
def lines(tmp_path_factory):
    """Strategy of lines that the reader accepts, recycles among them."""
    path = tmp_path_factory.mktemp("lines") / "line.toml"

    def read(text):
        path.write_text(text, encoding="utf-8")
        findings = Findings()
        return read_line(path, "line.toml", findings)

    return _line_texts().map(read).filter(lambda line: line is not None)


@st.composite
def _wastes(draw):
    """What a feed is made of: shares of some materials, and moisture."""
    names = draw(st.lists(st.sampled_from(material_names()), min_size=1, unique=True))
    shares = {name: draw(st.floats(0.001, 1)) for name in names}
    return {"shares": shares, "moisture": draw(st.floats(0.02, 0.55))}


@pytest.fixture(scope="session")
def wastes():
    """Strategy of what a feed is made of."""
    return _wastes()


@dataclass(frozen=True, slots=True, kw_only=True)
class Shuffled(Draws):
    """The draws of a plain source in another order."""

    order: tuple[int, ...]

    def uniform(self, name):
        return Draws.uniform(self, name)[list(self.order)]


@pytest.fixture(scope="session")
def shuffled():
    """Return a function that puts the draws of a source in another order."""

    def shuffle(draws, order):
        return Shuffled(draws.n_draws, draws.seed, order=tuple(order))

    return shuffle

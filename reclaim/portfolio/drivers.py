"""Draws of which some are the same for every site, so that sites are compared fairly."""

from __future__ import annotations

from dataclasses import dataclass
from fnmatch import fnmatchcase
from functools import cache
from hashlib import sha256

from reclaim.assumptions import Draws
from reclaim.reference import read_rows


@cache
def is_shared(name: str) -> bool:
    """Tell whether a stream of draws is the same for all sites, by ``shared_drivers.csv``.

    The first pattern that fits decides.
    """
    return next(
        row["shared"] == "yes"
        for row in read_rows("shared_drivers.csv")
        if fnmatchcase(name, row["pattern"])
    )


def site_seed(seed: int, site_id: str) -> int:
    """Return the seed of a site's own draws: it hangs on its identity, never on its place."""
    return int.from_bytes(sha256(f"{seed} {site_id}".encode()).digest()[:4], "big")


@dataclass(frozen=True, slots=True, kw_only=True)
class PortfolioDraws(Draws):
    """Draws of one site of a portfolio; `seed` is the site's own.

    Attributes
    ----------
    common_seed
        Seed of the streams that all sites share.

    Notes
    -----
    Common random numbers: the difference of two sites is then free of what would move both alike.
    Law (2015), Simulation Modeling and Analysis, 5th ed., ch. 11.
    """

    common_seed: int

    def _seed_of(self, name: str) -> int:
        return self.common_seed if is_shared(name) else Draws._seed_of(self, name)  # noqa: SLF001 - its own kind

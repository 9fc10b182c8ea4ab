"""Class of a solid recovered fuel by calorific value, chlorine and mercury."""

from __future__ import annotations

from dataclasses import dataclass

from reclaim.reference import read_rows

CURRENT_EDITION = "ISO 21640:2021"


@dataclass(frozen=True, slots=True)
class FuelClass:
    """Class of a fuel.

    Attributes
    ----------
    ncv, chlorine, mercury
        Class number 1 (best) to 5; 0 where even class 5 is missed.
    """

    ncv: int
    chlorine: int
    mercury: int

    def __str__(self) -> str:
        parts = (("NCV", self.ncv), ("Cl", self.chlorine), ("Hg", self.mercury))
        return "; ".join(f"{name} {number or 'none'}" for name, number in parts)


def fuel_class(
    ncv_mj_kg: float,
    chlorine: float,
    mercury_median_mg_mj: float,
    mercury_p80_mg_mj: float | None = None,
    edition: str = CURRENT_EDITION,
) -> FuelClass:
    """Return the class of a fuel.

    Parameters
    ----------
    ncv_mj_kg
        Mean net calorific value as received [MJ/kg].
    chlorine
        Mean, fraction of dry mass [-].
    mercury_median_mg_mj, mercury_p80_mg_mj
        Median and 80th percentile per MJ as received [mg/MJ]; the worse of the two counts.
        Without the percentile the median alone decides.
    edition
        ``ISO 21640:2021`` or the withdrawn ``EN 15359:2011``, whose mercury limits are wider.

    Raises
    ------
    ValueError
        For an edition without limits.

    Examples
    --------
    >>> str(fuel_class(18.1, 0.006, 0.03, 0.07))
    'NCV 3; Cl 2; Hg 3'

    Notes
    -----
    ISO 21640:2021, Table 1; EN 15359:2011, Table 1 (from memory).
    """
    mercury = _class_up_to("mercury_median", mercury_median_mg_mj, edition)
    if mercury_p80_mg_mj is not None:
        percentile = _class_up_to("mercury_p80", mercury_p80_mg_mj, edition)
        mercury = max(mercury, percentile) if mercury and percentile else 0
    ncv = next((number for number, limit in _limits("ncv", edition) if ncv_mj_kg >= limit), 0)
    return FuelClass(ncv, _class_up_to("chlorine", chlorine, edition), mercury)


def editions() -> tuple[str, ...]:
    """Return the editions that have limits, the current one first."""
    return tuple(dict.fromkeys(row["edition"] for row in read_rows("fuel_classes.csv")))


def _class_up_to(name: str, value: float, edition: str) -> int:
    return next((number for number, limit in _limits(name, edition) if value <= limit), 0)


def _limits(name: str, edition: str) -> list[tuple[int, float]]:
    if edition not in editions():
        raise ValueError(f"No limits for the edition {edition!r}; known: {', '.join(editions())}.")
    return [
        (int(row["class"]), float(row["limit"]))
        for row in read_rows("fuel_classes.csv")
        if row["property"] == name and row["edition"] == edition
    ]

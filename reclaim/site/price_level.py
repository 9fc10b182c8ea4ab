"""Default money brought to the site's price year by a published price index."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from reclaim.reference import constant, read_rows

if TYPE_CHECKING:
    from collections.abc import Mapping

    from reclaim.assumptions import Assumption
    from reclaim.site.problems import Findings

PRICE_INDEX = "money.price_index"


def price_index_of(year: int) -> float | None:
    """Return the price level of a year over that of the money defaults, None where not known."""
    index = {int(row["year"]): float(row["index"]) for row in read_rows("price_index.csv")}
    return index[year] / index[int(constant("money_price_year"))] if year in index else None


def check_price_year(
    assumptions: Mapping[str, Assumption], price_year: int, file_name: str, findings: Findings
) -> None:
    """Tell where default money would be added to money of a price year without a conversion."""
    if assumptions[PRICE_INDEX].given or price_index_of(price_year) is not None:
        return
    if any(item.unit.startswith("EUR") and not item.given for item in assumptions.values()):
        years = [row["year"] for row in read_rows("price_index.csv")]
        findings.error(
            f"{file_name} [money] price_index",
            f"The price year is {price_year}, money defaults are of "
            f"{constant('money_price_year'):.0f}, and the price index is known only from "
            f"{years[0]} to {years[-1]}.",
            "Give price_index, the price level of your year over that of the defaults, or state "
            "every money value of the site.",
        )


def at_price_level(
    assumptions: Mapping[str, Assumption], price_year: int
) -> Mapping[str, Assumption]:
    """Return the assumptions with the price index of the price year, unless it was given.

    Notes
    -----
    Eurostat's index of consumer prices; prices of waste works may have moved otherwise.
    """
    stated, index = assumptions[PRICE_INDEX], price_index_of(price_year)
    if stated.given or index is None:
        return assumptions
    return {**assumptions, PRICE_INDEX: replace(stated, kind="fixed", numbers=(index,))}

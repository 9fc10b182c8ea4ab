"""What a find means for the dig, the line and disposal, and which waste codes are likely.

Codes and tests are where to begin asking; only the tests and the waste regulator decide.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from reclaim.reference import read_rows

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping


@dataclass(frozen=True, slots=True)
class Find:
    """What one kind of find means: a row of ``finds.csv``.

    Attributes
    ----------
    key
        Key of the caution.
    dig, line, disposal
        What it means for each, in a sentence or two.
    codes
        Likely codes of the European List of Waste; ``*`` marks hazardous ones.
    tests
        What decides.
    source, status
        As in the reference files.
    """

    key: str
    dig: str
    line: str
    disposal: str
    codes: str
    tests: str
    source: str
    status: str


@dataclass(frozen=True, slots=True)
class WasteCode:
    """The likely waste category of one product: a row of ``waste_codes.csv``.

    Attributes
    ----------
    product
        Product of the line, or ``leachate``.
    wet_t
        Best estimate of its mass, wet [t]; NaN where it is not known.
    code, name, mirror_code
        Likely code of the European List of Waste, in words, and the code it falls under where a
        test finds hazardous substances.
    tests, tests_us
        Tests that decide, in Europe and under US 40 CFR 261.
    source, status
        As in the reference files.
    """

    product: str
    wet_t: float
    code: str
    name: str
    mirror_code: str
    tests: str
    tests_us: str
    source: str
    status: str


def finds_of(keys: Iterable[str]) -> tuple[Find, ...]:
    """Return what the finds among some cautions mean, in the order of the file."""
    raised = set(keys)
    if "asbestos_era" in raised:
        raised.add("asbestos")
    if "munitions_era" in raised:
        raised.add("munitions")
    if raised & {"battery_fires", "hazardous_share"}:
        raised |= {"batteries", "gas_bottles"}
    return tuple(Find(**row) for row in read_rows("finds.csv") if row["key"] in raised)


def waste_codes(products_wet_t: Mapping[str, float]) -> tuple[WasteCode, ...]:
    """Return the likely waste category of every product that is made, and of leachate.

    Parameters
    ----------
    products_wet_t
        Product by name, wet [t].
    """
    made = {name: tonnes for name, tonnes in products_wet_t.items() if tonnes > 0}
    made["leachate"] = float("nan")
    return tuple(
        WasteCode(wet_t=made[row["product"]], **row)
        for row in read_rows("waste_codes.csv")
        if row["product"] in made
    )

"""The published and customary numbers the estimate stands on, as data files.

Comes in: nothing. Goes out: rows with value, unit, source and status, read from the files beside
this one. Does not do: any calculation, and no number is kept in code.
"""

from reclaim.reference.tables import (
    Default,
    Material,
    Quantity,
    Source,
    assumption_defaults,
    constant,
    data_path,
    heavy_metals,
    machine_settings,
    machine_shares,
    material_names,
    material_properties,
    materials,
    products,
    quantity_of,
    read_rows,
    sources,
)

__all__ = [
    "Default",
    "Material",
    "Quantity",
    "Source",
    "assumption_defaults",
    "constant",
    "data_path",
    "heavy_metals",
    "machine_settings",
    "machine_shares",
    "material_names",
    "material_properties",
    "materials",
    "products",
    "quantity_of",
    "read_rows",
    "sources",
]

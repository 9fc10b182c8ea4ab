"""How the cores were taken: method and width of each, and what they hide."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from reclaim.reference import read_rows
from reclaim.site.settings import limit

if TYPE_CHECKING:
    import pandas as pd

    from reclaim.site.model import Cores
    from reclaim.site.problems import Findings

# Words that drillers use for openings in which coarse pieces are seen, whatever their width.
_OPEN = ("pit", "trench", "grab", "excavat", "bucket", "trialpit", "tp")


def is_narrow(collars: pd.DataFrame) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Tell which cores are bores too narrow to bring up coarse pieces, shape ``(n_cores,)``.

    Narrower than ``limits.narrow_bore_mm``; pits, trenches and grabs are not, nor is a core
    whose diameter is not recorded.
    """
    return np.asarray(
        ~_is_open(collars) & (collars["diameter_mm"].to_numpy() < limit("narrow_bore_mm"))
    )


def is_of_unknown_width(collars: pd.DataFrame) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Tell which cores may be narrow bores, since no width is recorded, shape ``(n_cores,)``."""
    return np.asarray(~_is_open(collars) & collars["diameter_mm"].isna().to_numpy())


def _is_open(collars: pd.DataFrame) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    return np.array(
        [any(part in _OPEN or part.startswith(_OPEN[:5]) for part in method.casefold().split())
         for method in collars["method"]],
        dtype=bool,
    )  # fmt: skip


def check_methods(cores: Cores, written: str, findings: Findings) -> None:
    """Warn of narrow bores and of methods that differ, and note where nothing is recorded."""
    collars = cores.collars
    sampled = collars[collars["core_id"].isin(set(cores.samples["core_id"]))]
    if sampled.empty:
        return
    narrow = is_narrow(sampled)
    unknown = sampled["diameter_mm"].isna().to_numpy() & (sampled["method"] == "").to_numpy()
    if narrow.any():
        shares = {row["key"]: (float(row["low"]), float(row["high"])) for row in
                  read_rows("narrow_bores.csv")}  # fmt: skip
        density, fines = shares["density_high"], shares["fines_high"]
        findings.warn(
            f"{written} columns method, diameter_mm",
            f"{int(narrow.sum())} of {len(sampled)} sampled cores are bores narrower than "
            f"{limit('narrow_bore_mm'):g} mm: {_listed(sampled.loc[narrow, 'core_id'])}. Such "
            f"bores read density about {100 * density[0]:.0f} to {100 * density[1]:.0f} % and "
            f"fines {100 * fines[0]:.0f} to {100 * fines[1]:.0f} % too high and miss coarse "
            "pieces.",
            "Take composition and density from pits or wide bores where you can. The range allows "
            "for the bias; [waste] narrow_bore_correction = 1 takes it off the best estimate too.",
        )
        if not narrow.all():
            findings.warn(
                f"{written} columns method, diameter_mm",
                "Narrow bores and wider openings are mixed in one campaign.",
                "A difference between zones may be one between methods; compare like with like.",
            )
    if unknown.all():
        findings.note(
            written,
            "Neither method nor diameter of the cores is recorded (columns method, diameter_mm); "
            "narrow bores would read density high and miss coarse pieces, so the range is wider.",
        )


def _listed(names: pd.Series[str]) -> str:
    shown = ", ".join(names[:8])
    return shown + (f" and {len(names) - 8} more" if len(names) > 8 else "")

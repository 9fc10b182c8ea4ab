"""Gas let out when a face is opened: how much, how much air thins it, and how far it carries.

An order of magnitude for planning, never a design: where the wind drops, none of it holds.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.assumptions import quantity_assumption
from reclaim.hazards.rough_numbers import rough
from reclaim.hazards.rules import RuleBook, rule_book
from reclaim.reference import Quantity, constant, read_rows

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from reclaim.assumptions import Assumption, Draws
    from reclaim.hazards.caution import Caution
    from reclaim.hazards.readings import Reading

FloatArray = NDArray[np.floating[Any]]

_SECONDS_PER_DAY = 86_400.0
_HOURS_PER_DAY = 24.0
NEAREST_M, FARTHEST_M = 100.0, 10_000.0
"""Range of distance for which the dispersion curves were drawn [m]."""
_METHANE_OF_NEW_GAS = 0.5  # F of IPCC (2006) Guidelines, Volume 5, equation 3.6
_SIGMAS_PER_WIDTH = 4.3  # an even source of a width spreads like a plume of width / 4.3 (ISC3)
_BISECTIONS = 40


@dataclass(frozen=True, slots=True)
class Opening:
    """Gas of an opened face, per draw, every array of shape ``(n_draws,)``.

    Attributes
    ----------
    dug_m3_d
        Waste dug on a working day [m3/d].
    methane_share, h2s_share
        Volume share in the gas of the pores [-]; `h2s_share` is None where it was not read.
    stored_m3_d
        Methane that lay in the pores of the waste dug in a day [m3/d].
    seeping_m3_d
        Methane that diffuses out of the face that is left standing [m3/d].
    generated_m3_d
        Methane made in the site that finds its way out at the face [m3/d].
    peak_m3_s
        Methane let out in a working hour [m3/s].
    mixed_pct
        Methane in the air that light wind drives past the face [% v/v].
    dilution_air_m3_s
        Fresh air that keeps the mixture below the trigger level [m3/s].
    methane_distance_m, odour_distance_m
        Distance downwind, in stable air and light wind, at which methane falls to the trigger
        level and hydrogen sulphide to the odour guideline [m]; never less than `NEAREST_M` nor
        more than `FARTHEST_M`, beyond which the curves do not hold; the second is None where
        hydrogen sulphide was not read.
    whole_dig_m3
        Methane that lies in the pores of all waste that is dug [m3].
    """

    dug_m3_d: FloatArray
    methane_share: FloatArray
    h2s_share: FloatArray | None
    stored_m3_d: FloatArray
    seeping_m3_d: FloatArray
    generated_m3_d: FloatArray
    peak_m3_s: FloatArray
    mixed_pct: FloatArray
    dilution_air_m3_s: FloatArray
    methane_distance_m: FloatArray
    odour_distance_m: FloatArray | None
    whole_dig_m3: FloatArray

    @property
    def methane_m3_d(self) -> FloatArray:
        """All methane let out on a working day [m3/d]."""
        return self.stored_m3_d + self.seeping_m3_d + self.generated_m3_d


def open_face(
    *,
    readings: Sequence[Reading],
    waste_m3: FloatArray,
    area_m2: float,
    density_t_m3: FloatArray,
    generated_m3_d: FloatArray,
    trigger_pct: float,
    assumptions: Mapping[str, Assumption],
    draws: Draws,
) -> Opening:
    """Return the gas that an opened face lets out.

    Parameters
    ----------
    readings
        Of the gas table; without methane the usual share in landfill gas is taken.
    waste_m3, area_m2
        Waste dug in all [m3], shape ``(n_draws,)``, and area of the site [m2].
    density_t_m3, generated_m3_d
        Waste in place, wet [t/m3], and methane made by all of it [m3/d], shape ``(n_draws,)``.
    trigger_pct
        Methane that may not be passed where people work [% v/v].
    assumptions, draws
        Of the site.

    Notes
    -----
    Three parts, added: the gas of the pores of what is dug; diffusion out of the standing face,
    `diffusive_release`; and the site's own generation, of which the face draws its share of the
    area times ``hazards.face_draw``, never more than all. Gas driven by falling air pressure is
    not in it.
    """
    given = {key: draws.of(assumptions[f"hazards.{key}"]) for key in _ASSUMPTIONS}
    methane = draws.of(_methane_assumption(readings))
    h2s = _share_of(readings, "h2s_ppm", 1e6)
    h2s_share = None if h2s is None else draws.of(h2s)
    gas_pores = np.minimum(given["gas_porosity"], given["total_porosity"])
    dug_m3_d = np.minimum(
        draws.of(assumptions["plant.capacity_t_y"]) / density_t_m3 / given["working_days_y"],
        waste_m3,
    )
    pore_gas_m3_d = dug_m3_d * gas_pores
    seeping_gas_m3_d = (
        given["face_area_m2"]
        * diffusive_release(1.0, gas_pores, given["total_porosity"], given["face_days"])
        / given["face_days"]
    )
    share = np.minimum(1.0, given["face_draw"] * given["face_area_m2"] / area_m2)
    generated = generated_m3_d * share

    def per_second(in_working_hours: FloatArray, all_day: FloatArray) -> FloatArray:
        hours = in_working_hours / given["working_hours_d"] + all_day / _HOURS_PER_DAY
        return np.asarray(hours / 3600.0)

    peak_m3_s = per_second(methane * pore_gas_m3_d, methane * seeping_gas_m3_d + generated)
    gas_m3_s = per_second(pore_gas_m3_d, seeping_gas_m3_d + generated / _METHANE_OF_NEW_GAS)
    width_m = np.sqrt(given["face_area_m2"])
    passing = given["wind_m_s"] * width_m * given["mixing_height_m"]
    wind = given["wind_m_s"]
    return Opening(
        dug_m3_d=dug_m3_d,
        methane_share=methane,
        h2s_share=h2s_share,
        stored_m3_d=methane * pore_gas_m3_d,
        seeping_m3_d=methane * seeping_gas_m3_d,
        generated_m3_d=generated,
        peak_m3_s=peak_m3_s,
        mixed_pct=100.0 * peak_m3_s / (peak_m3_s + passing),
        dilution_air_m3_s=dilution_air(peak_m3_s, trigger_pct),
        methane_distance_m=distance_downwind(peak_m3_s, trigger_pct / 100.0, wind, width_m),
        odour_distance_m=None
        if h2s_share is None
        else distance_downwind(
            gas_m3_s * h2s_share, constant("odour_h2s_ppm") / 1e6, wind, width_m
        ),
        whole_dig_m3=waste_m3 * gas_pores * methane,
    )


_ASSUMPTIONS = (
    "gas_porosity",
    "total_porosity",
    "face_area_m2",
    "face_days",
    "face_draw",
    "wind_m_s",
    "mixing_height_m",
    "working_days_y",
    "working_hours_d",
)


def face_caution(
    best: Opening, spread: Opening, trigger_pct: float, book: RuleBook | None = None
) -> Caution:
    """Tell what an opened face lets out; more urgent where light wind may not thin it enough.

    Parameters
    ----------
    best, spread
        The best estimate, and the same over all draws.
    trigger_pct
        Methane that may not be passed where people work [% v/v].
    book
        Rules that hold.
    """
    book = book or rule_book()
    low, high = (rough(bound) for bound in np.quantile(spread.methane_m3_d, [0.1, 0.9]))
    mixed, air, reach = (
        float(np.quantile(values, 0.9))
        for values in (spread.mixed_pct, spread.dilution_air_m3_s, spread.methane_distance_m)
    )
    total, stored, seeping, made = (
        rough(values[0])
        for values in (
            best.methane_m3_d,
            best.stored_m3_d,
            best.seeping_m3_d,
            best.generated_m3_d,
        )
    )
    why = [
        (
            f"Digging {best.dug_m3_d[0]:,.0f} m3 of waste a day lets out about {total} m3 of "
            f"methane a day (P10 to P90 {low} to {high}): {stored} from the pores dug, {seeping} "
            f"out of the standing face, {made} made in the waste. The gas of the pores is taken as "
            f"{best.methane_share[0]:.0%} methane."
        ),
        (
            f"To stay below {trigger_pct:g} % v/v takes about "
            f"{rough(best.dilution_air_m3_s[0])} m3/s of fresh air (P90 {rough(air)}); in light "
            f"wind the air at the face holds about {rough(best.mixed_pct[0])} % v/v "
            f"(P90 {rough(mixed)})."
        ),
        (
            "Downwind, in still evening air, methane is below that level "
            f"{_distance(reach)} (P90){_odour_reach(spread)}"
        ),
        "In pits, in the lee and in calm air none of this holds.",
    ]
    rule = book["face_emission_high"]
    if mixed < rule.number:
        rule = book["face_emission"]
    return rule.raised_by(" ".join(why))


def _odour_reach(spread: Opening) -> str:
    if spread.odour_distance_m is None:
        return "."
    middle, far = np.quantile(spread.odour_distance_m, [0.5, 0.9])
    return (
        f", and hydrogen sulphide below the guideline against smell {_distance(middle)} (P50) to "
        f"{_distance(far)} (P90); other smells of waste carry farther."
    )


def _distance(distance_m: float) -> str:
    if distance_m < NEAREST_M + 1:
        return f"within {NEAREST_M:.0f} m"
    if distance_m > FARTHEST_M - 1:
        return f"beyond {FARTHEST_M / 1000:.0f} km"
    return f"at {round(distance_m, -1):,.0f} m"


def diffusive_release(
    share: FloatArray | float, gas_pores: FloatArray, all_pores: FloatArray, days: FloatArray
) -> FloatArray:
    """Return the gas that diffuses out of a fresh face in a time [m3 per m2 of face].

    Parameters
    ----------
    share
        Volume share of the gas in the pores behind the face [-].
    gas_pores, all_pores
        Gas-filled and all pores, of the volume of the waste [-].
    days
        Time since the face was opened [d].

    Notes
    -----
    A half-space at an even concentration whose surface is kept clear gives off
    ``2 C sqrt(D t / pi)`` (Crank 1975, ch. 3), here times the gas-filled pores. In a porous body
    ``D = D_air x gas_pores^(10/3) / all_pores^2 / gas_pores`` (Millington and Quirk 1961).
    """
    power = constant("gas_pore_exponent")
    in_waste = constant("methane_diffusivity_m2_s") * gas_pores**power / all_pores**2 / gas_pores
    return np.asarray(2.0 * gas_pores * share * np.sqrt(in_waste * days * _SECONDS_PER_DAY / np.pi))


def dilution_air(methane_m3_s: FloatArray, trigger_pct: float) -> FloatArray:
    """Return the fresh air that thins methane to a level [m3/s].

    Examples
    --------
    >>> float(dilution_air(np.array(0.01), 1.0))
    0.99
    """
    return np.asarray(methane_m3_s * (100.0 / trigger_pct - 1.0))


def distance_downwind(
    source_m3_s: FloatArray,
    share: float,
    wind_m_s: FloatArray,
    width_m: FloatArray,
    stability: str = "stable",
) -> FloatArray:
    """Return how far downwind a gas let out at the ground falls to a volume share [m].

    Parameters
    ----------
    source_m3_s, wind_m_s, width_m
        Gas let out [m3/s], wind [m/s] and width of the source [m], shape ``(n_draws,)``.
    share
        Volume share to fall to [-].
    stability
        ``stable`` (a still evening) or ``neutral`` (an overcast, windy day).

    Notes
    -----
    Ground-level plume along its axis, ``share = source / (pi wind across up)``, with the
    open-country curves of Briggs (1973). They were drawn for 100 m to 10 km; a distance that
    would come out shorter or longer is told as the end of that range.
    """
    near = np.full_like(np.asarray(source_m3_s, dtype=float), NEAREST_M)
    far = np.full_like(near, FARTHEST_M)
    for _ in range(_BISECTIONS):
        middle = (near + far) / 2
        above = axis_share(source_m3_s, middle, wind_m_s, width_m, stability) > share
        near, far = np.where(above, middle, near), np.where(above, far, middle)
    return np.where(axis_share(source_m3_s, far, wind_m_s, width_m, stability) > share, far, near)


def axis_share(
    source_m3_s: FloatArray,
    distance_m: FloatArray,
    wind_m_s: FloatArray,
    width_m: FloatArray,
    stability: str = "stable",
) -> FloatArray:
    """Return the volume share of a gas on the axis of its plume at the ground [-]."""
    spread = {
        row["direction"]: float(row["slope"])
        * distance_m
        * (1.0 + float(row["bend_per_m"]) * distance_m) ** float(row["power"])
        for row in read_rows("dispersion.csv")
        if row["stability"] == stability
    }
    across = np.hypot(spread["across"], width_m / _SIGMAS_PER_WIDTH)
    return np.asarray(source_m3_s / (np.pi * wind_m_s * across * spread["up"]))


def _methane_assumption(readings: Sequence[Reading]) -> Assumption:
    measured = _share_of(readings, "ch4_pct", 100.0)
    if measured is not None:
        return measured
    low, high = constant("methane_typical_low_pct"), constant("methane_typical_high_pct")
    return quantity_assumption(
        "hazards.ch4_pct",
        _quantity(low / 100.0, (low + high) / 200.0, high / 100.0, "atsdr_2001"),
        maximum=1.0,
    )


def _share_of(readings: Sequence[Reading], gas: str, whole: float) -> Assumption | None:
    """Return the volume share of a gas from its lowest, middle and highest reading."""
    values = [reading.value / whole for reading in readings if reading.gas == gas]
    if not values:
        return None
    low, middle, high = min(values), float(np.median(values)), max(values)
    return quantity_assumption(
        f"hazards.{gas}", _quantity(low, middle, high, "judgement"), maximum=1.0
    )


def _quantity(low: float, mode: float, high: float, source: str) -> Quantity:
    return Quantity(low, mode, high, "fraction", source, "judgement", "")

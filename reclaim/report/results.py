"""The estimate as one document: every number that is handed on, under the keys users rely on.

Headline quantities are objects of best estimate, P10 and P90 with their unit. What is not a finite
number becomes null. Paths are as the site file has them.
"""

from __future__ import annotations

import json
from dataclasses import asdict
from datetime import UTC, datetime
from math import isfinite
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim import __version__
from reclaim.appraisal import all_rates_of_return, equivalent_annual_cost
from reclaim.plant import editions
from reclaim.reference import heavy_metals, materials
from reclaim.reference import products as product_labels
from reclaim.report import choices
from reclaim.report.confidence import confidence
from reclaim.report.core_study import core_study_document, core_tables_document, laboratory_rows
from reclaim.report.grades import fuel_class_words, purity
from reclaim.report.hazards import hazards
from reclaim.report.line import line_document
from reclaim.uncertainty.bands import band

if TYPE_CHECKING:
    from collections.abc import Mapping

    from reclaim.assumptions import Assumption
    from reclaim.dig import Outcome
    from reclaim.estimate import Estimate
    from reclaim.waste import CoreSummary

Document = dict[str, Any]
FloatArray = NDArray[np.floating[Any]]

SCHEMA_VERSION = 1


def results(estimate: Estimate) -> Document:
    """Return the results document, ready for `as_json`.

    Parameters
    ----------
    estimate
        What the main job found.

    Returns
    -------
    dict
        Keys as in ``docs/results.md``; only dicts, lists, text, finite numbers, true, false and
        null.
    """
    document = {
        "schema_version": SCHEMA_VERSION,
        "site": _site(estimate),
        "headlines": _headlines(estimate),
        "inputs": [asdict(file) for file in estimate.site.inputs],
        "checks": [asdict(check) for check in estimate.checks],
        "excavation": _excavation(estimate),
        "ground": _ground(estimate),
        "feed": _feed(estimate),
        "core_composites": _core_composites(estimate),
        "core_tables": core_tables_document(estimate.site.cores, estimate.core_summary),
        "core_study": core_study_document(estimate.core_study),
        "laboratory": laboratory_rows(estimate.laboratory),
        "products": _products(estimate),
        "line": line_document(estimate),
        "drying": _drying(estimate),
        "airspace": _airspace(estimate),
        "value": _value(estimate),
        "options": choices.options(estimate),
        "carbon": choices.carbon(estimate),
        "schedule": choices.schedule(estimate),
        "outside_view": choices.outside_view(estimate),
        "stage_gate": choices.stage_gate(estimate),
        "confidence": confidence(estimate),
        "cautions": [asdict(caution) for caution in estimate.cautions],
        "not_assessed": list(estimate.not_assessed),
        "hazards": hazards(estimate),
        "balance": asdict(estimate.best.products.balance),
        "assumptions": _assumptions(estimate),
        "settings": _settings(estimate),
        "run": {
            "version": __version__,
            "seed": estimate.site.seed,
            "draws": int(estimate.draws.appraisal.npv.size),
            "made_on": datetime.now(tz=UTC).date().isoformat(),
            "seconds": dict(estimate.seconds),
        },
    }
    return dict(finite(document))


def as_json(document: Document) -> str:
    """Return a results document as text: sorted keys, so that two runs can be compared."""
    return (
        json.dumps(document, indent=2, sort_keys=True, ensure_ascii=False, allow_nan=False) + "\n"
    )


def chance_npv_positive(estimate: Estimate) -> float:
    """Return the share of the draws whose net present value is above zero [-]."""
    return float(np.mean(estimate.draws.appraisal.npv > 0))


def _banded(best: FloatArray | float, draws: FloatArray, unit: str) -> Document:
    return asdict(band(np.asarray(best), np.asarray(draws), unit))


def _site(estimate: Estimate) -> Document:
    site = estimate.site
    return {
        "name": site.name,
        "currency": site.currency,
        "price_year": site.price_year,
        "opened": site.opened,
        "closed": site.closed,
        "climate": site.climate,
        "cores": len(site.cores.collars),
        "samples": len(site.cores.samples),
        "line": site.line.label,
        "survey": site.survey.label,
        "base": site.base.label,
        "cover": site.cover.label,
    }


def _headlines(estimate: Estimate) -> Document:
    best, draws, currency = estimate.best, estimate.draws, estimate.site.currency

    def made(*names: str) -> Document:
        masses = [
            np.sum([run.products.wet_t(n) for n in names if n in run.products.names], axis=0)
            for run in (best, draws)
        ]
        return _banded(masses[0], np.broadcast_to(masses[1], draws.volumes.waste_m3.shape), "t")

    return {
        "excavated_m3": _banded(
            best.appraisal.airspace.opened_m3, draws.appraisal.airspace.opened_m3, "m3"
        ),
        "waste_t": _banded(best.feed.total_wet_t, draws.feed.total_wet_t, "t"),
        "fuel_t": made("fuel"),
        "metals_t": made("ferrous", "nonferrous"),
        "minerals_t": made("aggregate", "glass"),
        "soil_t": made("soil"),
        "airspace_reclaimed_m3": _banded(
            best.appraisal.airspace.reclaimed_m3, draws.appraisal.airspace.reclaimed_m3, "m3"
        ),
        "npv": _banded(best.appraisal.npv, draws.appraisal.npv, currency),
        "unit_cost_per_t": _banded(
            best.appraisal.unit_cost_per_t, draws.appraisal.unit_cost_per_t, f"{currency}/t"
        ),
        "chance_npv_positive": chance_npv_positive(estimate),
    }


def _excavation(estimate: Estimate) -> Document:
    dig, best, draws = estimate.excavation, estimate.best.volumes, estimate.draws.volumes
    return {
        "area_m2": float(dig.area_m2.sum()),
        "gross_m3": dig.gross_m3,
        "cover_m3": _banded(best.cover_m3, draws.cover_m3, "m3"),
        "waste_m3": _banded(best.waste_m3, draws.waste_m3, "m3"),
        "overdig_m3": _banded(best.overdig_m3, draws.overdig_m3, "m3"),
        "left_in_slopes_m3": float(dig.left_in_slopes_m3.sum()),
        "mean_depth_m": dig.mean_depth_m,
        "deepest_m": dig.deepest_m,
        "unknown_area_m2": dig.unknown_area_m2,
        "inverted_area_m2": dig.inverted_area_m2,
        "waste_volume_sd_m3": {
            "random": dig.error.random_m3,
            "correlated": dig.error.correlated_m3,
            "systematic": dig.error.systematic_m3,
            "total": dig.error.total_m3,
        },
        "lifts_by": dig.lifts_by,
        "lifts": [
            {
                "top_m": float(top),
                "bottom_m": float(bottom),
                "cover_m3": float(dig.cover_m3[:, lift].sum()),
                "waste_m3": float(dig.waste_m3[:, lift].sum()),
            }
            for lift, (top, bottom) in enumerate(
                zip(dig.lift_top_m, dig.lift_bottom_m, strict=True)
            )
        ],
        "zones": [
            {
                "name": name,
                "area_m2": float(dig.area_m2[zone]),
                "cover_m3": float(dig.cover_m3[zone].sum()),
                "waste_m3": _banded(
                    best.zone_waste_m3[:, zone], draws.zone_waste_m3[:, zone], "m3"
                ),
                "overdig_m3": float(dig.overdig_m3[zone]),
                "left_in_slopes_m3": float(dig.left_in_slopes_m3[zone]),
            }
            for zone, name in enumerate(dig.zones)
        ],
    }


def _ground(estimate: Estimate) -> Document | None:
    """Return what is known of the ground beside its volumes; null where it was not studied."""
    study, dig = estimate.ground, estimate.excavation
    if study is None:
        return None
    opinion, target = study.second_opinion, study.restoration
    soil, best = study.soil, study.best_soil
    m3 = ("waste_loose_m3", "cover_loose_m3", "overdig_loose_m3", "soil_placed_m3", "import_m3",
          "export_m3")  # fmt: skip
    return {
        "second_opinion": {
            "grid_m3": float(dig.cover_m3.sum() + dig.waste_m3.sum()),
            "end_area_m3": opinion.end_area_m3,
            "prismoidal_m3": opinion.prismoidal_m3,
            "spacing_error_m3": opinion.spacing_error_m3,
            "sections": len(opinion.station_m),
        },
        "thicker_than": {
            "depth_m": study.chance.thicker_than_m,
            "expected_area_m2": study.chance.expected_area_m2,
        },
        "blocks": {
            "count": len(study.blocks),
            "east_m": study.blocks.side_m[0],
            "north_m": study.blocks.side_m[1],
        },
        "restoration": None
        if target is None
        else {"target": target.label, "fill_m3": target.fill_m3, "cut_m3": target.cut_m3,
              "unknown_area_m2": target.unknown_area_m2},
        "soil": {
            **{name: _banded(getattr(best, name), getattr(soil, name), "m3") for name in m3},
            **{
                name: _banded(getattr(best, name), getattr(soil, name), "m2")
                for name in ("soil_heap_m2", "waste_heap_m2")
            },
        },
    }  # fmt: skip


def _feed(estimate: Estimate) -> Document:
    best, draws = estimate.best.feed, estimate.draws.feed
    labels = {material.name: material.label for material in materials()}
    return {
        "waste_t": _banded(best.total_wet_t, draws.total_wet_t, "t"),
        "dry_t": _banded(best.dry_t.sum(axis=1), draws.dry_t.sum(axis=1), "t"),
        "water_t": _banded(best.water_t.sum(axis=1), draws.water_t.sum(axis=1), "t"),
        "moisture": _banded(best.moisture, draws.moisture, "-"),
        "bulk_density_t_m3": _banded(best.bulk_density_t_m3, draws.bulk_density_t_m3, "t/m3"),
        "cover_t": _banded(best.cover_t, draws.cover_t, "t"),
        "overdig_t": _banded(best.overdig_t, draws.overdig_t, "t"),
        "materials": [
            {
                "name": name,
                "label": labels[name],
                "wet_fraction": _banded(
                    best.wet_fraction[:, place], draws.wet_fraction[:, place], "-"
                ),
                "wet_t": _banded(best.wet_t[:, place], draws.wet_t[:, place], "t"),
                "dry_t": _banded(best.dry_t[:, place], draws.dry_t[:, place], "t"),
            }
            for place, name in enumerate(best.materials)
        ],
    }


def _core_composites(estimate: Estimate) -> list[Document]:
    """Return what the cores say by zone and for the site; empty where there are no cores."""
    return [] if estimate.core_summary is None else composites_of(estimate.core_summary)


def composites_of(summary: CoreSummary) -> list[Document]:
    """Return the composites of a core summary by zone, the whole site last."""
    return [
        {
            "zone": zone,
            "moisture": {
                "value": float(summary.moisture[row]),
                "low": float(summary.moisture_low[row]),
                "high": float(summary.moisture_high[row]),
                "unit": "-",
            },
            "wet_fraction": {
                name: {
                    "value": float(summary.wet_fraction[row, place]),
                    "low": float(summary.low[row, place]),
                    "high": float(summary.high[row, place]),
                    "unit": "-",
                }
                for place, name in enumerate(summary.materials)
            },
            "dry_fraction": {
                name: float(summary.dry_fraction[row, place])
                for place, name in enumerate(summary.materials)
            },
        }
        for row, zone in enumerate(summary.zones)
    ]


def _products(estimate: Estimate) -> list[Document]:
    best, draws = estimate.best.products, estimate.draws.products
    labels = product_labels()
    wet = best.dry_t + best.water_t
    documents = []
    for place, name in enumerate(best.names):

        def of(quantity: str, unit: str, place: int = place) -> Document:
            return _banded(
                getattr(best, quantity)[:, place], getattr(draws, quantity)[:, place], unit
            )

        documents.append(
            {
                "name": name,
                "label": labels.get(name, name),
                "wet_t": of("product_wet_t", "t"),
                "dry_t": of("product_dry_t", "t"),
                "moisture": of("moisture", "-"),
                "ncv_mj_kg": of("ncv_mj_kg", "MJ/kg"),
                "ncv_dry_mj_kg": of("ncv_dry_mj_kg", "MJ/kg"),
                "ash": of("ash", "-"),
                "chlorine": of("chlorine", "-"),
                "mercury_mg_mj": of("mercury_mg_mj", "mg/MJ"),
                "mercury_median_mg_mj": of("mercury_median_mg_mj", "mg/MJ"),
                "mercury_p80_mg_mj": of("mercury_p80_mg_mj", "mg/MJ"),
                "heavy_metals_mg_kg": {
                    metal: _banded(
                        best.heavy_metals_mg_kg[:, place, column],
                        draws.heavy_metals_mg_kg[:, place, column],
                        "mg/kg",
                    )
                    for column, metal in enumerate(heavy_metals())
                },
                "carbon": of("carbon", "-"),
                "biogenic_share": of("biogenic_share", "-"),
                "biogenic_energy": of("biogenic_energy", "-"),
                "biogenic_mass": of("biogenic_mass", "-"),
                "bulk_density_t_m3": of("bulk_density_t_m3", "t/m3"),
                "recovery": of("recovery", "-"),
                "fuel_class": fuel_class_words(estimate, place) if name == "fuel" else None,
                "fuel_classes": {
                    edition: fuel_class_words(estimate, place, edition) for edition in editions()
                }
                if name == "fuel"
                else None,
                "purity": purity(estimate, name),
                "materials": {
                    material: float(wet[0, place, column])
                    for column, material in enumerate(best.materials)
                },
            }
        )
    return documents


def _drying(estimate: Estimate) -> Document:
    best, draws = estimate.best.products, estimate.draws.products

    def of(quantity: str, unit: str) -> Document:
        return _banded(getattr(best.drying, quantity), getattr(draws.drying, quantity), unit)

    return {
        "feed_t": of("feed_t", "t"),
        "moisture_in": of("moisture_in", "-"),
        "moisture_out": of("moisture_out", "-"),
        "water_removed_t": of("water_removed_t", "t"),
        "solids_lost_t": of("solids_lost_t", "t"),
        "heat_needed_mwh": of("heat_needed_mwh", "MWh"),
        "heat_own_mwh": of("heat_own_mwh", "MWh"),
        "heat_bought_mwh": of("heat_bought_mwh", "MWh"),
        "days_of_air": of("days_of_air", "days"),
        "air_m3": of("air_m3", "m3"),
        "exhaust_m3": of("exhaust_m3", "m3"),
        "condensate_t": of("condensate_t", "t"),
        "fan_mwh": of("fan_mwh", "MWh"),
        "air_treatment_mwh": of("air_treatment_mwh", "MWh"),
        "power_mwh": _banded(best.power_mwh, draws.power_mwh, "MWh"),
    }


def _airspace(estimate: Estimate) -> Document:
    best, draws = estimate.best.appraisal.airspace, estimate.draws.appraisal.airspace
    units = {
        "opened_m3": "m3",
        "refilled_m3": "m3",
        "lost_m3": "m3",
        "reclaimed_m3": "m3",
        "life_years": "y",
    }
    return {
        name: _banded(getattr(best, name), getattr(draws, name), unit)
        for name, unit in units.items()
    }


def _value(estimate: Estimate) -> Document:
    best, draws, currency = (
        estimate.best.appraisal,
        estimate.draws.appraisal,
        estimate.site.currency,
    )
    irr, roots = best.rates_of_return()
    units = {
        "capital": currency,
        "cost": currency,
        "revenue": currency,
        "npv": currency,
        "payback_years": "y",
        "unit_cost_per_t": f"{currency}/t",
        "discount_rate": "-",
        "duration_years": "y",
    }
    return {
        **{
            name: _banded(getattr(best, name), getattr(draws, name), unit)
            for name, unit in units.items()
        },
        "annual_cost": _banded(
            _annual_cost(estimate.best), _annual_cost(estimate.draws), f"{currency}/y"
        ),
        "chance_npv_positive": chance_npv_positive(estimate),
        "irr": _banded(irr, draws.rates_of_return()[0], "-"),
        "irr_roots": int(roots[0]),
        "irr_all": [float(rate) for rate in all_rates_of_return(best.net_flow[0])],
        "breakeven": dict(best.breakeven),
        "discount_convention": estimate.site.discount_convention,
        "nominal_net_by_year": [float(amount) for amount in best.nominal_flow[0]],
        "running_by_year": [float(amount) for amount in np.cumsum(best.net_flow[0])],
        "cash_flow": [
            {
                "name": item.name,
                "label": item.label,
                "group": item.group,
                "by_year": [float(amount) for amount in item.flow[0]],
            }
            for item in best.items
        ],
    }


def _annual_cost(outcome: Outcome) -> FloatArray:
    """Return all payments as an even payment in each year of digging [currency/y]."""
    appraisal = outcome.appraisal
    present = appraisal.unit_cost_per_t * outcome.feed.total_wet_t
    return equivalent_annual_cost(present, appraisal.discount_rate, appraisal.duration_years)


def _assumptions(estimate: Estimate) -> list[Document]:
    """Return every assumption, the composition's included, in order of their keys."""
    stated: Mapping[str, Assumption] = {**estimate.site.assumptions, **estimate.site.composition}
    rows = [
        {
            "key": assumption.key,
            "label": assumption.label,
            "kind": assumption.kind,
            "numbers": list(assumption.numbers),
            "value": assumption.central,
            "unit": assumption.unit,
            "source": assumption.source,
            "status": assumption.status,
            "given": assumption.given,
        }
        for assumption in stated.values()
    ]
    return sorted(rows, key=lambda row: str(row["key"]))


def _settings(estimate: Estimate) -> list[Document]:
    """Return the plain numbers that steer the estimate, in order of their keys."""
    return [
        {
            "key": setting.key,
            "label": setting.label,
            "value": setting.value,
            "unit": setting.unit,
            "source": setting.source,
            "status": setting.status,
            "given": setting.given,
        }
        for setting in sorted(estimate.site.settings.values(), key=lambda setting: setting.key)
        if setting.value is not None and not setting.key.startswith("limits.")
    ]


def finite(value: Any) -> Any:
    """Return the same document with null for every number that is not finite."""
    if isinstance(value, dict):
        return {key: finite(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [finite(part) for part in value]
    if isinstance(value, bool) or value is None or isinstance(value, str):
        return value
    if isinstance(value, int | np.integer):
        return int(value)
    number = float(value)
    return number if isfinite(number) else None

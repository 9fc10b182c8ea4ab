"""One dig as a model: the rooms in order, for one central draw or for many draws.

Comes in: a `Site`, its measured ground and its cores. Goes out: an `Outcome` for any source of
draws. Imports nothing heavy until it runs.
"""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass, fields, replace
from functools import partial
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator
    from typing import Any

    import numpy as np
    from numpy.typing import NDArray

    from reclaim.appraisal import Appraisal, BestPart, Bill, Comparison, Course
    from reclaim.assumptions import Draws
    from reclaim.ground import DugVolumes, Excavation
    from reclaim.plant import Products
    from reclaim.site import Site
    from reclaim.waste import Composition, CoreComposites, CoreStudy, Feed, LabFit, LabMean


@dataclass(frozen=True, slots=True)
class Outcome:
    """One run of the model: the same functions for one central draw or for many draws.

    Attributes
    ----------
    volumes, feed, products, appraisal
        What each room made of it; arrays have a leading axis of ``n_draws``.
    """

    volumes: DugVolumes
    feed: Feed
    products: Products
    appraisal: Appraisal


@dataclass(frozen=True, slots=True)
class Drawn:
    """The outcome of draws with its bill of quantities.

    Attributes
    ----------
    outcome, bill
        With the same number of draws.
    """

    outcome: Outcome
    bill: Bill


@dataclass(frozen=True, slots=True)
class Dig:
    """One dig, ready to be run with any source of draws: the one model.

    Attributes
    ----------
    site, excavation, composites, study
        Input, measured ground, composites of the cores, and what studying the cores found.
    laboratory
        Bulk values that the materials' properties are brought to.
    find_breakevens
        False leaves the break-even values of the best estimate out, to save time.
    """

    site: Site
    excavation: Excavation
    composites: CoreComposites
    study: CoreStudy | None
    laboratory: tuple[LabMean, ...]
    find_breakevens: bool = True

    def run(self, draws: Draws) -> Outcome:
        """Run the rooms in order, for one central draw or for many draws."""
        from reclaim.appraisal import appraise
        from reclaim.ground import volume_draws
        from reclaim.plant import run_line
        from reclaim.waste import to_laboratory

        site, excavation = self.site, self.excavation
        volumes = volume_draws(excavation, draws)
        with self.input_errors():
            feed = to_laboratory(
                self._feed(volumes, draws), self.laboratory, site.assumptions, draws
            )
            products = run_line(feed, site.line, site.assumptions, draws)
            appraisal = appraise(
                volumes,
                feed,
                products,
                float(excavation.area_m2.sum()),
                site.assumptions,
                draws,
                closed_months=site.closed_months,
                discount_convention=site.discount_convention,
                find_breakevens=self.find_breakevens,
            )
        return Outcome(volumes, feed, products, appraisal)

    def drawn(self, draws: Draws) -> Drawn:
        """Run the rooms and add up the bill of quantities."""
        outcome = self.run(draws)
        return Drawn(outcome, self.bill(outcome, draws))

    def drawn_lean(self, draws: Draws) -> Drawn:
        """Run as `drawn`, and keep only what is asked of many draws.

        Left out are belts, machine loads and money by line and year but its sum, and the
        properties of materials that no sum over draws needs.
        """
        from reclaim.appraisal import CashItem
        from reclaim.assumptions.records import without_columns

        drawn = self.drawn(draws)
        made, feed, money = drawn.outcome.products, drawn.outcome.feed, drawn.outcome.appraisal
        properties = without_columns(
            feed.properties,
            ["ncv_dry_mj_kg", "ash", "chlorine", "mercury_mg_kg", "box_loss", "heavy_metals_mg_kg"],
        )
        outcome = replace(
            drawn.outcome,
            feed=replace(feed, properties=properties),
            products=replace(made, streams=(), machine_t={}),
            appraisal=replace(
                without_columns(money, ["discount_factors", "nominal_flow"]),
                items=(CashItem("net", "Sum of the lines", "net", money.net_flow),),
                time=without_columns(money.time, ["years_dug", "dug_share", "processed_share"]),
            ),
        )
        return replace(drawn, outcome=outcome)

    def laboratory_fits(self) -> tuple[LabFit, ...]:
        """Set the laboratory's bulk values beside those of the materials, best estimate."""
        from reclaim.assumptions import Draws
        from reclaim.ground import volume_draws
        from reclaim.waste import laboratory_fits, to_laboratory

        best = Draws.best_estimate()
        before = self._feed(volume_draws(self.excavation, best), best)
        after = to_laboratory(before, self.laboratory, self.site.assumptions, best)
        return laboratory_fits(before, after, self.laboratory)

    def _feed(self, volumes: DugVolumes, draws: Draws) -> Feed:
        """Feed with the materials as the reference tables have them."""
        from reclaim.waste import feed_from_volumes, properties_of_site

        site, composition = self.site, self.composition(draws)
        properties = properties_of_site(
            site.opened, site.closed, site.price_year, site.climate, site.assumptions, draws
        )
        pattern = self.composites.moisture_pattern
        return feed_from_volumes(volumes, composition, properties, pattern, site.assumptions, draws)

    def composition(self, draws: Draws) -> Composition:
        """Take the composition stated, else that of the cores without the bias of narrow bores."""
        from reclaim.waste import composition_stated, without_bore_bias

        site = self.site
        if site.composition:
            return composition_stated(site.composition, self.excavation.zones, draws)
        return without_bore_bias(
            self._composition_as_read(draws), self.composites, site.assumptions, draws
        )

    def _composition_as_read(self, draws: Draws) -> Composition:
        """Take the kriged composition where kriging foretells cores better, else the means.

        Where the draws leave the cores at their centre, every draw has the best estimate.
        """
        import numpy as np

        from reclaim.assumptions import Draws
        from reclaim.assumptions.records import joined
        from reclaim.waste import composition_from_cores, picked_composition

        if len(draws.parts()) > 1:
            return joined([self._composition_as_read(part) for part in draws.parts()])
        zones, study = self.excavation.zones, self.study
        central = draws.is_central("cores of *") and draws.is_central("spatial composition")
        source = Draws.best_estimate() if central else draws
        if study is not None and study.kriged is not None and study.pictures is not None:
            found = picked_composition(study.kriged, study.pictures, source)
        else:
            found = composition_from_cores(self.composites, zones, source)
        if not central:
            return found
        arrays: dict[str, Any] = {
            item.name: np.repeat(getattr(found, item.name), draws.n_draws, axis=0)
            for item in fields(found)
            if isinstance(getattr(found, item.name), np.ndarray)
        }
        return replace(found, **arrays)

    def bill(self, outcome: Outcome, draws: Draws) -> Bill:
        """Bill of quantities of the whole dig and of each zone sent through the line by itself."""
        import numpy as np

        from reclaim.appraisal import Bill, quantities_of
        from reclaim.plant import run_line
        from reclaim.waste import feed_from_volumes

        site, excavation = self.site, self.excavation
        whole = quantities_of(
            outcome.volumes, outcome.feed, outcome.products, float(excavation.area_m2.sum())
        )
        if len(excavation.zones) == 1:
            return Bill(whole, (whole,))
        composition = self.composition(draws)
        cover, overdig = excavation.cover_m3.sum(axis=1), excavation.overdig_m3
        zones = []
        for place in range(len(excavation.zones)):
            only = np.arange(len(excavation.zones)) == place
            waste = outcome.volumes.zone_waste_m3 * only
            if not np.all(waste.sum(axis=1) > 0):
                zones.append(whole.times(0.0))
                continue
            volumes = replace(
                outcome.volumes,
                cover_m3=outcome.volumes.cover_m3 * _part_of(cover, place),
                waste_m3=waste.sum(axis=1),
                overdig_m3=outcome.volumes.overdig_m3 * _part_of(overdig, place),
                zone_waste_m3=waste,
            )
            feed = feed_from_volumes(
                volumes,
                composition,
                outcome.feed.properties,
                self.composites.moisture_pattern,
                site.assumptions,
                draws,
            )
            products = run_line(feed, site.line, site.assumptions, draws)
            zones.append(quantities_of(volumes, feed, products, float(excavation.area_m2[place])))
        return Bill(whole, tuple(zones))

    def compare(self, best: Drawn, drawn: Drawn, source: Draws) -> Comparison:
        """Set the courses of action side by side, chunk by chunk so that memory stays small."""
        from reclaim.appraisal import Bill, Prices, compare, side_by_side
        from reclaim.assumptions import CHUNK
        from reclaim.uncertainty import run_in_chunks

        site = self.site
        stated: dict[str, Any] = {
            "courses": site.courses,
            "closed_months": site.closed_months,
            "discount_convention": site.discount_convention,
        }

        def compared(part: BestPart, chunk: Draws) -> tuple[Any, Any]:
            begin = (chunk.first - source.first) * CHUNK
            rows = slice(begin, begin + chunk.n_draws)
            zones = tuple(zone.rows(rows) for zone in drawn.bill.zones)
            bill = Bill(drawn.bill.whole.rows(rows), zones)
            price = Prices(site.assumptions, chunk)
            return side_by_side(self.excavation, part, bill, site.climate, price, **stated)

        with self.input_errors():
            return compare(
                self.excavation,
                best.bill,
                best.outcome.appraisal,
                drawn.outcome.appraisal.npv,
                site.climate,
                site.assumptions,
                lambda part: run_in_chunks(partial(compared, part), source),
                **stated,
            )

    def course_draws(self, best: Drawn, drawn: Drawn, source: Draws) -> tuple[Course, ...]:
        """Work out the courses of action of the draws, and nothing else of `compare`."""
        from reclaim.appraisal import Prices, best_part, compare_courses, quantities_of_part
        from reclaim.assumptions import Draws

        site, bill = self.site, drawn.bill
        central = Prices(site.assumptions, Draws.best_estimate())
        with self.input_errors():
            part = best_part(self.excavation, best.bill.zones, central, site.closed_months)
            return compare_courses(
                bill.whole,
                quantities_of_part(part, self.excavation, bill.zones),
                site.climate,
                Prices(site.assumptions, source),
                courses=site.courses,
                closed_months=site.closed_months,
                discount_convention=site.discount_convention,
                methane_of=(),
            )

    @contextmanager
    def input_errors(self) -> Iterator[None]:
        """Turn what a room cannot work with into a message about the site file."""
        from reclaim.site import Check, SiteError

        try:
            yield
        except ValueError as error:
            message = Check("error", self.site.path.name, str(error), "Correct the number named.")
            raise SiteError([message]) from error


def _part_of(amounts: NDArray[np.floating[Any]], place: int) -> float:
    total = float(amounts.sum())
    return float(amounts[place]) / total if total else 0.0

"""One dig as a model: the rooms in order, for one central draw or for many draws.

Comes in: a `Site`, its measured ground and its cores. Goes out: an `Outcome` for any source of
draws. Imports nothing heavy until it runs.
"""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator
    from typing import Any

    import numpy as np
    from numpy.typing import NDArray

    from reclaim.appraisal import Appraisal, Bill, Comparison
    from reclaim.assumptions import Draws
    from reclaim.ground import DugVolumes, Excavation
    from reclaim.plant import Products
    from reclaim.site import Site
    from reclaim.waste import Composition, CoreComposites, CoreStudy, Feed


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
    """

    site: Site
    excavation: Excavation
    composites: CoreComposites
    study: CoreStudy | None

    def run(self, draws: Draws) -> Outcome:
        """Run the rooms in order, for one central draw or for many draws."""
        from reclaim.appraisal import appraise
        from reclaim.ground import volume_draws
        from reclaim.plant import run_line
        from reclaim.waste import feed_from_volumes, properties_of_site

        site, excavation = self.site, self.excavation
        volumes = volume_draws(excavation, draws)
        composition = self.composition(draws)
        with self.input_errors():
            properties = properties_of_site(
                site.opened, site.closed, site.price_year, site.climate, site.assumptions, draws
            )
            feed = feed_from_volumes(volumes, composition, properties, site.assumptions, draws)
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
            )
        return Outcome(volumes, feed, products, appraisal)

    def drawn(self, draws: Draws) -> Drawn:
        """Run the rooms and add up the bill of quantities."""
        outcome = self.run(draws)
        return Drawn(outcome, self.bill(outcome, draws))

    def composition(self, draws: Draws) -> Composition:
        """Take the composition stated, else kriged where that foretells cores better, else means.

        Where the draws leave the cores at their centre, every draw has the best estimate.
        """
        import numpy as np

        from reclaim.assumptions import Draws
        from reclaim.uncertainty import joined
        from reclaim.waste import composition_from_cores, composition_stated, picked_composition

        if len(draws.parts()) > 1:
            whole: Composition = joined([self.composition(part) for part in draws.parts()])
            return whole
        site, zones, study = self.site, self.excavation.zones, self.study
        if site.composition:
            return composition_stated(site.composition, zones, draws)
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
                volumes, composition, outcome.feed.properties, site.assumptions, draws
            )
            products = run_line(feed, site.line, site.assumptions, draws)
            zones.append(quantities_of(volumes, feed, products, float(excavation.area_m2[place])))
        return Bill(whole, tuple(zones))

    def compare(self, best: Drawn, drawn: Drawn, source: Draws) -> Comparison:
        """Set the courses of action side by side, chunk by chunk so that memory stays small."""
        from reclaim.appraisal import Bill, compare
        from reclaim.assumptions import CHUNK
        from reclaim.uncertainty import run_in_chunks

        site = self.site
        latest: list[Comparison] = []

        def compared(chunk: Draws) -> tuple[Any, Any]:
            begin = (chunk.first - source.first) * CHUNK
            rows = slice(begin, begin + chunk.n_draws)
            zones = tuple(zone.rows(rows) for zone in drawn.bill.zones)
            comparison = compare(
                self.excavation,
                best.bill,
                Bill(drawn.bill.whole.rows(rows), zones),
                best.outcome.appraisal,
                drawn.outcome.appraisal,
                site.climate,
                site.assumptions,
                chunk,
                courses=site.courses,
                closed_months=site.closed_months,
                discount_convention=site.discount_convention,
            )
            latest[:] = [comparison]
            return comparison.course_draws, comparison.reading_draws

        with self.input_errors():
            courses, readings = run_in_chunks(compared, source)
        return replace(latest[0], course_draws=courses, reading_draws=readings)

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

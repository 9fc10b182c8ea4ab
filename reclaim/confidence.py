"""How sure one dig is: its draws, what drives its worth, what to find out next, its scenarios.

Comes in: a `Dig`. Goes out: the draws with their source, and `Confidence`. The questions are asked
here of the one model; `uncertainty` answers them and knows nothing of waste.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from typing import Any

    import numpy as np
    from numpy.typing import NDArray

    from reclaim.appraisal import Comparison
    from reclaim.assumptions import Assumption, Draws
    from reclaim.dig import Dig, Drawn, Outcome
    from reclaim.site import Site
    from reclaim.uncertainty import Confidence, Drivers, Knowing, ScenarioResult


def draw_range(dig: Dig, progress: Callable[[str], None] | None) -> tuple[Draws, Drawn]:
    """Run the model over all draws, or until the precision asked for; return the draws used."""
    from reclaim.assumptions import CHUNK, Draws
    from reclaim.uncertainty import names_asked, precision_of, run_in_chunks

    site, plan = dig.site, dig.site.draw_plan
    source = Draws(site.draws, site.seed, correlations=plan.correlations)
    if plan.sampling == "sobol":
        asked = names_asked(dig.run, source).points
        names = {*asked, *(key for key, item in site.assumptions.items() if item.kind != "fixed")}
        source = replace(source, sampling="sobol", names=tuple(sorted(names)))

    def enough(so_far: Drawn) -> bool:
        npv = so_far.outcome.appraisal.npv
        return plan.precision is not None and precision_of(npv) <= plan.precision

    def tell(done: int) -> None:
        if progress and source.n_draws > CHUNK:
            progress(f"drawing the range: {done} of {source.n_draws} draws")

    model = dig.drawn if source.n_draws <= CHUNK else dig.drawn_lean
    drawn = run_in_chunks(model, source, workers=plan.workers, enough=enough, done=tell)
    return replace(source, n_draws=drawn.outcome.appraisal.npv.size), drawn


def how_sure(
    dig: Dig, source: Draws, best: Drawn, drawn: Drawn, comparison: Comparison
) -> Confidence:
    """Find out how sure the net present value is, what drives it, and what to find out next."""
    from reclaim.uncertainty import confidence_of

    plan = dig.site.draw_plan
    courses = _courses(comparison)
    drivers, knowing = None, None
    if plan.drivers:
        drivers = _drivers(dig, source, best.outcome, drawn.outcome)
        knowing = _knowing(dig, source, best, drawn.outcome, courses)
    return confidence_of(
        source,
        drawn.outcome.appraisal.npv,
        courses,
        plan.precision,
        drivers,
        knowing,
        _scenarios(dig, source, best.outcome, drawn.outcome, courses),
    )


def _courses(comparison: Comparison) -> dict[str, NDArray[np.floating[Any]]]:
    """Worth of each course beside leaving the site, by draw; leaving is always among them."""
    import numpy as np

    worth = {course.label: course.npv_beside_leaving for course in comparison.course_draws}
    if all(course.name != "leave" for course in comparison.course_draws):
        return {"Leave it": np.zeros_like(next(iter(worth.values()))), **worth}
    return worth


def _drivers(dig: Dig, source: Draws, best: Outcome, drawn: Outcome) -> Drivers:
    from reclaim.uncertainty import drivers_of, names_asked

    return drivers_of(
        lambda draws: dig.run(draws).appraisal.npv,
        names_asked(dig.run, source),
        source,
        drawn.appraisal.npv,
        float(best.appraisal.npv[0]),
        index_draws=dig.site.draw_plan.index_draws,
        labels=_labels(dig.site),
    )


def _knowing(
    dig: Dig,
    source: Draws,
    best: Drawn,
    drawn: Outcome,
    courses: Mapping[str, NDArray[np.floating[Any]]],
) -> Knowing:
    import numpy as np

    from reclaim.assumptions import Draws
    from reclaim.uncertainty import KnownNow, knowing_of, names_asked, plans

    def every_course(draws: Draws) -> Comparison:
        return dig.compare(best, dig.drawn(draws), draws)

    site, feed = dig.site, drawn.feed
    shares = {
        f"drawn share {name}": feed.wet_fraction[:, i] for i, name in enumerate(feed.materials)
    }
    central = Draws.best_estimate()
    now = KnownNow(
        cores=len(dig.composites),
        density_cores=int(np.isfinite(dig.composites.bulk_density_t_m3).sum()),
        survey_sd_m=site.survey_sd_m,
        base_sd_m=site.base_sd_m,
        money_per_eur=float(
            central.of(site.assumptions["money.currency_per_eur"])[0]
            * central.of(site.assumptions["money.price_index"])[0]
        ),
    )
    return knowing_of(
        courses,
        {**shares, "drawn moisture": feed.moisture, "drawn density": feed.bulk_density_t_m3},
        names_asked(every_course, source),
        source,
        plans(site.assumptions, now),
    )


def _scenarios(
    dig: Dig,
    source: Draws,
    best: Outcome,
    drawn: Outcome,
    courses: Mapping[str, NDArray[np.floating[Any]]],
) -> list[ScenarioResult]:
    """Run every named set of changes on the same draws, beside the site file as it stands."""
    from reclaim.assumptions import CHUNK, Draws

    if not dig.site.scenarios:
        return []
    few = replace(source, n_draws=min(source.n_draws, CHUNK))
    found = [_scenario("As the site file stands", best, drawn, courses)]
    for name, changes in dig.site.scenarios.items():
        changed = replace(
            dig, site=replace(dig.site, assumptions={**dig.site.assumptions, **changes})
        )
        central, spread = changed.drawn(Draws.best_estimate()), changed.drawn(few)
        comparison = changed.compare(central, spread, few)
        found.append(_scenario(name, central.outcome, spread.outcome, _courses(comparison)))
    return found


def _scenario(
    name: str,
    best: Outcome,
    drawn: Outcome,
    courses: Mapping[str, NDArray[np.floating[Any]]],
) -> ScenarioResult:
    from reclaim.uncertainty import ScenarioResult, best_on_mean, spread_of

    fuel = best.products.wet_t("fuel")[0] if "fuel" in best.products.names else 0.0
    return ScenarioResult(
        name,
        float(best.appraisal.npv[0]),
        spread_of(drawn.appraisal.npv),
        float(fuel),
        float(best.appraisal.airspace.reclaimed_m3[0]),
        best_on_mean(courses),
    )


def _labels(site: Site) -> dict[str, str]:
    stated: Mapping[str, Assumption] = {**site.assumptions, **site.composition}
    return {key: assumption.label for key, assumption in stated.items()}

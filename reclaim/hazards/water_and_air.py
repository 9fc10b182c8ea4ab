"""What reaches the neighbours by water and air: leachate, smell, dust, germs, litter, vermin."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reclaim.hazards.log_words import Mention, cautions_from_logs
from reclaim.hazards.rules import Rule, RuleBook, rule_book

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from reclaim.hazards.caution import Caution


def water_and_air_cautions(
    *,
    mentions: Iterable[Mention],
    overdig_m: float,
    feed_t: float = 0.0,
    capacity_t_y: float = 0.0,
    film_and_paper_t: float = 0.0,
    food_t: float = 0.0,
    book: RuleBook | None = None,
) -> tuple[tuple[Caution, ...], tuple[str, ...]]:
    """Raise the cautions on the base, and on what an open dig sends into the air.

    Parameters
    ----------
    mentions
        Hazards named in the logs.
    overdig_m
        Soil dug below the base of the waste [m].
    feed_t, capacity_t_y
        Waste dug in all [t], and at most in a year [t/y], wet.
    film_and_paper_t, food_t
        Film, paper and card, and food and garden waste in it, wet [t].
    book
        Rules that hold.
    """
    book = book or rule_book()
    cautions = [*cautions_from_logs(mentions, "water", book)]
    base_cut = book["base_cut"]
    if overdig_m > base_cut.number:
        cautions.append(
            base_cut.raised_by(f"The site file digs {overdig_m:g} m below the base of the waste.")
        )
    year_t = min(feed_t, capacity_t_y)
    moved = f"The work moves and screens up to {year_t:,.0f} t of old waste a year"
    if year_t > 0:
        cautions.append(book["dust_open"].raised_by(f"{moved}."))
        cautions.append(
            book["bioaerosols"].raised_by(
                f"{moved}; {book['bioaerosols'].limit}: {book['bioaerosols'].number:g} m."
            )
        )
        if all(caution.key != "odour" for caution in cautions):
            cautions.append(
                book["odour_face"].raised_by(
                    f"{moved}; {book['odour_face'].limit}: {book['odour_face'].number:g} m."
                )
            )
    for key, tonnes, what in (
        ("litter", film_and_paper_t, "film, paper and card"),
        ("vermin", food_t, "food and garden waste"),
    ):
        if tonnes > book[key].number:
            cautions.append(
                book[key].raised_by(f"The waste holds about {tonnes:,.0f} t of {what}.")
            )
    return tuple(cautions), (
        (
            "Concentrations of dust, germs and smell at neighbours, noise and traffic were not "
            "calculated."
        ),
    )


def receptor_cautions(
    distances_m: Mapping[str, float],
    *,
    given: bool,
    highest_methane_pct: float | None,
    book: RuleBook | None = None,
) -> tuple[tuple[Caution, ...], tuple[str, ...]]:
    """Raise the cautions on neighbours near the dig.

    Parameters
    ----------
    distances_m
        Name of each receptor, and its shortest distance to the dig in plan [m].
    given
        Whether the user named a layer of receptors.
    highest_methane_pct
        Of the readings [% v/v]; None where there is none, which counts as methane being there.
    book
        Rules that hold.
    """
    book = book or rule_book()
    if not given:
        return (), (
            "Who lives, works or learns near was not assessed: no layer of receptors is given.",
        )
    if not distances_m:
        return (), ("Who lives, works or learns near was not assessed: the layer is empty.",)
    cautions = []
    near = _within(book["receptor_near"], distances_m)
    if near:
        cautions.append(book["receptor_near"].raised_by(near))
    smell = _within(book["receptor_odour"], distances_m)
    if smell:
        cautions.append(book["receptor_odour"].raised_by(smell))
    migration = _within(book["gas_migration"], distances_m)
    if migration and (highest_methane_pct is None or highest_methane_pct > 0):
        methane = (
            "methane was not read"
            if highest_methane_pct is None
            else f"methane reaches {highest_methane_pct:g} % v/v in the waste"
        )
        cautions.append(book["gas_migration"].raised_by(f"{migration[:-1]}; {methane}."))
    return tuple(cautions), (
        ("Receptors that are not in the layer, wells and streams among them, were not assessed."),
    )


def _within(rule: Rule, distances_m: Mapping[str, float]) -> str:
    """Return the receptors inside a rule's distance in words, the nearest first; empty if none."""
    inside = sorted((away, name) for name, away in distances_m.items() if away <= rule.number)
    if not inside:
        return ""
    listed = ", ".join(f"{name} ({away:.0f} m)" for away, name in inside[:5])
    more = f" and {len(inside) - 5} more" if len(inside) > 5 else ""
    return (
        f"{len(inside)} of {len(distances_m)} receptors lie within {rule.number:g} m of the dig: "
        f"{listed}{more}."
    )

"""The numbers written on figures are those of the results, in the words of the page."""

from __future__ import annotations

import re

import pytest
from matplotlib.text import Text

from reclaim.report import figures
from reclaim.report.results import results
from reclaim.report.wording import MINUS, band_of, best_of, number, percent


@pytest.fixture(scope="module")
def document(estimate):
    return results(estimate)


def written(figure) -> list[str]:
    """Return the texts inside the axes of a figure: no title, no label, no tick."""
    return [text.get_text() for axes in figure.axes for text in axes.texts]


def test_shares_on_the_make_up(estimate, document) -> None:
    shares = [row["wet_fraction"]["value"] for row in document["feed"]["materials"]]
    expected = [percent(share) for share in sorted(shares, reverse=True)]
    assert written(figures.composition_bars(estimate)) == expected


def test_volumes_on_the_waterfall(estimate, document) -> None:
    space = {key: band_of(band) for key, band in document["airspace"].items()}
    opened, refilled, lost, reclaimed = (
        best_of(space[key]) for key in ("opened_m3", "refilled_m3", "lost_m3", "reclaimed_m3")
    )
    taken = [MINUS + words if words[0] != "0" else words for words in (refilled, lost)]
    assert written(figures.airspace_waterfall(estimate)) == [opened, *taken, reclaimed]


def test_tonnes_on_the_flow(estimate, document) -> None:
    made = {row["label"]: row["wet_t"]["value"] for row in document["products"]}
    drawn = dict(text.split("\n") for text in written(figures.mass_flow(estimate))
                 if re.search(r"\d t$", text) and text.count("\n") == 1)  # fmt: skip
    assert drawn
    for label, words in drawn.items():
        if label in made:
            assert words == f"{number(made[label])} t", label
    assert len(set(drawn) & set(made)) >= len([wet for wet in made.values() if wet > 0]) - 1


def test_the_depth_in_the_title_of_the_chances(estimate, document) -> None:
    (title,) = [
        text.get_text() for text in figures.chance_map(estimate).findobj(Text)
        if text.get_text().startswith("Chance that")
    ]  # fmt: skip
    assert title == (
        f"Chance that the waste is thicker than {document['ground']['thicker_than']['depth_m']:g} m"
    )

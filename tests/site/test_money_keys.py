"""Schedule, money and options in the site file: what is taken, and what is wrong with the rest."""

from __future__ import annotations

import pytest


@pytest.mark.parametrize(
    ("new", "parts"),
    [
        ("[options]\ncourses = ['burn']", ("[options] courses.0", "'burn'", "'mine_part'")),
        ("[options]\ncourses = []", ("[options] courses", "at least 1")),
        ("[options]\ncap_cost = 40", ("[options] cap_cost", "cap_cost_per_m2")),
        ("[schedule]\nclosed_months = [13]", ("[schedule] closed_months.0", "12")),
        ("[schedule]\nclosed_months = [1,2,3,4,5,6,7,8,9,10,11,12]", ("closed_months", "11")),
        ("[schedule]\ndig_rate_m3_d = 0", ("[schedule] dig_rate_m3_d", "outside")),
        ("[money]\ndiscount_convention = 'green'", ("discount_convention", "'uk_green_book'")),
        ("[money]\ndiscount_rate = -0.01", ("[money] discount_rate", "outside")),
        ("[airspace]\nfill_rate_m3_y = 0", ("[airspace] fill_rate_m3_y", "outside")),
        ("[carbon]\ngwp_methan = 28", ("[carbon] gwp_methan", "gwp_methane")),
    ],
)
def test_wrong_keys_of_the_appraisal(site, new, parts) -> None:
    site.edit("[waste]\n", f"{new}\n\n[waste]\n")
    messages = site.errors()
    assert any(all(part in message for part in parts) for message in messages), messages


def test_a_price_year_without_an_index_needs_one(site) -> None:
    site.edit("price_year = 2025", "price_year = 1999")
    assert any("[money] price_index" in message for message in site.errors())
    site.edit("[waste]\n", "[money]\nprice_index = 0.6\n\n[waste]\n")
    assert site.read().assumptions["money.price_index"].central == 0.6


def test_keys_of_the_appraisal_arrive(site) -> None:
    site.edit(
        "[waste]\n",
        "[schedule]\nclosed_months = [12, 1]\n[money]\ndiscount_convention = 'uk_green_book'\n"
        "price_fuel_per_t = -60\n[options]\ncourses = ['leave', 'mine']\n\n[waste]\n",
    )
    found = site.read()
    assert found.closed_months == (12, 1)
    assert found.discount_convention == "uk_green_book"
    assert found.courses == ("leave", "mine")
    assert found.assumptions["money.price_fuel_per_t"].central == -60  # a fee is a price
    # Eurostat HICP, from memory: 128.8 in 2025, 123.2 in 2023.
    assert found.assumptions["money.price_index"].central == pytest.approx(128.8 / 123.2)

"""Every limit against the published table it comes from.

Clauses marked `from memory` were not seen again while writing.
"""

from __future__ import annotations

import math

import pytest

from reclaim.hazards import caution_rules, gas_limits
from reclaim.hazards.dig import slope_degrees
from reclaim.reference import constant

FOOT_M = 0.3048  # international foot, exact
METHANE_LEL = 5.0  # % v/v at 25 C and atmospheric pressure; 40 CFR 257.3-8(e), US EPA
PPM_PER_CENT = 10_000.0

GAS_TABLE = {
    # 29 CFR 1910.146(b): more than 10 % of the lower flammable limit; oxygen 19.5 to 23.5 %
    "methane_permit_space": 0.10 * METHANE_LEL,
    "oxygen_high": 23.5,
    # 29 CFR 1926.651(g)(1)(ii) and (iii): oxygen below 19.5 %, gas above 20 % of the limit
    "oxygen_low": 19.5,
    "methane_excavation": 0.20 * METHANE_LEL,
    # 40 CFR 258.23(a)(1) and (2): 25 % of the limit in structures, the limit at the boundary
    "methane_structures": 0.25 * METHANE_LEL,
    "methane_flammable": METHANE_LEL,
    # Environment Agency LFTGN03: 1.0 % methane, 1.5 % carbon dioxide (from memory)
    "methane_perimeter_uk": 1.0,
    "carbon_dioxide_perimeter_uk": 1.5,
    # ISO/IEC 80079-20-1:2017, methane (from memory)
    "methane_flammable_iec": 4.4,
    # ACGIH threshold limit value 2010, as in table 3 of PMC5777517 (Nitric Oxide 71, 2017)
    "hydrogen_sulphide_tlv": 1.0,
    # EH40/2005, 4th ed. 2020, 8 h (from memory); ACGIH 15 min, same table 3
    "hydrogen_sulphide_wel": 5.0,
    # 29 CFR 1926.55 Appendix A, 8 h average; NIOSH 10 min ceiling, same table 3
    "hydrogen_sulphide_construction": 10.0,
    # 29 CFR 1910.1000 Table Z-2: ceiling 20, peak 50 for 10 min
    "hydrogen_sulphide_ceiling": 20.0,
    "hydrogen_sulphide_peak": 50.0,
    # NIOSH IDLH values, 1994 revision
    "hydrogen_sulphide_idlh": 100.0,
    "carbon_monoxide_idlh": 1200.0,
    "carbon_dioxide_idlh": 40_000 / PPM_PER_CENT,  # from memory
    # Directive (EU) 2017/164: 20 ppm over 8 h, 100 ppm over 15 min
    "carbon_monoxide_eu": 20.0,
    "carbon_monoxide_short": 100.0,
    # NIOSH recommended limits: 35 ppm, ceiling 200 ppm; CO2 30 000 ppm short time (from memory)
    "carbon_monoxide_niosh": 35.0,
    "carbon_monoxide_ceiling": 200.0,
    "carbon_dioxide_niosh": 30_000 / PPM_PER_CENT,
    # 29 CFR 1910.1000 Table Z-1
    "carbon_monoxide_pel": 50.0,
    "carbon_dioxide_8h": 5_000 / PPM_PER_CENT,
    # US Fire Administration FA-225 (2002), Landfill Fires (from memory)
    "carbon_monoxide_fire": 1000.0,
    # EH40/2005, 4th ed. 2020, 15 min
    "carbon_dioxide_15min": 15_000 / PPM_PER_CENT,
    # 25 % of the IEC lower explosive limit: usual working ceiling, HSE L138 (from memory)
    "methane_working_ceiling": 0.25 * 4.4,
    # 40 CFR 60.753(c): 55 degrees C in a gas well (from memory)
    "temperature_warm": 55.0,
    # 60 to 70 degrees C as the sign of a hot spot: common practice, no source
    "temperature_hot": 60.0,
    "temperature_fire": 70.0,
    # 29 CFR 1910.1017(c) and 1910.1028(c) (from memory); Directive (EU) 2022/431 (from memory)
    "vinyl_chloride_8h": 1.0,
    "vinyl_chloride_15min": 5.0,
    "benzene_8h": 1.0,
    "benzene_15min": 5.0,
    "benzene_eu": 0.2,
    # NIOSH IDLH values, 1994 revision (from memory)
    "benzene_idlh": 500.0,
}


def test_every_gas_limit_is_checked_here() -> None:
    assert {limit.key for limit in gas_limits()} == set(GAS_TABLE)


@pytest.mark.parametrize(("key", "value"), GAS_TABLE.items())
def test_gas_limit_equals_its_published_value(key: str, value: float) -> None:
    limit = next(limit for limit in gas_limits() if limit.key == key)
    assert limit.value == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("key", "feet"),
    [
        ("protective_system", 5),  # 29 CFR 1926.652(a)(1)
        ("engineer_designs", 20),  # 29 CFR 1926 Subpart P, App. B
        ("atmosphere_test", 4),  # 29 CFR 1926.651(g)(1)(i)
        ("edge_setback", 2),  # 29 CFR 1926.651(j)(2)
    ],
)
def test_excavation_limit_is_the_published_one_in_metres(key: str, feet: float) -> None:
    assert caution_rules()[key].number == pytest.approx(feet * FOOT_M, abs=1e-9)
    assert f"{feet} ft" in caution_rules()[key].limit


# 29 CFR 1926 Subpart P, App. B, Table B-1: slope H:V and the angle printed beside it
@pytest.mark.parametrize(("side_slope", "degrees"), [(0.0, 90), (0.75, 53), (1.0, 45), (1.5, 34)])
def test_slope_angles_agree_with_the_printed_table(side_slope: float, degrees: int) -> None:
    assert round(slope_degrees(side_slope)) == degrees


def test_slope_limit_is_type_c() -> None:
    # Table B-1, type C: 1 1/2 : 1, 34 degrees; also 1926.652(b)(1)(i) for soil not classified
    limit = caution_rules()["slope_too_steep"]
    assert limit.number == 1.5
    assert "34 degrees" in limit.limit
    assert slope_degrees(limit.number) == pytest.approx(math.degrees(math.atan(2 / 3)))


def test_self_heating_time() -> None:
    # Hogland and Marques (2003), Resources, Conservation and Recycling 40, 53-69, abstract:
    # piles of waste fuel caught fire after about six months
    assert caution_rules()["fuel_self_heating"].number == 6


def test_process_air_temperature() -> None:
    # common practice, no source: process air is burnt above 850 degrees C
    assert caution_rules()["process_air"].number == 850


@pytest.mark.parametrize(
    ("key", "metres"),
    [
        # DIN 4124:2012 (from memory)
        ("protective_system_din", 1.25),
        ("engineer_designs_din", 5.0),
        ("edge_setback_din", 0.6),
        ("plant_setback", 2.0),
        # 40 CFR 258.40(a)(2): less than 30 cm of leachate over the liner (from memory)
        ("leachate_head", 0.30),
        # Environment Agency position statement 031 (from memory); SI 2015/595 (from memory)
        ("bioaerosols", 250.0),
        ("receptor_near", 250.0),
        ("gas_migration", 250.0),
    ],
)
def test_lengths_of_other_sources(key: str, metres: float) -> None:
    assert caution_rules()[key].number == metres


def test_slope_of_din_4124_is_forty_five_degrees() -> None:
    limit = caution_rules()["slope_too_steep_din"]
    assert slope_degrees(limit.number) == pytest.approx(45.0)
    assert "45 degrees" in limit.limit


def test_odour_guideline_in_ppm() -> None:
    # WHO (2000): 7 ug/m3 of hydrogen sulphide; 34.08 g/mol, 24.465 L/mol at 25 C
    assert constant("odour_h2s_ppm") == pytest.approx(7e-3 * 24.465 / 34.08, rel=0.02)


def test_density_and_diffusivity_of_methane() -> None:
    # ideal gas at 25 C: 16.043 g/mol over 24.465 L/mol; Massman (1998): 0.1952 cm2/s at 0 C,
    # rising with the 1.81 power of absolute temperature (from memory)
    assert constant("methane_kg_m3") == pytest.approx(16.043 / 24.465, rel=1e-3)
    at_20_c = 0.1952e-4 * (293.15 / 273.15) ** 1.81
    assert constant("methane_diffusivity_m2_s") == pytest.approx(at_20_c, rel=0.02)

"""Many sites through the command line: what comes out, what is kept, and what is told."""

from __future__ import annotations

import csv
import json
import re
import subprocess
import sys

import geopandas as gpd
import numpy as np
import openpyxl
import pytest
import rasterio
from click.testing import CliRunner
from shapely.affinity import translate

from reclaim import cli as cli_module
from reclaim.cli import cli
from reclaim.portfolio import MEASURES, Store

FILES = ("overview.html", "ranking.csv", "problems.csv", "portfolio.json", "ranking.gpkg",
         "ranking.parquet", "map.png")  # fmt: skip


def run(arguments, expected=0):
    shown = CliRunner().invoke(cli, [str(part) for part in arguments])
    assert shown.exit_code == expected, shown.output
    return shown


def table(path):
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def stored(out):
    """Every stored result by site, as bytes."""
    return {
        json.loads(path.read_text())["site_id"]: path.read_bytes()
        for path in (out / "sites").glob("*/*.json")
    }


def names_of(problems, level):
    return {row["site"] for row in problems if row["level"] == level and row["site"]}


@pytest.fixture
def out(tmp_path):
    return tmp_path / "ranked"


def test_the_ranking_and_its_files(place, out) -> None:
    shown = run(place.arguments("--out", out, "--excel", "--best", 2))
    assert "4 sites" in shown.output
    for name in (*FILES, "ranking.xlsx"):
        assert (out / name).is_file(), name
    rows = table(out / "ranking.csv")
    assert [row["rank"] for row in rows] == ["1", "2", "3", "4"]
    means = [float(row["measure_mean"]) for row in rows]
    assert means == sorted(means, reverse=True)
    assert sum(float(row["chance_best_n"]) for row in rows) == pytest.approx(2)
    for row in rows:
        assert float(row["waste_m3_p10"]) < float(row["waste_m3"]) < float(row["waste_m3_p90"])
        assert row["base_from"] == "the ground around"
        assert row["composition_from"].startswith("default: europe")
    vector, parquet = gpd.read_file(out / "ranking.gpkg"), gpd.read_parquet(out / "ranking.parquet")
    sheet = openpyxl.load_workbook(out / "ranking.xlsx")["ranking"]
    heading = [cell.value for cell in next(sheet.iter_rows(min_row=3, max_row=3))]
    names = [row[heading.index("name")] for row in sheet.iter_rows(min_row=5, values_only=True)]
    for others in (vector["name"], parquet["name"], names):
        assert list(others) == [row["name"] for row in rows]
    drawn = gpd.read_file(place.layer).set_index("name").geometry
    for found in (vector, parquet):
        assert found.crs == "EPSG:32631"
        assert found.geometry.geom_equals(drawn[found["name"]].reset_index(drop=True)).all()
    document = json.loads((out / "portfolio.json").read_text())
    assert document["sites"] == {
        "ranked": 4, "failed": [], "screened_now": 4, "kept_from_before": 0
    }  # fmt: skip


def test_the_volume_in_the_table_is_that_of_the_mounds(place, out) -> None:
    """A cone holds a third of its base times its height (Euclid, Elements XII.10)."""
    with place.shared.open("a") as file:
        file.write("\n[screening]\ndepth_below_rim_m = 0\n[excavation]\nside_slope = 0\n")
        file.write("[surfaces]\ncover_m = 0\n")
    run(place.arguments("--out", out))
    for row in table(out / "ranking.csv"):
        height = 7 + int(row["name"].removeprefix("Tip "))
        assert float(row["waste_m3"]) == pytest.approx(np.pi * 60**2 * height / 3, rel=0.004)


def test_a_second_run_does_only_what_changed(place, out) -> None:
    arguments = place.arguments("--out", out, "--json")
    run(arguments)
    before = stored(out)
    again = json.loads(run(arguments).output)
    assert (again["sites"]["screened_now"], again["sites"]["kept_from_before"]) == (0, 4)
    assert stored(out) == before

    def wetter(frame):
        frame.loc[2, "closed"] = 1999
        return frame

    place.change_layer(wetter)
    again = json.loads(run(arguments).output)
    assert again["sites"]["screened_now"] == 1
    changed = stored(out)
    assert {key for key in before if before[key] != changed[key]} == {"3"}


def test_terrain_that_changes_under_one_site_touches_no_other(place, out) -> None:
    arguments = place.arguments("--out", out, "--json")
    run(arguments)
    before = stored(out)

    def higher(ground):
        ground[50:70, 50:70] += 1.0  # on the first mound
        return ground

    place.change_ground(higher)
    assert json.loads(run(arguments).output)["sites"]["screened_now"] == 1
    after = stored(out)
    assert {key for key in before if before[key] != after[key]} == {"1"}


def test_other_draws_seed_or_assumptions_begin_anew(place, out) -> None:
    arguments = place.arguments("--out", out, "--json")
    run(arguments)
    assert json.loads(run([*arguments, "--seed", "2"]).output)["sites"]["screened_now"] == 4
    run(arguments)
    place.shared.write_text(place.shared.read_text() + "capacity_t_y = 20000\n")
    assert json.loads(run(arguments).output)["sites"]["screened_now"] == 4


def test_a_broken_or_lost_result_is_worked_out_again(place, out) -> None:
    arguments = place.arguments("--out", out, "--json")
    run(arguments)
    before = stored(out)
    first, second = (Store(out).place(site_id) for site_id in ("1", "2"))
    first.write_text('{"key": "half wri')
    second.unlink()
    assert json.loads(run(arguments).output)["sites"]["screened_now"] == 2
    assert stored(out) == before


def test_results_do_not_depend_on_order_or_company(place, out, tmp_path) -> None:
    """A site has the same numbers whatever else is in the layer and wherever it stands."""
    run([*place.arguments("--out", out), "--id", "name"])
    together = stored(out)
    place.change_layer(lambda frame: frame.iloc[[3, 1]].reset_index(drop=True))
    run([*place.arguments("--out", tmp_path / "other"), "--id", "name"])
    for site_id, text in stored(tmp_path / "other").items():
        alone, beside = json.loads(text), json.loads(together[site_id])
        assert alone["draws"] == beside["draws"]
        for row in (alone["row"], beside["row"]):
            row.pop("site_file")
        assert alone["row"] == beside["row"]


def test_shared_drivers_move_sites_together(place, out) -> None:
    run([*place.arguments("--out", out), "--draws", "256"])
    draws = [json.loads(text)["draws"]["npv"] for text in stored(out).values()]
    together = np.corrcoef(draws)[np.triu_indices(4, 1)]
    assert (together > 0.2).all()
    assert (together < 0.99).all()


def test_bad_sites_are_told_and_the_rest_is_complete(place_of, out) -> None:
    """A site without a shape, one off the terrain, one in a hole, one with a bad attribute."""
    place = place_of(8)

    def spoilt(frame):
        frame["wetness"] = frame["wetness"].astype(object)
        frame.loc[0, "geometry"] = None
        frame.loc[1, "geometry"] = translate(frame.geometry[1], 1e5, 0)
        frame.loc[2, "wetness"] = "7 buckets"
        return frame

    place.change_layer(spoilt)

    def holed(ground):
        ground[:120, 360:] = -9999.0  # all of mound 4
        return ground

    place.change_ground(holed)
    shown = run([*place.arguments("--out", out), "--map", "waste.moisture=wetness"], expected=3)
    assert "4 sites left out" in shown.output
    problems = table(out / "problems.csv")
    wrong = {row["site"]: row["what"] for row in problems if row["level"] == "error"}
    assert "no shape" in wrong["Tip 1"]
    assert "off the survey" in wrong["Tip 2"]
    assert "distribution" in wrong["Tip 3"] or "number" in wrong["Tip 3"]
    assert "hole" in wrong["Tip 4"]
    assert len(wrong) == 4
    assert {row["name"] for row in table(out / "ranking.csv")} == {f"Tip {n}" for n in range(5, 9)}
    text = (out / "overview.html").read_text(encoding="utf-8")
    for name in wrong:
        assert name in text


def test_a_site_that_fails_later_loses_its_old_result(place, out) -> None:
    run(place.arguments("--out", out))

    def lost(frame):
        frame.loc[0, "geometry"] = None
        return frame

    place.change_layer(lost)
    run(place.arguments("--out", out), expected=3)
    assert set(stored(out)) == {"2", "3", "4"}
    assert len(table(out / "ranking.csv")) == 3


def test_a_hole_in_part_of_a_site_is_warned_of_with_its_area(place, out) -> None:
    def holed(ground):
        ground[55:65, 55:65] = -9999.0
        return ground

    place.change_ground(holed)
    run(place.arguments("--out", out))
    problems = table(out / "problems.csv")
    assert names_of(problems, "warning") == {"Tip 1"}
    assert [row["what"] for row in problems if "unknown on 400 m2" in row["what"]]


def test_a_shared_base_and_its_hole(place, out) -> None:
    """The base counts where it is known; where it has a hole the ground around takes its place."""
    base = place.folder / "base.tif"
    with rasterio.open(place.ground) as raster:
        profile, shape = raster.profile, raster.shape
    level = np.full(shape, 15.0, dtype="float32")
    level[:, 240:] = -9999.0
    with rasterio.open(base, "w", **profile) as raster:
        raster.write(level, 1)
    run([*place.arguments("--out", out), "--base", base])
    rows = {row["name"]: row for row in table(out / "ranking.csv")}
    assert [rows[f"Tip {n}"]["base_from"] for n in (1, 2, 3, 4)] == [
        "given", "given", "the ground around", "the ground around"
    ]  # fmt: skip
    assert float(rows["Tip 1"]["base_sd_m"]) == 0.5
    assert float(rows["Tip 3"]["base_sd_m"]) == pytest.approx(2.0, abs=0.01)
    warned = names_of(table(out / "problems.csv"), "warning")
    assert warned == {"Tip 3", "Tip 4"}


def test_a_plant_for_a_few_months_at_each_site_is_warned_of_once(place, out) -> None:
    """Machines that go from site to site are paid by the hour and have no capital here."""
    run(place.arguments("--out", out))
    (told,) = [row for row in table(out / "problems.csv") if row["where"] == "[plant]"]
    assert "4 of 4 sites" in told["what"]
    with place.shared.open("a") as file:
        file.write("[money]\ncapital_per_annual_t = 0\nplant_cost_per_h = 250\n")
    run(place.arguments("--out", out))
    assert not [row for row in table(out / "problems.csv") if row["where"] == "[plant]"]


def test_names_overlaps_and_rows_are_told_by_site(place, out) -> None:
    def twisted(frame):
        frame.loc[1, "name"] = "Tip 1"
        frame.loc[3, "geometry"] = translate(frame.geometry[2], 30, 0)
        return frame

    place.change_layer(twisted)
    run(place.arguments("--out", out))
    problems = table(out / "problems.csv")
    assert sum("2 sites are called 'Tip 1'" in row["what"] for row in problems) == 2
    overlap = [row for row in problems if "overlaps" in row["what"]]
    assert len(overlap) == 1
    # Two discs of radius r whose centres are d apart: the lens has
    # 2 r^2 acos(d / 2r) - d / 2 sqrt(4 r^2 - d^2), a formula of any book of geometry.
    lens = 2 * 60**2 * np.arccos(30 / 120) - 15 * np.sqrt(4 * 60**2 - 30**2)
    told = re.search(r"on (\d+)%", overlap[0]["what"])
    assert int(told[1]) == pytest.approx(100 * lens / (np.pi * 60**2), abs=0.8)
    assert len(table(out / "ranking.csv")) == 4


def test_a_layer_in_degrees_gives_the_same_sites(place, out, tmp_path) -> None:
    run(place.arguments("--out", out))
    place.change_layer(lambda frame: frame.to_crs("EPSG:4326"))
    run(place.arguments("--out", tmp_path / "degrees"))
    there, back = (table(folder / "ranking.csv") for folder in (out, tmp_path / "degrees"))
    for one, other in zip(there, back, strict=True):
        assert one["name"] == other["name"]
        assert float(one["waste_m3"]) == pytest.approx(float(other["waste_m3"]), rel=1e-4)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (["--map", "waste.moistur=wetness"], "no key 'waste.moistur'"),
        (["--map", "waste.moisture=wet"], "no column 'wet'"),
        (["--id", "nmae"], "no column 'nmae'"),
    ],
)
def test_wrong_mappings_are_named(place, out, more, words) -> None:
    shown = run([*place.arguments("--out", out), *more], expected=2)
    assert words in shown.output
    assert "Did you mean" in shown.output or "known" in shown.output.lower()
    assert not out.exists()


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda place: place.layer.unlink(), "no such file"),
        (lambda place: place.layer.write_bytes(b"not a layer"), "cannot be read as vector data"),
        (lambda place: place.ground.write_bytes(b"not a raster"), "cannot be read as a raster"),
        (lambda place: place.shared.write_text("[site\n"), "not valid TOML"),
        (lambda place: place.shared.unlink(), "cannot be read"),
    ],
)
def test_what_all_sites_share_must_be_sound(place, out, spoil, words) -> None:
    spoil(place)
    shown = run(place.arguments("--out", out), expected=2)
    assert words in shown.output
    assert not out.exists()


def test_a_key_that_all_rows_lack_is_told_once(place, out) -> None:
    place.shared.write_text('[plant]\nline = "mobile_small_site"\n')
    shown = run(place.arguments("--out", out), expected=2)
    assert shown.output.count("'currency' is missing") == 1
    assert "shared.toml" in shown.output


def test_a_folder_of_something_else_is_left_alone(place, out) -> None:
    out.mkdir()
    (out / "letter.txt").write_text("mine")
    shown = run(place.arguments("--out", out), expected=2)
    assert "no earlier portfolio" in shown.output
    assert [path.name for path in out.iterdir()] == ["letter.txt"]


def test_formulas_in_names_stay_text(place, out) -> None:
    def sly(frame):
        frame.loc[0, "name"] = '=HYPERLINK("http://x","y")'
        frame.loc[1, "name"] = "<script>alert(1)</script>"
        return frame

    place.change_layer(sly)
    run(place.arguments("--out", out, "--excel"))
    assert "\"'=HYPERLINK" in (out / "ranking.csv").read_text(encoding="utf-8-sig")
    book = openpyxl.load_workbook(out / "ranking.xlsx")
    cells = [cell for row in book["ranking"].iter_rows() for cell in row]
    assert not [cell for cell in cells if cell.data_type == "f"]
    assert "<script>alert" not in (out / "overview.html").read_text(encoding="utf-8")


def test_reports_of_the_best_are_linked_and_made_once(place, out) -> None:
    arguments = place.arguments("--out", out, "--reports", 1)
    run(arguments)
    (report,) = (out / "reports").glob("*/report.html")
    made = report.stat().st_mtime_ns
    assert "Tip" in report.read_text(encoding="utf-8")
    rows = table(out / "ranking.csv")
    assert rows[0]["report"] == report.relative_to(out).as_posix()
    assert {row["report"] for row in rows[1:]} == {""}
    assert f'href="{rows[0]["report"]}"' in (out / "overview.html").read_text(encoding="utf-8")
    run(arguments)
    assert report.stat().st_mtime_ns == made


def test_ranking_by_something_else_works_nothing_out_again(place, out) -> None:
    run(place.arguments("--out", out))
    again = json.loads(
        run([*place.arguments("--out", out, "--json"), "--rank-by", "airspace_m3"]).output
    )
    assert again["sites"]["screened_now"] == 0
    # More waste wins more space.
    assert table(out / "ranking.csv")[0]["name"] == "Tip 4"


def test_the_command_line_knows_every_measure() -> None:
    assert list(MEASURES) == cli_module._MEASURES


def test_without_dask_the_message_says_what_to_install(place, out, monkeypatch) -> None:
    monkeypatch.setitem(sys.modules, "dask.distributed", None)
    shown = run(place.arguments("--out", out), expected=2)
    assert "pip install 'reclaim[portfolio]'" in shown.output


def test_one_site_starts_no_cluster(place, out) -> None:
    place.change_layer(lambda frame: frame.iloc[:1])
    code = (
        "import sys; from reclaim.cli import cli; "
        "cli.main(sys.argv[1:], standalone_mode=False); "
        "import distributed; print(len(distributed.LocalCluster._instances), 'clusters')"
    )
    ran = subprocess.run(
        [sys.executable, "-c", code, *place.arguments("--out", out)],
        check=True,
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert ran.stdout.endswith("0 clusters\n")

"""Files that claim or unpack to more than a machine holds are refused early, in little memory."""

from __future__ import annotations

import json
import subprocess
import sys
import zipfile
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from formats import COLLARS, SQUARES, as_bytes, contours, footprint, outcome, survey

from reclaim.cli import cli
from reclaim.site import Findings, SiteError
from reclaim.site.ceilings import ceiling, ceilings, exceeds
from reclaim.site.coretables import read_collars
from reclaim.site.spreadsheet import read_sheet
from reclaim.site.tomlfile import read_document

MOST_MB = 700
"""What the docs state for a file that is refused, libraries included."""

MEASURED = """
import json, sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
from formats import footprint, of_table, survey
from reclaim.site import Findings, SiteError
from reclaim.site.coretables import read_collars
from reclaim.site.tomlfile import read_document
readers = {".toml": lambda p, f: read_document(p, p.name, f), ".tif": survey, ".xyz": survey,
           ".csv": of_table(read_collars), ".xlsx": of_table(read_collars), ".laz": survey,
           ".geojson": footprint, ".xml": survey}
said = {}
for path in sorted(Path(sys.argv[2]).iterdir()):
    findings = Findings()
    try:
        readers[path.suffix](path, findings)
    except SiteError as error:
        findings.extend(error.checks)
    said[path.name] = [str(check) for check in findings.errors]
# Not ru_maxrss, which a new process takes over from the one that started it.
status = Path("/proc/self/status").read_text().splitlines()
peak_kb = next(int(line.split()[1]) for line in status if line.startswith("VmHWM"))
print(json.dumps([said, peak_kb * 1024 / 1e6]))
"""


def bombs(folder, forms):
    """Write files that are small and claim or unpack to gigabytes; return words they are told."""
    import rasterio
    from affine import Affine

    place = {"crs": "EPSG:32633", "transform": Affine(1, 0, 5e5, 0, -1, 54e5)}
    with rasterio.open(
        folder / "strip.tif", "w", driver="GTiff", width=30_000, height=30_000, count=1,
        dtype="float64", blockysize=30_000, sparse_ok=True, compress="deflate", **place,
    ):  # fmt: skip
        pass
    with (
        zipfile.ZipFile(folder / "bomb.xlsx", "w", zipfile.ZIP_DEFLATED) as archive,
        archive.open("xl/worksheets/sheet1.xml", "w") as part,
    ):
        for _ in range(100):
            part.write(b" " * 1_000_000)
    (folder / "deep.toml").write_bytes(b"a = " + b"[" * 100_000 + b"]" * 100_000)
    (folder / "levels.toml").write_bytes(b"a = " + b"[" * 40 + b"]" * 40)
    (folder / "digits.toml").write_bytes(b"a = " + b"9" * 5000)
    (folder / "rows.csv").write_bytes(COLLARS + b"A,1,2,3,4,,,\n" * 200_001)
    (folder / "wide.csv").write_bytes(b"," * 6_000_000 + b"\n")
    (folder / "line.xyz").write_bytes(b"1 2 3 " * 1_000_000)
    with (folder / "huge.geojson").open("wb") as file:
        file.truncate(520_000_000)
    laughs = "".join(f'<!ENTITY l{n} "{f"&l{n - 1};" * 10}">' for n in range(1, 10))
    (folder / "laughs.xml").write_text(
        f'<!DOCTYPE LandXML [<!ENTITY l0 "ha">{laughs}]><LandXML>&l9;</LandXML>'
    )
    packed = bytearray(forms["LAZ"].data)
    points_at = int.from_bytes(packed[96:100], "little")
    table_at = int.from_bytes(packed[points_at : points_at + 8], "little")
    packed[table_at + 4 : table_at + 8] = b"\xff\xff\xff\x7f"
    (folder / "chunks.laz").write_bytes(packed)
    return {
        "strip.tif": "block", "bomb.xlsx": "Size of a table", "deep.toml": "nested",
        "levels.toml": "Depth", "digits.toml": "number too long", "rows.csv": "Rows",
        "wide.csv": "Cells", "line.xyz": "Length of the first lines", "huge.geojson": "vector",
        "laughs.xml": "document type", "chunks.laz": "more than is there",
    }  # fmt: skip


def test_bombs_are_refused_early_and_in_little_memory(forms, tmp_path) -> None:
    folder = tmp_path / "bombs"
    folder.mkdir()
    told = bombs(folder, forms)
    here = str(Path(__file__).parent)
    run = subprocess.run(
        [sys.executable, "-c", MEASURED, here, str(folder)],
        capture_output=True, text=True, check=True, timeout=120,
    )  # fmt: skip
    said, peak_mb = json.loads(run.stdout)
    assert set(said) == set(told)
    for name, words in told.items():
        assert any(words in message for message in said[name]), (name, said[name])
    assert peak_mb < MOST_MB


def test_a_header_that_claims_a_country_costs_what_is_read_of_it(tmp_path, forms) -> None:
    """10^6 by 10^6 cells: the reading takes a window, so the claim alone costs nothing."""
    (tmp_path / "survey.tif").write_bytes(forms["GeoTIFF"].data)
    (tmp_path / "claim.vrt").write_text(
        '<VRTDataset rasterXSize="1000000" rasterYSize="1000000"><SRS>EPSG:32633</SRS>'
        "<GeoTransform>500000, 5, 0, 5400100, 0, -5</GeoTransform>"
        '<VRTRasterBand dataType="Float32" band="1"><NoDataValue>-9999</NoDataValue><SimpleSource>'
        '<SourceFilename relativeToVRT="1">survey.tif</SourceFilename><SourceBand>1</SourceBand>'
        '<SrcRect xOff="0" yOff="0" xSize="24" ySize="20"/>'
        '<DstRect xOff="0" yOff="0" xSize="24" ySize="20"/></SimpleSource></VRTRasterBand>'
        "</VRTDataset>"
    )
    whole = survey(tmp_path / "survey.tif", Findings())
    claimed = survey(tmp_path / "claim.vrt", Findings())
    assert claimed[:2] == (1_000_000, 1_000_000)
    np.testing.assert_array_equal(claimed[-1][:20, :24], whole[-1])
    assert np.isnan(claimed[-1][20:, :]).all()


def test_a_ceiling_can_be_set_and_its_name_is_told(tmp_path, monkeypatch) -> None:
    path = tmp_path / "edge.geojson"
    path.write_bytes(as_bytes(SQUARES))
    findings = Findings()
    monkeypatch.setenv("RECLAIM_MAX_VECTOR_VERTICES", "9")
    assert footprint(path, findings) is None
    assert "RECLAIM_MAX_VECTOR_VERTICES" in str(findings.errors[0])
    monkeypatch.setenv("RECLAIM_MAX_VECTOR_VERTICES", "10")
    assert footprint(path, Findings()) is not None


@pytest.mark.parametrize("text", ["many", "-1", "nan", "1e99"])
def test_a_ceiling_that_is_none_is_told(monkeypatch, text) -> None:
    monkeypatch.setenv("RECLAIM_MAX_TABLE_ROWS", text)
    with pytest.raises(SiteError, match="RECLAIM_MAX_TABLE_ROWS"):
        ceiling("table_rows")


def test_the_command_line_sets_a_ceiling(tmp_path) -> None:
    path = tmp_path / "site.toml"
    path.write_text("[site]\n" + "# filled up\n" * 2000)
    low = CliRunner().invoke(cli, ["check", str(path), "--limit", "document_mb=0.01"])
    unknown = CliRunner().invoke(cli, ["check", str(path), "--limit", "rows=1"])
    assert low.exit_code == unknown.exit_code == 2
    assert "RECLAIM_MAX_DOCUMENT_MB" in low.output
    assert "table_rows" in unknown.output


@pytest.mark.parametrize("name", ceilings())
def test_every_ceiling_lets_its_own_value_pass(name) -> None:
    findings = Findings()
    assert not exceeds(name, ceilings()[name].value, "file", findings)
    assert exceeds(name, ceilings()[name].value * 1.01, "file", findings)
    assert ceilings()[name].variable in findings.errors[0].what_to_do


def test_a_contour_vertex_far_off_is_refused_and_not_triangulated(forms, tmp_path) -> None:
    document = contours()
    document["features"][0]["geometry"]["coordinates"][0][0] = 0.0
    found = outcome(forms["contours"], as_bytes(document), tmp_path)
    assert found.kind == "refused"
    assert any("neighbouring vertices" in message for message in found.messages)


def test_a_contour_whose_elevation_is_a_list_is_left_out_and_told(forms, tmp_path) -> None:
    document = contours()
    document["features"][4]["properties"]["elev"] = [24.0, 25.0]
    found = outcome(forms["contours"], as_bytes(document), tmp_path)
    assert found.kind in {"warned", "refused"}
    assert any("lines.geojson" in message for message in found.messages)


def test_a_point_file_whose_rows_lack_a_column_is_refused(forms, tmp_path) -> None:
    found = outcome(forms["points"], b"x,y,z\n1,2\n3,4\n", tmp_path)
    assert found.kind == "refused"
    assert any("survey.csv" in message for message in found.messages)


def test_a_receptor_without_a_shape_is_told(forms, tmp_path) -> None:
    document = json.loads(as_bytes(SQUARES))
    document["features"][1]["geometry"] = None
    found = outcome(forms["receptors"], as_bytes(document), tmp_path)
    assert found.kind == "warned"
    assert any("feature 2" in message for message in found.messages)


def test_a_workbook_whose_packing_is_damaged_is_refused(forms, tmp_path) -> None:
    data = bytearray(forms["workbook"].data)
    sheet = data.index(b"xl/worksheets/sheet1.xml")
    for place in range(sheet + 40, sheet + 90):
        data[place] ^= 0x55
    found = outcome(forms["workbook"], bytes(data), tmp_path)
    assert found.kind == "refused"
    assert any("workbook cannot be read" in message for message in found.messages)


def test_a_table_at_its_ceiling_is_read(tmp_path, monkeypatch) -> None:
    path = tmp_path / "collars.csv"
    path.write_bytes(COLLARS)
    monkeypatch.setenv("RECLAIM_MAX_TABLE_ROWS", "4")
    sheet = read_sheet(path, path.name, Findings())
    assert len(read_collars(sheet, "m", Findings())) == 3
    monkeypatch.setenv("RECLAIM_MAX_TABLE_ROWS", "3")
    assert read_sheet(path, path.name, Findings()) is None


def test_a_document_within_its_depth_is_read(tmp_path) -> None:
    path = tmp_path / "site.toml"
    path.write_bytes(b"a = " + b"[" * 31 + b"]" * 31)
    assert read_document(path, path.name, Findings()) is not None

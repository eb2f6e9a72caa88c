"""The DXF file, read back by readers that are not ours: npm dxf-parser and ezdxf's own loader and audit."""

import io
import json
import os
import subprocess
import sys
from collections import Counter
from functools import cache
from pathlib import Path

import ezdxf
import pytest

from export.files.sheet2d import Fill, Label, Leader, LinearDimension, OrdinateDimension, Stroke, ink
from geom.flat.curve2d import Arc, EllipseArc, Line, Spline
from tests.absent import absent
from tests.sheets import INPUTS, files, sheet

_ROOT = Path(__file__).resolve().parent.parent


@cache
def _second_reader(name: str) -> dict:
    """Return what dxf-parser finds."""
    path = _ROOT / "tests" / "read_dxf.js"
    return _parsed(path, files(name)["drawing.dxf"])


def _parsed(script: Path, content: bytes) -> dict:
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "drawing.dxf"
        file.write_bytes(content)
        try:
            done = subprocess.run(["node", str(script), str(file)], capture_output=True, text=True, timeout=60, check=False)
        except FileNotFoundError:
            absent("node is not installed; .ci/run installs it")
    if "Cannot find module 'dxf-parser'" in done.stderr:
        absent("dxf-parser is not installed; npm install dxf-parser and set NODE_PATH, or run .ci/run")
    if done.returncode:
        pytest.fail(f"dxf-parser did not read the drawing: {done.stderr[-400:]}")
    return json.loads(done.stdout)


@cache
def _document(name: str):
    return ezdxf.read(io.StringIO(files(name)["drawing.dxf"].decode()))


# --- the second reader --------------------------------------------------------


@pytest.mark.parametrize("name", sorted(INPUTS))
def test_a_second_reader_counts_what_was_drawn(name):
    """Lines, circles, arcs, ellipses, splines, fills and dimensions, by layer, as many as the neutral drawing has."""
    wanted: Counter[tuple[str, str]] = Counter()
    for item in sheet(name).items:
        match item:
            case Stroke(role, Line()):
                wanted["LINE", role.upper()] += 1
            case Stroke(role, Arc(sweep=360.0)):
                wanted["CIRCLE", role.upper()] += 1
            case Stroke(role, Arc()):
                wanted["ARC", role.upper()] += 1
            case Stroke(role, EllipseArc()):
                wanted["ELLIPSE", role.upper()] += 1
            case Stroke(role, Spline()):
                wanted["SPLINE", role.upper()] += 1
            case Label(role=role):
                wanted["TEXT", role.upper()] += 1
            case Fill(role, _):
                wanted["SOLID", role.upper()] += 1
            case LinearDimension() | OrdinateDimension():
                wanted["DIMENSION", "DIMENSION"] += 1
            case Leader(text=text):
                wanted["MTEXT", "TEXT"] += bool(text)

    found = Counter((e["type"], e["layer"]) for e in _second_reader(name)["entities"])

    assert found == +wanted


@pytest.mark.parametrize("name", sorted(INPUTS))
def test_a_second_reader_finds_every_text(name):
    """All text and leader words, letter for letter, Ø and umlauts among them."""
    wanted = Counter(i.text for i in sheet(name).items if isinstance(i, Label))
    wanted += Counter(i.text for i in sheet(name).items if isinstance(i, Leader) and i.text)

    found = Counter(e["text"] for e in _second_reader(name)["entities"] if e["type"] in ("TEXT", "MTEXT"))

    assert found == wanted
    assert "Cover Ø120" in found


def test_the_part_is_full_size_in_model_space():
    """Six 9 mm holes, a 40 mm bore and a 120 mm rim: radii to a nanometre, places on the 90 mm circle, at any sheet scale."""
    entities = _second_reader("cover")["entities"]
    circles = [(e["layer"], e["radius"], e["center"]) for e in entities if e["type"] == "CIRCLE"]
    holes = [c for layer, r, c in circles if layer == "PHANTOM" and r == pytest.approx(4.5, abs=1e-6)]
    bore = next(c for layer, r, c in circles if layer == "PHANTOM" and r == pytest.approx(20.0, abs=1e-6))

    assert len(holes) == 6
    assert [r for layer, r, _ in circles if layer == "OUTLINE"] == pytest.approx([60.0], abs=1e-6)
    for hole in holes:
        assert ((hole["x"] - bore["x"]) ** 2 + (hole["y"] - bore["y"]) ** 2) ** 0.5 == pytest.approx(45.0, abs=2e-6)


def test_a_reduced_drawing_is_full_size_too():
    """The bored block stands on an A4 sheet at 1:2; its core is still a circle of 17 mm in model space."""
    assert sheet("bore").scale == 0.5
    radii = [e["radius"] for e in _second_reader("bore")["entities"] if e["type"] == "CIRCLE" and e["layer"] == "OUTLINE"]

    assert radii == pytest.approx([17.0], abs=1e-6)


@pytest.mark.parametrize(("name", "unit", "code"), [("cover", 1.0, 4), ("bore", 1.0, 4), ("cube", 25.4, 1)])
def test_units_and_extents_are_the_sheets(name, unit, code):
    """$INSUNITS 4 (mm) or 1 (inch); the extents are the sheet over its scale in that unit."""
    header, drawing = _second_reader(name)["header"], sheet(name)

    assert header["$INSUNITS"] == code
    assert header["$MEASUREMENT"] == (0 if code == 1 else 1)
    assert header["$EXTMIN"] == {"x": 0, "y": 0, "z": 0}
    assert header["$EXTMAX"]["x"] == pytest.approx(drawing.width / drawing.scale / unit, abs=1e-6)
    assert header["$EXTMAX"]["y"] == pytest.approx(drawing.height / drawing.scale / unit, abs=1e-6)


@pytest.mark.parametrize("name", sorted(INPUTS))
def test_dimensions_measure_what_they_print(name):
    """The reader's own distance between the extension lines' origins is the stored measurement and rounds to the printed text."""
    parsed = _second_reader(name)
    dimensions = [e for e in parsed["entities"] if e["type"] == "DIMENSION"]
    assert dimensions
    for entity in dimensions:
        p, q = entity["linearOrAngularPoint1"], entity["linearOrAngularPoint2"]
        apart = abs(q["x"] - p["x"]) if entity["angle"] == 0 else abs(q["y"] - p["y"])
        printed = [e["text"] for e in parsed["blocks"][entity["block"]]["entities"] if e["type"] == "TEXT"]
        assert len(printed) == 1
        figure = printed[0].strip("()")
        places = len(figure.partition(".")[2])
        assert entity["actualMeasurement"] == pytest.approx(apart, abs=1e-6)
        # Trailing zeros are not printed, so the figure may be coarser than its places by nothing but zeros.
        assert float(figure) == pytest.approx(apart, abs=0.5 * 10 ** -max(places, 1) + 1e-6)
        assert entity["text"] == printed[0].replace(figure, "<>")


@pytest.mark.parametrize("name", sorted(INPUTS))
def test_line_types_have_the_names_and_lengths_that_viewers_know(name):
    """DASHED, CENTER and PHANTOM, with lengths in mm on paper: 3, 6 and 6 mm dashes (ISO 128-2 for 0.25 mm lines)."""
    kinds = _second_reader(name)["tables"]["lineType"]["lineTypes"]
    layers = _second_reader(name)["tables"]["layer"]["layers"]
    drawing = sheet(name)
    unit = 25.4 if drawing.units == "inch" else 1.0

    assert kinds["DASHED"]["pattern"] == [3.0, -1.0]
    assert kinds["CENTER"]["pattern"] == [6.0, -1.0, 1.0, -1.0]
    assert kinds["PHANTOM"]["pattern"] == [6.0, -1.0, 1.0, -1.0, 1.0, -1.0]
    assert _second_reader(name)["header"]["$LTSCALE"] == pytest.approx(drawing.reduction / drawing.scale / unit)
    assert {"OUTLINE", "HIDDEN", "CENTRE", "PHANTOM", "SMOOTH", "DIMENSION", "TEXT", "FRAME"} <= set(layers)


# --- ezdxf's loader and audit -------------------------------------------------


@pytest.mark.parametrize("name", sorted(INPUTS))
def test_the_file_passes_the_audit(name):
    """ezdxf's audit of the file read back finds nothing to complain of and nothing to mend."""
    audit = _document(name).audit()

    assert [e.message for e in audit.errors] == []
    assert [e.message for e in audit.fixes] == []


@pytest.mark.parametrize("name", sorted(INPUTS))
def test_layers_carry_line_types_and_widths_by_role(name):
    """Outlines 0.5 mm on A3 (0.35 on A4), hidden DASHED, centre CENTER, finished outline PHANTOM."""
    layers = _document(name).layers
    wide = 50 if sheet(name).reduction == 1.0 else 35

    assert layers.get("OUTLINE").dxf.lineweight == wide
    assert layers.get("HIDDEN").dxf.linetype == "DASHED"
    assert layers.get("CENTRE").dxf.linetype == "CENTER"
    assert layers.get("PHANTOM").dxf.linetype == "PHANTOM"


@pytest.mark.parametrize("name", sorted(INPUTS))
def test_everything_is_in_model_space_and_notes_are_leader_and_mtext(name):
    """Independent viewers draw paper space over the part and do not know MULTILEADER."""
    document = _document(name)
    kinds = Counter(e.dxftype() for e in document.modelspace())
    leaders = sum(isinstance(i, Leader) for i in sheet(name).items)

    assert len(document.paperspace()) == 0
    assert kinds["LEADER"] == leaders
    assert kinds["MULTILEADER"] == 0
    assert kinds["LWPOLYLINE"] == 0


@pytest.mark.parametrize("name", sorted(INPUTS))
def test_dimension_styles_print_true_sizes(name):
    """Factor 1 on every length, so a viewer that measures anew prints the part's size; sizes of text scale with the sheet."""
    document, drawing = _document(name), sheet(name)
    unit = 25.4 if drawing.units == "inch" else 1.0
    styles = [s for s in document.dimstyles if s.dxf.name.startswith("EVENSTOCK")]

    assert styles
    for style in styles:
        assert style.dxf.dimlfac == 1.0
        assert style.dxf.dimtxt == 3.5
        assert style.dxf.dimscale == pytest.approx(drawing.reduction / drawing.scale / unit)
    assert document.header["$DIMLFAC"] == 1.0
    assert document.header["$DIMTXT"] == 3.5


@pytest.mark.parametrize("name", sorted(INPUTS))
def test_a_viewer_that_prints_model_space_gets_the_paper_and_the_scale(name):
    """Paper limits are the sheet in the drawing's unit, the viewport scale the stated one."""
    header, drawing = _document(name).header, sheet(name)
    unit = 25.4 if drawing.units == "inch" else 1.0

    assert header["$PSVPSCALE"] == drawing.scale
    assert header["$PLIMMAX"] == pytest.approx((drawing.width / unit, drawing.height / unit))


def test_only_plain_hyphens_stand_before_figures():
    """A minus that is not the keyboard's own is unreadable in many viewers' fonts."""
    texts = [p.text for i in sheet("cover").items for p in ink(i) if isinstance(p, Label)]

    assert any(t.startswith("-") for t in texts)
    assert not any("−" in t or "–" in t for t in texts)


# --- the same bytes -----------------------------------------------------------


def test_the_same_part_gives_the_same_bytes_in_any_process(tmp_path):
    """Other hash seeds, another working folder, another home: the hashes of all nine files agree with this process's."""
    import hashlib

    wanted = sorted(
        f"{name} {file} {hashlib.sha256(content).hexdigest()}" for name in INPUTS for file, content in files(name).items()
    )
    for seed in ("1", "4242"):
        home = tmp_path / f"home {seed}"
        home.mkdir()
        env = {**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": str(_ROOT), "HOME": str(home), "XDG_CACHE_HOME": str(home)}
        command = [sys.executable, "-m", "tests.sheets"]
        done = subprocess.run(command, capture_output=True, text=True, env=env, cwd=home, timeout=120, check=True)
        assert sorted(done.stdout.splitlines()) == wanted


def test_no_clock_and_no_folder_is_written_into_the_file():
    """Created, by the file's own header, on 1 January 2000 (Julian day 2451545); no folder of this machine in it."""
    lines = files("cover")["drawing.dxf"].decode().splitlines()

    for name in ("$TDCREATE", "$TDUPDATE", "$TDUCREATE"):
        assert float(lines[lines.index(name) + 2]) == 2451545.0
    assert not any(str(_ROOT) in line or "/tmp" in line or "/home" in line for line in lines)

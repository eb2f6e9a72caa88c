"""The proof in the casting as received: what is short, what stays skin, what cuts air; and that it shares no code with the rows."""

import ast
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import geom
from geom.kernel.cut import box, cut, cylinder
from geom.kernel.mesh import tessellate_for_rays
from geom.kernel.shape import solid_from_shape
from geom.proof.prove import Proof, prove
from geom.proof.received import Received, moved_mesh
from geom.rays.rays import Skin
from geom.settings.records import FaceSettings
from tests.hand_parts import hand_settings
from tests.proof_job import UP, looked, only, part, printed, read_back, setups

PROOF = Path(geom.__file__).parent / "proof"
OURS = ("geom.proof.", "geom.kernel.", "geom.standards.")
SHARED = {
    *("geom.errors", "geom.rigid", "geom.space", "geom.tolerance", "geom.units"),
    *("geom.rays.analytic", "geom.rays.rays", "geom.rays.rim", "geom.rays.sample"),
    *("geom.model.part", "geom.settings.records", "geom.rows.records", "geom.received.casting"),
}
"""Records, exact geometry and the placement that are taken as given; no module that makes a row."""


def skin(*cuts, top: float = 33.0) -> Skin:
    """Return the block's casting with another top, and with boxes cut off it."""
    made = cut(box((0.0, 0.0, -3.0), (83.0, 60.0, top)), cylinder((20.0, 30.0, -4.0), UP, 12.5, 50.0), *cuts)
    return Skin(solid_from_shape(made, "as received"))


def proof_in(there: Skin, off: float = 0.0, **faces: FaceSettings) -> Proof:
    tables = read_back(printed(only(setups(), "faces")[0]))
    return prove(tables, part("faces"), hand_settings(faces=faces), Received("a", there, "by hand", off))


def face(proof: Proof, name: str):
    assert proof.received is not None
    return next(one for one in proof.received.faces if one.name == name)


def test_a_casting_as_drawn_is_proved_as_received():
    """The same skin, the same answer: every machined face is cut all over."""
    proof = proof_in(skin())

    assert proof.proved
    assert {one.state for one in proof.received.faces} == {"whole"}


def test_a_casting_that_is_too_low_is_short_and_says_by_how_much():
    """Its top stands at 29.5 where 30 is wanted: half a millimetre is missing all over, though as drawn all is well."""
    proof = proof_in(skin(top=29.5))

    assert proof.faults == ()
    assert not proof.proved
    assert face(proof, "top").state == "short"
    assert face(proof, "top").low == pytest.approx(-0.5, abs=1e-6)
    assert face(proof, "top").wane == pytest.approx(0.95, abs=0.05)
    assert face(proof, "bottom").state == "whole"


def test_skin_that_stays_within_the_bearing_is_wane_and_no_failure():
    """A low strip 15 wide across the top of 80: 17.5 per cent of its area, less the core's; 0.75 bearing forgives a quarter."""
    low = skin(box((40.0, -1.0, 29.0), (55.0, 61.0, 40.0)))
    forgiven = proof_in(low, top=FaceSettings(bearing=0.75))
    refused = proof_in(low, top=FaceSettings(bearing=0.9))

    assert forgiven.proved
    assert face(forgiven, "top").state == "wane"
    assert face(forgiven, "top").low == pytest.approx(-1.0, abs=1e-6)
    assert face(forgiven, "top").wane == pytest.approx(15.0 / 80.0, abs=0.05)
    assert face(refused, "top").state == "short"
    assert [fault.kind for fault in refused.received.faults] == ["short"]


def test_a_pass_that_meets_no_metal_in_this_casting_is_named():
    """Its top stands at 30.5: both lanes of the first pass, at 31, cut air; the last ones still cut."""
    proof = proof_in(skin(top=30.5))

    assert [(fault.kind, fault.rows) for fault in proof.received.faults] == [("cuts air", ((1, 1),)), ("cuts air", ((1, 2),))]


def test_a_pass_deeper_than_its_flutes_in_this_casting_is_named():
    """Its top stands at 40: the first pass at 31 is 9 high with flutes of 6."""
    proof = proof_in(skin(top=40.0))

    assert {rows for fault in proof.received.faults if fault.kind == "flutes" for rows in fault.rows} == {(1, 1), (1, 2)}


def test_touches_are_judged_on_the_skin_as_received():
    """A left side 1 mm in: the check that is right on the drawn skin meets nothing there until 1 mm further on."""
    tables = [replace(t, rows=t.rows[:8]) for t in read_back(printed(looked()))[:1]]
    one = replace(tables[0], count=1)
    moved = skin(box((-1.0, -1.0, -9.0), (1.0, 61.0, 40.0)))
    proof = prove([one], part(), hand_settings(), Received("", moved, "by hand", 1.0))
    left = next(t for t in proof.touches if t.feature == "left")

    assert left.off == pytest.approx(1.0, abs=1e-6)
    assert any(fault.kind == "touch" and fault.rows == ((1, 6),) for fault in proof.faults)


class _Readings:
    """Every wall off by a hundredth of a millimetre times its number."""

    scan = None

    def skin_rows(self, _points, surfaces):
        return 0.01 * (1.0 + surfaces), None


def test_a_drawn_block_moved_by_its_readings_has_its_walls_where_they_were_read():
    """Each plane of a block by its own offset: corners go where three planes meet, so every wall is exactly there."""
    solid = solid_from_shape(box((0.0, 0.0, 0.0), (40.0, 30.0, 20.0)), "block")
    one = replace(part("faces"), casting=solid)
    drawn = tessellate_for_rays(solid, 0.02, 0.04)
    moved = moved_mesh(drawn, one, _Readings())  # type: ignore[arg-type]

    for surface in solid.surfaces:
        corners = np.unique(drawn.triangles[drawn.face == surface.index])
        out = (moved.vertices[corners] - np.array(surface.origin)) @ np.array(surface.axis)
        assert out == pytest.approx(np.full(len(corners), 0.01 * (1 + surface.index)), abs=1e-9)


@pytest.mark.parametrize("path", sorted(PROOF.glob("[!_]*.py")), ids=lambda path: path.stem)
def test_the_proof_shares_no_code_with_what_makes_the_rows(path):
    """Read from its imports: its own modules, records, exact geometry and the placement; nothing that works out a row."""
    tree = ast.walk(ast.parse(path.read_text()))
    named = [n.module or "" for n in tree if isinstance(n, ast.ImportFrom)]
    own = [name for name in named if name.startswith(("geom", "export"))]

    assert [name for name in own if not name.startswith(OURS) and name not in SHARED] == []

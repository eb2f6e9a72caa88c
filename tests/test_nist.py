"""Real STEP files nobody here wrote: NIST's public test models and what their drawings print.

The printed values are those listed in the models' README beside the files; the
files are found by the `nist` fixture.
"""

import math
from collections import Counter
from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest

from geom.errors import GeometryError
from geom.kernel.mesh import mesh_volume, tessellate
from geom.kernel.shape import Solid
from geom.kernel.step import read_step
from geom.model.part import PartHole
from geom.recognise.holes_found import find_holes
from geom.recognise.part import recognise

Finder = Callable[[str], Path]


@cache
def read(path: Path) -> tuple[Solid, tuple[PartHole, ...]]:
    solid = read_step(path)
    return solid, find_holes(solid)


def sizes(holes: tuple[PartHole, ...]) -> Counter[tuple[str, float]]:
    return Counter((h.kind, round(h.diameter, 3)) for h in holes if h.pilot is None)


# --- CTC-02: a cast housing -------------------------------------------------


def test_ctc02_drafted_walls_lean_by_2_and_3_degrees(nist: Finder):
    """The drawing prints draft of 2.00 and 3.00 degrees; every wall that leans a little from upright has one of them."""
    solid, _ = read(nist("nist_ctc_02_asme1_ap242-e2.stp"))

    lean = [math.degrees(math.asin(abs(s.normal[2]))) for s in solid.surfaces if s.kind == "plane"]

    assert Counter(round(a, 4) for a in lean if 0.01 < a < 10) == {3.0: 32, 2.0: 16}


def test_ctc02_bores_have_the_printed_diameters_and_places(nist: Finder):
    """D52 with a D100 seat along X through y 200, z -185; D40 along Y at x 0, z -140; six D22; D12 for location."""
    _, holes = read(nist("nist_ctc_02_asme1_ap242-e2.stp"))
    found = {d: [h for h in holes if round(h.diameter, 3) == d] for d in (52.0, 40.0, 22.0, 12.0)}

    near, far = found[52.0]
    assert near.axis == (1.0, 0.0, 0.0)
    assert near.centre[1:] == (200.0, -185.0)
    assert near.counterbore is not None
    assert near.counterbore.diameter == 100.0
    assert (far.pilot, far.axis) == (near.name, (-1.0, 0.0, 0.0))
    assert all(abs(h.axis[1]) == 1.0 and (h.centre[0], h.centre[2]) == (0.0, -140.0) for h in found[40.0])
    assert len(found[22.0]) == 6
    assert [h.kind for h in found[12.0]] == ["blind", "blind"]


# --- CTC-04: a block of hole patterns ---------------------------------------


def test_ctc04_hole_patterns_are_the_printed_ones(nist: Finder):
    """30x D14 countersunk D20x90; 4x D10.2 inclined; 4x counterbored D20; 12x D6.65."""
    _, holes = read(nist("nist_ctc_04_asme1_ap242-e1.stp"))

    assert sizes(holes) == {
        ("countersunk", 14.0): 30,
        ("blind", 10.2): 4,
        ("counterbored", 12.0): 4,
        ("blind", 6.65): 12,
        ("blind", 12.1): 2,
        ("through", 10.0): 2,
    }
    sunk = [h.countersink for h in holes if h.kind == "countersunk"]
    assert all(s is not None and (s.diameter, s.angle) == (20.0, 90.0) for s in sunk)
    assert all(h.counterbore is not None and h.counterbore.diameter == 20.0 for h in holes if h.kind == "counterbored")


def test_ctc04_inclined_holes_keep_their_axis_and_fit_their_thread(nist: Finder):
    """M12x1.75 is drilled 10.2 mm (ISO 2306); the four lean 22 degrees from upright, as the model's own faces do."""
    solid, holes = read(nist("nist_ctc_04_asme1_ap242-e1.stp"))
    inclined = [h for h in holes if round(h.diameter, 3) == 10.2]

    slopes = {round(abs(s.normal[2]), 6) for s in solid.surfaces if s.kind == "plane"}

    assert {round(abs(h.axis[2]), 6) for h in inclined} <= slopes
    assert all("tapped M12" in h.suggestions for h in inclined)
    assert all(h.depth == pytest.approx(30.0) and h.point_angle == pytest.approx(118.0, abs=0.1) for h in inclined)


# --- FTC-10 -----------------------------------------------------------------


def test_ftc10_counts_and_depths_are_the_printed_ones(nist: Finder):
    """4x D6, 8x D2.5, 6x D3.5, counterbores D10 depth 10 (4) and depth 2 (4), D5.5 blind 35 and 27.5."""
    _, holes = read(nist("nist_ftc_10_asme1_ap242-e2.stp"))
    found = sizes(holes)

    assert found["through", 2.5] == 8
    assert found["through", 3.5] == 6
    assert found["counterbored", 6.0] == 4
    assert sorted(h.depth or 0.0 for h in holes if h.diameter == 5.5) == [27.5, 35.0]
    bores = Counter((h.counterbore.diameter, h.counterbore.depth) for h in holes if h.counterbore and h.pilot is None)
    assert bores == {(10.0, 10.0): 4, (10.0, 2.0): 4}
    assert len([h for h in holes if h.pilot]) == 4


# --- a machined part with reamed location holes -----------------------------


def test_827_9999_904_has_its_mounting_and_location_holes(nist: Finder):
    """Four D3.251 through; two D6.35 (0.250 in) reamed at (60.32, 6.35) and (63.5, 63.2), each over its own smaller drill."""
    _, holes = read(nist("827-9999-904.stp"))

    assert sizes(holes)["through", 3.251] == 4
    reamed = sorted((h for h in holes if h.counterbore), key=lambda h: h.centre)
    assert [h.counterbore.diameter for h in reamed if h.counterbore] == [6.35, 6.35]
    assert [c for h in reamed for c in h.centre[:2]] == pytest.approx([60.32, 6.35, 63.5, 63.2], abs=0.006)


# --- odd files --------------------------------------------------------------


def test_mbe_pmi_11_has_its_bore_recovered_and_its_splines_named(nist: Finder):
    """No analytic cylinder in the file: the D32 bore is read from splines, and what stays free-form is said."""
    solid, holes = read(nist("NIST_MBE_PMI_11.stp"))

    part = recognise("ring", "grey iron", solid, solid)

    assert [(h.kind, h.diameter) for h in holes] == [("through", 32.0)]
    assert all(s.recovered for s in solid.surfaces if s.kind == "cylinder")
    assert any("4 of its 10 faces are splines read as planes, cylinders" in n for n in part.notes)
    assert any("4 of its 10 faces are free-form" in n for n in part.notes)


def test_mbe_pmi_11_volume_is_what_ever_finer_meshes_approach(nist: Finder):
    """The kernel's quick rule gave 5138.6 mm3, its adaptive one 5129.4; finer facets close in on the latter."""
    solid, _ = read(nist("NIST_MBE_PMI_11.stp"))

    short = [1 - mesh_volume(tessellate(solid, chord)) / solid.volume for chord in (0.05, 0.02)]

    assert solid.volume == pytest.approx(5129.386, rel=1e-5)
    assert 0 < short[1] < short[0] < 0.004


def test_ftc08_reads_inside_out_and_is_refused(nist: Finder):
    """The message says what is wrong and what to do."""
    with pytest.raises(GeometryError, match=r"nist_ftc_08_asme1_ap242-e1-tg\.stp: the solid is inside out .* export it again"):
        read_step(nist("nist_ftc_08_asme1_ap242-e1-tg.stp"))


def test_the_crada_plate_is_refused_with_its_five_solids_listed(nist: Finder):
    """One plate and four chips: their sizes tell which one to export."""
    with pytest.raises(GeometryError, match=r"holds 5 solids \(solid 1: 120\.0 x 71\.2 x 5\.0 mm; .*solid 5: "):
        read_step(nist("nist_mtc_crada_plate.step"))


def test_a_real_part_against_itself_is_all_skin(nist: Finder):
    """Finished and casting from one file: every face as cast, nothing to drill, whatever its surfaces are."""
    solid, _ = read(nist("nist_ctc_04_asme1_ap242-e1.stp"))

    part = recognise("block", "grey iron", solid, read_step(nist("nist_ctc_04_asme1_ap242-e1.stp")))

    assert {f.state for f in part.faces} == {"as cast"}
    assert part.holes == ()

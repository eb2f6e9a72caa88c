"""Names that only geometry decides: the same for any file order, after a round trip, turned, mirrored and with noise."""

import math
import random
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeSolid, BRepBuilderAPI_Sewing
from OCP.TopoDS import TopoDS

from geom.kernel.cut import box, cut, cylinder, drill, fuse, mirrored, moved, prism, turned, turned_about
from geom.kernel.shape import Solid, solid_from_shape
from geom.kernel.step import read_step, write_step
from geom.kernel.topology import faces_of
from geom.model.part import Part
from geom.ranking import in_order, ranks
from geom.recognise.part import recognise
from geom.space import Vec3, cross, dot
from tests import catalogue

UP = (0.0, 0.0, 1.0)
ORIGIN = (0.0, 0.0, 0.0)
SIDES = {
    "top": (0.0, 0.0, 1.0),
    "bottom": (0.0, 0.0, -1.0),
    "left": (-1.0, 0.0, 0.0),
    "right": (1.0, 0.0, 0.0),
    "front": (0.0, -1.0, 0.0),
    "back": (0.0, 1.0, 0.0),
}


def recognised(finished: Solid, casting: Solid) -> Part:
    return recognise("part", "grey iron", finished, casting)


def bracket() -> tuple[Solid, Solid]:
    """A bracket with no two faces alike: steps, a slope, three holes on three axes, a cored bore and a round boss."""
    rough = fuse(
        box((0.0, 0.0, 0.0), (80.0, 50.0, 18.0)),
        box((0.0, 0.0, 0.0), (22.0, 50.0, 63.0)),
        cylinder((55.0, 28.0, 10.0), UP, 14.0, 21.0),
    )
    core = cut(rough, cylinder((55.0, 28.0, -1.0), UP, 6.0, 40.0))
    machining = (
        box((-1.0, -1.0, -1.0), (90.0, 60.0, 3.0)),
        box((-1.0, -1.0, 60.0), (90.0, 60.0, 70.0)),
        cylinder((55.0, 28.0, -1.0), UP, 9.0, 40.0),
        cylinder((55.0, 28.0, 28.0), UP, 20.0, 10.0),
        drill((40.0, 10.0, 18.0), UP, 6.8, 9.0, 118.0, 5.0),
        drill((0.0, 20.0, 45.0), (-1.0, 0.0, 0.0), 8.5, 14.0, 118.0, 1.0),
        turned([(0.0, 1.0), (0.0, -60.0), (3.3, -60.0), (3.3, -6.0), (5.5, -6.0), (5.5, 1.0)], (10.0, 0.0, 36.0), (0.0, -1.0, 0.0)),
        prism([(70.0, -1.0, 18.1), (80.1, -1.0, 8.0), (81.0, -1.0, 19.0)], (0.0, 60.0, 0.0)),
    )
    return solid_from_shape(cut(core, *machining), "finished"), solid_from_shape(core, "casting")


def shuffled(solid: Solid, seed: int) -> Solid:
    """The same solid sewn together from its faces in another order."""
    faces = list(faces_of(solid.shape))
    random.Random(seed).shuffle(faces)
    sewing = BRepBuilderAPI_Sewing(1e-6)
    for face in faces:
        sewing.Add(face)
    sewing.Perform()
    body = BRepBuilderAPI_MakeSolid(TopoDS.Shell(sewing.SewedShape())).Solid()
    found = solid_from_shape(body, solid.label)
    assert [s.centroid for s in found.surfaces] != [s.centroid for s in solid.surfaces]
    return found


def fingerprint(part: Part) -> dict[str, tuple[object, ...]]:
    """What is called what: names with the places and sizes they stand for, as sheets print them."""
    faces = {f"face {f.name}": (f.state, f.kind, *(round(c, 4) + 0.0 for c in f.centroid), round(f.area, 2)) for f in part.faces}
    holes = {
        f"hole {h.name}": (
            h.kind,
            round(h.diameter, 4),
            *(round(c, 4) + 0.0 for c in h.centre),
            *(round(c, 6) + 0.0 for c in h.axis),
        )
        for h in part.holes
    }
    return {**faces, **holes}


# --- the rule itself --------------------------------------------------------


def test_planes_are_named_by_the_way_they_face():
    """+z top, -z bottom, -x left, +x right, -y front, +y back; the outermost first."""
    part = recognised(*bracket())

    for name, way in SIDES.items():
        mine = [f for f in part.faces if f.kind == "plane" and f.hole is None and dot(f.normal or ORIGIN, way) > 0.999999]
        levels = [dot(f.centroid, way) for f in mine]
        assert [f.name for f in mine] == [name if i == 0 else f"{name} {i + 1}" for i in range(len(mine))]
        assert levels == sorted(levels, reverse=True)
    assert [f.name for f in part.faces if f.name.startswith("slope")] == ["slope 1"]


def test_cored_holes_are_bores_and_the_others_holes():
    """The bore has its core in the casting; the three holes are drilled from solid."""
    part = recognised(*bracket())

    assert {h.name: (h.diameter, h.axis) for h in part.holes} == {
        "bore 1": (18.0, UP),
        "hole 1": (6.8, UP),
        "hole 2": (6.6, (0.0, -1.0, 0.0)),
        "hole 3": (8.5, (-1.0, 0.0, 0.0)),
    }
    assert [f.name for f in part.faces if f.kind == "cylinder" and not f.hollow] == ["round 1"]


def test_values_closer_than_the_slack_rank_the_same():
    """A nanometre must not decide, nor the edge of a rounding: 0.0005 and 0.0015 apart differ, 1e-7 apart do not."""
    assert ranks([0.0, 1e-7, 0.5, 0.5 - 1e-7, 0.502]) == [0, 0, 1, 1, 2]
    assert in_order(["b", "a"], lambda _: 0.0, lambda s: ord(s)) == ["a", "b"]


# --- laws -------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(4))
def test_the_order_of_faces_in_a_file_changes_no_name(seed: int):
    """Two exporters, two orders, one set of names."""
    finished, casting = bracket()

    assert fingerprint(recognised(shuffled(finished, seed), shuffled(casting, seed + 10))) == fingerprint(
        recognised(finished, casting)
    )


def test_like_holes_are_told_apart_whatever_the_file_order():
    """Six equal holes on a circle keep their numbers."""
    finished, casting = catalogue.bolt_circle_cover()

    assert fingerprint(recognised(shuffled(finished, 3), casting)) == fingerprint(recognised(finished, casting))


def test_a_round_trip_through_step_changes_no_name(tmp_path: Path):
    """What was named from the model is named the same from its files, in mm and in inches."""
    finished, casting = bracket()
    for units in ("mm", "inch"):
        write_step(finished.shape, tmp_path / "finished.step", units)
        write_step(casting.shape, tmp_path / "casting.step", units)
        again = recognised(read_step(tmp_path / "finished.step"), read_step(tmp_path / "casting.step"))

        assert fingerprint(again) == fingerprint(recognised(finished, casting))


@settings(max_examples=8, deadline=None)
@given(st.tuples(*[st.floats(-1e-6, 1e-6)] * 3))
def test_a_micrometre_of_noise_changes_no_name(shift: Vec3):
    """The finished part moved by up to 1e-6 mm against its casting is the same part."""
    finished, casting = NOISY
    part = recognised(solid_from_shape(moved(finished, shift), "finished"), casting)

    assert [(f.name, f.state) for f in part.faces] == [(f.name, f.state) for f in recognised(finished, casting).faces]
    assert [(h.name, h.kind, h.axis) for h in part.holes] == [(h.name, h.kind, h.axis) for h in recognised(finished, casting).holes]


NOISY = bracket()


QUARTERS = [(axis, turns) for axis in ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)) for turns in (1, 2, 3)]


def turned_vector(v: Vec3, axis: Vec3, turns: int) -> Vec3:
    """The vector turned by quarter turns about an axis (Rodrigues' formula with exact sines)."""
    c, s = (0, -1, 0)[turns - 1], (1, 0, -1)[turns - 1]
    x, d = cross(axis, v), dot(axis, v)
    return tuple(c * a + s * b + (1 - c) * d * k + 0.0 for a, b, k in zip(v, x, axis, strict=True))  # type: ignore[return-value]


@pytest.mark.parametrize(("axis", "turns"), QUARTERS)
def test_turning_the_part_turns_its_names(axis: Vec3, turns: int):
    """What was top is left after a quarter turn about -Y, and so on; holes keep their sizes and turn their axes."""
    finished, casting = NOISY
    here = recognised(finished, casting)

    there = recognised(
        solid_from_shape(turned_about(finished, ORIGIN, axis, 90.0 * turns), "finished"),
        solid_from_shape(turned_about(casting, ORIGIN, axis, 90.0 * turns), "casting"),
    )

    new = {
        name: next(n for n, w in SIDES.items() if dot(w, turned_vector(way, axis, turns)) > 0.999) for name, way in SIDES.items()
    }
    mapped = {f.name: mapped_name(f.name, new) for f in here.faces if f.hole is None}
    assert {mapped[f.name]: round(f.area, 3) for f in here.faces if f.hole is None} == {
        f.name: round(f.area, 3) for f in there.faces if f.hole is None
    }
    assert {(h.kind, h.diameter, lined(h.kind, turned_vector(h.axis, axis, turns))) for h in here.holes} == {
        (h.kind, h.diameter, lined(h.kind, h.axis)) for h in there.holes
    }


def lined(kind: str, axis: Vec3) -> tuple[float, ...]:
    """The axis, without its sense for a plain through hole: with both ends machined it may be seen from either."""
    return tuple(round(abs(c) if kind == "through" else c, 9) + 0.0 for c in axis)


def mapped_name(name: str, new: dict[str, str]) -> str:
    first, _, rest = name.partition(" ")
    return " ".join(filter(None, (new.get(first, first), rest)))


def test_mirroring_the_part_swaps_left_and_right():
    """A left-hand part has the right-hand part's names with left and right exchanged."""
    finished, casting = NOISY
    here = recognised(finished, casting)

    there = recognised(
        solid_from_shape(mirrored(finished, ORIGIN, (1.0, 0.0, 0.0)), "finished"),
        solid_from_shape(mirrored(casting, ORIGIN, (1.0, 0.0, 0.0)), "casting"),
    )

    new = {**{n: n for n in SIDES}, "left": "right", "right": "left"}
    assert {mapped_name(f.name, new): round(f.area, 3) for f in here.faces if f.hole is None} == {
        f.name: round(f.area, 3) for f in there.faces if f.hole is None
    }
    assert sorted((h.kind, h.diameter, h.depth or 0.0) for h in here.holes) == sorted(
        (h.kind, h.diameter, h.depth or 0.0) for h in there.holes
    )


def test_an_axis_at_45_degrees_points_the_same_way_on_every_run():
    """Its components are equal, so noise must not choose: the canonical direction takes z before y before x."""
    block = box((-30.0, -30.0, -30.0), (30.0, 30.0, 30.0))
    way = (math.sqrt(0.5), 0.0, -math.sqrt(0.5))
    hole = cylinder(tuple(-60.0 * c for c in way), way, 5.0, 120.0)  # type: ignore[arg-type]
    outside = solid_from_shape(box((-33.0, -33.0, -33.0), (33.0, 33.0, 33.0)), "casting")
    finished = solid_from_shape(cut(block, hole), "finished")

    axes = [
        recognised(solid_from_shape(turned_about(finished, ORIGIN, (0.0, 1.0, 0.0), d), "f"), outside).holes[0].axis
        for d in (-1e-6, 0, 1e-6)
    ]

    assert all(a[2] > 0.7 for a in axes)

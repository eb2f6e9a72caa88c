"""What a model declares, laid over what is found: names, callouts, sides, and refusals that give both numbers."""

from collections.abc import Sequence

import pytest

from geom.errors import GeometryError
from geom.kernel.cut import box, cut, cylinder, fuse
from geom.kernel.shape import solid_from_shape
from geom.model.feature import Bore, Boss, Face, Feature, Hole, Slot, bore, hole
from geom.model.feature_shape import cutting_body
from geom.model.part import Part, PartFace, PartHole
from geom.recognise.part import recognise

UP = (0.0, 0.0, 1.0)
DOWN = (0.0, 0.0, -1.0)
LEFT = (-1.0, 0.0, 0.0)
ROUGH = box((-50.0, -40.0, -3.0), (50.0, 40.0, 23.0))
TOP, BASE = Face("seat", (0.0, 0.0, 20.0), UP), Face("base", (0.0, 0.0, 0.0), DOWN)


def made(features: Sequence[Feature], declared: Sequence[Feature] | None = None, rough: object = ROUGH) -> Part:
    """The casting with the features cut, and recognised with the declared ones (the same unless told)."""
    finished = cut(rough, *(cutting_body(f, 200.0) for f in features))
    solids = solid_from_shape(finished, "finished"), solid_from_shape(rough, "casting")
    return recognise("part", "grey iron", *solids, features if declared is None else declared)


def named_hole(part: Part, name: str) -> PartHole:
    return next(h for h in part.holes if h.name == name)


def named_face(part: Part, name: str) -> PartFace:
    return next(f for f in part.faces if f.name == name)


# --- names and callouts -----------------------------------------------------


def test_declared_faces_and_holes_carry_their_own_names():
    """The model's names replace the found ones; what it does not name keeps its own."""
    part = made([TOP, BASE, hole("foot 1", "clearance M8 medium", (30.0, 20.0, 20.0), UP)])

    assert {f.name: f.state for f in part.faces} == {
        "seat": "machined",
        "base": "machined",
        "left": "as cast",
        "right": "as cast",
        "front": "as cast",
        "back": "as cast",
        "foot 1": "hole",
    }
    foot = named_hole(part, "foot 1")
    assert (foot.diameter, foot.callout and foot.callout.text) == (9.0, "clearance M8 medium")


def test_a_tapped_hole_is_found_at_its_tap_drill():
    """The model holds the tap drill's diameter: 6.8 mm for M8 (ISO 2306)."""
    part = made([TOP, hole("lift", "tapped M8", (0.0, 0.0, 20.0), UP, depth=15.0)])

    found = named_hole(part, "lift")
    assert (found.diameter, found.depth, found.callout and found.callout.purpose) == (6.8, 15.0, "tapped")


def test_every_face_of_a_declared_hole_carries_its_name():
    """Counterbore and seat belong to the hole; their names begin with its."""
    part = made([TOP, hole("foot", "counterbore for M10 socket head", (0.0, 0.0, 20.0), UP)])

    assert {f.name for f in part.faces if f.hole == "foot"} == {"foot", "foot counterbore", "foot seat"}
    assert named_hole(part, "foot").kind == "counterbored"


def test_the_declared_axis_says_from_which_side_a_plain_hole_is_made():
    """Found alone it would open upwards; the model drills it from below."""
    part = made([TOP, BASE, Hole("drain", (10.0, 0.0, 0.0), DOWN, 6.0)])

    assert (named_hole(part, "drain").axis, named_hole(part, "drain").centre) == (DOWN, (10.0, 0.0, 0.0))


def test_both_mouths_of_a_hole_can_be_declared():
    """A hole counterbored from both sides is two features; the second names the first as its pilot."""
    near = Hole("near", (0.0, 0.0, 20.0), UP, 10.0, counterbore=(18.0, 6.0))
    far = Hole("far", (0.0, 0.0, 0.0), DOWN, 10.0, counterbore=(18.0, 4.0))

    part = made([TOP, BASE, near, far])

    assert named_hole(part, "near").axis == UP
    assert (named_hole(part, "far").axis, named_hole(part, "far").pilot) == (DOWN, "near")


def test_a_bore_with_steps_takes_its_name_and_its_core():
    """A cored bore of 30 with a 40 mm seat: one bore, its walls machined."""
    rough = cut(ROUGH, cylinder((0.0, 0.0, -10.0), UP, 12.0, 50.0))

    part = made([TOP, BASE, bore("main", "bored 30 H7", (0.0, 0.0, 20.0), UP, steps=[(40.0, 6.0)], core=24.0)], rough=rough)

    main = named_hole(part, "main")
    assert (main.source, main.diameter, main.kind) == ("core", 30.0, "counterbored")
    assert {f.state for f in part.faces if f.hole == "main"} == {"machined"}
    assert main.callout is not None
    assert main.callout.limits == (30.0, 30.021)


def test_a_boss_names_its_end_and_its_side():
    """The end is faced and carries the boss's name; the side, turned for its last 8 mm, is its side."""
    rough = fuse(ROUGH, cylinder((0.0, 0.0, 10.0), UP, 18.0, 25.0))

    part = made([Boss("pad", (0.0, 0.0, 32.0), UP, 30.0, height=8.0, facing=40.0)], rough=rough)

    assert (named_face(part, "pad").state, named_face(part, "pad").normal) == ("machined", UP)
    assert (named_face(part, "pad side").state, named_face(part, "pad side").radius) == ("machined", 15.0)
    assert (named_face(part, "round 1").state, named_face(part, "round 1").radius) == ("as cast", 18.0)


def test_a_slot_names_its_floor_and_numbers_its_walls():
    """Two flats, two ends and a floor."""
    part = made([TOP, Slot("key", (0.0, 0.0, 20.0), UP, (1.0, 0.0, 0.0), 40.0, 10.0, depth=5.0)])

    assert {f.name for f in part.faces if f.name.startswith("key")} == {
        "key floor",
        "key wall",
        "key wall 2",
        "key wall 3",
        "key wall 4",
    }


def test_one_face_feature_over_several_lobes_numbers_them():
    """A plane that faces three feet names them base, base 2 and base 3, the largest first."""
    feet = [box((x, -10.0, -10.0), (x + w, 10.0, 0.0)) for x, w in ((-40.0, 20.0), (-5.0, 25.0), (30.0, 15.0))]
    rough = fuse(box((-50.0, -40.0, 0.0), (50.0, 40.0, 20.0)), *feet)

    part = made([Face("base", (0.0, 0.0, -7.0), DOWN)], rough=rough)

    areas = {f.name: round(f.area) for f in part.faces if f.name.startswith("base")}
    assert areas == {"base": 500, "base 2": 400, "base 3": 300}


def test_a_found_name_makes_way_for_a_declared_one():
    """A model may call its left face "top": the found top is then renamed, not the model's."""
    part = made([TOP, Face("bottom", (-47.0, 0.0, 0.0), LEFT)])

    assert named_face(part, "bottom").normal == LEFT
    assert named_face(part, "bottom 2").normal == DOWN
    assert len({f.name for f in part.faces}) == len(part.faces)


def test_a_spot_face_keeps_its_own_name_and_counts_as_machined():
    """A round flat cut round a hole is the floor of a shallow counterbore by its shape, and a face by the model's word."""
    part = made([Hole("stud", (0.0, 0.0, 23.0), UP, 8.0), Face("spot", (0.0, 0.0, 21.5), UP, diameter=20.0)])

    assert (named_face(part, "spot").state, named_face(part, "spot").hole) == ("machined", "stud")


# --- refusals ---------------------------------------------------------------


def refusal(cut_ones: Sequence[Feature], declared: Sequence[Feature]) -> str:
    with pytest.raises(GeometryError) as caught:
        made(cut_ones, declared)
    return str(caught.value)


def test_a_declared_hole_that_is_not_cut_is_refused_and_the_nearest_named():
    """Place and size of what is missing, and of what there is."""
    there, wanted = Hole("a", (30.0, 20.0, 20.0), UP, 9.0), Hole("b", (-30.0, 20.0, 20.0), UP, 9.0)

    message = refusal([TOP, there], [TOP, wanted])

    assert "feature 'b': the finished part has no hole of 9 mm at (-30, 20, 20) mm" in message
    assert "the nearest is 9 mm at (30, 20, 20) mm" in message


def test_a_hole_of_another_size_gives_both_numbers():
    """The callout says 9, the metal 8.5."""
    message = refusal([TOP, Hole("a", (0.0, 0.0, 20.0), UP, 8.5)], [TOP, hole("a", "clearance M8 medium", (0.0, 0.0, 20.0), UP)])

    assert "feature 'a' asks for a hole of 9 mm, but the model's on that axis is 8.5 mm" in message


def test_a_callout_that_is_not_its_own_hole_gives_both_numbers():
    """A feature may carry a diameter and a callout that do not agree."""
    from dataclasses import replace

    lying = replace(hole("a", "clearance M8 medium", (0.0, 0.0, 20.0), UP), diameter=8.5)

    message = refusal([TOP, lying], [TOP, lying])

    assert "feature 'a': 'clearance M8 medium' is a hole of 9 mm, but the model's is 8.5 mm" in message


def test_a_declared_face_that_is_not_there_is_refused():
    """Nothing faces up at that height."""
    message = refusal([TOP], [Face("seat", (0.0, 0.0, 18.0), UP)])

    assert "feature 'seat': the finished part has no flat face at (0, 0, 18) mm for it" in message


def test_two_features_may_not_claim_one_face():
    """The message names both and the face."""
    message = refusal([TOP], [TOP, Face("lid", (10.0, 0.0, 20.0), UP)])

    assert "features 'seat' and 'lid' both claim the face 'top'" in message


def test_two_features_may_not_be_one_hole():
    """Two lugs drilled in line are found as one hole, and declared as one."""
    one = Hole("a", (0.0, 0.0, 20.0), UP, 9.0)

    message = refusal([TOP, one], [TOP, one, Bore("b", (0.0, 0.0, 20.0), UP, 9.0)])

    assert "features 'a' and 'b' are one hole in the model" in message


def test_a_name_may_be_declared_once():
    """Two features called the same could not be told apart on a sheet."""
    message = refusal([TOP, BASE], [TOP, Face("seat", (0.0, 0.0, 0.0), DOWN)])

    assert "feature 'seat' is declared twice" in message

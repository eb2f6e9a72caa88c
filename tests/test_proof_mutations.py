"""Planted errors: each spoils a table that proves, and each has to be found and its row named.

The table of errors is the test: a way of being wrong that is not in it is not
known to be found. Rows are those of `tests/proof_job.py`, counted in the
printed table after the error is planted.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import pytest

from export.number import figures
from geom.proof.prove import Fault, prove
from geom.proof.sweep import Table
from geom.rows.records import Row, Setup, Tool
from geom.space import Frame
from tests.hand_parts import hand_settings
from tests.proof_job import END_MILL, MILLED, SEAT, TAP, Which, numbered, only, part, printed, read_back, setups

Setups = tuple[Setup, ...]
Plant = Callable[[Setups], "Setups | Sequence[str]"]


@dataclass(frozen=True)
class Planted:
    """One error: what it is, how it is planted, and who has to be named: (set-up, row), or a feature where no row is left."""

    says: str
    plant: Plant
    names: tuple[int, int] | str


def rows_changed(made: Setups, which: int, change: Callable[[list[Row]], Sequence[Row]]) -> Setups:
    """Return the set-ups with the rows of one changed and counted anew."""
    return tuple(replace(s, rows=numbered(change(list(s.rows)))) if s.number == which else s for s in made)


def edit(number: int, setup: int = 1, **fields: Any) -> Plant:
    """Return a plant that changes fields of one row."""
    return lambda made: rows_changed(made, setup, lambda rows: [replace(r, **fields) if r.number == number else r for r in rows])


def edit_tool(number: int, setup: int = 1, **fields: Any) -> Plant:
    """Return a plant that changes the cutter of one row."""
    return lambda made: rows_changed(
        made, setup, lambda rows: [replace(r, tool=replace(r.tool, **fields)) if r.number == number else r for r in rows]
    )


def drop(number: int, setup: int = 1) -> Plant:
    """Return a plant that leaves one row out."""
    return lambda made: rows_changed(made, setup, lambda rows: [r for r in rows if r.number != number])


def order(*numbers: int, setup: int = 1) -> Plant:
    """Return a plant that puts rows in the places of those rows sorted."""

    def moved(rows: list[Row]) -> list[Row]:
        taken = iter([rows[n - 1] for n in numbers])
        return [next(taken) if r.number in numbers else r for r in rows]

    return lambda made: rows_changed(made, setup, moved)


def add(after: int, row: Row, setup: int = 1) -> Plant:
    """Return a plant that puts a row in."""
    return lambda made: rows_changed(made, setup, lambda rows: [*rows[:after], row, *rows[after:]])


def scaled(number: int, by: float, setup: int = 1) -> Plant:
    """Return a plant that multiplies one row's coordinates."""

    def all_of(row: Row) -> Row:
        told = {n: getattr(row, n) for n in ("x", "y", "z", "x_to", "y_to", "z_full")}
        return replace(row, **{n: v * by for n, v in told.items() if v is not None})

    return lambda made: rows_changed(made, setup, lambda rows: [all_of(r) if r.number == number else r for r in rows])


def frame(setup: int, change: Callable[[Frame], Frame]) -> Plant:
    """Return a plant that changes a set-up's printed zero or axes."""
    return lambda made: tuple(replace(s, frame=change(s.frame)) if s.number == setup else s for s in made)


def moved_by(x: float, y: float, z: float) -> Callable[[Frame], Frame]:
    return lambda f: replace(f, origin=(f.origin[0] + x, f.origin[1] + y, f.origin[2] + z))


def minus(v: tuple[float, float, float]) -> tuple[float, float, float]:
    return (-v[0] + 0.0, -v[1] + 0.0, -v[2] + 0.0)


def text_changed(setup: int, old: str, new: str) -> Plant:
    """Return a plant that changes the printed text of one table."""

    def changed(made: Setups) -> list[str]:
        texts = printed(made)
        assert old in texts[setup - 1]
        texts[setup - 1] = texts[setup - 1].replace(old, new)
        return texts

    return changed


def mirrored_display(made: Setups) -> list[str]:
    """Print for a display that counts X to the left, and say that it counts to the right."""
    return [text.replace("X left", "X right") for text in printed(made, signs=(-1, 1, 1))]


def jaw_raised(made: Setups) -> Setups:
    return tuple(
        replace(s, boxes=tuple(replace(b, high=(*b.high[:2], 2.0)) if b.name == "fixed jaw" else b for b in s.boxes))
        if s.number == 1
        else s
        for s in made
    )


FRONT = Row(0, "right", "edge", END_MILL, 90.0, -37.0, -34.0, x_to=-35.0)
"""Runs along the front, 1 mm inside its skin."""

PLANTED = (
    # which way an axis counts
    Planted("X of a hole has the wrong sign", edit(13, x=-45.0), (1, 13)),
    Planted("Y of a hole has the wrong sign", edit(12, y=15.0), (1, 12)),
    Planted("Z of a seat has the wrong sign", edit(16, z=9.0), (1, 16)),
    Planted("the end of a lane has the wrong sign", edit(3, x_to=-93.0), (1, 3)),
    Planted("X and Y are swapped", edit(14, x=15.0, y=30.0), (1, 14)),
    Planted("the display counts X the other way than the table says", mirrored_display, (1, 13)),
    # where the cutter's centre runs
    Planted("the radius is taken off on the wrong side", edit(6, x=52.0), (1, 6)),
    Planted("the radius is left out", edit(6, x=60.0), (1, 6)),
    Planted("the diameter is added for the radius", edit(6, x=76.0), (1, 6)),
    Planted("what is left for finishing is counted on the wrong side", edit(6, x=67.5), (1, 6)),
    Planted("what is left for finishing stays on in the last pass", edit(6, x=68.5), (1, 6)),
    Planted("a hole stands 0.1 mm beside its place", edit(13, x=45.1), (1, 13)),
    Planted("a tap stands beside its hole", edit(19, y=-14.5), (1, 19)),
    # inch and mm
    Planted("one row is in inches", scaled(12, 1 / 25.4), (1, 12)),
    Planted("one row is 25.4 times too far", scaled(16, 25.4), (1, 16)),
    Planted("the last pass of a face is in inches", scaled(4, 1 / 25.4), (1, 4)),
    Planted("the cutter's diameter is in inches", edit_tool(6, label="", diameter=16.0 / 25.4), (1, 6)),
    # zero and axes
    Planted("zero is 1 mm off in X", frame(1, moved_by(1.0, 0.0, 0.0)), (1, 12)),
    Planted("zero is 0.02 mm off in Y", frame(1, moved_by(0.0, 0.02, 0.0)), (1, 15)),
    Planted("zero is 0.5 mm low", frame(1, moved_by(0.0, 0.0, -0.5)), (1, 3)),
    Planted("zero is taken on the rough top", frame(1, moved_by(0.0, 0.0, 3.0)), (1, 12)),
    Planted("zero is another corner", frame(2, moved_by(0.0, 0.0, -30.0)), (2, 3)),
    Planted("X points the other way", frame(1, lambda f: Frame(f.origin, minus(f.x), minus(f.y), f.z)), (1, 13)),
    Planted("the work is clamped a quarter turn round", frame(1, lambda f: Frame(f.origin, f.y, minus(f.x), f.z)), (1, 13)),
    Planted("the work was not turned over", frame(2, lambda f: Frame(f.origin, f.x, minus(f.y), minus(f.z))), (2, 3)),
    # order
    Planted("finish before rough", order(6, 5), (1, 6)),
    Planted("the last pass before the first", order(3, 4, 1, 2), (1, 3)),
    Planted("reamed before it is drilled", order(18, 14), (1, 14)),
    Planted("tapped before it is drilled", order(19, 12), (1, 12)),
    Planted("counterbored before its pilot hole", order(16, 13), (1, 13)),
    Planted("spotted after it is drilled", order(12, 7), (1, 12)),
    # depth
    Planted("the tip goes where the full diameter should end", edit(12, z=-16.0, z_full=-13.957), (1, 12)),
    Planted("the full diameter goes where the tip should end", edit(12, z=-20.085, z_full=-18.045), (1, 12)),
    Planted("Z full is printed as the tip", edit(12, z_full=-18.045), (1, 12)),
    Planted("a through hole's tip just comes through", edit(13, z=-31.0, z_full=-28.295), (1, 13)),
    Planted("a blind hole is 0.3 mm short", edit(12, z=-17.745, z_full=-15.7), (1, 12)),
    Planted("a seat is 0.1 mm too deep", edit(16, z=-9.1), (1, 16)),
    Planted("a countersink is 1 mm too deep", edit(17, z=-7.3, z_full=-1.0), (1, 17)),
    Planted("a spot is wider than its hole", edit(7, z=-5.0), (1, 7)),
    Planted("an edge is not cut to its foot", edit(6, z=-28.0), (1, 6)),
    Planted("the tap goes into the drill's point", edit(19, z=-18.0), (1, 19)),
    Planted("the tap hardly enters", edit(19, z=-2.0), (1, 19)),
    Planted("Z of the other side counts from the wrong face", edit(3, setup=2, z=0.0), (2, 3)),
    # one step of the readout, where nothing else is allowed
    Planted("one readout step left on a side", edit(6, x=68.005), (1, 6)),
    Planted("one readout step too deep on a face", edit(3, z=-0.005), (1, 3)),
    Planted("one readout step off a bore's axis", edit(15, x=0.005), (1, 15)),
    # cutters
    Planted("the drill is too wide", edit_tool(13, label="9.5 mm", diameter=9.5), (1, 13)),
    Planted("the drill is not what it is called", edit_tool(12, diameter=6.0), (1, 12)),
    Planted("the point is sharper than printed", edit_tool(12, point_angle=90.0), (1, 12)),
    Planted("a flat cutter for a pointed one", edit(12, tool=Tool("drill", "6.8 mm", 6.8), z=-16.0, z_full=None), (1, 12)),
    Planted("the countersink's angle is another screw's", edit_tool(17, point_angle=60.0), (1, 17)),
    Planted("the bore is set 0.1 mm wide", edit_tool(15, diameter=30.1), (1, 15)),
    Planted("the bore's limits are another fit's", edit(15, limits=(30.0, 30.1)), (1, 15)),
    Planted("the reamer is half a millimetre wide", edit_tool(18, label="10.5 H7", diameter=10.5), (1, 18)),
    Planted("the pilot is wider than its hole", edit(16, tool=replace(SEAT, pilot=11.0)), (1, 16)),
    Planted("the pilot rattles in its hole", edit(16, tool=replace(SEAT, pilot=6.0)), (1, 16)),
    Planted("the tap is of another size", edit(19, tool=replace(TAP, label="M10", diameter=10.0)), (1, 19)),
    Planted("the tap is of another pitch", edit(19, tool=replace(TAP, label="M8x1")), (1, 19)),
    Planted("an end mill drills", edit(13, tool=replace(END_MILL, label="9 mm", diameter=9.0), z_full=None), (1, 13)),
    Planted("the flutes are too short", edit_tool(5, flute_length=20.0), (1, 5)),
    Planted("the holder meets the work", edit_tool(14, reach=20.0), (1, 14)),
    # what is missing or too much
    Planted("a hole is not drilled", drop(11), "sunk"),
    Planted("a hole is not bored", drop(15), "bore"),
    Planted("a hole is not reamed", drop(18), "dowel"),
    Planted("a hole is not tapped", drop(19), "thread"),
    Planted("a lane is missing", drop(4), "top"),
    Planted("the finishing pass is missing", drop(6), "right"),
    Planted("a whole set-up is missing", lambda made: printed(made)[:1], "bottom"),
    Planted("a row is there twice", add(6, setups()[0].rows[5]), (1, 7)),
    Planted("a row cuts a face that stays as cast", add(6, FRONT), (1, 7)),
    Planted("a row does not say where", edit(13, x=None), (1, 13)),
    # lanes
    Planted("a lane is too short", edit(4, x_to=30.0), (1, 4)),
    Planted("a lane starts too late", edit(4, x=0.0), (1, 4)),
    Planted("lanes leave a strip between them", edit(4, y=40.0), (1, 4)),
    Planted("a lane does not move", edit(6, y_to=None), (1, 6)),
    Planted("a face mill comes down into metal", edit(1, x=0.0), (1, 1)),
    # names
    Planted("a row carries another hole's name", edit(14, feature="screw"), (1, 14)),
    Planted("a row carries another face's name", edit(6, feature="top"), (1, 6)),
    Planted("a row names what the part has not", edit(14, feature="hole 99"), (1, 14)),
    # what holds the work
    Planted("the cutter runs into a jaw", jaw_raised, (1, 4)),
    Planted("a drill runs into the vise's bed", edit(13, z=-50.0, z_full=-47.295), (1, 13)),
    Planted("the cutter is run along the jaws", add(6, replace(FRONT, y=-34.0)), (1, 7)),
)


def tables_of(planted: "Setups | Sequence[str]") -> list[Table]:
    texts = [one for one in planted if isinstance(one, str)]
    return read_back(texts or printed([one for one in planted if isinstance(one, Setup)]))


def is_named(fault: Fault, wanted: tuple[int, int] | str, which: Which) -> bool:
    return wanted in fault.rows if isinstance(wanted, tuple) else _belongs(fault, wanted, which)


def _belongs(fault: Fault, feature: str, which: Which) -> bool:
    owner = next((face.hole for face in part(which).faces if face.name == fault.feature), None)
    return feature in (fault.feature, owner)


def bare(row: Row) -> Row:
    return replace(row, number=0)


def smallest(planted: "Setups | Sequence[str]", names: tuple[int, int] | str) -> Which:
    """Return the smallest job that a planted error is seen in: of faces or of holes where only rows of such are changed."""
    made = [one for one in planted if isinstance(one, Setup)]
    if len(made) < 2 or any((a.frame, a.boxes) != (b.frame, b.boxes) for a, b in zip(made, setups(), strict=True)):
        return "all"
    changed = {bare(r).action for a, b in zip(made, setups(), strict=True) for r in set(map(bare, a.rows)) ^ set(map(bare, b.rows))}
    if not changed and isinstance(names, tuple):
        changed = {made[names[0] - 1].rows[names[1] - 1].action}
    milled = {action in MILLED for action in changed}
    known = {name for face in part().faces for name in (face.name, face.hole)}
    wanted = {r.feature for a in made for r in a.rows}
    if milled == {True} and wanted <= known:
        return "faces"
    return "holes" if milled == {False} else "all"


@pytest.mark.parametrize("which", ["all", "faces", "holes"])
def test_the_table_before_any_error_is_proved(which):
    """So that whatever is found below is the error's own; of the whole job, and of its faces and its holes alone."""
    proof = prove(read_back(printed(only(setups(), which)[0])), part(which), hand_settings())

    assert proof.faults == ()
    assert proof.worst < 0.003


def test_the_same_table_in_inches_is_proved():
    """Rounded to 0.0005 in it is still within the readout's rounding."""
    proof = prove(read_back(printed(setups(), figures("inch"))), part(), hand_settings("inch"))

    assert proof.faults == ()


def test_a_spring_pass_may_cut_air():
    """A row that says so is no error."""
    again = replace(setups()[0].rows[5], note="spring pass")

    assert prove(tables_of(add(6, again)(setups())), part(), hand_settings()).proved


def test_a_pass_that_goes_by_a_core_as_cast_may_cut_air():
    """The core may lie off its place: until a pass meets metal the next may miss it too; after that none may."""
    bore = setups()[0].rows[14]
    said = replace(bore, tool=replace(bore.tool, diameter=23.0), limits=None, note="may cut on one side only")
    after = replace(said, tool=replace(bore.tool, diameter=24.0), note="")
    good = add(15, after)(add(14, said)(setups()))
    late = add(17, after)(good)

    assert prove(tables_of(good), part(), hand_settings()).proved
    assert [fault.rows for fault in prove(tables_of(late), part(), hand_settings()).faults] == [((1, 18),)]


def test_at_least_forty_kinds_are_planted():
    """As the issue asks; each says something else."""
    assert len({one.says for one in PLANTED}) == len(PLANTED) >= 40


@pytest.mark.parametrize("error", PLANTED, ids=lambda error: error.says)
def test_a_planted_error_is_found_and_named(error):
    """The verdict is no, and one of the reasons names the row, or the feature where no row is left to name."""
    planted = error.plant(setups())
    which = smallest(planted, error.names)
    made, where = only([one for one in planted if isinstance(one, Setup)], which)
    proof = prove(tables_of(made or planted), part(which), hand_settings())
    names = where.get(error.names, error.names) if isinstance(error.names, tuple) else error.names

    assert not proof.proved
    assert any(is_named(fault, names, which) for fault in proof.faults), proof.faults

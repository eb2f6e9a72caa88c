"""Set-ups by direction alone, so that a test of what reaches a feature does not rest on how work is held.

Every hole says which way its spindle faces; a machined plane is cut from above,
or along its side by a cutter that stands upright beside it. The fewest
directions that make everything are chosen, each feature goes into exactly one,
and its rows are put in order by kind. Lengths mm.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TypeAlias

from geom.datum.zero import Zero, zero_facing
from geom.directions import fewest, same_way
from geom.model.part import Part
from geom.passes.setup_rows import centres, placed_in
from geom.rows.records import ACTIONS, Row, Setup, Words
from geom.settings.records import Settings
from geom.space import Vec3
from geom.tasks.features import Task, tasks_of
from geom.tasks.hole_order import ordered, turn_from_x
from geom.tasks.practice import Practice, practice


def setups_by_direction(part: Part, zero: Zero, settings: Settings) -> tuple[Setup, ...]:
    """Return the set-ups that make the part, one a direction, numbered from 1.

    The zero's own way up comes first, then the opposite way, then the sides
    counter-clockwise from +X. Every machined face and every hole is in exactly
    one set-up's `features`, or in exactly one `left_out`.

    Args:
        part: with its features named.
        zero: the job's; each set-up sees the same point.
        settings: of the job; names as the part has them.
    """
    found = tasks_of(part, zero, settings)
    chosen = fewest([frozenset(task.options) for task in found.tasks])
    home = {way: [(task, task.options[way]) for task in found.tasks if _home(task, chosen) == way] for way in chosen}
    groups = {way: tasks for way, tasks in home.items() if tasks}
    if not groups and found.left_out:
        return (Setup(1, zero.frame.z, zero.frame, zero, (), left_out=found.left_out),)
    use = practice(settings)
    setups = [setup_of(n, found.ways[way], zero, groups[way], part, use) for n, way in enumerate(sorted(groups), 1)]
    return tuple(replace(one, left_out=found.left_out) if one.number == 1 else one for one in setups)


def _home(task: Task, chosen: Sequence[int]) -> int:
    """Return the direction a feature is made from: its best where that is chosen, else the first that makes it."""
    able = [way for way in sorted(chosen) if way in task.options]
    return next((way for way in able if way in task.best), able[0])


def setup_of(number: int, up: Vec3, zero: Zero, tasks: Sequence[tuple[Task, tuple[Row, ...]]], part: Part, use: Practice) -> Setup:
    """Return one set-up: its tasks' rows put in working order and numbered.

    Faces from the highest down; edges counter-clockwise from the one that faces
    +X; then holes action by action, small cutters before large, each in the
    order of its pattern.

    Args:
        tasks: each with its rows for this direction, numbered 0.
    """
    frame = zero_facing(zero, up).frame
    holes = [task.hole for task, _ in tasks if task.hole is not None]
    order, patterns = ordered(holes, frame, centres(part, frame))
    rank = {hole.name: i for i, hole in enumerate(order)}
    rows = [placed_in(row, patterns) for _, made in tasks for row in made]
    rows.sort(key=lambda row: _rank(row, rank))
    numbered = tuple(replace(row, number=i) for i, row in enumerate(rows, 1))
    return Setup(
        number=number,
        up=up,
        frame=frame,
        zero=zero,
        rows=numbered,
        features=tuple(dict.fromkeys(row.feature for row in numbered)),
        patterns=patterns,
        notes=(*_seen_again(up, zero), *assumed_words({row.action for row in numbered}, use)),
    )


def _seen_again(up: Vec3, zero: Zero) -> tuple[Words, ...]:
    """Return what to say where the work has been turned since the zero was named."""
    if same_way(up, zero.frame.z):
        return ()
    return (("the zero is the same point of the part as when it was named, seen from this side: pick it up again",),)


_Rank: TypeAlias = tuple[tuple[float, ...], str, float, str]


def _rank(row: Row, holes: Mapping[str, int]) -> _Rank:
    """Return what the row is sorted by: action, then what its kind of action asks for, then its name."""
    action, height = float(ACTIONS.index(row.action)), round(row.z or 0.0, 6)
    if row.action == "face":
        return ((action, -height), "", 0.0, row.feature)
    if row.action == "edge":
        return ((action, *_facing(row)), "", 0.0, row.feature)
    tool = row.tool
    return ((action, tool.diameter, tool.point_angle or 180.0), tool.label, holes.get(row.feature, len(holes)), row.feature)


def _facing(row: Row) -> tuple[float, float, float]:
    """Return which way an edge faces, radians from +X; how far in it lies that way; and how far along it starts."""
    x, y = row.x or 0.0, row.y or 0.0
    dx, dy = (x if row.x_to is None else row.x_to) - x, (y if row.y_to is None else row.y_to) - y
    size = math.hypot(dx, dy)
    along = (dx / size, dy / size)
    out = (along[1], -along[0])
    turn = turn_from_x(out, (0.0, 0.0))
    return round(turn, 6), round(-x * out[0] - y * out[1], 6), round(x * along[0] + y * along[1], 6)


def assumed_words(actions: set[str], use: Practice) -> tuple[Words, ...]:
    """Return what a set-up with these actions took for granted, as sentences for the sheet."""
    told: dict[str, tuple[Words, ...]] = {
        "edge": (
            ("edges: cutter-centre coordinates for an end mill of ", use.cutter, "; with another cutter they are wrong"),
            ("edges: a move starts and ends with the cutter clear of the work by ", use.run_out, " unless its row says otherwise"),
        ),
        "drill": (
            ("drills: Z is the tip, touched off at the tip; Z full is where the full diameter ends",),
            ("through holes: the full diameter passes the far side by ", use.break_through, "; leave room below"),
        ),
        "spot": (("spots: a 90 degree spotting drill of ", use.spot.diameter),),
        "tap": (("taps: low speed and a clutch, or start by hand; stop the spindle before clearing chips",),),
    }
    return tuple(words for action, said in told.items() if action in actions for words in said)

"""All rows of one planned set-up: find zero, look, cut, measure; with how the work is held and what was assumed.

Puts together what other modules work out: passes, edges, holes, their order,
pick-up, checks and measurements. Passes start from the casting as received when
it was measured, else from the drawn one, and the notes say which. Lengths mm,
set-up frame. Knows nothing of how set-ups are planned.
"""

import math
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import TYPE_CHECKING, Final

from geom.aside import Aside, is_allowed
from geom.datum.zero import Zero
from geom.looks.check_rows import STOP_SAID, check_rows
from geom.looks.contact import Standing
from geom.looks.holder import table_height
from geom.looks.measure_rows import measure_rows, measured_bores
from geom.looks.pick_up_rows import pick_up_rows
from geom.looks.row_faults import faults_of, steel_faults
from geom.looks.skew import skewed
from geom.looks.strap_bars import with_bars
from geom.model.part import Part, PartFace, PartHole
from geom.passes.edge_passes import edge_passes
from geom.passes.hole_cycle import hole_cycle
from geom.passes.pass_rows import face_passes
from geom.passes.round_passes import round_passes
from geom.passes.row_order import ordered_rows
from geom.passes.scene import Made, Scene, Take, lowest_clear, scene_of
from geom.passes.slot_passes import slot_passes
from geom.rows.plan import PickUp, Plan, PlannedSetup
from geom.rows.records import LeftOut, Pattern, Row, Setup, Tool, Words
from geom.settings.records import Settings
from geom.setups.grip_check import gripped, most_pushes
from geom.setups.hold_words import hold_words
from geom.setups.raised import raised, short_of_table
from geom.shop.records import Shop
from geom.space import Frame, cross, dot, norm
from geom.stock.report import StockReport
from geom.tasks.face_rows import faces_up, is_open_above
from geom.tasks.features import Look, opens_on_machined, room_below
from geom.tasks.hole_order import Flat, ordered
from geom.tasks.mouth_rows import mouth_of
from geom.tasks.slots import slots_of
from geom.tolerance import SAME_DIRECTION

if TYPE_CHECKING:
    from geom.place.castings import Placed

BREAK: Final = {"mm": 0.5, "inch": 0.508}
"""mm that a sharp edge is broken by where the drawing does not say (common practice)."""

LIGHT: Final = 0.5
"""mm: deepest pass in a printed nest (common practice, no source)."""

_APPROACH: Final = (
    "come to every place from the left and from the front, and go past and back where the last move was the other way: "
    "backlash is then always taken up the same way",
)


@dataclass(frozen=True, slots=True, eq=False)
class _Cuts:
    """What a set-up cuts.

    Attributes:
        made: rows and words by feature; rows: all of them in cutting order, not numbered.
    """

    planned: PlannedSetup
    made: Mapping[str, Made]
    rows: tuple[Row, ...]
    patterns: tuple[Pattern, ...]


def rows_for(
    planned: PlannedSetup, count: int, part: Part, settings: Settings, stock: StockReport, placed: "Placed | None" = None
) -> Setup:
    """Return a planned set-up with all its rows, numbered from 1.

    Args:
        count: how many set-ups the job has; the last row of the last one breaks the edges.
        placed: the casting as received; None for the drawn one.
    """
    return _whole(RowMaker(part, settings, stock, placed).cuts(planned), count, part, settings, placed)


def _whole(cuts: _Cuts, count: int, part: Part, settings: Settings, placed: "Placed | None") -> Setup:
    """Return a set-up: what it cuts, with the rows that find zero, look before and measure after."""
    planned, pin = cuts.planned, settings.setups.of(cuts.planned.number)
    drawn = Standing(part, planned.frame)
    standing = Standing(part, planned.frame, placed) if placed else drawn
    picked = pick_up_rows(planned, standing, settings)
    found = (*picked, *check_rows(planned, standing, settings, picked, cuts.rows))
    measured = measure_rows(planned, part, settings)
    last = (_break_edges(settings),) if planned.number == count else ()
    rows = tuple(replace(row, number=number) for number, row in enumerate((*found, *cuts.rows, *measured, *last), 1))
    setup = replace(
        _bare(cuts),
        rows=rows,
        left_out=tuple(dict.fromkeys(left for one in cuts.made.values() for left in one.left_out)),
        notes=(*_as_received(planned, placed), *_notes(planned, settings, cuts.made, rows)),
        holding=hold_words(planned.hold),
        lacks=_lacks(cuts.made),
    )
    barred = with_bars(setup, planned.hold, drawn)
    return skewed(barred, pin.skew) if pin and pin.skew else barred


def _bare(cuts: _Cuts) -> Setup:
    """Return a set-up that only cuts."""
    planned = cuts.planned
    return Setup(
        number=planned.number,
        up=planned.up,
        frame=planned.frame,
        zero=planned.zero,
        rows=tuple(replace(row, number=0) for row in cuts.rows),
        features=tuple(dict.fromkeys(row.feature for row in cuts.rows)),
        patterns=cuts.patterns,
        boxes=planned.hold.boxes,
    )


def _in_nest(planned: PlannedSetup, rows: Sequence[Row]) -> tuple[Row, ...]:
    """Return cutting rows, told light where the work lies in a printed nest."""
    if planned.hold.method != "nest":
        return tuple(rows)
    return tuple(replace(row, note="; ".join(filter(None, (row.note, "light cut: printed nest")))) for row in rows)


def _with_cutter(shop: Shop, name: str) -> Shop:
    """Return the shop with one cutter only to mill faces and edges with: the pinned one."""
    mills = ("face mill", "end mill")
    return replace(shop, cutters=tuple(c for c in shop.cutters if c.kind not in mills or c.name == name))


@dataclass(frozen=True, slots=True, eq=False)
class RowMaker:
    """Makes the rows of set-ups and looks them over, each once.

    Attributes:
        placed: the casting as received; None for the drawn one.
    """

    part: Part
    settings: Settings
    stock: StockReport
    placed: "Placed | None" = None
    made: dict[tuple[PlannedSetup, int], tuple[Setup, tuple[Words, ...]]] = field(default_factory=dict, repr=False)
    cut: dict[PlannedSetup, _Cuts] = field(default_factory=dict, repr=False)
    kept: dict[Hashable, object] = field(default_factory=dict, repr=False)

    def rows(self, planned: PlannedSetup, count: int) -> tuple[Setup, tuple[Words, ...]]:
        """Return one of `count` set-ups with what is wrong with its rows in front of its notes, and those faults."""
        if (planned, count) not in self.made:
            setup = _whole(self.cuts(planned), count, self.part, self.settings, self.placed)
            self.made[planned, count] = with_faults(setup, self.part, self.settings)
        return self.made[planned, count]

    def cuts(self, planned: PlannedSetup) -> _Cuts:
        """Return what a set-up cuts, packed as high on the table as its rows want it."""
        if planned not in self.cut:
            found, mill = self._cuts_held(planned), self.settings.tooling.mill
            noses = [row.z + row.tool.reach for row in found.rows if row.z is not None and row.tool.reach > 0.0]
            short = short_of_table(noses, table_height(planned.hold.boxes), mill.spindle_to_table[0])
            hold = raised(planned.hold, short, self.settings.tooling.vise)
            self.cut[planned] = found if hold is planned.hold else self._cuts_held(replace(planned, hold=hold))
        return self.cut[planned]

    def _cuts_held(self, planned: PlannedSetup) -> _Cuts:
        """Return what a set-up cuts, held as it is planned."""
        part, settings, placed = self.part, self.settings, self.placed
        pin = settings.setups.of(planned.number)
        takes, leaves = takes_of(self.stock, placed), _leaves(planned, part, settings)
        light = LIGHT if planned.hold.method == "nest" else math.inf
        pushes, length = most_pushes(planned, part, settings), gripped(planned, part, settings.tooling.vise.jaw_width)
        scene = scene_of(
            part, planned.frame, settings, takes, leaves, planned.hold.boxes, planned.features, pushes, length, light,
            min((z for _, _, z in planned.hold.rests), default=None), self.kept,
        )  # fmt: skip
        holes = [hole for hole in part.holes if hole.name in planned.features]
        order, patterns = ordered(holes, planned.frame, centres(part, planned.frame))
        rank = {hole.name: i for i, hole in enumerate(order)}
        milling = replace(scene, shop=_with_cutter(scene.shop, pin.cutter)) if pin and pin.cutter else scene
        made = {name: _made(name, scene, milling, planned) for name in sorted(planned.features, key=lambda n: (rank.get(n, -1), n))}
        rows = ordered_rows([[placed_in(row, patterns) for row in one.rows] for one in made.values()])
        return _Cuts(planned, made, measured_bores(_in_nest(planned, rows)), patterns)

    def ahead(self, several: Sequence[PlannedSetup], count: int) -> None:
        """Make the rows of several of `count` set-ups at the same time, where work can be done aside."""
        new = [planned for planned in several if (planned, count) not in self.made]
        if len(new) > 1 and is_allowed():
            others = [Aside(partial(self.rows, planned, count)) for planned in new[1:]]
            made = [self.rows(new[0], count), *(other.result() for other in others)]
            self.made.update(zip(((planned, count) for planned in new), made, strict=True))

    @property
    def looks(self) -> "tuple[Callable[[PlannedSetup, int], Words], ...]":
        """How a set-up is looked over: what cuts first, as where a cutter does not get there no finder is sent anywhere."""
        return self.first_clash, self.first_fault

    def first_clash(self, planned: PlannedSetup, _count: int) -> Words:
        """Return the first place where a cutter of a set-up meets steel or leaves the travel; () where none does."""
        bare = _bare(self.cuts(planned))
        return next(iter(steel_faults(bare, Standing(self.part, bare.frame), self.settings)), ())

    def first_fault(self, planned: PlannedSetup, count: int) -> Words:
        """Return the first thing that is wrong with a set-up's rows; () when they can be followed."""
        return next(iter(self.rows(planned, count)[1]), ())


def as_made(plan: Plan, rows: RowMaker) -> Plan:
    """Return a plan that says what its own rows do: where they touch, which cutters mill or lack, where straps lie."""
    count = len(plan.setups)
    told = []
    for planned in plan.setups:
        made, faults = rows.rows(planned, count)
        known = replace(
            planned,
            hold=rows.cuts(planned).planned.hold,
            pick_ups=tuple(_as_touched(one, made.rows) for one in planned.pick_ups),
            milled=_mills(made.rows),
            holding=made.holding,
            lacks=made.lacks,
            faults=faults,
        )
        rows.made[known, count] = made, faults
        told.append(known)
    return replace(plan, setups=tuple(told))


def _mills(rows: Sequence[Row]) -> tuple[tuple[str, str], ...]:
    """Return the cutter that first mills each face."""
    first: dict[str, str] = {}
    for row in rows:
        if row.action in ("face", "edge"):
            first.setdefault(row.feature, f"{row.tool.label} {row.tool.kind}")
    return tuple(first.items())


def _as_touched(one: PickUp, rows: Sequence[Row]) -> PickUp:
    """Return a pick-up with the height of its rows, none where that is more than one or none, and the side they leave out."""
    mine = [row for row in rows if row.action == "pick up" and row.feature in one.faces and row.towards != "-z"]
    mine = [row for row in mine if not row.towards or row.towards[1] in one.axes]
    heights = {row.z for row in mine if row.z is not None}
    one = replace(one, height=heights.pop() if len(heights) == 1 else None)
    alone = mine[0] if len(mine) == 1 and mine[0].missed else None
    return replace(one, how="edge", faces=(alone.feature,), missed=alone.missed, spread=alone.spread) if alone else one


def setups_of(plan: Plan, zero: Zero, rows: RowMaker) -> tuple[tuple[Setup, tuple[Words, ...]], ...]:
    """Return every set-up of a plan with its rows and their faults; what no set-up makes is listed with the first."""
    left = tuple(dict.fromkeys((*plan.left_out, *plan.assembly)))
    count = len(plan.setups)
    if not count:
        return ((Setup(1, zero.frame.z, zero.frame, zero, (), left_out=left), ()),) if left else ()
    (first, faults), *others = (rows.rows(planned, count) for planned in plan.setups)
    round_left = tuple(("NOT AS DRAWN, the corners stay round: ", *one.says) for one in plan.round_left)
    whole = replace(first, left_out=(*left, *first.left_out), notes=(*round_left, *plan.notes, *first.notes))
    return ((whole, faults), *others)


def with_faults(setup: Setup, part: Part, settings: Settings) -> tuple[Setup, tuple[Words, ...]]:
    """Return a set-up with what is wrong with its rows in front of its notes, and those faults."""
    faults = faults_of(setup, part, settings)
    told = tuple(("FAULT OF THE PLAN, do not cut: ", *words) for words in faults)
    return replace(setup, notes=(*told, *setup.notes)), faults


# --- one feature ------------------------------------------------------------


def _made(name: str, scene: Scene, milling: Scene, planned: PlannedSetup) -> Made:
    hole = next((h for h in scene.part.holes if h.name == name), None)
    if hole is not None:
        return _hole(hole, scene, planned)
    face = next((f for f in scene.part.machined if f.name == name), None)
    if face is None:
        return Made((), (), (LeftOut(name, "the part has no such face or hole to machine"),))
    slot = next((slot for slot in slots_of(scene.part) if slot.name == name), None)
    if slot is not None:
        return slot_passes(slot, scene)
    leave = scene.leaves.get(name, 0.0)
    if face.kind == "cylinder":
        return round_passes(face, scene)
    if faces_up(face, planned.up):
        made = face_passes(face, milling, leave)
        return made if made.rows or is_open_above(face, scene.seen, scene.frame) else _unreached(name)
    return edge_passes(face, milling, leave)


def _unreached(name: str) -> Made:
    return Made((), (), (LeftOut(name, "the rest of the part stands in the spindle's way"),))


def _hole(hole: PartHole, scene: Scene, planned: PlannedSetup) -> Made:
    look = Look(planned.up, scene.frame, scene.seen)
    asked = scene.settings.holes.get(hole.name)
    return hole_cycle(
        hole,
        scene,
        asked.point_angle if asked else None,
        min(room_below(hole, scene.part, look), _steel_below(hole, scene)),
        opens_on_machined(hole, scene.part, look),
    )


def _steel_below(hole: PartHole, scene: Scene) -> float:
    """Return how far below the far side of a through hole the first steel stands, mm."""
    far = dot(hole.axis, scene.frame.z) < 0
    x, y, z = scene.frame.local(mouth_of(hole, far))
    radius = 0.5 * hole.diameter
    return lowest_clear(scene.boxes, (x - radius, y - radius), (x + radius, y + radius), z - hole.length)


# --- stock ------------------------------------------------------------------


def takes_of(stock: StockReport, placed: "Placed | None") -> dict[str, Take]:
    """Return what each machined face loses: as measured on this casting where it was, else as drawn."""
    drawn = {face.name: Take(face.least_inside, face.stock.max) for face in stock.faces}
    if placed is None or not placed.measured:
        return drawn
    return drawn | {f.name: Take(f.take_min, f.take_max, True) for f in placed.placement.faces if f.state != "from solid"}


def _leaves(planned: PlannedSetup, part: Part, settings: Settings) -> dict[str, float]:
    """Return what faces keep in this set-up: what the plan says, else the job, else the habit along edges."""
    kept = {name: face.leave for name, face in settings.faces.items() if face.leave is not None}
    edges = {f.name: settings.shop.leave for f in part.machined if settings.shop.leave and _is_edge(f, planned)}
    return edges | kept | dict(planned.leaves)


def _is_edge(face: PartFace, planned: PlannedSetup) -> bool:
    return face.normal is not None and abs(dot(face.normal, planned.up)) < SAME_DIRECTION


def _as_received(planned: PlannedSetup, placed: "Placed | None") -> tuple[Words, ...]:
    """Return how this casting is set: shims only under a rough seat, a turn only where no machined face settles it.

    Where zero is found needs no words: the rows that pick it up count the placement in.
    """
    if placed is None or not placed.measured:
        return ()
    words, machined = placed.instructions(replace(planned.zero, frame=planned.frame)), planned.hold.machined
    which = f"casting {placed.name}" if placed.name else "this casting"
    told = (
        f"{which} as received: the zero moves with the finished part, and the rows that pick it up count that in; "
        "rows to size stay, passes follow the stock found",
    )
    level = () if "seat" in machined else words.level
    return (told, *level, *(() if "fixed jaw" in machined else words.turn))


# --- patterns ---------------------------------------------------------------


def centres(part: Part, frame: Frame) -> list[Flat]:
    """Return where a bolt circle may be centred: the zero, then the axes of holes and rounds along Z, widest first."""
    round_faces = sorted((f for f in part.faces if f.kind == "cylinder"), key=lambda f: -f.radius)
    upright = [f.origin for f in round_faces if norm(cross(f.axis, frame.z)) < SAME_DIRECTION]
    bores = [h for h in sorted(part.holes, key=lambda h: -h.diameter) if norm(cross(h.axis, frame.z)) < SAME_DIRECTION]
    return [(0.0, 0.0), *(frame.local(point)[:2] for point in (*upright, *(h.centre for h in bores)))]


def placed_in(row: Row, patterns: Sequence[Pattern]) -> Row:
    """Return the row with its hole's place in its pattern told."""
    for pattern in patterns:
        if row.feature in pattern.holes:
            told = f"{pattern.name}: {pattern.holes.index(row.feature) + 1} of {len(pattern.holes)}"
            return replace(row, note="; ".join(filter(None, (told, row.note))))
    return row


# --- the rest ---------------------------------------------------------------


def _break_edges(settings: Settings) -> Row:
    asked = settings.drawing.edges
    note = "x 45 degrees on every sharp edge" + ("" if asked else "; the drawing gives no size")
    size = asked or BREAK[settings.units]
    return Row(0, "all edges", "break edges", Tool("file", "", 0.0), None, None, None, nominal=size, note=note)


def _notes(planned: PlannedSetup, settings: Settings, made: Mapping[str, Made], rows: Sequence[Row]) -> tuple[Words, ...]:
    actions = {row.action for row in rows}
    said: list[Words] = [*planned.cautions, *planned.why]
    said += (
        [("assumed, as the job does not describe the shop: ", ", ".join(settings.tooling.assumed))]
        if settings.tooling.assumed
        else []
    )
    said += [_APPROACH]
    said += [(STOP_SAID,)] if "check" in actions else []
    if actions & {"face", "edge", "slot"}:
        said.append(
            ("face and edge rows: go down clear of the metal, feed along, come up; the cutter turns clockwise seen from above",)
        )
    if "drill" in actions:
        said.append(("drills: Z is the tip, touched off at the tip; Z full is where the full diameter ends",))
    if "bore" in actions:
        said.append(("boring head: its diameter is what it is set to for that row; feed it down by the quill or the knee",))
    if "tap" in actions:
        said.append(("taps: low speed and a clutch, or turn it by hand; stop the spindle before clearing chips",))
    said += [words for one in made.values() for words in one.notes]
    said += _lacks(made)
    return tuple(dict.fromkeys(said))


def _lacks(made: Mapping[str, Made]) -> tuple[Words, ...]:
    """Return what the shop lacks, once, with every feature that wants it in front."""
    wanted: dict[Words, list[str]] = {}
    for name, one in made.items():
        for words in one.lacks:
            wanted.setdefault(words, []).append(name)
    return tuple((f"{', '.join(names)}: ", *words) for words, names in wanted.items())

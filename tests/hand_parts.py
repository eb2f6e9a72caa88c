"""Parts written down by hand for tests of rows and tables: a catalogue pair, its faces by state, its holes as given.

So that a test of rows does not rest on hole recognition being right.
"""

from collections.abc import Callable, Sequence
from pathlib import Path

from geom.datum.zero import Zero
from geom.kernel.shape import Solid, Surface
from geom.model.part import FoundCounterbore, FoundCountersink, HoleKind, HoleStep, Part, PartFace, PartHole
from geom.settings.records import FaceSettings, HoleSettings, PartSettings, Readout, Settings, ShopSettings
from geom.space import Frame, Vec3, along, foot, norm, sub
from geom.standards.callout import parse_callout

Pair = tuple[Solid, Solid]
UP: Vec3 = (0.0, 0.0, 1.0)


def nowhere(_surface: Surface) -> bool:
    """Say that no face stays as cast."""
    return False


def hand_part(pair: Pair, holes: Sequence[PartHole] = (), as_cast: Callable[[Surface], bool] = nowhere) -> Part:
    """Return the part: surfaces on a hole's axis and within its reach are the hole's, the rest machined unless `as_cast` says so.

    Faces are named "face 0", "face 1" ... in the solid's own order.
    """
    finished, casting = pair
    return Part("part", "grey iron", finished, casting, tuple(_face(s, holes, as_cast) for s in finished.surfaces), tuple(holes))


def _face(s: Surface, holes: Sequence[PartHole], as_cast: Callable[[Surface], bool]) -> PartFace:
    owner = next((hole.name for hole in holes if _belongs(s, hole)), None)
    return PartFace(
        name=f"face {s.index}",
        kind=s.kind,
        state="hole" if owner else "as cast" if as_cast(s) else "machined",
        surfaces=(s.index,),
        normal=s.axis if s.kind == "plane" else None,
        origin=s.origin,
        axis=s.axis,
        radius=s.radius,
        half_angle=s.half_angle,
        hollow=s.hollow,
        centroid=s.centroid,
        area=s.area,
        hole=owner,
    )


def _belongs(s: Surface, hole: PartHole) -> bool:
    """Tell whether a surface is a hole's wall (hollow, about its axis) or its floor (plane, within its width)."""
    off = norm(sub(s.centroid, foot(s.centroid, hole.centre, hole.axis)))
    deep = -along(s.centroid, hole.centre, hole.axis)
    wide = max([hole.diameter, *(step.start_diameter for step in hole.steps)])
    is_wall = s.hollow or (s.kind == "plane" and not hole.through and s.area < wide * wide)
    return is_wall and off < 0.01 and 0.01 < deep < hole.length + wide


def hand_hole(
    name: str,
    diameter: float,
    centre: Vec3,
    *,
    axis: Vec3 = UP,
    through: float | None = None,
    depth: float | None = None,
    angle: float | None = None,
    tip: float | None = None,
    bore: tuple[float, float] | None = None,
    sink: tuple[float, float] | None = None,
    steps: Sequence[tuple[float, float, float, float]] = (),
    callout: str | None = None,
    units: str = "mm",
    **other: object,
) -> PartHole:
    """Return a hole.

    Args:
        through: its length; or `depth`: that of its full diameter.
        bore, sink: (diameter, depth) of a counterbore, (diameter, angle) of a countersink.
        steps: (start, end, start diameter, end diameter) of each length.
    """
    kind: HoleKind = (
        "counterbored" if bore else "countersunk" if sink else "stepped" if steps else "blind" if through is None else "through"
    )
    length = through if through is not None else depth
    assert length is not None
    facts: dict[str, object] = {"source": "solid", "surfaces": (), **other}
    return PartHole(
        name=name,
        kind=kind,
        diameter=diameter,
        centre=centre,
        axis=axis,
        through=through is not None,
        depth=depth,
        length=length,
        tip_depth=tip,
        point_angle=angle,
        counterbore=FoundCounterbore(*bore) if bore else None,
        countersink=FoundCountersink(*sink) if sink else None,
        steps=tuple(HoleStep(*step) for step in steps),
        callout=parse_callout(callout, units, "test") if callout else None,
        **facts,  # type: ignore[arg-type]
    )


def hand_settings(
    units: str = "mm",
    *,
    shop: ShopSettings | None = None,
    faces: dict[str, FaceSettings] | None = None,
    holes: dict[str, HoleSettings] | None = None,
) -> Settings:
    """Return a job's settings with everything else at its default."""
    readout = Readout("inch", 0.0127) if units == "inch" else Readout()
    return Settings(
        folder=Path(),
        files=(),
        label="job.toml",
        job_name="job",
        variant=None,
        units="inch" if units == "inch" else "mm",
        part=PartSettings("part", "inch" if units == "inch" else "mm", "grey iron"),
        readout=readout,
        shop=shop or ShopSettings(),
        faces=faces or {},
        holes=holes or {},
    )


def hand_zero(origin: Vec3 = (0.0, 0.0, 0.0), x: Vec3 = (1.0, 0.0, 0.0), y: Vec3 = (0.0, 1.0, 0.0), z: Vec3 = UP) -> Zero:
    """Return a zero named by the job, at a point of the part frame."""
    return Zero(Frame(origin, x, y, z), "zero", "job", "as the test says")

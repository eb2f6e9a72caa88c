"""Building a casting in a model file, and machining the finished part out of it.

Helpers for CadQuery models: bodies drafted both ways from the parting plane,
radii, allowance on named faces, cored and filled holes. Split, draft, then
round, in that order: draft is laid on plain bodies only. The finished part is
the casting less the cuts of its features, so as-cast faces are the casting's
own, exactly.

A body is a CadQuery Workplane, Shape or a `Solid`; every helper returns a
Workplane with one solid. Lengths mm, angles degrees, part frame. Knows nothing
of standards, stock or files, and adds no draft to a shape it is given.
"""

import math
from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING, Any, TypeAlias

from geom.errors import GeometryError
from geom.model.feature import Bore, Face, Feature, Hole
from geom.model.feature_shape import cutting_body, face_name
from geom.space import Vec3, add, scale, unit

if TYPE_CHECKING:
    from geom.kernel.edges import Edge

Body: TypeAlias = Any
"""A CadQuery Workplane or Shape, or a `Solid` (CadQuery carries no types)."""

MOST_DRAFT = 15.0
"""Degrees; more than this is a slope that belongs in the model, not draft."""

_AREA_SLACK = 1e-6
"""Share of a drafted end's area that may be out before the body counts as collapsed."""


# --- drafted bodies ---------------------------------------------------------


def drafted(outline: Body, up: float, down: float = 0.0, draft: float = 2.0) -> Body:
    """Return the body that leans in from its outline at the parting plane, upwards, downwards or both.

    Args:
        outline: one flat face or closed wire without holes, in the parting plane: a sketched Workplane
            (`cq.Workplane("XY").rect(60, 40)`), a Sketch, Face or Wire.
        up: height along the outline's normal, mm.
        down: depth the other way, mm; one of the two may be 0.
        draft: lean of the sides from the normal, degrees.

    Raises:
        GeometryError: the draft leaves nothing at an end, or the kernel drew an end of the wrong area.
    """
    _check_draft(draft)
    if up < 0 or down < 0 or not 0 < up + down < math.inf:
        raise GeometryError(f"a drafted body of {up:g} mm up and {down:g} mm down has no height; give one of them above 0 mm")
    wire = _outer_wire(outline)
    normal = _face_normal(wire)
    halves = [_half(wire, scale(normal, way), height, draft) for way, height in ((1.0, up), (-1.0, down)) if height > 0]
    return fused(*halves)


def drafted_round(centre: Vec3, axis: Vec3, diameter: float, up: float, down: float = 0.0, draft: float = 2.0) -> Body:
    """Return the round body of this diameter at the parting plane through `centre` (see `drafted`)."""
    from geom.kernel import cut as kernel

    _check_draft(draft)
    top, bottom = (diameter / 2 - height * math.tan(math.radians(draft)) for height in (up, down))
    if min(top, bottom) <= 0:
        raise GeometryError(
            f"{draft:g} degrees of draft closes a round body of {diameter:g} mm before it is {max(up, down):g} mm high"
        )
    middle = [(diameter / 2, 0.0)] if up > 0 and down > 0 else []
    profile = [(0.0, up), (0.0, -down), (bottom, -down), *middle, (top, up)]
    return _work(kernel.turned(profile, centre, unit(axis)))


def _half(wire: Any, along: Vec3, height: float, draft: float) -> Body:
    """Return one drafted side of a body, its far end's area checked: the kernel collapses quietly when over-tapered."""
    import cadquery as cq

    body = cq.Workplane(cq.Solid.extrudeLinear(wire, [], cq.Vector(*scale(along, height)), draft))
    straight = all(edge.geomType() == "LINE" for edge in wire.Edges())
    sharp = straight and any(face.geomType() != "PLANE" for face in body.faces().vals())
    due = _shrunk_area(wire, height * math.tan(math.radians(draft)), sharp)
    if due is None:
        raise GeometryError(f"{draft:g} degrees of draft leaves nothing of the outline at {height:g} mm; use less draft or height")
    if sharp:
        body = _sharp_half(wire, along, height, draft)
    end = max(body.faces().vals(), key=lambda face: face.Center().dot(cq.Vector(*along)))
    if not body.val().isValid() or abs(end.Area() - due) > _AREA_SLACK * due:
        raise GeometryError(
            f"{draft:g} degrees of draft pinches the outline off before {height:g} mm; widen it, or use less draft or height"
        )
    return body


def _sharp_half(wire: Any, along: Vec3, height: float, draft: float) -> Body:
    """Return one drafted side of a body whose flat sides meet sharp in its hollow corners: tapering would round them."""
    import cadquery as cq

    from geom.kernel import body as kernel

    base = wire.Center().toTuple()
    prism = kernel.swept(cq.Face.makeFromWires(wire).wrapped, scale(along, height))
    leaned = kernel.leaned(prism, base, along, draft)
    if leaned is None:
        raise GeometryError(f"{draft:g} degrees of draft cannot lean every side of the outline over {height:g} mm; use less")
    return _work(leaned)


def _shrunk_area(wire: Any, inset: float, sharp: bool) -> float | None:
    """Return the area inside a wire moved inwards, or None when nothing, or more than one piece, is left.

    Args:
        sharp: hollow corners stay sharp, instead of rounded about where they were.
    """
    import cadquery as cq

    if inset == 0:
        return float(cq.Face.makeFromWires(wire).Area())
    try:
        left = wire.offset2D(-inset, "intersection" if sharp else "arc")
    except (ValueError, RuntimeError):
        return None
    return float(cq.Face.makeFromWires(left[0]).Area()) if len(left) == 1 else None


def _outer_wire(outline: Body) -> Any:
    import cadquery as cq

    shape = outline
    if isinstance(outline, cq.Sketch):
        shape = outline._faces.Faces()[0] if len(outline._faces.Faces()) == 1 else None
    elif isinstance(outline, cq.Workplane):
        wires = outline.ctx.popPendingWires() if outline.ctx.pendingWires else outline.vals()
        shape = wires[0] if len(wires) == 1 else None
    if isinstance(shape, cq.Face) and not shape.innerWires():
        return shape.outerWire()
    if isinstance(shape, cq.Wire) and shape.IsClosed():
        return shape
    raise GeometryError("a drafted body needs one closed outline without holes; cut holes afterwards")


def _face_normal(wire: Any) -> Vec3:
    import cadquery as cq

    normal = cq.Face.makeFromWires(wire).normalAt()
    return unit((normal.x, normal.y, normal.z))


def _check_draft(draft: float) -> None:
    if not 0 <= draft <= MOST_DRAFT:
        raise GeometryError(f"a draft of {draft:g} degrees; it must be from 0 to {MOST_DRAFT:g} degrees (1 to 3 is usual)")


# --- joining, cutting, rounding ---------------------------------------------


def fused(*bodies: Body) -> Body:
    """Return the bodies as one.

    Raises:
        GeometryError: they do not touch, or the volumes do not add up.
    """
    from geom.kernel import cut as kernel

    return _work(_single(kernel.fuse(*(_shape(b) for b in bodies)), "the bodies", "they do not all touch"))


def less(body: Body, *tools: Body) -> Body:
    """Return the body without the tools.

    Raises:
        GeometryError: the body falls apart or vanishes, or the volumes do not add up.
    """
    from geom.kernel import cut as kernel

    return _work(_single(kernel.cut(_shape(body), *(_shape(t) for t in tools)), "the cut body", "the cut takes it apart"))


def below(body: Body, origin: Vec3, normal: Vec3) -> Body:
    """Return what of a body lies under a plane (on the side its normal does not point to)."""
    from geom.kernel import cut as kernel

    return less(body, kernel.half_space(origin, normal, 2 * _reach(_shape(body))))


def rounded(body: Body, radius: float, wanted: "Callable[[Edge], bool]", what: str) -> Body:
    """Return the body with a radius on the wanted edges.

    Args:
        wanted: says of each edge whether it gets the radius; `is_root` and `is_outer` are ready-made.
        what: name of these edges, for the message.

    Raises:
        GeometryError: no edge is wanted, or the radius does not fit.
    """
    from geom.kernel.edges import edges_of
    from geom.kernel.edges import rounded as kernel_rounded

    shape = _shape(body)
    return _work(kernel_rounded(shape, [edge for edge in edges_of(shape) if wanted(edge)], radius, what))


def is_root(edge: "Edge") -> bool:
    """Return whether faces meet hollow here: where a casting cracks without a fillet."""
    return edge.turn == "root"


def is_outer(edge: "Edge") -> bool:
    """Return whether faces meet in a ridge here."""
    return edge.turn == "outer"


# --- allowance, cores, filled holes -----------------------------------------


def with_allowance(body: Body, faces: Sequence[tuple[Face, float]]) -> Body:
    """Return the body with metal added on named flat faces: one prism a face, fused.

    Args:
        body: of finished size where the faces are.
        faces: each machined face and the metal to add along its normal, mm.

    Raises:
        GeometryError: an amount is not above 0 mm, or the body has no such face.
    """
    for face, thickness in faces:
        body = fused(body, *_pads(body, face, thickness))
    return _work(_shape(body))


def _pads(body: Body, face: Face, thickness: float) -> list[Body]:
    from geom.kernel import cut as kernel

    if not thickness > 0 or not math.isfinite(thickness):
        raise GeometryError(f"feature {face.name!r}: an allowance of {thickness:g} mm; it must be above 0 mm")
    found = _own_faces(body, [face])
    if not found:
        raise GeometryError(
            f"feature {face.name!r}: the body has no flat face there; move the feature onto the face that gets the allowance"
        )
    return [_work(kernel.swept(shape, scale(face.axis, thickness))) for shape in found]


def cored(body: Body, bore: Bore) -> Body:
    """Return the body with a bore's core hole right through it along the bore's axis.

    Raises:
        GeometryError: the bore names no core diameter, or the core meets no metal.
    """
    from geom.kernel import cut as kernel

    if bore.core is None:
        raise GeometryError(f"feature {bore.name!r}: has no core diameter; give one or leave the hole solid")
    shape = _shape(body)
    reach = _reach(shape)
    core = kernel.cylinder(add(bore.centre, scale(bore.axis, -reach)), bore.axis, bore.core / 2, 2 * reach)
    return _work(_cut_by(shape, core, bore.name))


def filled(body: Body, holes: Sequence[Hole | Bore]) -> Body:
    """Return the body with whole holes closed, as a casting has them when they are drilled from solid.

    Raises:
        GeometryError: a hole is not in the body, or cannot be closed.
    """
    from geom.kernel import cut as kernel

    for hole in holes:
        found = _own_faces(body, [hole])
        if not found:
            raise GeometryError(f"feature {hole.name!r}: the body has no such hole to fill; check its place and diameter")
        body = _work(_single(kernel.defeature(_shape(body), found, f"feature {hole.name!r}"), hole.name, "filling takes it apart"))
    return body


def _own_faces(body: Body, features: Sequence[Feature]) -> list[Any]:
    """Return the kernel faces of a body that are its features' own."""
    from geom.kernel.shape import faces_of
    from geom.kernel.surface import describe

    faces = faces_of(_shape(body))
    return [face for i, face in enumerate(faces) if any(face_name(f, describe(face, i)) for f in features)]


# --- machining --------------------------------------------------------------


def machine(rough: Body, features: Iterable[Feature]) -> Body:
    """Return the finished part: the casting less every feature's cut, in the order given.

    Raises:
        GeometryError: a feature removes no metal or takes the part apart; the message names it.
    """
    shape = _shape(rough)
    reach = _reach(shape)
    for feature in features:
        shape = _cut_by(shape, cutting_body(feature, reach), feature.name)
    return _work(shape)


def _cut_by(shape: Any, tool: Any, name: str) -> Any:
    """Return the shape less a tool, checked to have lost metal and to be one piece still."""
    from geom.kernel import cut as kernel

    try:
        left = kernel.cut(shape, tool)
    except GeometryError as error:
        raise GeometryError(f"feature {name!r}: {error}") from None
    if not -kernel.volume_change(shape, left) > kernel.LEAST_VOLUME:
        raise GeometryError(
            f"feature {name!r}: removes no metal; check its place, its depth and which way its axis points (out of the metal)"
        )
    return _single(left, f"feature {name!r}", "its cut takes the part apart")


def _single(shape: Any, what: str, trouble: str) -> Any:
    from geom.kernel import cut as kernel

    solids = kernel.solids_of(shape)
    if len(solids) != 1:
        raise GeometryError(f"{what}: {len(solids)} separate pieces come out, {trouble}; one piece is wanted")
    return solids[0]


def _reach(shape: Any) -> float:
    """Return a length greater than the body in any direction."""
    from geom.kernel.cut import diagonal

    return 1.1 * diagonal(shape)


def _shape(body: Body) -> Any:
    """Return the kernel shape of a Workplane, CadQuery Shape or `Solid`."""
    value = body.val() if hasattr(body, "val") else body
    for attribute in ("wrapped", "shape"):
        if hasattr(value, attribute):
            return getattr(value, attribute)
    return value


def _work(body: Any) -> Body:
    """Return a Workplane that holds one kernel shape."""
    import cadquery as cq

    return cq.Workplane(cq.Shape.cast(_shape(body)))

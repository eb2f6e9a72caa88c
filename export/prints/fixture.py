"""The prints of a job's fixtures: STL and 3MF of each, and what is known of them as text and JSON.

What is checked is what is written: the mesh in the 32-bit numbers of an STL. Lengths mm;
text in the sheet's unit. Knows nothing of how fixtures are found.
"""

import contextlib
import math
from collections.abc import Iterator, Mapping, Sequence
from textwrap import wrap
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import numpy.typing as npt

from export.number import Units, fixed, sentence
from export.prints.mesh import check_closed, check_independently, in_32_bits, ordered, stl_bytes
from export.prints.threemf import Named, threemf_bytes
from geom.errors import GeometryError
from geom.fixture.fixture import Fixture, Layout, Refused
from geom.fixture.locating import LOCATOR_ERROR
from geom.fixture.maker import Asked, Made
from geom.fixture.sweep import simplified
from geom.kernel.mesh import Mesh
from geom.rays.body import Body
from geom.rows.records import Words
from geom.space import Vec3

if TYPE_CHECKING:
    from geom.job import Job

_WIDTH: Final = 100

_MOST_TOLD: Final = 4
"""Features whose movement is told; the others move less."""

_TRIES: Final = (0.0, 0.003, 0.006, 0.01, 0.015)
"""mm by which facets may be moved so that the mesh stays closed in 32-bit numbers: slivers go first."""

SOUND: Final = "one body, closed all round, that runs nowhere into itself (two independent libraries)"

PLASTIC: Final = ("PLA", 1.24)
"""g/cm3; common practice, no source."""


def closed(found: Sequence[Made | Refused]) -> tuple[tuple[Made | Refused, ...], dict[str, Mesh]]:
    """Return the fixtures, those refused whose print does not close up, and the mesh of each of the others by its name."""
    kept: list[Made | Refused] = []
    meshes = {}
    for one in found:
        kept.append(one)
        if isinstance(one, Refused):
            continue
        try:
            meshes[one.fixture.name] = print_of(one.fixture)
        except GeometryError as problem:
            kept[-1] = Refused(one.fixture.name.replace("_", " "), ((str(problem),),))
    return tuple(kept), meshes


def fixture_prints(found: Sequence[Made | Refused], meshes: Mapping[str, Mesh], job: "Job", asked: Asked) -> dict[str, bytes]:
    """Return the print files of the fixtures by name."""
    files = {}
    for one in (made.fixture for made in found if isinstance(made, Made)):
        mesh = meshes[one.name]
        files[f"{one.name}.stl"] = stl_bytes(mesh, one.title, asked.making.chord)
        files[f"{one.name}.3mf"] = threemf_bytes([Named(one.title, mesh)], f"{one.title}: {job.part.name}")
    return files


def print_of(one: Fixture) -> Mesh:
    """Return the checked mesh of a fixture as it lies on the printer's bed: flat side on Z 0, middle on X 0, Y 0.

    Raises:
        GeometryError: it does not close up once its vertices are 32-bit numbers.
    """
    for most in _TRIES:
        laid = _laid(one.body if most == 0 else simplified(one.body, most), one.up)
        with contextlib.suppress(GeometryError):
            check_closed(laid, one.title, lambda _index: "the print")
            break
    check_closed(laid, one.title, lambda _index: "the print")
    check_independently(laid, one.title)
    return laid


def _laid(body: Body, up: Vec3) -> Mesh:
    mesh = body.mesh()
    turned = mesh.vertices @ _upright(up).T
    shift = _bed_middle(turned)
    return ordered(unfolded(in_32_bits(Mesh(turned - shift, mesh.triangles, mesh.face))))


def _bed_middle(turned: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    low, high = turned.min(axis=0), turned.max(axis=0)
    return np.array([0.5 * (low[0] + high[0]), 0.5 * (low[1] + high[1]), low[2]])


def laid_at(one: Fixture, point: Vec3) -> Vec3:
    """Return where a point of the set-up's frame lies in the print's file."""
    turn = _upright(one.up)
    x, y, z = (turn @ np.asarray(point) - _bed_middle(one.body.mesh().vertices @ turn.T)).tolist()
    return (x, y, z)


def unfolded(mesh: Mesh) -> Mesh:
    """Return a mesh without facets that lie back to back: rounding folds slivers flat."""
    named = np.sort(mesh.triangles, axis=1)
    _, number, count = np.unique(named, axis=0, return_inverse=True, return_counts=True)
    kept = count[number.ravel()] == 1
    return Mesh(mesh.vertices, mesh.triangles[kept], mesh.face[kept])


def _upright(up: Vec3) -> Any:
    """Return the turn (3, 3) that brings a direction to Z."""
    way = np.asarray(up, dtype=float)
    hint = np.eye(3)[int(np.abs(way).argmin())]
    across = np.cross(hint, way) / np.linalg.norm(np.cross(hint, way))
    if way[2] > 1.0 - 1e-9:
        return np.eye(3)
    return np.array([across, np.cross(way, across), way])


# --- JSON -------------------------------------------------------------------


def fixture_document(found: Sequence[Made | Refused], job: "Job", asked: Asked) -> dict[str, Any]:
    """Return what is known of the fixtures as one JSON document: mm, degrees; points in the set-up's frame."""
    making = asked.making
    return {
        "part": job.part.name,
        "clearance": making.clearance,
        "chord": making.chord,
        "nozzle": making.nozzle,
        "bed": list(making.bed),
        "fixtures": [_fixture(made) for made in found if isinstance(made, Made)],
        "refused": [{"name": one.name, "why": [sentence(w, "mm") for w in one.why]} for one in found if isinstance(one, Refused)],
    }


def _fixture(made: Made) -> dict[str, Any]:
    one = made.fixture
    low, high = one.body.box
    return {
        "name": one.name,
        "kind": one.kind,
        "title": one.title,
        "setup": one.setup or None,
        "file": f"{one.name}.stl",
        "frame": {"origin": list(one.frame.origin), "x": list(one.frame.x), "y": list(one.frame.y), "z": list(one.frame.z)},
        "box": [list(low), list(high)],
        "volume": round(one.body.volume, 3),
        "mass": round(one.body.volume * PLASTIC[1] / 1e6, 6),
        "thinnest_wall": round(made.wall.thickness, 4),
        "clearance": one.clearance,
        "sizes": [{"what": size.what, "value": round(size.value, 4)} for size in one.sizes],
        "locating": None if one.layout is None else _layout(one.layout),
        "why": [sentence(w, "mm") for w in one.why],
        "use": [sentence(w, "mm") for w in one.use],
        "cautions": [sentence(w, "mm") for w in one.cautions],
    }


def _layout(layout: Layout) -> dict[str, Any]:
    judged = layout.quality
    return {
        "locators": [{"name": one.name, "point": _rounded(one.point), "into": _rounded(one.into)} for one in layout.locators],
        "pushes": [{"point": _rounded(push.point), "force": _rounded(push.force)} for push in layout.pushes],
        "rank": judged.rank,
        "condition": round(judged.condition, 4),
        "free": list(judged.free),
        "locator_error": LOCATOR_ERROR,
        "movements": [
            {"feature": one.name, "worst": round(one.worst, 4) if math.isfinite(one.worst) else None} for one in judged.movements
        ],
        "support_margin": round(judged.triangle_margin, 4),
        "least_load": round(layout.seats.least, 4),
        "loads": [round(load, 4) for load in layout.seats.loads],
        "force_closure": round(layout.closure, 6),
        "friction": layout.friction,
    }


def _rounded(point: Vec3) -> list[float]:
    return [round(c, 4) + 0.0 for c in point]


# --- text -------------------------------------------------------------------


def fixture_text(found: Sequence[Made | Refused], job: "Job", asked: Asked) -> str:
    """Return what is known of the fixtures, to read."""
    units = job.settings.units
    lines = [f"Fixtures to print for {job.part.name}, {'in' if units == 'inch' else 'mm'}; the files are in millimetres", ""]
    for one in found:
        lines += _refused(one, units) if isinstance(one, Refused) else _told(one, units)
        lines.append("")
    if asked.making.assumed:
        bed, nozzle = asked.making.bed, asked.making.nozzle
        words: Words = (
            "assumed: a printer that takes ",
            bed[0],
            " by ",
            bed[1],
            " by ",
            bed[2],
            " with a nozzle of ",
            nozzle,
            " (no [printer])",
        )
        lines += wrap(sentence(words, units), _WIDTH)
    return "\n".join(line.rstrip() for line in lines).rstrip() + "\n"


def _refused(one: Refused, units: Units) -> list[str]:
    return [
        f"NO {one.name.upper()}",
        *(
            line
            for why in one.why
            for line in wrap(sentence(even(why), units), _WIDTH, initial_indent="  ", subsequent_indent="  ")
        ),
    ]


def _told(made: Made, units: Units) -> list[str]:
    one = made.fixture
    low, high = one.body.box
    x, y, z = (round(b - a, 2) for a, b in zip(low, high, strict=True))
    sizes: Words = (x, " by ", y, " by ", z)
    mass = one.body.volume * PLASTIC[1] / 1e6
    rows: list[tuple[str, str]] = [
        ("File", f"{one.name}.stl, {one.name}.3mf"),
        (
            "Print",
            f"{sentence(sizes, units)}; {fixed(one.body.volume / 1000, 1)} cm3, {fixed(mass, 2)} kg printed solid in {PLASTIC[0]}",
        ),
        ("Walls", sentence(("thinnest found ", round(made.wall.thickness, 2), "; clear of the work by ", one.clearance), units)),
        ("Checked", SOUND),
        *locating(one.layout, units),
        *(("Why" if i == 0 else "", sentence(even(w), units)) for i, w in enumerate(one.why)),
        *(("Check" if i == 0 else "", sentence((f"{s.what}: ", round(s.value, 2)), units)) for i, s in enumerate(one.sizes)),
        *(("Use" if i == 0 else "", sentence(even(w), units)) for i, w in enumerate(one.use)),
        *(("Caution" if i == 0 else "", sentence(even(w), units)) for i, w in enumerate(one.cautions)),
    ]
    lines = [one.title, "-" * len(one.title)]
    for label, text in rows:
        lines += wrap(text, _WIDTH, initial_indent=f"  {label:10}", subsequent_indent=" " * 14)
    return lines


def even(words: Words) -> Words:
    """Return words with their lengths to a hundredth of a millimetre: what a caliper tells apart."""
    return tuple(word if isinstance(word, str) else round(word, 2) for word in words)


def locating(layout: Layout | None, units: Units) -> Iterator[tuple[str, str]]:
    """Yield a label and a sentence for everything known of how a fixture locates."""
    if layout is None:
        return
    judged = layout.quality
    free = f"; free {' and '.join(judged.free)}" if judged.free else ""
    yield "Locates", f"{judged.rank} of 6 moves held, condition {fixed(judged.condition, 1)} (1 is best){free}"
    yield "", sentence(("centre of mass ", round(judged.triangle_margin, 2), " inside the support triangle"), units)
    yield "", f"a push seats every pad: the least loaded carries {fixed(100 * layout.seats.least, 0)} %"
    if layout.closure > 0:
        yield "", f"clamped so it is held against every pull, at friction {fixed(layout.friction, 2)}"
    turned = [one.name for one in judged.movements if not math.isfinite(one.worst)]
    if turned:
        yield "", f"it can be turned, and with it {', '.join(turned)}"
    held = sorted((one for one in judged.movements if math.isfinite(one.worst)), key=lambda one: -round(one.worst, 6))
    for one in held[:_MOST_TOLD]:
        yield "", sentence((f"{one.name} moves by up to ", round(one.worst, 3), " when every pad is off by ", LOCATOR_ERROR), units)
    if len(held) > _MOST_TOLD:
        yield "", f"{len(held) - _MOST_TOLD} more move less"

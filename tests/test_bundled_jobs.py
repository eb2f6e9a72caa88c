"""The jobs in parts/: they build, hold what their drawings say, and are castings a foundry can draw and pour.

Sizes checked here are the scenario's own (issue text and the models' docstrings), worked by hand.
"""

import math
import subprocess
import sys
from pathlib import Path

import pytest

from geom.datum.zero import resolve_zero
from geom.kernel.shape import Surface
from geom.kernel.step import read_step
from geom.model.model import load_model
from geom.model.part import PartHole
from geom.space import Vec3, angle_between
from geom.standards.alloy import alloy
from tests import make_pump_cover
from tests.bundled import JOBS, opened

PARTS = Path(__file__).resolve().parent.parent / "parts"
INCH = 25.4
UP: Vec3 = (0.0, 0.0, 1.0)


def hole(job: str, name: str) -> PartHole:
    """Return a hole of a job by its name."""
    return next(h for h in opened(job).part.holes if h.name == name)


# --- what the drawings say --------------------------------------------------


def test_the_housing_has_its_bore_its_three_feet_and_its_grub_screw() -> None:
    """A 40 H7 bore with a 55 x 10 seat, three M10 screw holes at 120 degrees on 160 mm, an M8 thread from -X."""
    main, grub = hole("footstep", "main bore"), hole("footstep", "grub screw")
    feet = [hole("footstep", f"foot {i}") for i in (1, 2, 3)]

    assert sorted(h.name for h in opened("footstep").part.holes) == ["foot 1", "foot 2", "foot 3", "grub screw", "main bore"]
    assert main.diameter == pytest.approx(40.0)
    assert (main.source, main.through) == ("core", True)
    assert main.callout is not None
    assert main.callout.limits == pytest.approx((40.0, 40.025))
    assert main.counterbore is not None
    assert (main.counterbore.diameter, main.counterbore.depth) == pytest.approx((55.0, 10.0))
    for foot, angle in zip(feet, (0, 120, 240), strict=True):
        at = [80.0 * f(math.radians(angle)) for f in (math.cos, math.sin)]
        assert foot.centre == pytest.approx((*at, 22.0), abs=1e-6)
        assert (foot.kind, foot.axis) == ("counterbored", UP)
        assert foot.diameter == pytest.approx(11.0)
    assert (grub.axis, grub.source) == ((-1.0, 0.0, 0.0), "solid")
    assert grub.diameter == pytest.approx(6.8)


def test_the_crank_has_its_pins_at_the_odd_angle_and_four_threads_round_the_pivot() -> None:
    """Pins 6 1/2 in and 4 1/4 in from the pivot, 107 degrees apart; 3/8-16 holes on 2 5/8 in at 45 degrees."""
    rod, valve, pivot = (hole("bell_crank", f"{n} bore") for n in ("rod", "valve", "pivot"))
    bolts = [hole("bell_crank", f"bolt {i}") for i in (1, 2, 3, 4)]

    assert math.hypot(*rod.centre[:2]) == pytest.approx(6.5 * INCH)
    assert math.hypot(*valve.centre[:2]) == pytest.approx(4.25 * INCH)
    assert angle_between((*rod.centre[:2], 0.0), (*valve.centre[:2], 0.0)) == pytest.approx(107.0)
    assert [pivot.diameter, rod.diameter, valve.diameter] == pytest.approx([1.25 * INCH, 0.75 * INCH, 0.75 * INCH])
    assert (pivot.source, rod.source, valve.source) == ("core", "solid", "solid")
    for bolt, angle in zip(bolts, (45, 135, 225, 315), strict=True):
        at = [1.3125 * INCH * f(math.radians(angle)) for f in (math.cos, math.sin)]
        assert bolt.centre[:2] == pytest.approx(at, abs=1e-6)
        assert bolt.kind == "blind"
        assert bolt.depth == pytest.approx(INCH)
        assert bolt.callout is not None
        assert bolt.callout.thread is not None
        assert bolt.callout.thread.designation == "3/8-16 UNC"


def test_the_cover_is_found_in_its_step_files_alone() -> None:
    """Six M6 clearance holes on 150 mm, two 6 H7 dowels on the same circle, a shaft bore in three steps."""
    holes = opened("pump_cover").part.holes
    bore = hole("pump_cover", "shaft bore")
    screws = [h for h in holes if h.diameter == pytest.approx(6.6)]

    assert len(holes) == 9
    assert len(screws) == 6
    assert all(math.hypot(*h.centre[:2]) == pytest.approx(75.0) for h in holes if h is not bore)
    assert all("clearance M6 medium" in h.suggestions for h in screws)
    assert {h.callout.text for h in holes if h.name.startswith("dowel") and h.callout} == {"reamed 6 H7"}
    assert [(s.start_diameter, s.end) for s in bore.steps] == [pytest.approx(s) for s in ((52, 17), (47, 27), (30, 44))]


@pytest.mark.parametrize(
    ("job", "machined"),
    [
        ("footstep", ["base", "boss face", "main bore", "main bore counterbore", "main bore seat", "top"]),
        ("bell_crank", ["pivot bore", "pivot bottom", "pivot top", "rod bottom", "rod top", "valve bottom", "valve top"]),
        ("pump_cover", ["bore 1", "bore 1 seat", "bore 1 seat 2", "bore 1 step", "bore 1 step 2", "bottom", "top"]),
    ],
)
def test_only_what_the_drawing_marks_is_machined(job: str, machined: list[str]) -> None:
    """Everything else is the casting's skin, exactly: ribs, arms and the recess stay as cast."""
    part = opened(job).part

    assert sorted(face.name for face in part.machined) == machined
    assert len(part.as_cast) > 40


@pytest.mark.parametrize(
    ("job", "origin", "x"),
    [("footstep", (0, 0, 100), UP), ("bell_crank", (0, 0, 0.875 * INCH), UP), ("pump_cover", (0, 0, 50), UP)],
)
def test_each_job_has_a_centre_zero_on_its_bore(job: str, origin: Vec3, x: Vec3) -> None:
    """X and Y 0 on the bore's axis, Z 0 on the face above it, X along the part's +X."""
    zero = resolve_zero(opened(job).part, opened(job).settings.datum)

    assert zero.source == "job"
    assert zero.frame.origin == pytest.approx(origin, abs=1e-9)
    assert zero.frame.z == x
    assert zero.frame.x == pytest.approx((1.0, 0.0, 0.0))


# --- castings a foundry can pour --------------------------------------------


@pytest.mark.parametrize(
    ("job", "least", "most"),
    [("footstep", 4.0, 6.0), ("bell_crank", 3.5, 4.6), ("pump_cover", 1.0, 1.5)],
)
def test_a_casting_weighs_what_its_plain_bodies_weigh(job: str, least: float, most: float) -> None:
    """Bounds by hand, kg: footstep 109 mm of 77 mm round less a 33 mm core, and 27 mm of foot; crank 52 mm of 95 mm
    round and two 40 mm of 44 mm, arms 19 mm; cover 17.5 mm of 170 mm round and 39 mm of 80 mm, less its recess."""
    part = opened(job).part
    mass = part.casting.volume / 1000 * alloy(part.alloy, "test").density / 1000

    assert least < mass < most
    assert 0.7 * part.casting.volume < part.finished.volume < part.casting.volume


@pytest.mark.parametrize(
    ("job", "rough", "finished"),
    [
        ("footstep", (-5.0, 104.0), (0.0, 100.0)),
        ("bell_crank", (-1.03125 * INCH, 1.03125 * INCH), (-0.875 * INCH, 0.875 * INCH)),
        ("pump_cover", (-3.5, 53.5), (0.0, 50.0)),
    ],
)
def test_the_ends_carry_the_stated_allowance(job: str, rough: tuple[float, float], finished: tuple[float, float]) -> None:
    """5 and 4 mm on the housing, 5/32 in on the crank, 3.5 mm on the cover."""
    part = opened(job).part

    assert [corner[2] for corner in part.casting.box] == pytest.approx(rough)
    assert [corner[2] for corner in part.finished.box] == pytest.approx(finished)


def lean(surface: Surface) -> float | None:
    """How far a cast wall leans from the draw direction Z, degrees; None for a face that is no wall, or not plain."""
    if surface.kind == "plane" and abs(surface.normal[2]) < 0.2:
        return math.degrees(math.asin(surface.normal[2]))
    if surface.kind == "cone" and abs(surface.axis[2]) > 0.999:
        return math.degrees(math.asin(surface.normal[2]))
    return None


@pytest.mark.parametrize(
    ("job", "draft", "parting"), [("footstep", 2.5, -5.0), ("bell_crank", 2.0, 0.0), ("pump_cover", 2.0, -3.5)]
)
def test_every_plain_wall_leans_away_from_the_parting_plane(job: str, draft: float, parting: float) -> None:
    """Draft: a wall above the parting plane faces up a little, one below it down; the cored hole has its core."""
    walls = [(s, lean(s)) for s in opened(job).part.casting.surfaces]
    leaning = [(angle if s.centroid[2] > parting else -angle) for s, angle in walls if angle is not None and not s.hollow]

    assert len(leaning) > 2
    assert leaning == pytest.approx([draft] * len(leaning))


@pytest.mark.parametrize("job", JOBS)
def test_no_face_is_a_sliver(job: str) -> None:
    """Below 2 mm2 a face is a fault of the model, not a surface anyone can pour or cut."""
    for body in (opened(job).part.casting, opened(job).part.finished):
        assert min(s.area for s in body.surfaces) > 2.0


# --- parameters -------------------------------------------------------------


def test_the_housing_can_be_made_for_another_shaft() -> None:
    """A 45 mm bore in a 90 mm body, its core 7 mm smaller; the cored volume by hand."""
    made = load_model(PARTS / "footstep" / "model.py", {"bore": "45", "height": 90, "body_diameter": 78}, "mm", "test")
    bore = [s for s in made.finished.surfaces if s.kind == "cylinder" and s.hollow and s.radius == pytest.approx(22.5)]
    core = [s for s in made.casting.surfaces if s.kind == "cylinder" and s.hollow and s.radius == pytest.approx(19.0)]

    assert made.finished.box[1][2] == pytest.approx(90.0)
    assert (len(bore), len(core)) == (1, 1)
    assert core[0].area == pytest.approx(2 * math.pi * 19.0 * 99.0)


def test_the_crank_can_be_made_at_another_angle() -> None:
    """75 degrees and a longer rod arm, in inches because the job is."""
    made = load_model(PARTS / "bell_crank" / "model.py", {"angle": 75, "rod_arm": 7}, "inch", "test")

    assert made.casting.box[1][0] == pytest.approx(7 * INCH + 0.875 * INCH, abs=1e-3)
    assert made.parameters["angle"] == 75.0


# --- the job without code ---------------------------------------------------


def test_the_cover_holds_no_code_and_little_data() -> None:
    """Safe to receive from a stranger: two STEP files and a job.toml under 1 MiB, and what was measured, under 1 MiB again."""
    files = sorted(p for p in (PARTS / "pump_cover").iterdir() if p.is_file())
    measured = sorted(p for p in (PARTS / "pump_cover" / "readings").rglob("*") if p.is_file())

    assert [p.name for p in files] == ["casting.step", "finished.step", "job.toml"]
    assert sum(p.stat().st_size for p in files) < 1024 * 1024
    assert {p.suffix for p in measured} <= {".csv", ".stl", ".toml"}
    assert sum(p.stat().st_size for p in measured) < 1024 * 1024


def test_the_covers_files_come_from_its_generator(tmp_path: Path) -> None:
    """The same bytes from two runs in two folders, the same solids as in the repository."""
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
        make_pump_cover.main(tmp_path / name)
    for name in ("casting.step", "finished.step"):
        made, kept = read_step(tmp_path / "a" / name), read_step(PARTS / "pump_cover" / name)
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()
        assert made.volume == pytest.approx(kept.volume, rel=1e-9)
        assert [s.kind for s in made.surfaces] == [s.kind for s in kept.surfaces]


@pytest.mark.parametrize("name", ["casting.step", "finished.step"])
def test_a_step_header_says_nothing_of_when_and_where(name: str) -> None:
    """No date, no folder and no person: only the file's own name."""
    header = (PARTS / "pump_cover" / name).read_text(encoding="ascii").split("ENDSEC")[0]

    assert f"FILE_NAME('{name}','1970-01-01T00:00:00'" in header
    assert "/" not in header
    assert "\\" not in header


def test_a_step_job_opens_without_cadquery() -> None:
    """In a fresh interpreter: the kernel suffices, so the job opens quicker and runs no model code."""
    code = (
        "import sys; from pathlib import Path; from geom.job import open_job; from geom.settings.load import load_settings;"
        f"open_job(load_settings(Path({str(PARTS / 'pump_cover')!r})));"
        "print(sorted({'cadquery', 'matplotlib', 'trimesh'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert done.stdout.strip() == "[]"

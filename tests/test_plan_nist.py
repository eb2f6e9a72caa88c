"""A published two-set-up plan of a real part, and holes on circles and turned patterns, against print and trigonometry.

NIST part 827-9999-904 (public domain): 102.5 x 69.5 x 19.5, made from bar; first side up in a vise, two reamed holes of
6.35 mm, then turned over and held by those two holes.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

from geom.datum.zero import Zero, resolve_zero
from geom.job import Job, finish, measure_stock, open_job, planned
from geom.kernel.cut import box, cut, cylinder
from geom.kernel.shape import solid_from_shape
from geom.kernel.step import read_step
from geom.model.part import PartHole
from geom.rows.plan import Plan
from geom.settings.load import load_settings
from geom.space import dot
from tests.catalogue import UP, Pair
from tests.job_folders import write_job

Finder = Callable[[str], Path]

BAR = 2.54
LOW, HIGH = (0.0, 0.0, -4.2672), (102.5398, 69.5452, 15.24)
"""The model's own corners, mm; the bar is 0.1 in larger all round."""


@dataclass(frozen=True)
class Planned:
    job: Job
    zero: Zero
    plan: Plan

    def hole(self, name: str) -> PartHole:
        return next(h for h in self.job.part.holes if h.name == name)


def plan_of(folder: Path) -> Planned:
    job = open_job(load_settings(folder))
    zero = resolve_zero(job.part, job.settings.datum)
    plan = planned(job, zero, measure_stock(job))
    assert isinstance(plan, Plan)
    return Planned(job, zero, plan)


@cache
def nist_904(path: Path, folder: Path) -> Planned:
    bar = box(tuple(v - BAR for v in LOW), tuple(v + BAR for v in HIGH))  # type: ignore[arg-type]
    zero = '[datum]\ncorner = ["left", "front"]\nz = "top 8"\nx = "+x"\n'
    job = write_job(folder / "bracket", (read_step(path), solid_from_shape(bar, "bar")), zero, "inch")
    text = (job / "job.toml").read_text().replace("grey iron", "steel")
    (job / "job.toml").write_text(text)
    return plan_of(job)


@pytest.fixture(scope="module")
def bracket(nist: Finder, tmp_path_factory: pytest.TempPathFactory) -> Planned:
    return nist_904(nist("827-9999-904.stp"), tmp_path_factory.mktemp("nist"))


# --- the published plan -----------------------------------------------------


def test_the_published_part_takes_two_set_ups(bracket: Planned) -> None:
    """As published: one side in a vise, then turned over onto a plate on the table."""
    one, two = bracket.plan.setups

    assert [one.hold.method, two.hold.method] == ["vise", "table"]
    assert dot(one.up, two.up) == pytest.approx(-1.0)
    assert (one.faults, two.faults) == ((), ()), "the plate is as high as a spindle that stops 2.25 in above the table wants it"


def test_its_two_mounting_holes_come_first_and_hold_the_second(bracket: Planned) -> None:
    """As published: the D 6.35 holes are reamed in the first set-up, in a vise, and the second is held by them."""
    one, two = bracket.plan.setups
    mounting = [h.name for h in bracket.job.part.holes if h.counterbore is not None and round(h.counterbore.diameter, 3) == 6.35]

    assert one.hold.method == "vise"
    assert len(mounting) == 2
    assert set(mounting) <= set(one.features)
    told = " ".join(str(piece) for packing in two.hold.packing for piece in packing.words)
    assert [name for name in mounting if name not in told] == []


def test_its_mounting_holes_stand_where_the_plan_prints_them(bracket: Planned) -> None:
    """(60.325, 6.350) and (63.500, 63.195) mm from its zero, the corner of left and front (printed to 0.005)."""
    one = bracket.plan.setups[0]
    mounting = [h for h in bracket.job.part.holes if h.counterbore is not None and round(h.counterbore.diameter, 3) == 6.35]
    places = sorted(bracket.zero.frame.local(h.centre)[:2] for h in mounting)

    assert places == [pytest.approx((60.325, 6.350), abs=5e-4), pytest.approx((63.500, 63.195), abs=5e-4)]
    assert one.frame.origin == pytest.approx(bracket.zero.frame.origin)
    turned = [one.frame.local(h.centre)[:2] for h in mounting]
    assert sorted(math.hypot(*p) for p in turned) == pytest.approx(sorted(math.hypot(*p) for p in places))


# --- trigonometry -----------------------------------------------------------


def pattern(places: list[tuple[float, float]]) -> Pair:
    """A 130 x 130 x 20 plate about the Z axis, machined on top, with a 30 bore in the middle and 9 mm through holes."""
    rough = box((-65.0, -65.0, -20.0), (65.0, 65.0, 2.0))
    body = cut(rough, box((-90.0, -90.0, 0.0), (90.0, 90.0, 10.0)), cylinder((0.0, 0.0, -21.0), UP, 15.0, 22.0))
    for x, y in places:
        body = cut(body, cylinder((x, y, -21.0), UP, 4.5, 22.0))
    return solid_from_shape(body, "finished"), solid_from_shape(rough, "casting")


@pytest.mark.parametrize(("count", "radius", "start"), [(5, 45.0, 17.0), (8, 52.0, 22.5)])
def test_a_bolt_circle_is_driven_to_by_trigonometry(tmp_path: Path, count: int, radius: float, start: float) -> None:
    """x = r cos, y = r sin, from the middle of the plate, in the set-up's own frame."""
    places = [(radius * math.cos(a), radius * math.sin(a)) for a in (math.radians(start + 360.0 * i / count) for i in range(count))]
    check_places(tmp_path, places)


def test_a_turned_rectangle_is_driven_to_by_trigonometry(tmp_path: Path) -> None:
    """80 x 50 turned by 23 degrees: x cos - y sin, x sin + y cos."""
    c, s = math.cos(math.radians(23.0)), math.sin(math.radians(23.0))
    check_places(tmp_path, [(x * c - y * s, x * s + y * c) for x in (-40.0, 40.0) for y in (-25.0, 25.0)])


def check_places(folder: Path, places: list[tuple[float, float]]) -> None:
    """Drill rows of a job whose zero is the middle of the plate, X to the right of the part's own."""
    zero = '[datum]\nmiddle = ["left", "right", "front", "back"]\nz = "top"\nx = "+x"\n'
    record = finish(open_job(load_settings(write_job(folder / "plate", pattern(places), zero))))
    (only,) = record.setups
    x, y = only.frame.x, only.frame.y
    wanted = [(px * x[0] + py * x[1], px * y[0] + py * y[1]) for px, py in places]
    nine = {h.name for h in record.part.holes if round(h.diameter, 3) == 9.0}
    driven = [(row.x or 0.0, row.y or 0.0) for row in only.rows if row.action == "drill" and row.feature in nine]

    assert in_order(driven) == [pytest.approx(w, abs=1e-6) for w in in_order(wanted)]


def in_order(places: list[tuple[float, float]]) -> list[tuple[float, float]]:
    return sorted(places, key=lambda p: (round(p[0], 3), round(p[1], 3)))

"""The bundled jobs, each opened once in a test process whichever file asks first."""

from functools import cache
from pathlib import Path

from geom.datum.zero import resolve_zero
from geom.job import Job, Record, measure_stock, open_job, planned
from geom.passes.setup_rows import RowMaker, setups_of
from geom.place.castings import Placed, place_castings
from geom.rows.plan import Plan
from geom.rows.records import Setup
from geom.settings.load import load_settings

ROOT = Path(__file__).resolve().parent.parent
JOBS = ("footstep", "bell_crank", "pump_cover")


@cache
def opened(name: str) -> Job:
    """Return a bundled job."""
    return open_job(load_settings(ROOT / "parts" / name))


@cache
def placed(name: str) -> tuple[Placed, ...]:
    """Return a bundled job's measured castings, best first."""
    job = opened(name)
    return place_castings(job.part, job.settings, job.needs, lambda _line: None)


@cache
def recorded(name: str) -> Record:
    """Return a bundled job planned and worked out for its casting as drawn, no readings."""
    job = opened(name)
    zero, stock = resolve_zero(job.part, job.settings.datum), measure_stock(job)
    plan = planned(job, zero, stock)
    assert isinstance(plan, Plan)
    setups = tuple(one for one, _ in setups_of(plan, zero, RowMaker(job.part, job.settings, stock)))
    return Record(job, stock, zero, setups, (), plan)


def worked(name: str) -> tuple[Job, Plan, tuple[Setup, ...]]:
    """Return a bundled job, its plan and its rows for the casting as drawn."""
    record = recorded(name)
    assert isinstance(record.plan, Plan)
    return record.job, record.plan, record.setups

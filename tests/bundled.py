"""The bundled jobs, each opened once in a test process whichever file asks first."""

from functools import cache
from pathlib import Path

from geom.job import Job, open_job
from geom.place.castings import Placed, place_castings
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

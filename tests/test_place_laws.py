"""What holds of any placement, on the bundled castings: moved, mirrored, shuffled, in inches, with more metal."""

import csv
import math
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from geom.place.placement import Placement
from geom.place.solve import place
from geom.readings.files import load_readings
from geom.readings.records import Height, Readings, Thickness
from geom.received.casting import receive
from geom.rigid import Rigid, from_turn
from tests.bundled import ROOT, opened, placed

MOVE = from_turn((0.0, 0.0, 100.0), (250.0, -80.0, 40.0))
SAME = 0.003
"""mm: two runs that start elsewhere end this near; the place stays put within 0.0001 and the thinnest points within that."""


@cache
def read(name: str) -> Readings:
    """Return the first casting's readings of a bundled job."""
    return placed(name)[0].readings


def base(name: str) -> Placement:
    return placed(name)[0].placement


def again(name: str, readings: Readings) -> Placement:
    """Return the same job placed from other readings."""
    job = opened(name)
    casting = job.settings.casting
    received = receive(job.part, readings, grade=casting.grade, parting=job.settings.parting)
    return place(job.part, received, job.needs, job.settings.placement)


def takes(found: Placement) -> dict[str, float]:
    return {face.name: face.take_min for face in found.faces}


def moved(readings: Readings, move: Rigid) -> Readings:
    """Return the same touches as another machine would have read them."""
    laid = [
        replace(t, point=move.point(t.point), approach=None if t.approach is None else move.direction(t.approach))
        for t in readings.touches
    ]
    return replace(readings, touches=tuple(laid))


def mirrored(readings: Readings) -> Readings:
    """Return the readings of the casting seen in a mirror that stands on Y 0."""

    def over(r: Height | Thickness) -> Height | Thickness:
        return r if r.at is None else replace(r, at=(r.at[0], -r.at[1], r.at[2]))

    heights, across = (tuple(map(over, rs)) for rs in (readings.heights, readings.thicknesses))
    return replace(readings, heights=heights, thicknesses=across)  # type: ignore[arg-type]


def test_moving_the_readings_moves_nothing_in_the_part():
    """The crank turned by 100 degrees on the table and touched in another order: the same place in the same casting."""
    readings = moved(read("bell_crank"), MOVE)
    shuffled = replace(readings, touches=readings.touches[::-1], thicknesses=readings.thicknesses[::-1])
    one, two = base("bell_crank"), again("bell_crank", shuffled)

    assert two.shift == pytest.approx(one.shift, abs=SAME)
    assert two.turn == pytest.approx(one.turn, abs=0.002)
    assert takes(two) == pytest.approx(takes(one), abs=SAME)
    assert two.odds.sigma == pytest.approx(one.odds.sigma, rel=0.02)


def test_mirrored_readings_give_the_mirrored_place():
    """The housing is alike on both sides of Y 0: its mirrored readings shift it the other way in Y and turn it the other way
    about X and Z."""
    one, two = base("footstep"), again("footstep", mirrored(read("footstep")))
    (x, y, z), (a, b, c) = one.shift, one.turn

    assert abs(y) > 0.01
    assert two.shift == pytest.approx((x, -y, z), abs=0.02)
    assert two.turn == pytest.approx((-a, b, -c), abs=0.01)
    assert takes(two) == pytest.approx(takes(one), abs=0.02)


def inches(folder: Path, to: Path) -> None:
    """Write calipers' and height gauge's files again with every length in inches."""
    to.mkdir()
    for path in sorted(folder.glob("*.csv")):
        lines = path.read_text().splitlines()
        heads = [line for line in lines if line.startswith("#")]
        rows = list(csv.reader(line for line in lines if not line.startswith("#")))
        head = [_inch_line(h) for h in heads]
        body = [",".join(_inch_cell(name, cell) for name, cell in zip(rows[0], row, strict=True)) for row in rows[1:]]
        (to / path.name).write_text("\n".join([*head, ",".join(rows[0]), *body]) + "\n")


def _inch_line(line: str) -> str:
    if line.startswith("# units"):
        return "# units: inch"
    return f"# sigma: {float(line.split()[2]) / 25.4:.9f} in" if line.startswith("# sigma") else line


def _inch_cell(name: str, cell: str) -> str:
    lengths = name in ("height", "thickness", "at")
    return " ".join(f"{float(v) / 25.4:.9f}" for v in cell.split()) if lengths else cell


def test_inch_readings_give_the_answer_of_the_same_readings_in_mm(tmp_path: Path):
    """25.4 mm to the inch: the same lengths, to a millionth of an inch, so the same answer, also in another order."""
    name = read("footstep").name
    inches(ROOT / "parts" / "footstep" / "readings" / name, tmp_path / "readings")
    (readings,) = load_readings(tmp_path / "readings", opened("footstep").part, "mm")
    one, two = base("footstep"), again("footstep", replace(readings, heights=readings.heights[::-1]))

    assert [h.value for h in readings.heights] == pytest.approx([h.value for h in read("footstep").heights], abs=1e-6)
    assert two.shift == pytest.approx(one.shift, abs=SAME)
    assert takes(two) == pytest.approx(takes(one), abs=SAME)


def thicker(readings: Readings, by: float) -> Readings:
    """Return the readings of a casting with more metal: higher, thicker, and with a smaller core."""
    across = [replace(t, value=t.value + (-by if len(set(t.faces)) == 1 else by)) for t in readings.thicknesses]
    return replace(readings, heights=tuple(replace(h, value=h.value + by) for h in readings.heights), thicknesses=tuple(across))


def test_more_metal_never_worsens_the_least_margin():
    """Half a millimetre more everywhere on the casting that is short: it lacks less, and no face that lacked lacks more."""
    short = placed("footstep")[-1]
    less, more = short.placement, again("footstep", thicker(short.readings, 0.5))

    assert less.least_margin < -1.0
    assert more.least_margin >= less.least_margin + 0.1
    assert lacking(more) < lacking(less)


def lacking(found: Placement) -> float:
    """Return what all faces lack of what is required, together."""
    return sum(max(-face.margin, 0.0) for face in found.faces if math.isfinite(face.margin))

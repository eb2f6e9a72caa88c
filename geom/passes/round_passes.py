"""Rows for a hollow round that is no hole: a cradle or half bore, bored on one side.

Lengths mm, set-up frame. Knows nothing of holes.
"""

from geom.cutters.cutter_choice import Lack, choose_boring
from geom.kernel.extent import face_box
from geom.model.part import PartFace
from geom.passes.bore_passes import bore_diameters, rough_depth
from geom.passes.scene import Made, Scene, Take, speeds_of, tool_of
from geom.rows.records import LeftOut, Row
from geom.tasks.practice import tidy


def round_passes(face: PartFace, scene: Scene) -> Made:
    """Return the rows that bore a hollow round, or why there are none."""
    x, y, _ = scene.frame.local(face.origin)
    low, high = face_box(scene.part.finished, face.surfaces, scene.frame)
    size = tidy(2.0 * face.radius)
    choice = choose_boring(scene.shop, size, high[2] - low[2])
    if isinstance(choice, Lack):
        return Made((), (), (LeftOut(face.name, "no boring head on hand does it: see the notes"),), (choice.says,))
    take = scene.takes.get(face.name, Take(0.0, 0.0))
    start, deep = max(size - 2.0 * max(take.most, 0.0), 0.0), high[2] - low[2]
    # It bores on one side, and the bar springs: half of what it takes all round.
    deepest = max(0.5 * rough_depth(scene, face.name, choice.cutter, start, size, deep), 0.5)
    steps = bore_diameters(start, size, scene.use.units, deepest, choice.cutter.smallest or 0.0)
    rows = []
    for number, diameter in enumerate(steps, 1):
        found, _ = speeds_of(scene, choice.cutter, "bore", diameter=diameter, depth=high[2] - low[2])
        note = f"pass {number} of {len(steps)}; part of a round: light cuts, it bores on one side"
        rates = (found.rpm, found.feed) if found else (None, None)
        rows.append(
            Row(0, face.name, "bore", tool_of(choice.cutter, tidy(diameter)), x, y, low[2], note=note, rpm=rates[0], feed=rates[1])
        )
    return Made(tuple(rows))

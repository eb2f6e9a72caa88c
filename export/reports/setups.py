"""The plan of set-ups: a text to work from at the mill, in the sheet's units, and JSON.

Reads a plan and decides nothing but how it is said. JSON always mm, degrees,
part frame; boxes, rests and heights in the set-up's own frame.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from textwrap import wrap
from typing import Any, Final

from export.number import Units, nominal, sentence, size
from export.number import limits as limits_of
from export.reports.hole import UNIT_NAMES, direction_words, exact, exact_point
from export.tables.words import tool_text
from geom.job import Job
from geom.looks.measure_rows import measure_rows
from geom.rows.plan import Blocked, NoPlan, PickUp, Plan, PlannedSetup
from geom.rows.records import LeftOut, Row, Words
from geom.setups.grip_check import Grip, grip_words, grips_of, with_grip
from geom.setups.hold_words import hold_words
from geom.setups.search import COST
from geom.shop.records import Shop
from geom.space import dot
from geom.stock.report import StockReport

_WIDTH: Final = 100
_LABEL: Final = 12
_NEEDS_NO_PLAN: Final = "A nest or soft jaws to print need no plan: evenstock fixture JOB --up SIDE, SIDE the face that looks up."

CAUTIONS: Final = (
    "Clamp on three points, never over air; check that nothing rocks before the spindle turns.",
    "Take the drawbar wrench off; stop the spindle before measuring or clearing chips; eye protection.",
    "The plan advises and certifies no holding: follow the machine's manual and a qualified person's judgement.",
)


def is_sound(answer: Plan | NoPlan) -> bool:
    """Tell whether there is a plan that makes the part as drawn, and nothing is wrong with its rows."""
    return isinstance(answer, Plan) and not answer.round_left and not any(one.faults for one in answer.setups)


def setups_text(answer: Plan | NoPlan, job: Job, stock: StockReport) -> str:
    """Return the plan, or why there is none, ending in a line break."""
    units = job.settings.units
    lines = list(_no_plan_lines(answer, job, units) if isinstance(answer, NoPlan) else _plan_lines(answer, job, stock, units))
    return "\n".join(lines) + "\n"


def setups_document(answer: Plan | NoPlan, job: Job, stock: StockReport) -> dict[str, Any]:
    """Return the plan as a JSON document; "setups" is empty when there is none."""
    some = answer.setups if isinstance(answer, Plan) else ()
    document: dict[str, Any] = {
        "part": job.part.name,
        "verdict": "plan" if isinstance(answer, Plan) else "no plan",
        "setups": [_setup_entry(one, job, stock) for one in some],
        "assumed": list(job.settings.tooling.assumed),
        "notes": _told(answer.notes),
    }
    if isinstance(answer, NoPlan):
        return document | {"blocked": [_blocked_entry(one) for one in answer.blocked]}
    return document | {
        "cost": {name: exact(value) for name, value in zip(COST, answer.cost, strict=True)},
        "rejected": sentence(answer.rejected, "mm"),
        "assembly": [{"feature": one.feature, "why": one.why} for one in answer.assembly],
        "left_out": [{"feature": one.feature, "why": one.why} for one in answer.left_out],
        "round_left": [_blocked_entry(one) for one in answer.round_left],
    }


# --- text -------------------------------------------------------------------


def _plan_lines(plan: Plan, job: Job, stock: StockReport, units: Units) -> Iterator[str]:
    count = len(plan.setups)
    yield f"Set-ups of {job.part.name}, {UNIT_NAMES[units]}: {count or 'none'}{', in this order' if count > 1 else ''}"
    for corners in plan.round_left:
        yield from _wrapped("Not as drawn: ", f"{plain_words(corners.says, units)}.")
    yield ""
    for one in plan.setups:
        yield from _setup_lines(one, count, job, stock, units)
        yield ""
    if plan.rejected:
        yield from _wrapped("Best plan not taken: ", f"{plain_words(plan.rejected, units)}.")
    for heading, some in (("Made at assembly, in no set-up:", plan.assembly), ("Made in no set-up:", plan.left_out)):
        yield from _listed(heading, _by_reason(some))
    yield from _listed("Notes:", [plain_words(words, units) for words in plan.notes])
    yield from _wrapped("", assumed_text(job.settings.tooling))
    yield from _listed("Cautions:", CAUTIONS)


def _by_reason(some: Iterable[LeftOut]) -> list[str]:
    """Return one line a reason, with every feature it holds for, in the order they first come."""
    reasons: dict[str, list[str]] = {}
    for one in some:
        reasons.setdefault(one.why, []).append(one.feature)
    return [f"{', '.join(names)}: {why}" for why, names in reasons.items()]


def plain_words(words: Words, units: Units) -> str:
    """Return a sentence with its lengths rounded to what a rule or a caliper shows: 0.01 mm, 0.001 in."""
    one, places = (25.4, 3) if units == "inch" else (1.0, 2)
    return sentence((piece if isinstance(piece, str) else round(piece / one, places) * one for piece in words), units)


def _setup_lines(one: PlannedSetup, count: int, job: Job, stock: StockReport, units: Units) -> Iterator[str]:
    heading = f"Set-up {one.number} of {count}: {facing_up(one, job)}"
    yield heading
    yield "-" * len(heading)
    yield from _block("Fault", [f"do not cut: {plain_words(words, units)}" for words in one.faults])
    yield from _block(
        "Hold", [METHODS[one.hold.method], *(plain_words(words, units) for words in one.holding or hold_words(one.hold))]
    )
    yield from _block("Zero", [one.zero.name])
    yield from _block("Find it", [f"{n}. {pick_up_text(p, units)}" for n, p in enumerate(one.pick_ups, 1)])
    yield from _block("Machine", [", ".join(one.features)])
    yield from _block("Lacks", [plain_words(words, units) for words in one.lacks])
    yield from _block("Leave", [f"{size(mm, units)} {UNIT_NAMES[units]} on {name} for finishing" for name, mm in one.leaves])
    yield from _block("Measure", [measure_text(row, units) for row in measure_rows(one, job.part, job.settings)])
    yield from _block("Why", [plain_words(words, units) for words in one.why])
    grips = grips_of(one, job.part, job.settings, stock)
    yield from _block("Caution", with_grip([plain_words(words, units) for words in one.cautions], grips, units))


METHODS: Final[Mapping[str, str]] = {
    "vise": "in the vise",
    "table": "strapped down on the table",
    "angle plate": "against the angle plate",
    "nest": "in a printed nest",
}


def facing_up(one: PlannedSetup, job: Job) -> str:
    """Return which side faces the spindle: "base up (-Z of the part)"; the largest plane face that looks that way."""
    level = [f for f in job.part.faces if f.state != "hole" and f.normal is not None and dot(f.normal, one.up) > 1.0 - 1e-6]
    way = f"{direction_words(one.up)} of the part"
    if not level:
        return f"{way} up"
    made = [face for face in level if face.name in one.features] or level
    return f"{max(made, key=lambda face: (round(face.area, 3), face.name)).name} up ({way})"


def pick_up_text(one: PickUp, units: Units) -> str:
    """Return one step of finding zero, as a sentence without its full stop."""
    axes = " and ".join(one.axes.upper())
    at = ""
    if one.height is not None:
        equal = ", all at the same height so that draft cancels" if one.how in _HALVED and not one.machined else ""
        at = f", at Z {size(one.height, units)}{equal}"
    skin = "machined" if one.machined else "as cast: as sure as the skin, no surer"
    return f"{axes}: {_HOW[one.how].format(' and '.join(one.faces))}{at} ({skin}{_alone(one, units)})"


def _alone(one: PickUp, units: Units) -> str:
    """Return what a touch on one side of a pair alone costs."""
    sure = "" if one.spread is None else f", zero may be off by {size(one.spread, units)} either way"
    return f"; {one.missed}{sure}" if one.missed else ""


_HALVED: Final = ("boss", "bore", "middle")
_HOW: Final[Mapping[str, str]] = {
    "boss": "four touches round {}, halved",
    "bore": "four touches inside {}, halved",
    "middle": "a touch on each side of {}, halved",
    "edge": "one touch on {}, the finder's radius counted",
    "height": "touch the top of {}, or set a height gauge to it",
    "sweep": "sweep {} with the indicator",
}


def measure_text(row: Row, units: Units) -> str:
    """Return what to measure before the work is unclamped."""
    reads = "" if row.nominal is None else f" {nominal(row.nominal, row.limits, units)}"
    limits = "" if row.limits is None else ", from {} to {}".format(*limits_of(*row.limits, units))
    note = f" ({row.note})" if row.note else ""
    return f"{row.feature}{reads}{limits}, {tool_text(row.tool, units)}{note}"


def assumed_text(shop: Shop) -> str:
    """Return which parts of the shop nobody stated; "" when all are."""
    if not shop.assumed:
        return ""
    source = "no shop.toml" if len(shop.assumed) == _PARTS_OF_A_SHOP else "not in the job's shop"
    return f"Assumed: the {', the '.join(shop.assumed)} ({source}); a plausible small shop stands in, common practice, no source."


_PARTS_OF_A_SHOP: Final = 4


def _no_plan_lines(answer: NoPlan, job: Job, units: Units) -> Iterator[str]:
    yield f"Set-ups of {job.part.name}, {UNIT_NAMES[units]}: no plan makes the whole part"
    yield ""
    reasons: dict[tuple[Words, Words], list[str]] = {}
    for one in answer.blocked:
        reasons.setdefault((one.why, one.opens), []).append(one.feature)
    for words, names in reasons.items():
        why, opens = (plain_words(some, units) for some in words)
        yield from _wrapped(f"{', '.join(names)}: ", f"{why}. What would open it: {opens}." if opens else f"{why}.")
    yield from _listed("Notes:", [plain_words(words, units) for words in answer.notes])
    yield from _wrapped("", _NEEDS_NO_PLAN)
    yield from _wrapped("", assumed_text(job.settings.tooling))


def _block(label: str, lines: Sequence[str]) -> Iterator[str]:
    for number, line in enumerate(lines):
        begin = f"  {label if number == 0 else '':{_LABEL - 2}}"
        yield from wrap(line, _WIDTH, initial_indent=begin, subsequent_indent=" " * (_LABEL + 2)) or [begin.rstrip()]


def _wrapped(begin: str, text: str) -> list[str]:
    return wrap(f"{begin}{text}", _WIDTH, subsequent_indent="  ") if text else []


def _listed(heading: str, lines: Iterable[str]) -> Iterator[str]:
    lines = list(lines)
    if lines:
        yield heading
        for line in lines:
            yield from wrap(line, _WIDTH, initial_indent="  ", subsequent_indent="    ")


# --- JSON -------------------------------------------------------------------


def _setup_entry(one: PlannedSetup, job: Job, stock: StockReport) -> dict[str, Any]:
    hold, frame = one.hold, one.frame
    grips = grips_of(one, job.part, job.settings, stock)
    return {
        "number": one.number,
        "up": exact_point(one.up),
        "seat": hold.seat,
        "fixed_jaw": hold.fixed_jaw,
        "clamp": hold.clamp,
        "packing": [f"{packing.place}: {sentence(packing.words, 'mm')}" for packing in hold.packing],
        "zero": one.zero.name,
        "features": list(one.features),
        "lacks": _told(one.lacks),
        "faults": _told(one.faults),
        "why": _told(one.why),
        "method": hold.method,
        "machined": sorted(hold.machined),
        "parallels": exact(hold.parallels),
        "grip": exact(hold.grip),
        "stick_out": exact(hold.stick_out),
        "rests": [exact_point(point) for point in hold.rests],
        "boxes": [{"name": box.name, "low": exact_point(box.low), "high": exact_point(box.high)} for box in hold.boxes],
        "frame": {
            "origin": exact_point(frame.origin),
            "x": exact_point(frame.x),
            "y": exact_point(frame.y),
            "z": exact_point(frame.z),
        },
        "pick_ups": [_pick_up_entry(pick_up) for pick_up in one.pick_ups],
        "leaves": [{"feature": name, "leave": exact(mm)} for name, mm in one.leaves],
        "measures": [_measure_entry(row) for row in measure_rows(one, job.part, job.settings)],
        "cautions": _told(one.cautions),
        "clamping": _clamping_entry(grips[0]) if grips else None,
    }


def _blocked_entry(one: Blocked) -> dict[str, str]:
    return {"feature": one.feature, "why": sentence(one.why, "mm"), "opens": sentence(one.opens, "mm")}


def _pick_up_entry(one: PickUp) -> dict[str, Any]:
    height = None if one.height is None else exact(one.height)
    entry = {"axes": one.axes, "how": one.how, "faces": list(one.faces), "machined": one.machined, "height": height}
    return entry | ({"missed": one.missed, "spread": one.spread} if one.missed else {})


def _measure_entry(row: Row) -> dict[str, Any]:
    return {
        "feature": row.feature,
        "nominal": None if row.nominal is None else exact(row.nominal),
        "limits": None if row.limits is None else [exact(limit) for limit in row.limits],
        "tool": tool_text(row.tool, "mm"),
        "note": row.note,
    }


def _clamping_entry(grip: Grip) -> dict[str, Any]:
    return {
        "feature": grip.feature,
        "cutter": grip.cutter,
        "cutting_force": exact(grip.force),
        "friction": exact(grip.friction),
        "safety": exact(grip.safety),
        "needed": exact(grip.needed),
        "stated": None if grip.stated is None else exact(grip.stated),
        "enough": grip.enough,
        "caution": grip_words(grip),
    }


def _told(some: Iterable[Words]) -> list[str]:
    return [sentence(words, "mm") for words in some]

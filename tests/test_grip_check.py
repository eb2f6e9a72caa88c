"""Clamp force against cutting force: published values, then laws. A caution, never a certificate."""

import math
from dataclasses import replace
from pathlib import Path

import pytest

from geom.cutters.cutting_data import CutData, Work, drill_torque, speed_feed, unit_power_force
from geom.datum.zero import resolve_zero
from geom.model.part import Part
from geom.passes.setup_rows import rows_for
from geom.recognise.part import recognise
from geom.rows.plan import Hold, Packing, PlannedSetup
from geom.rows.records import Box, Setup
from geom.settings.records import DatumSettings, PartSettings, Settings
from geom.setups.grip_check import SAFETY, Grip, clamp_force, grip_words, grips_of, hold_friction, tipping_force, with_grip
from geom.standards.alloy import alloy
from geom.standards.cutting import jaw_friction
from geom.stock.report import StockReport, stock_report
from tests.catalogue import block_in_block

LBF = 4.4482216152605
STEEL, IRON = alloy("steel", ""), alloy("grey iron", "")


def hold(machined: str = "", packing: tuple[Packing, ...] = (), method: str = "vise") -> Hold:
    places = frozenset(place for place in ("seat", "fixed jaw", "clamp") if place in machined)
    return Hold(method, "bottom", "back", "front", places, 0.0, 15.0, 15.0, packing)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def block() -> tuple[Part, Settings, StockReport, PlannedSetup]:
    """A 60 x 40 x 30 grey iron block, 3 mm all round, its top to be faced in the vise."""
    finished, casting = block_in_block()
    part = recognise("block", "grey iron", finished, casting)
    settings = Settings(Path(), (), "job.toml", "block", None, "mm", PartSettings("block", "mm", "grey iron"))
    stock = stock_report(part, {f.name: 2.0 for f in part.faces})
    zero = resolve_zero(part, DatumSettings())
    return part, settings, stock, PlannedSetup(1, (0.0, 0.0, 1.0), hold(), zero.frame, zero, (), ("top",))


# --- published values -------------------------------------------------------


@pytest.mark.parametrize(
    ("jaw", "finished", "machined", "rough"),
    [("smooth", 0.07, 0.10, 0.15), ("diamond", 0.12, 0.20, 0.30), ("serrated", 0.20, 0.35, 0.45)],
)
def test_friction_is_the_chuck_makers(jaw: str, finished: float, machined: float, rough: float) -> None:
    """Steel in smooth, diamond and serrated jaws (a chuck maker's published clamping table)."""
    found = [jaw_friction(STEEL, surface, jaw) for surface in ("finished", "machined", "rough")]  # type: ignore[arg-type]

    assert found == pytest.approx([finished, machined, rough])


@pytest.mark.parametrize(("name", "factor"), [("grey iron", 0.80), ("steel", 1.0)])
def test_friction_of_other_metals_is_the_tables_share_of_steels(name: str, factor: float) -> None:
    """Grey iron 0.80 of steel (the same table)."""
    assert hold_friction(hold("fixed jaw clamp"), alloy(name, ""), "smooth") == pytest.approx(factor * 0.10)


def test_the_clamp_makers_cut_wants_2420_pounds_in_smooth_jaws() -> None:
    """0.060 in deep, 0.003 in a turn, unit power 1.7: 121 lb (clamp maker's handbook example); machined steel in smooth jaws:
    coefficient 0.10, safety 2 (chuck maker's table): 2 x 121 / 0.10 = 2420 lb."""
    force = unit_power_force(1.7) * 0.060 * 0.003 * 25.4**2

    assert force / LBF == pytest.approx(121.0, abs=0.5)
    assert clamp_force(force, hold_friction(hold("fixed jaw clamp"), STEEL, "smooth")) / LBF == pytest.approx(2420.0, abs=10.0)


def test_a_twist_drill_takes_the_textbooks_torque() -> None:
    """20 mm drill, 0.25 mm a turn, shear strength 400 N/mm2, friction 0.6: 18.2 N m (textbook example, Ghosh and Mallik, ch. 4).

    Specific force of one lip from shear strength t, friction angle b and rake r: the shear plane at p = 45 + r - b degrees (Lee
    and Shaffer), kc = t cos(b - r) / (sin(p) cos(p + b - r)); rake of a drill with 30 degrees of helix and 59 of half point at
    half its radius: tan(r) = tan(30) / 2 / sin(59). The book differs from our torque in two factors, both its own and no part of
    ours: the chip as f / 2 thick where its lip makes it f / 2 sin(59), and a fifth more for the chisel edge, 0.6 F d for 0.5 F d.
    It works in whole degrees (18, 31), so its 18.2 is ours to 1 %.
    """
    friction = math.radians(31.0)
    rake = math.radians(18.0)
    plane = math.pi / 4 + rake - friction
    kc = 400.0 * math.cos(friction - rake) / (math.sin(plane) * math.cos(plane + friction - rake))
    ours = drill_torque(20.0, 0.25, kc)

    assert math.degrees(math.atan(0.6)) == pytest.approx(31.0, abs=0.5)
    assert math.degrees(math.atan(math.tan(math.radians(30.0)) / 2.0 / math.sin(math.radians(59.0)))) == pytest.approx(
        18.6, abs=0.05
    )
    assert ours * 1.2 / math.sin(math.radians(59.0)) == pytest.approx(18.2, abs=0.05)
    assert ours == pytest.approx(18.2 / 1.2 * math.sin(math.radians(59.0)), rel=0.005)


# --- laws -------------------------------------------------------------------


def test_the_weakest_face_holds() -> None:
    """A rough side grips better than a machined one; soft packing and straps count as smooth."""
    soft = (Packing("clamp", ("soft strip ", 1.0)),)
    rough, machined = hold_friction(hold(), IRON, "serrated"), hold_friction(hold("fixed jaw"), IRON, "serrated")

    assert rough > machined
    assert hold_friction(hold("", soft), IRON, "serrated") == pytest.approx(0.8 * 0.15)
    assert hold_friction(hold("seat", (), "table"), IRON, "serrated") == pytest.approx(0.8 * 0.10)
    assert hold_friction(hold("", (Packing("seat", ("shims",)),)), IRON, "serrated") == rough


def test_a_heavier_cut_wants_more(block: tuple[Part, Settings, StockReport, PlannedSetup]) -> None:
    """Half of the stock, at most the force; the need is twice the force over the friction."""
    part, settings, stock, planned = block
    (full,) = grips_of(planned, part, settings, stock)
    thin = replace(stock, faces=tuple(replace(f, stock=replace(f.stock, max=0.2)) for f in stock.faces))
    (light,) = grips_of(planned, part, settings, thin)

    assert full.feature == "top"
    assert 0.0 < light.force < full.force
    assert full.needed == pytest.approx(SAFETY * full.force / full.friction)
    assert full.stated == settings.tooling.vise.force


def test_the_caution_names_the_cutter_of_the_rows(block: tuple[Part, Settings, StockReport, PlannedSetup]) -> None:
    """Where straps leave no room for the face mill, the rows take an end mill: its force is the one to hold."""
    part, settings, stock, planned = block
    mill = settings.tooling.of("end mill")[-1]
    (usual,) = grips_of(planned, part, settings, stock)
    (found,) = grips_of(replace(planned, milled=(("top", mill.name),)), part, settings, stock)

    assert usual.cutter != found.cutter == mill.name
    assert f"top with the {mill.name}" in grip_words(found)


def strapped(count: int) -> Hold:
    """Return a hold on the table under some straps."""
    noses = (Box(f"strap {n}", (0.0, 0.0, 0.0), (16.0, 16.0, 30.0)) for n in range(1, count + 1))
    return replace(hold("", (), "table"), boxes=tuple(noses))


def test_straps_give_what_their_studs_pull_by_the_lever(block: tuple[Part, Settings, StockReport, PlannedSetup]) -> None:
    """40 N m on an M12 stud: T / (K d) = 16.7 kN with nut factor 0.2 (bolt handbooks, from memory); moments about the heel, nose 35
    mm and stud 20 mm off: 9.5 kN. The shop's 9 kN a strap is no more; three give 27 kN."""
    part, settings, stock, planned = block
    strap = 40.0 / (0.2 * 0.012) * 20.0 / 35.0
    (found,) = grips_of(replace(planned, hold=strapped(3)), part, settings, stock)

    assert 0.9 * strap < settings.tooling.vise.strap_force <= strap
    assert found.stated == 27000.0
    assert found.enough is True
    assert grip_words(found).endswith("3 straps give 27 kN")


def test_straps_that_press_too_little_come_first_in_the_cautions(block: tuple[Part, Settings, StockReport, PlannedSetup]) -> None:
    """One strap at a quarter of what the cut wants: its passes go no deeper than 25 %, said before all else."""
    part, settings, stock, planned = block
    (need,) = grips_of(replace(planned, hold=strapped(1)), part, settings, stock)
    vise = replace(settings.tooling.vise, strap_force=0.2501 * need.needed)
    weak = replace(settings, tooling=replace(settings.tooling, vise=vise))
    (found,) = grips_of(replace(planned, hold=strapped(1)), part, weak, stock)

    assert found.enough is False
    assert "1 strap gives" in grip_words(found)
    assert "its passes go no deeper than 25 % of that" in grip_words(found)
    assert with_grip(("round",), (found,))[0] == grip_words(found)


def test_studs_state_no_force(block: tuple[Part, Settings, StockReport, PlannedSetup]) -> None:
    """What a stud through the work presses with nobody knows: the need is said, no verdict."""
    part, settings, stock, planned = block
    (found,) = grips_of(replace(planned, hold=hold("", (), "table")), part, settings, stock)

    assert found.stated is None
    assert found.enough is None
    assert "spread it over the studs" in grip_words(found)


def test_a_vise_that_is_too_weak_is_told() -> None:
    """1000 N at 0.1 wants 20 kN; a vise of 5 kN bears a quarter of that cut."""
    weak = Grip("top", "50 mm face mill", 1000.0, 0.1, 2.0, clamp_force(1000.0, 0.1), 5000.0)

    assert weak.needed == pytest.approx(20000.0)
    assert weak.enough is False
    assert "no deeper than 25 % of that" in grip_words(weak)
    assert grip_words(replace(weak, milled=False)).endswith("the vise gives 5 kN: set a stop against the push")
    assert "4500 lbf" in grip_words(weak, "inch")


def test_tall_work_tips_before_it_slips(block: tuple[Part, Settings, StockReport, PlannedSetup]) -> None:
    """Moments by hand: 600 N at 100 mm over a seat of 2 x 25 at friction 0.12 and safety 2 wants 20 kN; that low it slips first."""
    part, settings, stock, planned = block
    spots = ((-25.0, 10.0, -130.0), (25.0, 10.0, -130.0), (0.0, -10.0, -130.0))
    (tall,) = grips_of(replace(planned, hold=replace(planned.hold, rests=spots)), part, settings, stock)
    high = tall.tips_at or 0.0

    assert tipping_force(600.0, 100.0, 25.0, 0.12) == pytest.approx(20000.0)
    assert high > 100.0
    assert tall.needed == pytest.approx(SAFETY * tall.force * high / (2.0 * tall.friction * 25.0))
    assert f"{high:.0f} mm over the seat, where the work tips before it slips" in grip_words(tall)
    assert with_grip(("round",), (tall,))[0 if tall.enough is False else 1] == grip_words(tall)
    with pytest.raises(ValueError, match="half of the seat"):
        tipping_force(600.0, 100.0, 0.0, 0.12)


@pytest.mark.parametrize(("feature", "kind"), [("top", "face"), ("right", "edge")])
@pytest.mark.parametrize("straps", [0, 2])
def test_passes_are_no_deeper_than_the_clamps_hold(
    block: tuple[Part, Settings, StockReport, PlannedSetup], straps: int, feature: str, kind: Work
) -> None:
    """Force grows with depth (Kienzle, one chip thickness): a vise, or two straps, that give a third of what a cut wants get passes
    a third as deep or less, and the note says how deep; clamps that give enough change no pass."""
    part, settings, stock, planned = block
    far = tuple(replace(b, low=(900.0, 900.0, 0.0), high=(916.0, 916.0, 30.0)) for b in strapped(straps).boxes)
    planned = replace(planned, features=(feature,), hold=replace(strapped(straps), boxes=far) if straps else planned.hold)
    (full,) = grips_of(planned, part, settings, stock)
    shop = settings.tooling
    weak, strong = (
        replace(settings, tooling=replace(shop, vise=replace(shop.vise, force=force, strap_force=force / max(straps, 1))))
        for force in (full.needed / 3.0, 100.0 * full.needed)
    )
    kept, free = (rows_for(planned, 2, part, one, stock) for one in (weak, strong))
    cutter = next(c for c in shop.cutters if c.name == full.cutter)
    data = speed_feed(shop, IRON, cutter, kind)
    assert isinstance(data, CutData)
    assert data.load.force is not None
    allowed = data.load.depth * full.force / data.load.force / 3.0

    assert max(_steps(free, kind)) > allowed + 0.1
    assert max(_steps(kept, kind)) <= allowed + 1e-6
    assert sum(_steps(kept, kind)) == pytest.approx(sum(_steps(free, kind)))
    told = ["".join(map(str, words)) for words in kept.notes]
    assert any(f"{feature}: the {full.cutter} cuts no deeper than" in line for line in told)


def _steps(setup: Setup, kind: str) -> list[float]:
    """Return what each pass goes down: of a face from its 3 mm of stock; of an edge's rough cut from the casting's top to 1 mm
    below its foot, 34 mm."""
    rows = [row for row in setup.rows if row.action == kind and (kind == "face" or "rough" in row.note)]
    levels = sorted({round(row.z, 6) for row in rows if row.z is not None}, reverse=True)
    top = levels[-1] + {"face": 3.0, "edge": 34.0}[kind]
    return [a - b for a, b in zip([top, *levels], levels, strict=False)]


@pytest.mark.parametrize("name", ["zinc", "magnesium"])
def test_an_alloy_of_unknown_force_gets_no_figure(block: tuple[Part, Settings, StockReport, PlannedSetup], name: str) -> None:
    """No published force, no number: nothing is guessed."""
    part, settings, stock, planned = block

    assert grips_of(planned, replace(part, alloy=name), settings, stock) == ()


@pytest.mark.parametrize(("friction", "safety"), [(0.0, 2.0), (-0.1, 2.0), (0.1, 0.5)])
def test_no_friction_holds_nothing(friction: float, safety: float) -> None:
    """A coefficient of nothing, or a safety below 1, is a mistake."""
    with pytest.raises(ValueError, match="must be above 0"):
        clamp_force(100.0, friction, safety)

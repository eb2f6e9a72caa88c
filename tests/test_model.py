"""Models: what a model.py must hold, parameters and their units, and what it says when the model is wrong."""

import math
import sys
from pathlib import Path

import pytest

from geom.errors import EvenstockError, GeometryError, JobError
from geom.model.model import ModelResult, load_model

HEAD = """
from dataclasses import dataclass
import cadquery as cq
from geom.model.feature import Boss, Face, Hole, hole
from geom.model.model import count, degrees, inch, mm
"""

BLOCK = (
    HEAD
    + """
@dataclass(frozen=True)
class Parameters:
    width: float = mm(60, "over the sides")
    depth: float = inch("1 1/2")
    stock: float = mm(3)
    tilt: float = degrees(2.5)
    holes: int = count(2)
    offset: float = 0.0


def casting(p):
    return cq.Workplane("XY").box(p.width, p.depth, 20 + p.stock, centered=(True, True, False))


def features(p):
    drilled = [Hole(f"hole {i + 1}", (p.offset + 10.0 * i, 0.0, 20.0), (0.0, 0.0, 1.0), 8.0) for i in range(p.holes)]
    return [Face("top", (0.0, 0.0, 20.0), (0.0, 0.0, 1.0)), *drilled]
"""
)


def built(folder: Path, text: str, units: str = "mm", **overrides: str | float) -> ModelResult:
    """Write a model and load it."""
    path = folder / "model.py"
    path.write_text(text, encoding="utf-8")
    return load_model(path, overrides, units, "job.toml")


def refusal(folder: Path, text: str, **overrides: str | float) -> str:
    """Return the paragraph a model is refused with."""
    with pytest.raises(EvenstockError) as caught:
        built(folder, text, "mm", **overrides)
    says = str(caught.value)
    assert "\n" not in says
    assert "Traceback" not in says
    return says


# --- what comes out ---------------------------------------------------------


def test_a_model_gives_its_casting_and_the_part_machined_out_of_it(tmp_path: Path) -> None:
    """Closed form: 60 x 38.1 x 23 rough; less 3 mm off the top and two 8 mm holes through 20."""
    made = built(tmp_path, BLOCK)

    assert made.casting.volume == pytest.approx(60 * 38.1 * 23)
    assert made.finished.volume == pytest.approx(60 * 38.1 * 20 - 2 * math.pi * 16 * 20)
    assert [f.name for f in made.features] == ["top", "hole 1", "hole 2"]


def test_parameters_come_back_as_the_model_had_them(tmp_path: Path) -> None:
    """Lengths in mm: 1 1/2 in is 38.1 mm exactly."""
    assert built(tmp_path, BLOCK).parameters == {
        "width": 60.0,
        "depth": 38.1,
        "stock": 3.0,
        "tilt": 2.5,
        "holes": 2.0,
        "offset": 0.0,
    }


@pytest.mark.parametrize(
    ("value", "units", "mm"),
    [
        (80.0, "mm", 80.0),
        ("80", "mm", 80.0),
        ("2 in", "mm", 50.8),
        (2.0, "inch", 50.8),
        ("3/4", "inch", 19.05),
        ("30 mm", "inch", 30.0),
    ],
)
def test_a_length_is_set_in_the_jobs_units_or_its_own(tmp_path: Path, value: str | float, units: str, mm: float) -> None:
    """25.4 mm to the inch; text may carry its own unit."""
    made = built(tmp_path, BLOCK, units, width=value, holes=1)

    assert made.parameters["width"] == pytest.approx(mm, rel=1e-12)
    assert made.casting.box[1][0] == pytest.approx(mm / 2)


def test_an_angle_and_a_count_are_not_lengths(tmp_path: Path) -> None:
    """In an inch job 3 degrees stays 3 degrees and 4 holes stay 4."""
    made = built(tmp_path, BLOCK, "inch", tilt="3 deg", holes="3")

    assert (made.parameters["tilt"], made.parameters["holes"]) == (3.0, 3.0)
    assert len(made.features) == 4


def test_a_model_may_finish_the_part_itself(tmp_path: Path) -> None:
    """finished(p, rough) gets the casting that casting(p) returned, and need declare no features."""
    text = (
        BLOCK.split("def features")[0] + "def finished(p, rough):\n    return rough.cut(cq.Workplane('XY').circle(5).extrude(50))\n"
    )
    made = built(tmp_path, text)

    assert made.casting.volume - made.finished.volume == pytest.approx(math.pi * 25 * 23)
    assert made.features == ()


def test_what_a_model_prints_does_not_reach_stdout(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """--json promises one document on stdout and nothing else."""
    built(tmp_path, BLOCK + "\nprint('made by hand')\n")
    out, err = capsys.readouterr()

    assert out == ""
    assert "made by hand" in err


def test_a_model_leaves_nothing_behind(tmp_path: Path) -> None:
    """No cache folder in the job, no module in the interpreter, and two models do not see each other."""
    before = set(sys.modules)
    built(tmp_path, BLOCK)
    built(tmp_path, BLOCK.replace("mm(60", "mm(70"))

    assert [p.name for p in tmp_path.iterdir()] == ["model.py"]
    assert not {name for name in set(sys.modules) - before if "model" in name and not name.startswith(("geom", "cadquery", "OCP"))}


def test_the_same_model_gives_the_same_numbers_twice(tmp_path: Path) -> None:
    """Same input, same faces in the same order."""
    first, second = built(tmp_path, BLOCK), built(tmp_path, BLOCK)

    assert first.finished.surfaces == second.finished.surfaces


# --- parameters that cannot be ----------------------------------------------


def test_an_unknown_parameter_names_the_nearest(tmp_path: Path) -> None:
    """A slip of the finger is found."""
    says = refusal(tmp_path, BLOCK, widht=70)

    assert says.startswith("job.toml: parameter 'widht' is not one of the model's (did you mean 'width'?)")
    assert "depth, stock" in says


@pytest.mark.parametrize("value", [0, -5, "-5 mm", math.nan, math.inf, "wide", "5 furlongs", "1/0"])
def test_an_impossible_length_names_the_parameter(tmp_path: Path, value: str | float) -> None:
    """Zero, negative, NaN, infinity and nonsense."""
    assert refusal(tmp_path, BLOCK, width=value).startswith("job.toml: parameter 'width':")


def test_an_impossible_angle_or_count_names_the_parameter(tmp_path: Path) -> None:
    """Half a hole and an angle in words."""
    assert "'holes': '2.5' is not a whole number" in refusal(tmp_path, BLOCK, holes="2.5")
    assert "'holes': 0; it must be 1 or more" in refusal(tmp_path, BLOCK, holes=0)
    assert "'tilt': 'steep' is not an angle" in refusal(tmp_path, BLOCK, tilt="steep")
    assert "'tilt': nan is not a finite number" in refusal(tmp_path, BLOCK, tilt="nan")


def test_the_models_own_check_speaks_with_file_and_line(tmp_path: Path) -> None:
    """A model may refuse what it cannot build."""
    check = (
        "    def __post_init__(self):\n        if self.width > 100:\n            raise ValueError('wider than the mill travels')\n"
    )
    says = refusal(tmp_path, BLOCK.replace("\n\ndef casting", f"\n{check}\n\ndef casting"), width=120)

    assert "wider than the mill travels" in says
    assert says.startswith("model.py, line ")


# --- models that are wrong --------------------------------------------------


def test_a_model_that_is_not_there_or_not_python_is_refused(tmp_path: Path) -> None:
    """Missing file, syntax error with its line, and a file of other bytes."""
    with pytest.raises(JobError, match="no such file"):
        load_model(tmp_path / "model.py", {}, "mm", "job.toml")
    with pytest.raises(JobError, match="cannot be read"):
        load_model(tmp_path, {}, "mm", "job.toml")

    assert refusal(tmp_path, HEAD + "\ndef casting(p:\n").startswith("model.py, line 7:")
    (tmp_path / "model.py").write_bytes(b"\x00\xff\x00")
    with pytest.raises(JobError, match=r"model\.py"):
        load_model(tmp_path / "model.py", {}, "mm", "job.toml")


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("def casting(p)", "def castin(p)", "has no function casting() (did you mean 'castin'?)"),
        ("def features(p)", "def feature(p)", "has no function features() (did you mean 'feature'?)"),
        ("class Parameters", "class Parameter", "no frozen dataclass Parameters"),
        ("(frozen=True)", "", "no frozen dataclass Parameters"),
        ("mm(3)", "mm('three')", "parameter 'stock': 'three' is not a finite number"),
        ("mm(3)", "mm(0)", "parameter 'stock': 0 mm; it must be above 0 mm"),
        ("def casting(p):", "def casting(p):\n    return 5", "casting(): int is not a CadQuery shape"),
        ("def casting(p):", "def casting(p):\n    return None", "casting(): NoneType is not a CadQuery shape"),
        ("def features(p):", "def features(p):\n    return 'top'", "features() returned str"),
        ("def features(p):", "def features(p):\n    return [3]", "a list with int"),
        ('f"hole {i + 1}"', '"hole"', "2 features are called 'hole'"),
        ("(0.0, 0.0, 1.0), 8.0)", "(0.0, 0.0, 1.0), -8.0)", "feature 'hole 1': diameter -8 mm"),
        ("def casting(p)", "def casting()", "TypeError"),
    ],
)
def test_a_model_without_what_it_must_hold_is_told_so(tmp_path: Path, old: str, new: str, says: str) -> None:
    """Each gap has its own plain paragraph that starts with the file's name."""
    assert old in BLOCK
    message = refusal(tmp_path, BLOCK.replace(old, new))

    assert says in message
    assert message.startswith("model.py")


@pytest.mark.parametrize(
    ("fault", "says"),
    [
        ("1 / 0", "ZeroDivisionError: division by zero"),
        ("raise SystemExit('no')", "SystemExit: no"),
        ("p.hieght", "AttributeError: 'Parameters' object has no attribute 'hieght'"),
        ("cq.Workplane('XY').box(1, 1, 1).edges().fillet(2)", ""),
        ("import no_such_module", "ModuleNotFoundError: No module named 'no_such_module'"),
        ("raise ValueError('two\\nlines')", "ValueError: two lines"),
    ],
)
def test_a_fault_inside_the_model_is_one_paragraph_with_its_line(tmp_path: Path, fault: str, says: str) -> None:
    """Division by zero, a typing slip, a fillet that does not fit, an exit: file and line, no traceback."""
    text = BLOCK.replace("def casting(p):", f"def casting(p):\n    {fault}")
    line = text[: text.index(fault)].count("\n") + 1
    says_all = refusal(tmp_path, text)

    assert says_all.startswith(f"model.py, line {line}: ")
    assert says in says_all


def test_a_feature_that_misses_the_casting_is_named(tmp_path: Path) -> None:
    """The default finished part checks every cut."""
    with pytest.raises(GeometryError, match=r"model\.py: feature 'hole 1': removes no metal"):
        built(tmp_path, BLOCK, offset=500)


def test_a_casting_in_two_pieces_is_refused(tmp_path: Path) -> None:
    """One body a job."""
    text = BLOCK.replace("return cq.Workplane", "return cq.Workplane('XY').pushPoints([(0, 0), (900, 0)])", 1).replace(
        '("XY").box', ".box"
    )

    assert "casting()" in refusal(tmp_path, text)


def test_ctrl_c_in_a_model_stops_the_program(tmp_path: Path) -> None:
    """An interrupt is not the model's fault and is not turned into one."""
    with pytest.raises(KeyboardInterrupt):
        built(tmp_path, BLOCK.replace("def casting(p):", "def casting(p):\n    raise KeyboardInterrupt"))

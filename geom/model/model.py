"""Runs a job's `model.py` and gives back its two solids.

A model is code and is trusted: it runs with all the rights of the person who
starts it, so run only models from people you would lend the computer to. (A
pair of STEP files holds no code.)

A model file has

    Parameters          a frozen dataclass of numbers: mm(100), inch("1 1/2"), degrees(2.5), count(3)
    casting(p)          the rough casting: a CadQuery Workplane or Shape
    features(p)         what is machined: a list of `geom.model.feature` records with names of their own
    finished(p, rough)  optional; without it the finished part is the casting less the features' cuts

all in mm. `casting` is built first and handed to `finished`, so that as-cast
faces are the casting's own, exactly. The file stands alone: modules beside it
are not found. Knows nothing of recognition or stock.
"""

import contextlib
import dataclasses
import math
import sys
import traceback
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import ModuleType
from typing import Any, Final, TypeAlias

from geom.errors import EvenstockError, GeometryError, JobError, nearest
from geom.kernel.shape import Solid, from_cadquery
from geom.model.feature import Bore, Boss, Face, Feature, Hole, Slot
from geom.units import length

_MODULE: Final = "evenstock_model"
_UNIT, _LEAST, _SAYS = "unit", "least", "says"

Value: TypeAlias = str | float


@dataclass(frozen=True, slots=True, eq=False)
class ModelResult:
    """What a model built: its solids, the features it declares, and the parameters it was built with (lengths mm)."""

    finished: Solid
    casting: Solid
    features: tuple[Feature, ...]
    parameters: dict[str, float]


# --- parameters, as the model file writes them ------------------------------


def mm(default: float, says: str = "", least: float | None = None) -> Any:
    """Return a length parameter, mm; above 0 unless `least` says otherwise."""
    return _parameter(default, "length", says, least)


def inch(default: Value, says: str = "", least: float | None = None) -> Any:
    """Return a length parameter given in inches, text such as "1 1/2" allowed; the model gets it in mm."""
    return _parameter(length(default, "inch", "inch()"), "length", says, least)


def degrees(default: float, says: str = "", least: float | None = None) -> Any:
    """Return an angle parameter, degrees; above 0 unless `least` says otherwise."""
    return _parameter(default, "degrees", says, least)


def count(default: int, says: str = "", least: int = 1) -> Any:
    """Return a whole-number parameter."""
    return _parameter(default, "count", says, least)


def _parameter(default: float, unit: str, says: str, least: float | None) -> Any:
    return field(default=default, metadata={_UNIT: unit, _SAYS: says, _LEAST: least})


# --- loading ----------------------------------------------------------------


def load_model(path: Path, overrides: Mapping[str, Value], units: str, label: str) -> ModelResult:
    """Run a model and return what it builds.

    Args:
        path: the model file.
        overrides: parameters to set: numbers, or text that may carry a unit.
        units: "mm" or "inch": of a length override without a unit.
        label: where the overrides come from, for messages ("job.toml").

    Raises:
        JobError: the file is missing or not such a model, or a parameter is unknown or impossible.
        GeometryError: the model fails, or does not give one sound solid each; the message gives file and line.
    """
    with _loaded(path) as module:
        parameters = _parameters(module, path, overrides, units, label)
        features = _features(module, path, parameters)
        rough = _run(path, _function(module, path, "casting"), parameters)
        casting = _solid(path, rough, "casting")
        finished = _solid(path, _finished(module, path, parameters, rough, features), "finished")
    return ModelResult(finished, casting, features, _numbers(parameters))


@contextlib.contextmanager
def _loaded(path: Path) -> Iterator[ModuleType]:
    """Yield the model file run as a module; its name is known to Python only meanwhile, and nothing is cached on disk."""
    module = ModuleType(_MODULE)
    module.__file__ = str(path)
    sys.modules[_MODULE] = module
    try:
        code = _compiled(path)
        _run(path, exec, code, module.__dict__)
        yield module
    finally:
        sys.modules.pop(_MODULE, None)


def _compiled(path: Path) -> Any:
    try:
        return compile(path.read_bytes(), str(path), "exec")
    except FileNotFoundError:
        raise JobError(
            f"{path}: there is no such file; put the model into the job folder or correct its name in job.toml"
        ) from None
    except OSError as error:
        raise JobError(f"{path}: cannot be read ({error.strerror}); check the file") from None
    except SyntaxError as error:
        raise JobError(f"{path.name}, line {error.lineno}: {error.msg}; correct the model") from None
    except ValueError as error:
        raise JobError(f"{path.name}: is not a Python file ({error}); give the model's source") from None


def _run(path: Path, function: Callable[..., Any], *arguments: Any) -> Any:
    """Return what a function of the model returns; what it prints goes to stderr, what it raises becomes one paragraph."""
    try:
        with contextlib.redirect_stdout(sys.stderr):
            return function(*arguments)
    except EvenstockError as error:
        raise type(error)(f"{_place(path, error)}: {error}") from None
    except (Exception, SystemExit) as error:  # noqa: BLE001 - the model is the user's own code: anything may come out of it
        says = " ".join(str(error).split()) or "no further word"
        raise GeometryError(f"{_place(path, error)}: {type(error).__name__}: {says}; correct the model") from None


def _place(path: Path, error: BaseException) -> str:
    """Return the file and the last line of the model that was running when an error arose."""
    lines = [frame.lineno for frame in traceback.extract_tb(error.__traceback__) if frame.filename == str(path)]
    return f"{path.name}, line {lines[-1]}" if lines else path.name


# --- what the file must hold ------------------------------------------------


def _function(module: ModuleType, path: Path, name: str) -> Callable[..., Any]:
    found = getattr(module, name, None)
    if not callable(found):
        known = [n for n, v in vars(module).items() if callable(v) and getattr(v, "__module__", "") == _MODULE]
        raise JobError(
            f"{path.name}: has no function {name}(){nearest(name, known)}; "
            "see the top of geom/model/model.py for what a model holds"
        )
    return found  # type: ignore[no-any-return]


def _features(module: ModuleType, path: Path, parameters: Any) -> tuple[Feature, ...]:
    if not hasattr(module, "features") and hasattr(module, "finished"):
        return ()
    found = _run(path, _function(module, path, "features"), parameters)
    if not isinstance(found, Sequence) or not all(isinstance(f, Face | Hole | Bore | Boss | Slot) for f in found):
        raise GeometryError(f"{path.name}: features() returned {_shown(found)}; return a list of Face, Hole, Bore, Boss and Slot")
    names = [feature.name for feature in found]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise GeometryError(f"{path.name}: {names.count(twice)} features are called {twice!r}; give each a name of its own")
    return tuple(found)


def _finished(module: ModuleType, path: Path, parameters: Any, rough: Any, features: tuple[Feature, ...]) -> Any:
    if hasattr(module, "finished"):
        return _run(path, _function(module, path, "finished"), parameters, rough)
    from geom.model.casting import machine

    return _run(path, machine, rough, features)


def _solid(path: Path, body: Any, name: str) -> Solid:
    return body if isinstance(body, Solid) else from_cadquery(body, f"{path.name}: {name}()")


def _shown(value: Any) -> str:
    if isinstance(value, list | tuple):
        return f"a {type(value).__name__} with {', '.join(sorted({type(item).__name__ for item in value}))}"
    return type(value).__name__


# --- parameters -------------------------------------------------------------


def _parameters(module: ModuleType, path: Path, overrides: Mapping[str, Value], units: str, label: str) -> Any:
    kind = getattr(module, "Parameters", None)
    if not (isinstance(kind, type) and dataclasses.is_dataclass(kind) and kind.__dataclass_params__.frozen):  # type: ignore[attr-defined]
        raise JobError(f"{path.name}: has no frozen dataclass Parameters; add one, an empty one if the model has no parameters")
    fields = {f.name: f for f in dataclasses.fields(kind)}
    for name in overrides:
        if name not in fields:
            known = ", ".join(fields) or "none"
            raise JobError(f"{label}: parameter {name!r} is not one of the model's{nearest(name, list(fields))}; it has {known}")
    values = {name: _value(fields[name], value, units, f"{label}: parameter {name!r}") for name, value in overrides.items()}
    built = _run(path, lambda: kind(**values))
    for name in fields:
        _check(
            fields[name],
            getattr(built, name),
            f"{label}: parameter {name!r}" if name in values else f"{path.name}: parameter {name!r}",
        )
    return built


def _value(known: "dataclasses.Field[Any]", value: Value, units: str, where: str) -> float:
    """Return an override as the number the model wants: mm, degrees or a count."""
    match known.metadata.get(_UNIT, "length"):
        case "count":
            return _whole(value, where)
        case "degrees":
            return _angle(value, where)
    return length(value, units, where)


def _whole(value: Value, where: str) -> int:
    try:
        number = float(value)
    except ValueError:
        raise JobError(f"{where}: {value!r} is not a whole number") from None
    if not number.is_integer():
        raise JobError(f"{where}: {value!r} is not a whole number")
    return int(number)


def _angle(value: Value, where: str) -> float:
    text = str(value).strip().removesuffix("degrees").removesuffix("deg").removesuffix("°")
    try:
        return float(text)
    except ValueError:
        raise JobError(f"{where}: {value!r} is not an angle; write a number of degrees") from None


def _check(known: "dataclasses.Field[Any]", value: object, where: str) -> None:
    """Refuse a value that no part can have: not a number, not finite, or under the parameter's least."""
    unit = {"count": "", "degrees": " degrees"}.get(known.metadata.get(_UNIT, ""), " mm")
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise JobError(f"{where}: {value!r} is not a finite number; parameters are numbers (lengths mm, angles degrees)")
    if _UNIT not in known.metadata:
        return
    least = known.metadata[_LEAST]
    if least is None and not value > 0:
        raise JobError(f"{where}: {value:g}{unit}; it must be above 0{unit}")
    if least is not None and value < least:
        raise JobError(f"{where}: {value:g}{unit}; it must be {least:g}{unit} or more")


def _numbers(parameters: Any) -> dict[str, float]:
    return {f.name: float(getattr(parameters, f.name)) for f in dataclasses.fields(parameters)}

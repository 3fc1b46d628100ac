"""A training recipe: one TOML file, at most 30 options, read into a frozen dataclass."""

from __future__ import annotations

import dataclasses
import json
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path
from typing import Any

from classifier.errors import DataFileError

_STRONGEST = 100.0  # no weight or strength is meant to be larger; nan and infinity are refused

LITE = ("lite0", "lite1", "lite2")


def is_lite(backbone: str) -> bool:
    """Whether a backbone is one of those that ship, which are convolutions in two known stages."""
    return backbone in LITE


@dataclass(frozen=True, slots=True)
class Recipe:
    """Everything that decides how a network is trained; units and ranges beside each option."""

    name: str = "unnamed"
    backbone: str = "lite0"  # lite0, lite1, lite2, or NAME@FILE (training.backbones)
    size: int = 224  # px, side of the square that the network sees
    sources: tuple[str, ...] = ()  # empty: every source of the data
    sisters: tuple[str, ...] = ()  # sources, or several as "a+b", kept out of a further run each
    members: int = 1  # networks of different seeds whose weights are averaged
    sister_members: int = 0  # the same for each sister; 0: as many
    teacher: str = ""  # recipe (name or file) whose network this one also learns from
    epochs: int = 24
    batch: int = 128  # pictures a step
    rate: float = 6e-4  # peak learning rate of the backbone (AdamW)
    smoothing: float = 0.05  # label smoothing, 0 to 1
    mix: float = 0.5  # share of batches that are mixed (mixup or cutmix), 0 to 1
    style: float = 0.0  # share of batches whose feature statistics are mixed (MixStyle), 0 to 1
    zoom: float = 0.35  # smallest share of the frame's area in a training crop, 0 to 1
    turn: float = 180.0  # largest rotation, degrees
    light: float = 1.0  # strength of changes in light, colour and sharpness; 0 none
    negatives: float = 0.06  # share of each batch that shows no item
    material_weight: float = 0.5  # weight of the material head's loss
    route_weight: float = 0.3  # weight of the loss on streams summed from forms
    keep_weight: float = 0.0  # pull towards what the pretrained network saw (distillation)
    balance: float = 0.5  # 0: pictures as they come; 1: every form and source equally often
    weights: Mapping[str, float] = field(
        default_factory=dict, hash=False
    )  # of a source beside others, 1 if none
    layer_rate: float = 1.0  # factor of the rate from each stage of the backbone to the one before
    margin: float = 0.0  # logits that forms taken for each other must lie apart
    average: float = 0.998  # decay of the running average of the weights
    blend: float = 1.0  # share of the trained weights in the backbone, the rest pretrained
    views: tuple[float, ...] = (1.0, 0.7)  # centred squares seen in use, share of the short side
    seed: int = 0

    def __post_init__(self) -> None:
        """Refuse what can't be trained."""
        checks = {
            "name": bool(self.name),
            "backbone": is_lite(self.backbone) or not self.backbone.startswith(("lite", "@")),
            "size": 64 <= self.size <= 512 and self.size % 4 == 0,
            "members": 1 <= self.members <= 16,
            "sister_members": 0 <= self.sister_members <= 16,
            "weights": all(0 <= w <= _STRONGEST for w in self.weights.values()),
            "epochs": self.epochs >= 1,
            "turn": 0 <= self.turn <= 180,
            "rate": 0 < self.rate <= 1,
            "batch": self.batch >= 2,
            "views": len(self.views) > 0 and all(0 <= v <= 1 for v in self.views),
            "sisters": not (self.sources and self.sisters)
            or (set(self.left_out) <= set(self.sources) and len(self.sources) > 1),
        }
        shares = (
            "smoothing", "mix", "style", "negatives", "balance", "average", "zoom", "blend",
            "layer_rate",
        )  # fmt: skip
        for share in shares:
            checks[share] = 0 <= getattr(self, share) <= 1
        checks["style"] &= self.style == 0 or is_lite(self.backbone)
        for strength in ("light", "material_weight", "route_weight", "keep_weight", "margin"):
            checks[strength] = 0 <= getattr(self, strength) <= _STRONGEST
        for name, fine in checks.items():
            if not fine:
                raise DataFileError(f"recipe: {name} = {getattr(self, name)!r} is out of range")

    @property
    def left_out(self) -> tuple[str, ...]:
        """Sources that a sister never saw: they judge and calibrate."""
        return tuple(source for sister in self.sisters for source in sister.split("+"))

    def members_for(self, sources: Sequence[str]) -> int:
        """Say how many networks are averaged for some sources: a sister may have fewer."""
        sister = list(sources) != list(self.sources)
        return (sister and self.sister_members) or self.members


def load_recipe(path: Path) -> Recipe:
    """Read a recipe.

    Raises
    ------
    DataFileError
        Not there, not TOML, an unknown option, a wrong type, or a value out of range.
    """
    try:
        values = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise DataFileError(f"recipe {path} does not exist", file=str(path)) from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise DataFileError(f"recipe {path}: {error}", file=str(path)) from error
    return make_recipe(values, file=str(path))


def find_recipe(name: str) -> Recipe:
    """Load a shipped recipe by name, or a file by path."""
    shipped = files("training") / "recipes" / f"{name}.toml"
    if shipped.is_file():
        return load_recipe(Path(str(shipped)))
    if not Path(name).is_file():
        names = sorted(
            entry.name.removesuffix(".toml")
            for entry in (files("training") / "recipes").iterdir()
            if entry.name.endswith(".toml")
        )
        raise DataFileError(f"no recipe {name!r}; shipped are {', '.join(names)}, or give a file")
    return load_recipe(Path(name))


def teacher_of(recipe: Recipe) -> Recipe | None:
    """Load the recipe whose network a recipe also learns from, if it names one.

    Raises
    ------
    DataFileError
        There is none of that name, or it is taught itself.
    """
    if not recipe.teacher:
        return None
    teacher = find_recipe(recipe.teacher)
    if teacher.teacher:
        raise DataFileError(
            f"recipe {recipe.name}: its teacher {recipe.teacher} is itself taught by "
            f"{teacher.teacher}; name that one, or a recipe without a teacher"
        )
    return teacher


def make_recipe(values: dict[str, Any], *, file: str = "recipe") -> Recipe:
    """Build a recipe from plain values, refusing unknown options and wrong types."""
    defaults = dataclasses.asdict(Recipe())
    if unknown := sorted(set(values) - set(defaults)):
        raise DataFileError(
            f"{file}: unknown option {', '.join(unknown)}; allowed are {', '.join(defaults)}",
            file=file,
        )
    return Recipe(**{name: _coerce(name, value, defaults[name]) for name, value in values.items()})


def _coerce(name: str, value: Any, default: Any) -> Any:
    if isinstance(default, tuple):
        if not isinstance(value, list | tuple):
            raise DataFileError(f"recipe: {name} must be a list, not {value!r}")
        return tuple(_coerce(name, each, default[0] if default else "") for each in value)
    if isinstance(default, dict) and isinstance(value, dict):
        return {key: _coerce(f"{name}.{key}", each, 1.0) for key, each in value.items()}
    if isinstance(default, float) and isinstance(value, int) and not isinstance(value, bool):
        return float(value)
    if type(value) is not type(default):
        raise DataFileError(f"recipe: {name} must be a {type(default).__name__}, not {value!r}")
    return value


def dump_recipe(recipe: Recipe) -> str:
    """Write every option, so that the file alone repeats the run."""
    lines = []
    for name, value in dataclasses.asdict(recipe).items():
        lines.append(f"{name} = {_toml(value)}")
    return "\n".join(lines) + "\n"


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_toml(each)}" for key, each in value.items()) + " }"
    return json.dumps(list(value) if isinstance(value, tuple) else value)

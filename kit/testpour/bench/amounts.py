"""The amounts of a mix, read from text or numbers, with every problem noted before one is raised."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from numbers import Integral

from testpour.common.problems import Problems, noted
from testpour.common.units import to_number
from testpour.study.caution_rules import Cautions
from testpour.study.cautions import check_batch, check_settings
from testpour.study.materials import RESIN_DENSITY, drops_to_mass, to_mass, to_volume
from testpour.study.scale import unit_of, weighable
from testpour.study.study import Study

WHOLE = "whole mix"


class WeighOutProblems(Problems):
    """The amounts cannot be worked out or must not be weighed; `problems` lists each reason."""

    def __init__(self, problems: Iterable[str]) -> None:
        super().__init__("Weigh-out", problems)


@dataclass(frozen=True)
class Amounts:
    """The amounts of one mix."""

    resin: float  # g
    catalyst: float  # % of resin
    pots: dict[str, tuple[float, float]]  # name to its share of the mix (shares sum to 1) and pigment in % of resin
    step: float  # of the scale, g
    unit: tuple[str, float]  # what the scale reads in, and g in one
    density: float  # of the resin, g/mL
    catalyst_density: float | None  # g/mL, if known
    drops_per_mL: float | None  # if the dropper was calibrated
    cautions: Cautions  # warnings only; a refusal is a problem


def read_amounts(
    resin: str | float | None, mould_volume: str | float | None, waste: str | float, catalyst: str | float,
    pigment: str | float | Mapping[str, str | float] | None, pots: int | Mapping[str, float],
    study: Study | None, densities: tuple[str | float | None, str | float | None],
    drops_per_mL: float | None, scale: str | float
) -> Amounts:
    """The `Amounts` asked for; parameters as in `weighing.weigh_out`; `densities` are those of resin and catalyst.

    Raises `WeighOutProblems` with every problem and every refusal.
    """
    problems: list[str] = []
    known = study.resin if study is not None else {}
    density = _first(densities[0], known.get("density"), RESIN_DENSITY)
    density = weighable(problems, density, "g/mL", "resin density")
    thin = _first(densities[1], known.get("catalyst_density"))
    thin = None if thin is None else weighable(problems, thin, "g/mL", "catalyst density")
    per_mL = None if drops_per_mL is None else weighable(problems, drops_per_mL, "drops/mL", "drops per mL")
    mass = _resin(problems, resin, mould_volume, waste, density)
    share = _catalyst(problems, catalyst, mass, per_mL, thin)
    split = _split(problems, pots, pigment)
    step = weighable(problems, scale, "g", "scale resolution")
    cautions = _cautions(problems, mass, share, split, study)
    if problems:
        raise WeighOutProblems(problems)
    return Amounts(mass, share, split, step, unit_of(scale), density, thin, per_mL, cautions)


def _first(*values):
    return next((value for value in values if value is not None), None)


def _resin(problems, resin, mould_volume, waste, density):
    """Resin in g."""
    if (resin is None) == (mould_volume is None):
        problems.append("resin: give resin, such as 200 g, or mould_volume, such as 150 mL, and not both.")
        return math.nan
    extra = weighable(problems, waste, "%", "waste", zero=True)
    with noted(problems):
        if resin is not None:
            return weighable(problems, to_mass(resin, density, "resin"), "g", "resin")
        volume = weighable(problems, to_volume(mould_volume, "mould volume"), "mL", "mould volume")
        return volume * density * (1 + extra / 100)
    return math.nan


def _catalyst(problems, catalyst, mass, per_mL, density):
    """Catalyst in % of resin; drops only from a calibrated dropper."""
    with noted(problems):
        number, unit = to_number(catalyst, "catalyst") if isinstance(catalyst, str) else (catalyst, "%")
        if unit.casefold() in ("drop", "drops"):
            catalyst = 100 * drops_to_mass(number, per_mL, density) / mass
            if math.isnan(catalyst):
                return catalyst  # the problem is reported already
        return weighable(problems, catalyst, "%", "catalyst")
    return math.nan


def _split(problems, pots, pigment):
    """Pot name to (share, pigment %)."""
    by_name = isinstance(pigment, dict)
    if by_name and not isinstance(pots, dict) and pots == 1:
        pots = dict.fromkeys(pigment, 1)
    if not isinstance(pots, dict):
        if isinstance(pots, bool) or not isinstance(pots, Integral) or pots < 1:
            problems.append(f"pots: {pots!r} is not a number of pots. Give 1, 2, 3 ... or names with their shares.")
            pots = 1
        pots = {f"pot {n}": 1 for n in range(1, int(pots) + 1)}
    if not pots or WHOLE in pots:
        problems.append(f"pots: name at least one pot, and call none of them {WHOLE!r}.")
    paste = pigment if by_name else dict.fromkeys(pots, 0.0 if pigment is None else pigment)
    if strange := [str(name) for name in paste if name not in pots]:
        problems.append(f"pigment: {', '.join(strange)} is not a pot of this mix; it has {', '.join(map(str, pots))}.")
    parts = {name: weighable(problems, part, "", f"share of {name}") for name, part in pots.items()}
    load = {name: weighable(problems, paste.get(name, 0.0), "%", f"pigment of {name}", zero=True) for name in pots}
    return {name: (parts[name] / sum(parts.values()), load[name]) for name in pots}


def _cautions(problems, mass, catalyst, split, study):
    """The warnings; refusals become problems."""
    load = max((pigment for _, pigment in split.values() if not math.isnan(pigment)), default=0.0)
    cautions = check_settings(study, {"catalyst": None if math.isnan(catalyst) else catalyst, "pigment": load})
    cautions += Cautions() if math.isnan(mass) else check_batch(mass * (1 + (0 if math.isnan(catalyst) else catalyst) / 100))
    problems.extend(cautions.refusals)
    return Cautions(warnings=cautions.warnings)

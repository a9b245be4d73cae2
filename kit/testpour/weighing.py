"""What to weigh out: one catalysed mix, shared over one or several colour pots, on the scale at hand.

Pigment waits in each pot before any catalyst is out; resin and catalyst are mixed once and weighed on
top, so every pot carries the same catalyst percentage. Percentages are by mass of resin.
"""

import math
from dataclasses import dataclass, field
from fractions import Fraction
from html import escape

import pandas as pd

from testpour.cautions import Cautions, check_resin, check_settings
from testpour.materials import RESIN_DENSITY, drops_to_mass, to_mass, to_volume
from testpour.units import UnitProblem, show, to_number, to_unit

WHOLE = "whole mix"


class WeighOutProblems(ValueError):
    """The amounts cannot be worked out or must not be weighed; `problems` lists each reason."""

    def __init__(self, problems):
        self.problems = list(problems)
        more = f" ({len(self.problems)} in all; see `.problems`)" if len(self.problems) > 1 else ""
        super().__init__(f"Weigh-out: {self.problems[0]}{more}")


@dataclass(frozen=True)
class WeighOut:
    """What to weigh out for one mix.

    Parameters
    ----------
    table : DataFrame
        One row a pot, and a row ``"whole mix"`` where there are several pots. Columns in g: resin,
        catalyst, mix (both together), pigment, total; resin_mL; catalyst_mL and drops where they can be
        known; catalyst_low and catalyst_high, the percentage delivered by this scale.
    catalyst : float
        Target, % of resin.
    resin_mass, catalyst_mass : float
        Of the whole mix, g, as read on the scale.
    delivered : tuple of float
        Lowest and highest catalyst % this scale may deliver.
    scale_resolution : float
        Step of the scale, g.
    smallest_batch : float
        Least resin, g, from which up the catalyst is delivered within a tenth of its target.
    steps : tuple of str
        The order of work.
    cautions : Cautions
    """

    table: pd.DataFrame = field(repr=False)
    catalyst: float
    resin_mass: float
    catalyst_mass: float
    delivered: tuple
    scale_resolution: float
    smallest_batch: float
    steps: tuple
    cautions: Cautions

    def sentence(self):
        """The amounts and how well this scale can weigh them, in sentences."""
        low, high = self.delivered
        step = show(self.scale_resolution, "g", 6)
        text = (
            f"{_grams(self.resin_mass, self)} of resin takes {_grams(self.catalyst_mass, self)} of catalyst. "
            f"On a scale that reads {step} each tared reading is uncertain by half a step, so the mix carries "
            f"between {show(low, '%', 4)} and {show(high, '%', 4)} catalyst for a target of {show(self.catalyst, '%')}. "
        )
        smallest = f"{_grams(self.smallest_batch, self)} of resin"
        if self.resin_mass < self.smallest_batch:
            text += f"That is a small mix for this scale: from {smallest} up the catalyst is within a tenth of its target. "
            text += "Mix more at once or use a finer scale. "
        else:
            text += f"The least for this scale is {smallest}, from which up the catalyst is within a tenth of its target. "
        return (text + (self.cautions.sentence() if self.cautions.warnings else "")).strip()

    __repr__ = sentence

    def _repr_html_(self):
        steps = "".join(f"<li>{escape(step)}</li>" for step in self.steps)
        return f"{self.shown().to_html()}<ol>{steps}</ol><p>{escape(self.sentence())}</p>"

    def shown(self):
        """`table` as text to read at the scale."""
        digits = _decimals(self.scale_resolution)
        heads = {"resin": "resin (g)", "resin_mL": "resin (mL)", "catalyst": "catalyst (g)", "mix": "mix (g)",
                 "catalyst_mL": "catalyst (mL)", "drops": "drops", "pigment": "pigment (g)", "total": "total (g)",
                 "catalyst_low": "catalyst at least (%)", "catalyst_high": "catalyst at most (%)"}  # fmt: skip
        places = {"resin_mL": 0, "catalyst_mL": 2, "drops": 0, "catalyst_low": 3, "catalyst_high": 3}
        text = {head: [f"{v:.{places.get(name, digits)}f}" for v in self.table[name]]
                for name, head in heads.items() if name in self.table}  # fmt: skip
        return pd.DataFrame(text, index=self.table.index)


def weigh_out(resin=None, *, mould_volume=None, waste="5 %", catalyst="1.5 %", pigment=None, pots=1, study=None,
              resin_density=None, catalyst_density=None, drops_per_mL=None, scale_resolution="0.1 g"):  # fmt: skip
    """What to weigh out for one mix.

    Parameters
    ----------
    resin : float or str, optional
        Resin to weigh, g or text: ``"200 g"``, ``"8 oz"``, ``"350 mL"``. Give this or `mould_volume`.
    mould_volume : float or str, optional
        Volume of the moulds together, mL or text. Resin = volume x liquid density x (1 + waste): liquid resin
        fills the mould, and what it shrinks by is lost in the casting, not made up.
    waste : float or str
        Extra resin that stays in the cup, % of what the mould holds; only with `mould_volume`.
    catalyst : float or str
        % of resin, or text; drops (``"12 drops"``) only with a calibrated dropper.
    pigment : float, str or dict, optional
        Paste, % of resin; or pot name to %.
    pots : int or dict
        How many equal pots, or pot name to its share (parts of any size). With `pigment` a dict and no
        pots named, its names are the pots.
    study : Study, optional
        Supplies densities where they are not given, and the kind of resin.
    resin_density, catalyst_density : float or str, optional
        g/mL. Without a study the resin is 1.10 and the catalyst unknown.
    drops_per_mL : float, optional
        Counted with this dropper and this catalyst.
    scale_resolution : float or str
        Step of the scale, g.

    Returns
    -------
    WeighOut

    Raises
    ------
    WeighOutProblems
        With every amount that cannot be used, and every refusal.
    """
    problems = []
    read = _reader(problems)
    known = study.resin if study is not None else {}
    density = read(resin_density or known.get("density", RESIN_DENSITY), "g/mL", "resin density", least=0)
    thin = catalyst_density or known.get("catalyst_density")
    thin = read(thin, "g/mL", "catalyst density", least=0) if thin is not None else None
    per_mL = read(drops_per_mL, "drops/mL", "drops per mL", least=0) if drops_per_mL is not None else None
    step = read(scale_resolution, "g", "scale resolution", least=0)
    mass = _resin_mass(resin, mould_volume, waste, density, read, problems)
    share = _catalyst(catalyst, mass, per_mL, thin, read, problems)
    split = _split(pots, pigment, read, problems)
    cautions = _cautions(share, split, study, problems)
    if problems:
        raise WeighOutProblems(problems)
    return _weighed(mass, share, split, step, (density, thin, per_mL), cautions)


def smallest_batch(catalyst, scale_resolution, tolerance=0.1):
    """Least resin (g) from which up a scale delivers the catalyst within `tolerance` of its target.

    Both amounts are rounded to the scale's step and each reading is uncertain by half a step. Worked in
    fractions, so exact: one step below it the delivered range reaches beyond the tolerance.

    Parameters
    ----------
    catalyst : float
        % of resin, above 0.
    scale_resolution : float
        g.
    tolerance : float
        Of the target; 0.1 is a tenth.
    """
    share, off = Fraction(str(catalyst)) / 100, Fraction(str(tolerance))
    half = Fraction(1, 2)

    def fails(steps):
        out = math.floor(share * steps + half)
        low, high = (1 - off) * share * (steps + half), (1 + off) * share * (steps - half)
        return out - half < low or out + half > high

    steps = math.ceil(1 / (off * share) + (1 + 1 / off) * half)  # enough whichever way the catalyst rounds
    while not fails(steps - 1):
        steps -= 1
    return float(steps * Fraction(str(scale_resolution)))


def _reader(problems):
    """A function that reads one quantity, and notes what is wrong with it instead of raising."""

    def read(value, unit, what, least=None, zero=False):
        try:
            number = to_mass(value, what=what) if unit == "g" else to_unit(value, unit, what)
        except (UnitProblem, TypeError) as problem:
            problems.append(str(problem))
            return math.nan
        if not math.isfinite(number) or (least is not None and not (number > least or zero and number == least)):
            bound = "" if least is None else f" {'of at least' if zero else 'above'} {least:g} {unit}"
            problems.append(f"{what}: {value} is no amount to weigh. Give a number{bound}.")
            return math.nan
        return number

    return read


def _resin_mass(resin, mould_volume, waste, density, read, problems):
    if (resin is None) == (mould_volume is None):
        problems.append("resin: give either resin, such as 200 g, or mould_volume, such as 150 mL, and not both.")
        return math.nan
    try:
        value = to_mass(resin, density, "resin") if resin is not None else to_volume(mould_volume, "mould volume")
    except UnitProblem as problem:
        problems.append(str(problem))
        return math.nan
    if resin is not None:
        return read(value, "g", "resin", least=0)
    return read(value, "mL", "mould volume", least=0) * density * (1 + read(waste, "%", "waste", 0, True) / 100)


def _catalyst(catalyst, mass, per_mL, density, read, problems):
    """The catalyst in % of resin."""
    try:
        number, unit = to_number(catalyst, "catalyst") if isinstance(catalyst, str) else (catalyst, "%")
        if unit.casefold() in ("drop", "drops"):
            return read(100 * drops_to_mass(number, per_mL, density) / mass, "%", "catalyst", least=0)
    except UnitProblem as problem:
        problems.append(str(problem))
        return math.nan
    return read(catalyst, "%", "catalyst", least=0)


def _split(pots, pigment, read, problems):
    """Pot name to (share of the mix, pigment %); shares sum to 1."""
    if isinstance(pigment, dict) and pots == 1:
        pots = dict.fromkeys(pigment, 1)
    if not isinstance(pots, dict):
        if isinstance(pots, bool) or not isinstance(pots, int) or pots < 1:
            problems.append(f"pots: {pots!r} is no number of pots. Give 1, 2, 3 ... or names with their shares.")
            return {}
        pots = {f"pot {n}": 1 for n in range(1, pots + 1)}
    paste = pigment if isinstance(pigment, dict) else dict.fromkeys(pots, pigment or 0.0)
    strange = [str(name) for name in paste if name not in pots]
    if strange:
        problems.append(f"pigment: {', '.join(strange)} is no pot of this mix; it has {', '.join(map(str, pots))}.")
    if not pots or WHOLE in pots:
        problems.append(f"pots: name at least one pot, and none {WHOLE!r}.")
    parts = {name: read(part, "", f"share of {name}", least=0) for name, part in pots.items()}
    load = {name: read(paste.get(name, 0.0), "%", f"pigment of {name}", 0, True) for name in pots}
    return {name: (parts[name] / sum(parts.values()), load[name]) for name in pots}


def _cautions(share, split, study, problems):
    """Warnings to carry; refusals become problems."""
    load = max((pigment for _, pigment in split.values() if not math.isnan(pigment)), default=0.0)
    found = check_settings(None, {"catalyst": None if math.isnan(share) else share, "pigment": load})
    if study is not None and study.resin.get("kind"):
        found += check_resin(study.resin["kind"])
    problems.extend(found.refusals)
    return Cautions(warnings=found.warnings)


def _on_scale(amount, step):
    """`amount` rounded to whole steps of the scale, as an exact fraction."""
    step = Fraction(str(step))
    return math.floor(Fraction(str(amount)) / step + Fraction(1, 2)) * step


def _delivered(resin, catalyst, step):
    """Lowest and highest catalyst % where each reading is uncertain by half a step."""
    half = Fraction(str(step)) / 2
    return float(100 * (catalyst - half) / (resin + half)), float(100 * (catalyst + half) / (resin - half))


def _weighed(mass, share, split, step, liquids, cautions):
    resin = _on_scale(mass, step)
    catalyst = _on_scale(resin * Fraction(str(share)) / 100, step)
    if not resin or not catalyst:
        asked, scale = f"{show(share, '%')} of {show(mass, 'g')} resin", show(step, "g", 6)
        said = f"catalyst: {asked} is nothing on a scale that reads {scale}. Mix more at once or use a finer scale."
        raise WeighOutProblems([said])
    low, high = _delivered(resin, catalyst, step)
    rows = {name: _row(float(resin) * part, float(catalyst) * part, _on_scale(resin * Fraction(str(part * load)) / 100, step), liquids)
            for name, (part, load) in split.items()}
    if len(rows) > 1:
        rows[WHOLE] = _row(float(resin), float(catalyst), sum(row["pigment"] for row in rows.values()), liquids)
    table = pd.DataFrame.from_dict(rows, orient="index").assign(catalyst_low=low, catalyst_high=high)
    table.index.name = "pot"
    return WeighOut(table, share, float(resin), float(catalyst), (low, high), step, smallest_batch(share, step),
                    _steps(len(split), any(load for _, load in split.values())), cautions)  # fmt: skip


def _row(resin, catalyst, pigment, liquids):
    """One row of the table; `liquids` holds resin density, catalyst density and drops per mL."""
    density, thin, per_mL = liquids
    row = {"resin": resin, "resin_mL": resin / density, "catalyst": catalyst}
    if thin is not None:
        row["catalyst_mL"] = catalyst / thin
        if per_mL is not None:
            row["drops"] = float(round(catalyst / thin * per_mL))
    pigment = float(pigment)
    return {**row, "mix": resin + catalyst, "pigment": pigment, "total": resin + catalyst + pigment}


def _steps(pots, pigmented):
    """The order of work."""
    end = "Weigh the catalyst in, tared, start the clock, and stir for two minutes, scraping sides and base."
    if pots == 1:
        paste = ("Weigh the pigment in, tared, and stir it until no streak is left.",) if pigmented else ()
        return ("Weigh the resin into the mixing cup.", *paste, end)
    paste = ("Weigh each pot's pigment into its own pot, tared.",) if pigmented else ()
    return (
        *paste,
        "Weigh all the resin of the whole mix into one cup.",
        end,
        "Weigh each pot's share of the mix (resin with catalyst) into the pot, tared"
        + (", and stir until no streak is left." if pigmented else "."),
    )


def _grams(mass, weighed):
    return f"{mass:.{_decimals(weighed.scale_resolution)}f} g"


def _decimals(step):
    """Decimal places that show one step of a scale."""
    return max(0, -math.floor(math.log10(step) + 1e-9))

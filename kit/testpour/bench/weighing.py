"""What to weigh out: one catalysed mix, divided among one or more colour pots, on the scale at hand.

Pigment is weighed into each pot before any catalyst is out; resin and catalyst are mixed once and weighed on top, so
every pot has the same catalyst percentage. Percentages are by mass of resin.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction

import pandas as pd

from testpour.bench.amounts import WHOLE, WeighOutProblems, read_amounts
from testpour.common.units import show
from testpour.common.wording import in_html, table_html
from testpour.study.caution_rules import Cautions
from testpour.study.cautions import check_delivered
from testpour.study.scale import (
    GRAMS,
    TOLERANCE,
    check_weighed,
    decimals,
    delivered_between,
    in_unit,
    mass_shown,
    on_scale,
    part_on_scale,
    smallest_batch,
    too_much,
)
from testpour.study.study import Study

IN_POT = ("mix", "pigment", "total")  # what is weighed into one of several pots
SLACK = 1e-9  # share of the tolerance allowed for rounding at its ends


@dataclass(frozen=True)
class WeighOut:
    """What to weigh out for one mix.

    Parameters
    ----------
    table : DataFrame
        One row per pot, with its share of the mix in whole steps of the scale, and a row ``"whole mix"`` if there are several
        pots. Columns in g: resin, catalyst, mix (both together), pigment, total; resin_mL; catalyst_mL and drops if they can
        be known, for the target and not the rounded grams; catalyst_low and catalyst_high, the percentage delivered.
    catalyst : float
        Target, % of resin.
    resin_mass, catalyst_mass : float
        Of the whole mix, g, as read on the scale.
    delivered : tuple of float
        Lowest and highest catalyst % this scale may deliver.
    scale_resolution : float
        Step of the scale, g.
    smallest_batch : float
        Resin, g, at or above which the catalyst is always within a tenth of its target; below it, only for some amounts.
    steps : tuple of str
        The order of work.
    cautions : Cautions
    unit : tuple of str and float
        Unit in which the scale reads and amounts are shown, and g in one.
    """

    table: pd.DataFrame = field(repr=False)
    catalyst: float
    resin_mass: float
    catalyst_mass: float
    delivered: tuple[float, float]
    scale_resolution: float
    smallest_batch: float
    steps: tuple[str, ...]
    cautions: Cautions
    unit: tuple[str, float] = GRAMS

    def sentence(self) -> str:
        """The amounts and how well this scale can weigh them, in sentences."""
        low, high = self.delivered
        step = in_unit(self.scale_resolution, self.unit, 6)
        text = (
            f"{_grams(self.resin_mass, self)} of resin takes {_grams(self.catalyst_mass, self)} of catalyst. "
            f"On a scale that reads {step} each tared reading is uncertain by half a step, so the mix carries "
            f"between {show(low, '%', 4)} and {show(high, '%', 4)} catalyst for a target of {show(self.catalyst, '%')}. "
        )
        fine = f"That is within a tenth of the target, and so is every mix from {_grams(self.smallest_batch, self)} of resin up on this scale."
        text += self.scale_warning() or self.coarse_warning() or fine
        return f"{text} {self.cautions.sentence()}" if self.cautions.warnings else text

    def scale_warning(self) -> str:
        """What is wrong and what to do if this scale is too coarse for the mix; "" if it is fine enough."""
        if all(abs(end - self.catalyst) <= self.catalyst * TOLERANCE * (1 + SLACK) for end in self.delivered):
            return ""
        return self.coarse_warning() or (f"This is a small mix for this scale: mix at least {_grams(self.smallest_batch, self)} of resin, so that the "
                                         "catalyst is within a tenth of its target, or use a finer scale.")

    def coarse_warning(self) -> str:
        """What to do if `smallest_batch` is more than one pot may hold; "" if it is not."""
        if not too_much(self.smallest_batch, self.catalyst):
            return ""
        return (f"This scale weighs the catalyst of every mix within a tenth of its target only from {_grams(self.smallest_batch, self)} of resin "
                "up, more than one pot may hold. Use a finer scale.")

    __repr__ = sentence

    def _repr_html_(self):
        steps = "".join(f"<li>{in_html(step)}</li>" for step in self.steps)
        return f"{table_html(self.shown())}<ol>{steps}</ol><p>{in_html(self.sentence())}</p>"

    def shown(self) -> pd.DataFrame:
        """`table` as text to read at the scale; if there are several pots, only what is weighed into each."""
        unit, grams = self.unit
        digits = decimals(self.scale_resolution / grams)
        heads = {"resin": f"resin ({unit})", "resin_mL": "resin (mL)", "catalyst": f"catalyst ({unit})", "mix": f"mix ({unit})",
                 "catalyst_mL": "catalyst (mL)", "drops": "drops", "pigment": f"pigment ({unit})", "total": f"total ({unit})",
                 "catalyst_low": "catalyst at least (%)", "catalyst_high": "catalyst at most (%)"}
        places = {"resin_mL": 0, "catalyst_mL": 2, "drops": 0, "catalyst_low": 3, "catalyst_high": 3}
        text = {head: [f"{v / (1 if name in places else grams):.{places.get(name, digits)}f}" for v in self.table[name]]
                for name, head in heads.items() if name in self.table}
        shown = pd.DataFrame(text, index=self.table.index)
        if len(shown) > 1:  # resin and catalyst are weighed once, for the whole mix: a pot takes its share of that
            shown.loc[shown.index != WHOLE, [head for name, head in heads.items() if name in self.table and name not in IN_POT]] = ""
        return shown


def weigh_out(
    resin: str | float | None = None, *, mould_volume: str | float | None = None, waste: str | float = "5 %",
    catalyst: str | float = "1.5 %", pigment: str | float | Mapping[str, str | float] | None = None,
    pots: int | Mapping[str, float] = 1, study: Study | None = None,
    resin_density: str | float | None = None, catalyst_density: str | float | None = None,
    drops_per_mL: float | None = None, scale_resolution: str | float = "0.1 g",
) -> WeighOut:
    """What to weigh out for one mix.

    Parameters
    ----------
    resin : float or str, optional
        Resin to weigh, g or text: ``"200 g"``, ``"8 oz"``, ``"350 mL"``. Give this or `mould_volume`.
    mould_volume : float or str, optional
        Volume of the moulds together, mL or text. Resin = volume x liquid density x (1 + waste); shrinkage is not allowed for.
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
        Supplies densities that are not given, and the kind of resin.
    resin_density, catalyst_density : float or str, optional
        g/mL. Without a study the resin is 1.10 and the catalyst unknown.
    drops_per_mL : float, optional
        Counted with this dropper and this catalyst.
    scale_resolution : float or str
        Step of the scale, g or text: ``"0.01 oz"``; the amounts are shown in its unit.

    Returns
    -------
    WeighOut

    Raises
    ------
    WeighOutProblems
        With every amount that cannot be used, and every refusal.

    Examples
    --------
    >>> tp.weigh_out("200 g", catalyst="1.5 %", scale_resolution="0.1 g")
    200.0 g of resin takes 3.0 g of catalyst. On a scale that reads 0.1 g each tared reading is uncertain by half a
    step, so the mix carries between 1.475 % and 1.525 % catalyst for a target of 1.5 %. ...
    """
    densities = (resin_density, catalyst_density)
    asked = read_amounts(resin, mould_volume, waste, catalyst, pigment, pots, study, densities, drops_per_mL, scale_resolution)
    step, share = asked.step, Fraction(str(asked.catalyst)) / 100
    mass = on_scale(asked.resin, step)
    dose = on_scale(mass * share, step)
    if not mass or not dose:
        mix, reads = f"{show(asked.catalyst, '%')} of {in_unit(asked.resin, asked.unit)} resin", in_unit(step, asked.unit, 6)
        refusal = f"catalyst: {mix} rounds to nothing on a scale that reads in steps of {reads}. Mix more or use a finer scale."
        raise WeighOutProblems([" ".join([refusal, *asked.cautions.warnings])])
    low, high = delivered_between(mass, dose, step)
    table = _table(asked, mass, dose).assign(catalyst_low=low, catalyst_high=high)
    steps, cautions = _steps(len(asked.pots), bool(table["pigment"].any())), asked.cautions + check_delivered(high)
    for name, (_, load) in asked.pots.items():
        part = _part(asked, name)
        cautions += check_weighed(mass * part, load, step, asked.unit, pot=f" of {name}" if len(asked.pots) > 1 else "", part=part)
    return WeighOut(table, asked.catalyst, float(mass), float(dose), (low, high), step, smallest_batch(asked.catalyst, step), steps, cautions, asked.unit)


def _part(asked, pot):
    """A pot's exact share of the mix: a third for three equal pots, so that they take equal amounts of pigment."""
    return Fraction(asked.pots[pot][0]).limit_denominator(10**9)


def _table(asked, resin, catalyst):
    """One row per pot and, if there are several, one for the whole mix."""
    rows = {}
    for name, mix in _shares(asked, resin + catalyst).items():
        part = mix / (resin + catalyst)
        _, pigment = part_on_scale(resin * _part(asked, name), asked.pots[name][1], asked.step)
        rows[name] = _row(asked, float(resin * part), float(catalyst * part), float(pigment))
    if len(rows) > 1:
        pigment = sum(row["pigment"] for row in rows.values())
        rows[WHOLE] = _row(asked, float(resin), float(catalyst), pigment)
    return pd.DataFrame.from_dict(rows, orient="index").rename_axis("pot")


def _shares(asked, mix):
    """Pot name to its share of the mix in whole steps of the scale, which add up to the mix; a pot left with nothing is refused."""
    shares, poured, wanted = {}, Fraction(0), Fraction(0)
    for name in asked.pots:
        wanted += mix * _part(asked, name)
        shares[name] = on_scale(wanted, asked.step) - poured
        poured += shares[name]
    problems = [
        f"pots: the share of {name} is {in_unit(mix * _part(asked, name), asked.unit)} of mix, too little for a scale that reads in steps of "
        f"{in_unit(asked.step, asked.unit, 6)}. Give it a larger share, mix more or use a finer scale."
        for name, share in shares.items() if share <= 0
    ]
    if problems:
        raise WeighOutProblems(problems)
    return shares


def _row(asked, resin, catalyst, pigment):
    row = {"resin": resin, "resin_mL": resin / asked.density, "catalyst": catalyst}
    if asked.catalyst_density is not None:
        row["catalyst_mL"] = resin * asked.catalyst / 100 / asked.catalyst_density  # not from the grams, which the scale has rounded
        if asked.drops_per_mL is not None:
            row["drops"] = float(round(row["catalyst_mL"] * asked.drops_per_mL))
    return {**row, "mix": resin + catalyst, "pigment": pigment, "total": resin + catalyst + pigment}


def _steps(pots, pigmented):
    """The order of work."""
    end = "Weigh the catalyst in, tared, start the clock, and stir for two minutes, scraping sides and base."
    if pots == 1:
        paste = ["Weigh the pigment in, tared, and stir it until no streak is left."] * pigmented
        return ("Weigh the resin into the mixing cup.", *paste, end)
    paste = ["Weigh each pot's pigment into its own pot, tared."] * pigmented
    share = f"Weigh each pot's share of the mix (resin with catalyst) into the pot, tared{', and stir until no streak is left' if pigmented else ''}."
    return (*paste, "Weigh all the resin of the whole mix into one cup.", end, share)


def _grams(mass, weighed):
    return mass_shown(mass, weighed.scale_resolution, weighed.unit)

"""What a plan can show before anything is poured, and what it costs: pours, resin, hours, money."""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from scipy.special import expit, ndtr

from testpour.common.problems import Problems
from testpour.common.units import show, to_unit
from testpour.common.wording import age_words, count, in_html, in_hundred, listed, rounded, table_html
from testpour.models.beliefs import beliefs_for
from testpour.models.change import change_unit
from testpour.models.scales import ADIABATIC_RISE
from testpour.planning.criteria import main_terms, model_rows, term_name
from testpour.planning.plan import Plan
from testpour.planning.power import plan_power
from testpour.planning.problem import NotSeparated
from testpour.study.caution_rules import Cautions
from testpour.study.cautions import check_batch
from testpour.study.scale import held_alike, in_unit, unit_of, weighable

OF_CASTINGS = " of 100 castings"
HALF_NORMAL_MIDDLE = 0.6745  # median of a half-normal belief, in its own scale
BELIEF_DF = 3  # a half-normal belief makes a 90 % interval 2.36 times as wide as its median; t with 3 degrees of freedom, 2.35


@dataclass(frozen=True, eq=False)
class PlanOutlook:
    """What a plan can tell and what it takes.

    Parameters
    ----------
    plan : Plan
    table : DataFrame
        One row per reading and setting: ``interval``, half the expected 90 % interval of the setting's
        effect over its whole span, and ``noticed``, the smallest effect that would be noticed nine times
        in ten; both in the reading's own terms, in words, with the numbers beside them.
    resin, catalyst : float
        Mass in g for all pours.
    hours : float
        From the first catalyst in to the last planned reading, for one session; 0 where no reading has a planned age.
    cost : float or None
    cautions : Cautions
        Of the plan's pours and of the size of a pot.
    scale : str
        Which doses the scale cannot distinguish in a pot, in a sentence or two; "" if there are none.
    """

    plan: Plan
    table: pd.DataFrame
    resin: float
    catalyst: float
    hours: float
    cost: float | None
    cautions: Cautions = field(default_factory=Cautions)
    scale: str = ""

    def sentence(self) -> str:
        """What the plan would notice and what it takes, with its cautions."""
        return " ".join([self.summary(), *self.cautions.lines()])

    def summary(self) -> str:
        """What the plan would notice and what it takes, without cautions."""
        cost = f", at a cost of {self.cost:.2f}" if self.cost is not None else ""
        catalyst = f" and {show(self.catalyst, 'g')} of catalyst" if self.catalyst else ""
        due = f"; the last reading is due {age_words(self.hours)} after mixing" if self.hours else ""
        takes = f"It takes {show(self.resin, 'g')} of resin{catalyst}{cost}{due}."
        scale = f" {self.scale}" if self.scale else ""
        return f"{self.noticed()} {takes} How much pours at the same settings differ is taken from the trade's beliefs.{scale}"

    def noticed(self) -> str:
        """What the plan would notice."""
        rows = self._aimed_rows.drop_duplicates("reading")
        setting = rows["setting"].iloc[0]
        noticeable = [line for line in rows.itertuples() if not line.noticed.startswith("over")]
        unnoticeable = [line.reading for line in rows.itertuples() if line.noticed.startswith("over")]
        parts = []
        if noticeable:
            any_of = listed((change_words(line.reading, line.noticed) for line in noticeable), "or")
            parts.append(f"This plan shows nine times in ten that {setting} matters if, from one end of its span to the other, it changes {any_of}.")
        if unnoticeable:
            parts.append(f"These pours are too few to show for sure what {setting} does to {listed(unnoticeable)}, however large the effect.")
        if self.plan.made is not None:
            parts.append(f"The {count(len(self.plan.made), 'pour')} made already count too.")
        if (self.table["noise"] == "taken as believed").any():
            parts.append("So few pours cannot show by themselves how much two pours at the same settings differ.")
        return " ".join(parts)

    @property
    def _aimed_rows(self):
        """The rows of the readings that have an aim; all where none has."""
        return self.table[self.table["reading"].isin([reading.words for reading in self.plan.study.aimed])]

    __repr__ = sentence

    def _repr_html_(self):
        rows = self._aimed_rows.assign(shown=self._aimed_rows["noticed"] + ", known to ± " + self._aimed_rows["interval"])
        shown = rows.pivot(index="reading", columns="setting", values="shown")
        shown = shown.loc[rows["reading"].unique(), rows["setting"].unique()]
        shown.index.name = shown.columns.name = None
        return (
            f"<p>{in_html(self.sentence())}</p><p>For each reading and setting: the smallest change over the setting's whole "
            f"span that would be noticed, and how closely it would be known.</p>{table_html(shown)}"
        )


def outlook(plan: Plan, *, pot: str | float = "120 g", price: float | None = None, scale_resolution: str | float = "0.1 g") -> PlanOutlook:
    """What a plan can tell before it is poured.

    Parameters
    ----------
    plan : Plan
    pot : str or float
        Resin in one pour; g where no unit is given.
    price : float, optional
        Price of a kilogram of resin.
    scale_resolution : str or float
        Step of the scale; g where no unit is given.

    Returns
    -------
    PlanOutlook

    Raises
    ------
    Problems
        If the pot or the step of the scale cannot be weighed, or the price is below 0.
    NotSeparated
        If the pours cannot tell the terms of the plan apart.

    Notes
    -----
    Generalised least squares with sessions as random effects; the chance to notice an effect is that of a
    noncentral t test at the 90 % interval. Its degrees of freedom are those left by the pours plus three for the
    trade's belief about the noise, as in the models, so that more pours never notice less. Settings fixed within
    a session are judged between sessions only. Pours made before the plan count towards its power, not its cost.

    Examples
    --------
    >>> tp.outlook(tp.plan_pours(study, sessions=2, pours=4), pot="120 g")
    This plan shows nine times in ten that catalyst matters if, from one end of its span to the other, it changes gel time by ...
    """
    pours = _coded_pours(plan)
    lines = [line for reading in plan.study.readings for line in _reading_rows(plan, pours, reading)]
    problems: list[str] = []
    pot_grams, _ = weighable(problems, pot, "g", "pot"), weighable(problems, scale_resolution, "g", "scale_resolution")
    if price is not None and not 0 <= price < np.inf:
        problems.append(f"price: {price!r} is no price of a kilogram of resin. Give a number from 0 up without a currency, for example price=12.")
    if problems:
        raise Problems("Outlook", problems)
    grams = pot_grams * len(plan.table)
    return PlanOutlook(
        plan,
        pd.DataFrame(lines),
        grams,
        grams * float(plan.table["catalyst"].mean()) / 100 if "catalyst" in plan.table else 0.0,
        max((age for reading in plan.study.readings for age in reading.ages), default=0.0),
        None if price is None else grams / 1000 * price,
        plan.all_cautions() + check_batch(pot_grams),
        _scale_warning(plan, pot_grams, scale_resolution),
    )


def _scale_warning(plan, pot, scale_resolution):
    """Which planned percentages of catalyst the scale may not distinguish in a pot (g), in words."""
    step, unit = to_unit(scale_resolution, "g", "scale_resolution"), unit_of(scale_resolution)
    alike = held_alike(pot, plan.table["catalyst"].unique(), step) if "catalyst" in plan.table else []
    if not alike:
        return ""
    levels = "neighbours among " * (len(alike) > 2) + listed(show(level, "%") for level in alike)
    return (
        f"The scale reads in steps of {in_unit(step, unit, 6)}: in a pot of {in_unit(pot, unit)}, {levels} catalyst may come out "
        "the same, and what this plan would show is worked out as if each were weighed exactly. Use a finer scale or a larger pot."
    )


def change_words(reading: str, noticed: str) -> str:
    """The smallest change of a reading that is noticed, as the object of "it changes": ``"gel time by at least 20 %"``."""
    return f"the {reading} of at least {noticed.removeprefix('over ')}" if noticed.endswith(OF_CASTINGS) else f"{reading} by at least {noticed}"


def _coded_pours(plan):
    """Coded settings and session number of each pour, made or planned, and the terms that they separate.

    If a log and a few pours cannot separate the terms of the plan, only main effects; a plan whose pours cannot
    separate even these is refused.
    """
    pours = pd.concat([plan.made, plan.table])
    rows, terms = plan.coding.encode(pours), plan.terms
    if plan.made is not None and not _separates(rows, terms):
        terms = tuple(main_terms(len(plan.coding.names)))
    if not _separates(rows, terms):
        few = f"{count(len(rows), 'pour')} cannot tell the {len(terms)} effects of this plan apart: put a dropped pour back, or plan afresh."
        raise NotSeparated([few])
    return rows, pd.factorize(pours["session"].astype(str))[0], terms


def _separates(rows, terms):
    return np.linalg.matrix_rank(model_rows(rows, terms)) == len(terms)


def _reading_rows(plan, pours, reading):
    """One line per varied setting for one reading."""
    rows, numbers, terms = pours
    scatter = beliefs_for(plan.study, reading).scatter  # as the trade believes it, on the latent scale
    pour = 1.0 if reading.grades else float(np.hypot(scatter["reading"], scatter["pour"])) * HALF_NORMAL_MIDDLE
    power = plan_power(rows, terms, pour, numbers, scatter["session"] * HALF_NORMAL_MIDDLE, plan.coding.names, BELIEF_DF)
    for place, name in enumerate(plan.coding.names):
        single = tuple(int(i == place) for i in range(len(plan.coding.names)))
        if single not in terms:
            continue
        line = power.loc[term_name(single, plan.coding.names)]
        interval, noticed = line["half_width"], line["smallest"]
        yield {
            "reading": reading.words,
            "setting": plan.coding.words(name),
            "interval": _in_words(reading, interval),
            "noticed": _in_words(reading, noticed),
            "interval_number": interval,
            "noticed_number": noticed,
            "compared": line["compared"],
            "noise": "judged by the pours themselves" if line["df"] > BELIEF_DF else "taken as believed",
        }


def _in_words(reading, latent):
    """A latent change as a change in the reading near its believed level; for grades, in how many castings the grade changes."""
    if reading.scale == "log":
        return f"{rounded(100 * (np.exp(latent) - 1))} %" if latent < np.log(2) else f"a factor of {rounded(np.exp(latent))}"
    if reading.grades:  # the share of castings that crosses a bound between two grades, in the middle where it moves most
        return f"{in_hundred(ndtr(latent / 2) - ndtr(-latent / 2))}{OF_CASTINGS}"
    width, unit = {"share": reading.high - reading.low, "rise": ADIABATIC_RISE}.get(reading.scale), change_unit(reading)
    if width is None:
        return f"{rounded(latent)} {unit}".strip()
    level = {"share": 1.3, "rise": -1.0}[reading.scale]  # where the trade believes the usual casting to be
    slope = width * expit(level) * (1 - expit(level))
    return f"{rounded(min(slope * latent, width))} {unit}".strip()

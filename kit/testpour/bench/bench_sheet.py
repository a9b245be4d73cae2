"""What to weigh and when to read for one session, worked out for a sheet of paper beside the scale."""

from collections.abc import Mapping

import pandas as pd

from testpour.bench.amounts import WeighOutProblems
from testpour.bench.printed_sheet import WEIGHED, BenchSheet, own_shares
from testpour.bench.weighing import WeighOut, weigh_out
from testpour.common.units import to_unit
from testpour.common.wording import capital, listed
from testpour.models.settings import settings_table
from testpour.planning.plan import session_pours
from testpour.planning.pour_cautions import grouped, pour_cautions, session_conflict
from testpour.study.caution_rules import Cautions
from testpour.study.scale import check_weighed, mass_shown, part_on_scale, unit_of
from testpour.study.study import Study

NO_CATALYST = (
    "This study has no catalyst to weigh out. Name it under [factors] in study.toml, with the share that your supplier gives "
    'if it stays the same, catalyst = { from = "1.5 %", to = "1.5 %" }, or as catalyst = {} if it may differ.'
)


def bench_sheet(
    study: Study, pours: pd.DataFrame, *, session: int | str | None = None,
    resin: str | float | Mapping[str, str | float] | pd.Series | None = None,
    mould_volume: str | float | Mapping[str, str | float] | pd.Series | None = None,
    waste: str | float = "5 %", scale_resolution: str | float = "0.1 g", date: str = "",
) -> BenchSheet:
    """The bench sheet of one session.

    Parameters
    ----------
    study : Study
    pours : DataFrame
        One row per pour in run order, indexed by pour name, with factor columns (numbers in declared units, or text with a unit);
        a factor left out takes its usual value. A column ``session`` says which session a pour belongs to.
    session : int or str, optional
        Which session: its number from 1, or its name. Needed only if `pours` holds several.
    resin, mould_volume : float, str, dict or Series
        Resin to weigh (g or text) or mould to fill (mL or text): one amount for all pours, or pour to amount.
    waste : float or str
        Extra resin in % of the mould volume.
    scale_resolution : float or str
        Step of the scale, g or text: ``"0.01 oz"``; the amounts are printed in its unit.
    date : str
        Printed as given; blank to fill in by hand.

    Returns
    -------
    BenchSheet

    Raises
    ------
    WeighOutProblems
        With every pour that cannot be weighed out or is refused, and why, and with pours that cannot share a session.

    Examples
    --------
    >>> plan = tp.plan_pours(study, sessions=2, pours=4, purpose="which settings matter")
    >>> tp.bench_sheet(study, plan.session(1), session=1, resin="150 g")
    Session S1: 4 pours with 600 g of resin and 11.8 g of catalyst in all. ...
    """
    problems: list[str] = []
    name, pours = session_pours(pours, session, problems)
    if not problems and (why := session_conflict(study, name, pours)):
        problems.append(why)
    if not study.has("catalyst"):
        raise WeighOutProblems([*problems, NO_CATALYST])
    if study.factor("catalyst") in study.varied and "catalyst" not in pours:
        others = listed(str(column) for column in pours) or "none"
        problems.append(f"The study varies catalyst, but the table has no column catalyst: it has {others}. Rename that column catalyst.")
    rows, cautions = {}, {}
    for pour, settings in settings_table(study, pours).drop(columns="age").to_dict("index").items():
        of_pour = pour_cautions(study, settings)
        refused = list(of_pour.refusals)
        try:
            weighed = weigh_out(
                _for_pour(resin, pour), mould_volume=_for_pour(mould_volume, pour), waste=waste, catalyst=settings["catalyst"],
                pigment=settings.get("pigment", 0.0), study=study, scale_resolution=scale_resolution,
            )
        except WeighOutProblems as problem:
            problems += [f"{pour}: {text}" for text in dict.fromkeys(refused + problem.problems)]
            continue
        problems += [f"{pour}: {text}" for text in refused]
        own = {f: settings[f.name] for f in own_shares(study)}
        coarse = (check_weighed(weighed.resin_mass, share, weighed.scale_resolution, weighed.unit, what=f.words) for f, share in own.items())
        of_pour = sum([weighed.cautions, *coarse], of_pour)
        cautions[pour] = Cautions((), (*of_pour.warnings, *coarse_scale_warning(weighed), *_overfilled(own, _for_pour(mould_volume, pour))))
        rows[pour] = {**settings, **_amounts(weighed, own)}
    if problems:
        raise WeighOutProblems(problems)
    table = pd.DataFrame.from_dict(rows, orient="index").rename_axis("pour")
    step, unit = to_unit(scale_resolution, "g"), unit_of(scale_resolution)
    return BenchSheet(study, name, table, {**_same_on_scale(study, table, step, unit), **grouped(cautions)["warnings"]}, step, str(date), unit)


def _for_pour(amount, pour):
    return amount.get(pour) if isinstance(amount, (dict, pd.Series)) else amount


def coarse_scale_warning(weighed: WeighOut) -> list[str]:
    """A warning if the scale is too coarse for the pour."""
    low, high = weighed.delivered
    wide = f"This scale may deliver anything from {low:.2f} to {high:.2f} % catalyst for {weighed.catalyst:g} %."
    return [f"{wide} {warning}"] if (warning := weighed.scale_warning()) else []


def _same_on_scale(study, table, step, unit):
    """Sentence to pours, if different doses in the same amount of resin weigh the same on this scale."""
    pours_of = {}
    for factor in [f for f in study.factors if f.name in WEIGHED or f in own_shares(study)]:
        groups = table.groupby(["resin_g", f"{factor.name}_g"])
        alike = [(part, rows) for (_, part), rows in groups if rows[factor.name].nunique() > 1]
        doses = [f"{listed(map(factor.show, sorted(set(rows[factor.name]))))} ({mass_shown(part, step, unit)})" for part, rows in alike]
        if alike:
            pours_of[f"{capital(factor.words)} weighs the same on this scale for {' and for '.join(doses)}, so these pours cannot tell them apart. "
                  "Mix more or use a finer scale."] = [str(pour) for _, rows in alike for pour in rows.index]
    return pours_of


def _overfilled(own, mould_volume):
    """A warning if resin alone fills the mould and something else is added."""
    added = [factor.words for factor, percent in own.items() if percent]
    if mould_volume is None or not added:
        return []
    return [f"The resin is worked out to fill the mould without {listed(added)}, so some of the mix will be left over."]


def _amounts(weighed, own):
    low, high = weighed.delivered
    of_own = {f"{f.name}_g": float(part_on_scale(weighed.resin_mass, part, weighed.scale_resolution)[1]) for f, part in own.items()}
    pigment = float(weighed.table["pigment"].iloc[0])
    return {"resin_g": weighed.resin_mass, "pigment_g": pigment, "catalyst_g": weighed.catalyst_mass,
            "catalyst_low": low, "catalyst_high": high, **of_own}

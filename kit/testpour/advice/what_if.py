"""What some settings would give, and which single change would help most for least trouble."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from testpour.advice.candidates import allowed, checked_room, on_step
from testpour.advice.prospect import prospect, states_of
from testpour.advice.recommend import NINE_IN_TEN, beyond_log, predicted, predicted_words
from testpour.causes.saving import AS_GOOD
from testpour.common.threads import one_thread
from testpour.common.wording import in_html, table_html
from testpour.models.chance import Chance, cautions_at, chance, chance_between, chance_words, mean_and_interval, untold
from testpour.models.fits import Fits
from testpour.models.settings import as_met, other_half, post_cure_words, repeated, settings_table, stated_names
from testpour.models.terms import HOURS, OVEN
from testpour.study.caution_rules import Cautions
from testpour.study.cautions import check_table
from testpour.study.study import Study

TROUBLE = ("catalyst", "pigment", "cover", "thickness", "post_cure_temperature", "room_temperature")  # least first
LEVELS = 31  # values tried of each setting
LESS_TROUBLE = 0.10  # chance that may be given up for a change that is less trouble
WORTH = 0.02  # rise below which no change is advised


@dataclass(frozen=True, eq=False)
class WhatIf:
    """What some settings should give, and the change that would help most.

    Parameters
    ----------
    study : Study
    table : DataFrame
        One row: every setting in its unit.
    predicted : DataFrame
        Middle, low and high of each reading of one new casting (90 % interval).
    chance : Chance
    changes : DataFrame
        One row per setting that may be changed alone, best first: ``start``, ``end``, ``chance`` with its 90 % interval ``low`` to
        ``high``, ``gain``, and ``says``, the change as advice. If there is no post-cure, the row of its temperature means a whole
        post-cure of the longest time in the span.
    change : str
        Name of the setting to change; "" if no change helps.
    cautions : Cautions
        Of these settings.
    change_cautions : Cautions
        Further cautions of the settings after the change.
    beyond : tuple of str
        Settings that lie outside what was poured.
    """

    study: Study
    table: pd.DataFrame
    predicted: pd.DataFrame
    chance: Chance
    changes: pd.DataFrame
    change: str
    cautions: Cautions
    change_cautions: Cautions
    beyond: tuple[str, ...]

    def sentence(self) -> str:
        """The chance and the change that helps, in a few sentences."""
        text = self.chance.verdict() + self.chance.met()
        if self.change:
            row = self.changes.loc[self.change]
            care = "The most helpful change needs care too. " if self.change_cautions.lines() else ""
            how_much = f"this should help most, but it is not known yet by how much, {chance_words(row)}" if untold(row) else chance_between(row)
            advised = f"{care}{row['says']}: {how_much}."
            text += " " + " ".join([advised, *self.change_cautions.lines()])
        else:
            text += f" No single change of a setting would raise it by {100 * WORTH:.0f} points."
        if self.beyond:
            text += f" Not poured there yet: {', '.join(self.beyond)}."
        return self.cautions.around(text)

    __repr__ = sentence

    def _repr_html_(self):
        shown = predicted_words(self.study, self.predicted.droplevel(0)).rename_axis(None)
        return f"<p>{in_html(self.sentence())}</p>{table_html(shown)}<p>{NINE_IN_TEN}.</p>"


@one_thread
def what_if(fits: Fits, settings: Mapping[str, str | float] | None = None, *, room: str | float | None = None) -> WhatIf:
    """What some settings should give in a room, and the easiest single change that raises the chance most.

    Parameters
    ----------
    fits : Fits
    settings : dict, optional
        Factor name to number or text with a unit; anything left out takes its usual value.
    room : str or float, optional
        Room temperature.

    Returns
    -------
    WhatIf
        Among changes within 10 points of the best, the easiest is advised: settings weighed at the bench come
        before the cover, the depth, the oven and the room; then the smallest move. One with warnings is advised only if
        every other change within those 10 points has them too.

    Raises
    ------
    NoAims
        If the study states no aim.
    RoomProblem
        If the room is too cold or too hot to advise on.

    Examples
    --------
    >>> tp.what_if(fits, {"catalyst": "1.5 %"}, room="18 degC")
    Chance of a good casting: about 39 in 100 ... Change catalyst to 2 %: about 95 in 100 ...
    """
    study, states = fits.study, states_of(fits)
    if room is None and isinstance(settings, Mapping):
        room = settings.get("room_temperature")
    usual = as_met(study, fits.castings.pours)
    table = settings_table(usual, [settings or {}], room=checked_room(usual, room))
    table.index = pd.Index(["asked"])
    changes, ends = _changes(fits, states, table)
    helping = changes[changes["gain"] >= max(WORTH, changes["gain"].max() - LESS_TROUBLE)] if len(changes) else changes
    row, cautions = table.iloc[0], cautions_at(fits, table)
    added_cautions = {name: cautions_at(fits, ends[name]).beside(cautions) for name in helping.index}
    change = min(helping.index, key=lambda name: (bool(added_cautions[name].lines()), _trouble_rank(name))) if len(helping) else ""
    return WhatIf(
        study, table, predicted(fits, table), replace(chance(fits, table), stated=stated_names(study, settings, room)), changes, change,
        cautions, added_cautions.get(change, Cautions()),
        tuple(beyond_log(fits, row).values()) if len(fits.castings.pours) else (),
    )


def _trouble_rank(name):
    return TROUBLE.index(name) if name in TROUBLE else len(TROUBLE) / 2


def _changes(fits, states, table):
    """Each setting that may be changed alone: its best value with the others as they are and the chance there; and the settings after the change."""
    study, ends, warned = fits.study, {}, check_table(fits.study, table)
    movable = {factor.name: factor for factor in _movable(fits)}
    beside = other_half(OVEN, table, lambda other: movable[other].span[1] if other in movable else None) if OVEN in movable else {}
    whole = bool(beside)
    for factor in movable.values():
        if whole and factor.name == HOURS:
            continue
        now = float(table[factor.name].iloc[0])
        values = np.unique(on_step(factor, np.linspace(0, 1, 2 if factor.kind == "yes/no" else LEVELS)))
        if factor.name == "room_temperature":
            values = values[values > now]
        tried = repeated(table, **{factor.name: values})
        tried = tried.assign(**beside) if factor.name == OVEN else tried
        tried = tried[allowed(fits, tried)] if len(tried) else tried
        if len(tried):
            chances = prospect(states, study, tried).chance()
            quiet = np.array([not check_table(study, tried.iloc[[place]]).beside(warned).lines() for place in range(len(tried))])
            if quiet.any() and chances[quiet].max() >= chances.max() - LESS_TROUBLE:
                chances = np.where(quiet, chances, -1.0)
            near = np.flatnonzero(chances >= chances.max() - AS_GOOD)
            best = near[np.abs(tried[factor.name].to_numpy()[near] - now).argmin()]
            ends[factor.name] = tried.iloc[[best]]
    start, *met = mean_and_interval(chance(fits, pd.concat([table, *ends.values()])).draws).to_dict("records")  # from all draws: the summary only shortlists
    rows = {
        name: {"start": table[name].iloc[0], "end": end[name].iloc[0], **one, "gain": one["chance"] - start["chance"],
               "says": _advice_words(study, name, end.iloc[0], whole)}
        for (name, end), one in zip(ends.items(), met, strict=True)
    }
    changes = pd.DataFrame.from_dict(rows, orient="index", columns=["start", "end", "chance", "low", "high", "gain", "says"])
    return changes.sort_values("gain", ascending=False, kind="stable").rename_axis("setting"), ends


def _movable(fits):
    """The settings that may be changed, each with the span to change it over: the study's, else the range poured."""
    for factor in fits.study.factors:
        if factor.kind == "text" or factor.name == "humidity":
            continue
        poured = fits.castings.pours[factor.name].dropna().astype(float)
        span = factor.span or ((poured.min(), poured.max()) if factor.role == "chosen" and len(poured) else ())
        if len(set(span)) == 2:
            yield replace(factor, span=span)


def _advice_words(study, name, row, whole):
    """The change as advice; `whole` if a casting without a post-cure gets one."""
    factor, end = study.factor(name), row[name]
    if name == OVEN and whole:
        return f"Give it {post_cure_words(study, row)}"
    if factor.kind == "yes/no":
        return f"Add {factor.words}" if end else f"Leave {factor.words} off"
    if factor.name == "room_temperature":
        return f"Warm the room to {factor.show(end)}"
    return f"Change {factor.words} to {factor.show(end)}"

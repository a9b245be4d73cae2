"""Between a study's factors and coded axes: -1 at the low end of a span, 1 at the high end."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from testpour.common.problems import noted
from testpour.common.wording import count, listed
from testpour.models.terms import HOURS, OVEN, one_post_cure, post_cure
from testpour.planning.problem import Axis, PlanConflict
from testpour.study.columns import Factor
from testpour.study.study import Study


@dataclass(frozen=True)
class Coding:
    """The factors a plan moves, and how they are coded."""

    study: Study
    factors: tuple[Factor, ...]  # chosen factors that vary
    rooms: tuple[float, ...] = ()  # degC, of each session; empty where it is not known
    depths: tuple[float, ...] = ()  # mm that a mould exists for; empty where any may be poured
    hours: Factor | None = None  # time of a post-cure that changes together with its temperature

    @property
    def names(self) -> list[str]:
        """Names of the coded factors, the room last where it is known."""
        return [f.name for f in self.factors] + (["room_temperature"] if self.rooms else [])

    def words(self, name: str) -> str:
        """The words for a coded factor; temperature and time of a post-cure that change together are "post-cure"."""
        return "post-cure" if name == OVEN and self.hours is not None else self.study.factor(name).words

    def axes(self) -> tuple[Axis, ...]:
        """One `Axis` a coded factor."""
        axes = [Axis(f.name, levels=self._levels(f), hard=f.by_session, words=self.words(f.name)) for f in self.factors]
        if self.rooms:
            room = self.study.factor("room_temperature")
            axes.append(Axis(room.name, met=tuple(float(_code(room, value)) for value in self.rooms)))
        return tuple(axes)

    def _levels(self, factor):
        if factor.kind == "yes/no":
            return (-1.0, 1.0)
        if factor.name == "thickness" and self.depths:
            return tuple(float(_code(factor, depth)) for depth in self.depths)
        return None

    def decode(self, rows: np.ndarray, given: pd.DataFrame | None = None) -> pd.DataFrame:
        """Coded rows as settings rounded to what a bench can set, but for ends of spans and moulds: one column per coded factor.

        Settings in `given`, which a person gave, are not rounded either.
        """
        table = pd.DataFrame(np.atleast_2d(rows), columns=self.names)
        if self.hours is not None:
            table[HOURS] = table[OVEN]
        for factor in map(self.study.factor, list(table)):
            low, high = factor.span
            middle, half = (low + high) / 2, (high - low) / 2
            values = middle + half * table[factor.name]
            kept = (*(self.depths if factor.name == "thickness" else ()), *(() if given is None else given[factor.name]))
            table[factor.name] = values if factor.name == "room_temperature" else factor.rounded(values, kept)
        return table if self.hours is None else one_post_cure(table, (self.study.factor(OVEN).span[0], self.hours.span[0]))

    def encode(self, table: pd.DataFrame) -> np.ndarray:
        """Settings as coded rows, clipped to the span; shape (pours, coded factors)."""
        columns = [np.clip(_code(self.study.factor(name), table[name]), -1, 1) for name in self.names]
        if self.hours is not None:
            oven = self.names.index(OVEN)
            columns[oven] = np.minimum(columns[oven], np.clip(_code(self.hours, table[HOURS]), -1, 1))
        return np.column_stack(columns)


def _code(factor: Factor, value: float | np.ndarray | pd.Series) -> Any:
    """`value` of a factor with a span as a coded number: −1 at its low end, 1 at its high end; not clipped."""
    low, high = factor.span
    return (np.asarray(value, float) - (low + high) / 2) / ((high - low) / 2)


def coding_for(
    study: Study, sessions: int, factors: Sequence[str] | None = None,
    rooms: str | float | Sequence[str | float] | None = None, moulds: Sequence[str | float] | None = None, *, given: bool = False
) -> Coding:
    """The coding of a plan, with every argument read and checked; a PlanConflict names all that cannot be met.

    `sessions` is 0 if their number is unclear. With `given`, the settings are fixed and the plan only places them, so
    temperature and time of a post-cure stay separate.
    """
    conflicts = []
    varied = {f.name: f for f in study.varied}
    chosen = list(varied) if factors is None else list(dict.fromkeys(each_of(factors)))
    if unknown := [name for name in chosen if name not in varied]:
        conflicts.append(
            f"{', '.join(map(str, unknown))} cannot be varied: the study varies {', '.join(varied) or 'nothing'}. "
            "Add from and to under [factors] in study.toml."
        )
    if not chosen:
        conflicts.append("No factor varies: give at least one a from and a to under [factors] in study.toml.")
    hours = None if given else _post_cure(study, chosen, conflicts)
    temperatures = _rooms(study, sessions, rooms, conflicts)
    depths = _depths(study, chosen, moulds, conflicts)
    if conflicts:
        raise PlanConflict(conflicts)
    moved = tuple(varied[name] for name in chosen if hours is None or name != HOURS)
    return Coding(study, moved, temperatures, depths, hours)


def _post_cure(study, chosen, conflicts):
    """The time of the post-cure if it must change together with the temperature, because either may be zero; else None.

    If only one of the two is chosen, the other is added; if that one is fixed at zero, this is noted as a conflict.
    """
    both = [factor for factor in study.factors if factor.name in (OVEN, HOURS)]
    if len(both) < 2 or not {OVEN, HOURS} & set(chosen):
        return None
    still = [factor for factor in both if factor not in study.varied]
    low, high = ({f.name: f.usual if f in still else f.span[end] for f in both} for end in (0, 1))
    if not post_cure(high[OVEN], high[HOURS]):
        conflicts.append(
            f"No pour of this plan would be post-cured: {listed(f'{f.words} stays at {f.show(f.usual)}' for f in still)}. "
            "Give it a from and a to under [factors] in study.toml, or leave the post-cure out of this plan."
        )
    if still or post_cure(low[OVEN], low[HOURS]):
        return None
    chosen += [name for name in (OVEN, HOURS) if name not in chosen]
    return study.factor(HOURS)


def is_list(value: Any) -> bool:
    """Whether a list or the like was given, not one number or text."""
    return isinstance(value, Iterable) and not isinstance(value, str)


def each_of(value: Any) -> list[Any]:
    """What was given, one value or several, as a list."""
    return list(value) if is_list(value) else [value]


def _read(given, factor, conflicts):
    """Each value as a float in the factor's unit; what cannot be read is noted and left out."""
    read = []
    for value in given:
        with noted(conflicts):
            read.append(factor.parse(value))
    return read


def _factor_of(study, name, option, conflicts):
    """The factor that an option needs; None, and a conflict noted, if the study lacks it."""
    factor = next((f for f in study.factors if f.name == name), None)
    if factor is None:
        conflicts.append(f"This study has no {name}: add it under [factors], or leave `{option}` out.")
    return factor


def _rooms(study, sessions, rooms, conflicts):
    if rooms is None or (room := _factor_of(study, "room_temperature", "rooms", conflicts)) is None:
        return ()
    given, alone = each_of(rooms), not is_list(rooms)
    if sessions and not alone and len(given) != sessions:
        conflicts.append(f"{count(sessions, 'session')} but {count(len(given), 'room temperature')}: give one for each session.")
    return tuple(_read(given, replace(room, words="room"), conflicts)) * (sessions if alone else 1)


def _depths(study, chosen, moulds, conflicts):
    if moulds is None or (thickness := _factor_of(study, "thickness", "moulds", conflicts)) is None:
        return ()
    given = each_of(moulds)
    read = _read(given, replace(thickness, words="mould"), conflicts)
    depths = tuple(sorted(set(read)))
    if len(read) < len(given):
        return ()
    if "thickness" in chosen:
        conflicts += _unfit_moulds(thickness, depths)
        return depths
    if depths and not np.isclose(depths, thickness.usual).any():
        conflicts.append(
            f"Thickness is not varied, and no mould has its usual {thickness.show(thickness.usual)}: write the depth of a mould as "
            "usual under [factors] thickness in study.toml, or leave `moulds` out."
        )
    return ()


def _unfit_moulds(thickness, depths):
    """Moulds beyond the span, and too few to vary the thickness."""
    low, high = thickness.span
    if outside := [d for d in depths if not low - 1e-6 <= d <= high + 1e-6]:
        subject, verb, those = ("Mould", "is", "that mould") if len(outside) == 1 else ("Moulds", "are", "those moulds")
        leave = f" or leave {those} out" if len(depths) - len(outside) > 1 else ""
        yield (f"{subject} {listed(map(thickness.show, outside))} {verb} outside the study's thickness of {thickness.between(low, high)}: "
               f"widen the span in study.toml{leave}.")
    if len(depths) < 2:
        yield (f"Thickness is varied, yet there is {'only one' if depths else 'no'} mould depth: add a mould, or leave thickness out of "
               "`factors` and write the depth to pour as its usual in study.toml.")

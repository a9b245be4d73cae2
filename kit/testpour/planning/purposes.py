"""What a plan is for, and the set of pours that serves it."""

from dataclasses import dataclass, replace
from statistics import median_high

import numpy as np

from testpour.common.wording import capital, count, listed
from testpour.planning.coding import Coding
from testpour.planning.criteria import Exponents, main_terms, quadratic_terms
from testpour.planning.factorial import best_generators, block_two_level, fractional_factorial
from testpour.planning.optimal import balanced_over_sessions, optimal_plan
from testpour.planning.problem import Axis, PlanConflict
from testpour.planning.study_design import HeatLimit, design_problem

MATTER = "which settings matter"
MAP = "map the good region"
SHARPEN = "sharpen what we know"
SETTLE = "settle one question"
PURPOSES = (MATTER, MAP, SHARPEN, SETTLE)
TO = {MATTER: "find out "}  # words before a purpose in a sentence
STARTS = 60  # random starts of the exchange: more are slower and surer


@dataclass(frozen=True)
class PlannedSet:
    """A set of coded pours for a purpose."""

    rows: np.ndarray  # coded settings, shape (pours, coded factors)
    sessions: np.ndarray  # session number of each pour, from 0
    terms: tuple[Exponents, ...]  # exponents of the model the set is meant for
    why: str  # which kind of set it is, and why that one
    mixed: str = ""  # which effects are mixed up with which; empty where none are


@dataclass(frozen=True)
class PlanRequest:
    """What a plan must respect, in coded form."""

    coding: Coding
    sizes: tuple[int, ...]  # pours in each session
    fixed: np.ndarray | None = None  # pours already made, coded
    fixed_sessions: tuple[int, ...] | None = None
    seed: int = 0

    @property
    def axes(self) -> tuple[Axis, ...]:
        """The coded factors."""
        return self.coding.axes()

    @property
    def allows_regular(self) -> bool:
        """True when every factor may change from pour to pour, at both ends of its span."""
        return not HeatLimit(self.coding).binds and all(
            not axis.whole and (axis.levels is None or len(axis.levels) == 2) for axis in self.axes
        )


def pick_purpose(request: PlanRequest) -> str:
    """The purpose that suits what is asked, for a person who named none."""
    if request.fixed is not None:
        return SHARPEN
    enough = len(_terms(quadratic_terms, request.axes)) + 3
    return MAP if sum(request.sizes) >= enough else MATTER


def _which_settings_matter(request: PlanRequest) -> PlannedSet:
    """Two-level pours, with the same middle pour in every session to show the noise."""
    needed = len(_terms(main_terms, request.axes))
    spare = int(min(request.sizes) >= 4 and sum(request.sizes) - len(request.sizes) >= needed)
    sizes = tuple(size - spare for size in request.sizes)
    chosen = _regular(request, sizes) or _two_level(request, sizes)
    if not spare:
        return chosen
    middle = _middle_pours(request, chosen)
    if middle is None:
        return _regular(request, request.sizes) or _two_level(request, request.sizes)
    rows, sessions = np.vstack([chosen.rows, middle]), np.append(chosen.sessions, np.arange(len(sizes)))
    return PlannedSet(rows, sessions, chosen.terms, chosen.why + _middle_words(request.axes, middle), chosen.mixed)


def _middle_words(axes, middle):
    """What the middle pours show, one row per session: nothing of equal pours where no two of them are equal."""
    if len(middle) == 1:
        return " One pour in the middle shows whether it comes out between the ends."
    shows = "how much equal pours differ, and one day from another."
    sets = [axis.words or axis.name for f, axis in enumerate(axes) if axis.hard and np.ptp(middle[:, f]) > 0]
    if not sets:
        return f" The same middle pour in every session shows {shows}"
    some = len(np.unique(middle, axis=0)) < len(middle)
    return f" The middle pour of every session is the same but for {listed(sets)}" + (f": sessions alike in that show {shows}" if some else ".")


def _regular(request, sizes):
    """A regular fraction in equal sessions, where one fits; None otherwise."""
    total, k = sum(sizes), len(request.axes)
    base = total.bit_length() - 1
    if not request.allows_regular or total != 1 << base or len(set(sizes)) > 1 or not 2 <= base <= k < total:
        return None
    names = [f"{place:02d}" for place in range(k)]
    try:
        fraction = fractional_factorial(k, best_generators(k, base) if k > base else (), names)
        numbers, lost = block_two_level(fraction, len(sizes)) if len(sizes) > 1 else (np.zeros(total, int), ())
    except ValueError:
        return None
    mixed = _mixed_words(fraction, request.axes, lost)
    what = "Every combination of low and high" if k == base else "A balanced part of the low and high combinations"
    return PlannedSet(fraction.rows, np.asarray(numbers), tuple(main_terms(k)), f"{what} of {k} settings, split evenly over the sessions.", mixed)


def _mixed_words(fraction, axes, lost):
    """What cannot be told apart, as a workshop would say it; the names of the fraction are the places of `axes`."""
    def effect_in_words(effect, together=" with "):
        return together.join(axes[int(place)].words or axes[int(place)].name for place in effect.split(":"))

    groups = [[effect_in_words(effect) for effect in group.split("+")] for group in fraction.aliases()]
    alone = [axis.words or axis.name for axis in axes]
    single = "; ".join(f"{one} from {', or '.join(others)}" for one, *others in groups if one in alone)
    pairs = "; ".join(", or ".join(group) for group in groups if group[0] not in alone)
    text = ""
    if groups:
        confounded = f"The plan cannot tell what one setting does from what two others do together: {single}."
        text = confounded if single else "Each setting's own effect can be read."
        text += (f" Where two act together, the plan cannot say which pair it was: {pairs}." if pairs else "")
    if lost:
        text += f" {capital(listed(effect_in_words(effect, ' acting with ') for effect in lost))} cannot be told from a difference between days."
    return text.strip()


def _two_level(request, sizes):
    """Low and high pours that tell the main effects apart best."""
    ends = [(-1.0, 1.0) if axis.levels is None else (min(axis.levels), max(axis.levels)) for axis in request.axes]
    axes = tuple(axis if axis.met is not None else replace(axis, levels=end) for axis, end in zip(request.axes, ends, strict=True))
    why = "Low and high of every setting, chosen so that their effects are told apart as sharply as these sessions and limits allow."
    mixed = "Effects of single settings are told apart; what two settings do together may be mixed into them."
    return _search(request, axes, sizes, main_terms, "D", why, mixed)


def _map_the_region(request: PlanRequest) -> PlannedSet:
    """Pours for a curved surface that predicts well everywhere."""
    why = "Three or more levels of each setting, chosen so that a curved surface predicts well on average over the whole region."
    return _search(request, request.axes, request.sizes, quadratic_terms, "I", why)


def _sharpen(request: PlanRequest) -> PlannedSet:
    """Pours that add most to what belief and the log already know."""
    why = "Placed where they narrow most what the trade's beliefs leave open."
    if request.fixed is not None:
        why = f"Added to {count(len(request.fixed), 'pour')} of the log, where they narrow most what log and belief leave open."
    return _search(request, request.axes, request.sizes, quadratic_terms, "D", why, with_past=True)


def settle(request: PlanRequest, this: np.ndarray, that: np.ndarray) -> PlannedSet:
    """Two coded settings side by side, as often as the sessions allow."""
    if min(request.sizes) < 2:
        raise PlanConflict(["To settle one question, each session needs both castings: plan at least 2 pours a session."])
    rows = np.array([(this, that)[place % 2] for size in request.sizes for place in range(size)])
    k = rows.shape[1]
    moved = int(np.argmax(np.abs(np.asarray(this) - that)))
    terms = ((0,) * k, tuple(int(i == moved) for i in range(k)))
    why = "Both settings are poured in every session, so that a good or bad day favours neither."
    return PlannedSet(rows, np.repeat(np.arange(len(request.sizes)), request.sizes), terms, why)


def _search(request, axes, sizes, kind, criterion, why, mixed="", with_past=False):
    """The best new pours that the exchange finds for a kind of model."""
    numbers, past = np.repeat(np.arange(len(sizes)), sizes), {}
    if with_past and request.fixed is not None:
        offset = max(request.fixed_sessions) + 1
        past = {"fixed": request.fixed, "fixed_sessions": request.fixed_sessions}
        axes, numbers = tuple(_after_sessions(axis, offset) for axis in axes), numbers + offset
    terms = _terms(kind, axes)
    problem = design_problem(request.coding, terms, numbers, axes=axes, informed=with_past, **past)
    rows = optimal_plan(problem, criterion, starts=STARTS, seed=request.seed)
    rows = balanced_over_sessions(problem, rows) if criterion == "D" else rows
    return PlannedSet(rows[len(problem.kept):], numbers - numbers.min(), terms, why, mixed)


def _after_sessions(axis: Axis, sessions: int) -> Axis:
    """The axis with its met values moved behind those of so many sessions already poured."""
    if axis.met is None:
        return axis
    return replace(axis, met=(0.0,) * sessions + tuple(axis.met))


def _terms(kind, axes):
    """Terms of a kind of model: no square of a two-valued factor, none of a factor met or set by session."""
    whole = [f for f, axis in enumerate(axes) if axis.whole]
    flat = [*whole, *(f for f, axis in enumerate(axes) if axis.levels is not None and len(axis.levels) < 3)]
    met = [f for f, axis in enumerate(axes) if axis.met is not None]

    def kept(term):
        own = sum(term) == 1 and any(term[f] for f in met)  # the room differs between sessions only, so its effect is left to their error
        return not own and not any(term[f] > 1 for f in flat) and sum(term[f] for f in whole) < 2

    return tuple(filter(kept, kind(len(axes))))


def _middle_pours(request, chosen):
    """A pour for each session in the middle of every setting, of two values at the higher; None where any is believed to run too hot.

    A setting that all pours of a session share stays as it is there.
    """
    first = [chosen.rows[chosen.sessions == number][0] for number in range(len(request.sizes))]
    rivals = {name for names in request.coding.study.one_of.values() for name in names}  # all of one choice cannot be in one pour
    middles = [None if axis.whole else -1.0 if axis.name in rivals else median_high(axis.levels or [0.0]) for axis in request.axes]
    middle = np.array([[own if level is None else level for own, level in zip(row, middles, strict=True)] for row in first])
    return None if HeatLimit(request.coding)(middle).any() else middle


PICK = {MATTER: _which_settings_matter, MAP: _map_the_region, SHARPEN: _sharpen}


"""The design problem of a study: scatter between days, beliefs, and the pours believed to run too hot.

Plan and repair both take their problem from `design_problem`, so that one heat limit and one ratio of the scatter
between sessions to that between pours hold for both.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import product

import numpy as np

from testpour.models.beliefs import beliefs_for, believed_peaks
from testpour.models.settings import settings_table
from testpour.models.terms import design
from testpour.planning.coding import Coding
from testpour.planning.criteria import Exponents
from testpour.planning.problem import Axis, DesignProblem
from testpour.study.caution_rules import Cautions
from testpour.study.cautions import check_settings, clash, hottest_peak
from testpour.study.study import Study

THINNER = " Use less catalyst, or pour in layers: each layer is a pour of its own, with its own depth as the thickness."
HALVED = 2.0  # a coded coefficient is believed half as large for each further order


def design_problem(
    coding: Coding, terms: Sequence[Exponents], sessions: Sequence[int], *,
    axes: tuple[Axis, ...] | None = None, fixed: np.ndarray | None = None,
    fixed_sessions: tuple[int, ...] | None = None, informed: bool = False
) -> DesignProblem:
    """The coded problem of a study's plan; a PlanConflict with every contradiction.

    `sessions` and `fixed_sessions` are the session numbers of each new pour and of each pour already made. `axes` stand in
    place of the coding's own; with `informed` the trade's beliefs count as prior information.
    """
    sessions, heat = tuple(int(number) for number in sessions), HeatLimit(coding)
    return DesignProblem(
        coding.axes() if axes is None else axes, tuple(terms), len(sessions), sessions=sessions,
        eta=_session_share(coding.study), forbidden=heat if heat.binds else None, limit=heat.sentence,
        fixed=fixed, fixed_sessions=fixed_sessions, prior=_prior(coding, terms) if informed else None,
    )


def _session_share(study: Study) -> float:
    """Variance between sessions over variance between pours, believed, averaged over the readings."""
    shares = []
    for reading in study.aimed:
        scatter = beliefs_for(study, reading).scatter
        pour = 1.0 if reading.grades else scatter["reading"] ** 2 + scatter["pour"] ** 2
        shares.append(scatter["session"] ** 2 / pour)
    return float(np.mean(shares))


def _prior(coding: Coding, terms: Sequence[Exponents]) -> np.ndarray:
    """Belief about p coded terms as a precision (p, p), in units of the variance between pours, averaged over readings."""
    study, total = coding.study, np.zeros(len(terms))
    for reading in study.aimed:
        believed = beliefs_for(study, reading)
        noise = 1.0 if reading.grades else np.hypot(believed.scatter["reading"], believed.scatter["pour"])
        sd = np.array([_coded_sd(coding, believed, term) for term in terms])
        total += (noise / sd) ** 2
    return np.diag(total / len(study.aimed))


def _coded_sd(coding, believed, term):
    """Believed sd of one coded coefficient on the latent scale; half as much for each further order."""
    if not any(term):
        return 10.0
    ends = np.array([[sign * (power > 0) for power in term] for sign in (-1, 1)], float)
    table = settings_table(coding.study, coding.decode(ends)).assign(age=24.0)
    change = np.diff(design(believed.terms, table), axis=0)[0] / 2
    return max(float(np.sqrt(np.sum((change * believed.sd) ** 2))), 0.05) / HALVED ** (sum(term) - 1)


@dataclass(eq=False)
class HeatLimit:
    """Where a pour is believed to reach the peak at which styrene boils, or has two of one choice: called with coded rows, a mask."""

    coding: Coding
    _known: dict[bytes, bool] = field(default_factory=dict, init=False, repr=False)

    def __call__(self, rows):
        """True for each coded row (m, k) that is too hot; the search asks for the same few again and again."""
        keys = [row.tobytes() for row in np.round(np.asarray(rows, float), 9) + 0.0]
        new = {key: place for place, key in enumerate(keys) if key not in self._known}
        if new:
            asked = np.asarray(rows)[list(new.values())]
            refused = (self.peaks(asked) >= hottest_peak()) | clash(self.coding.study, self.coding.decode(asked))
            self._known.update(zip(new, refused, strict=True))
        return np.array([self._known[key] for key in keys], bool)

    def peaks(self, rows: np.ndarray) -> np.ndarray:
        """Believed peak of each coded row, degC."""
        study = self.coding.study
        return believed_peaks(study, settings_table(study, self.coding.decode(rows)))

    @property
    def binds(self) -> bool:
        """Whether the limit cuts the region at any combination of low, middle and high, in any planned room."""
        return bool(self(self._corners()).any())

    def _corners(self):
        rooms = [axis.met for axis in self.coding.axes() if axis.met is not None]
        ends = [[-1.0, 0.0, 1.0]] * (len(self.coding.names) - len(rooms)) + rooms
        return np.array(list(product(*ends)))

    def sentence(self) -> str:
        """The limit that is in the way, the pour that breaks it most, and what would keep inside it."""
        corners = self._corners()
        peaks = self.peaks(corners)
        if peaks.max() < hottest_peak():
            return "[one_of] in study.toml, which leaves a pour one at most of each choice."
        worst = corners[[int(peaks.argmax())]]
        row = self.coding.decode(worst).iloc[0]
        settings_in_words = ", ".join(f"{f.words} {f.show(row[f.name])}" for f in map(self.coding.study.factor, self.coding.names))
        text = (
            f"the heat limit: no pour is planned whose believed peak reaches {hottest_peak():g} °C, where styrene boils, and "
            f"{settings_in_words} is believed to reach {peaks.max():.0f} °C."
        )
        remedies = [remedy for factor in self.coding.factors if (remedy := self._remedy(factor, worst))]
        return text + (f" Narrow the span in study.toml: {' or '.join(remedies)}." if remedies else THINNER)

    def _remedy(self, factor, worst):
        """The end of one factor's span that alone would keep the hottest pour below the limit, in words."""
        place, steps = self.coding.names.index(factor.name), np.linspace(-1, 1, 201)
        if factor.kind == "yes/no":
            return ""
        tried = np.repeat(worst, len(steps), axis=0)
        tried[:, place] = steps
        cool = ~self(tried)
        if not cool.any() or cool.all():
            return ""
        side = worst[0, place] > 0
        tried[0, place] = steps[cool].max() if side else steps[cool].min()
        value = float(self.coding.decode(tried[:1])[factor.name].iloc[0])
        return f"{factor.words} {'to' if side else 'from'} {factor.show(value)}"


def settings_refused(coding: Coding) -> tuple[str, ...]:
    """Everything the cautions refuse at the ends of the spans, at the values kept fixed, or in a planned room."""
    study, usual = coding.study, coding.study.settings()
    chosen = {f.name: (usual[f.name],) for f in study.numeric if f.role == "chosen"}
    ends = {**chosen, **{f.name: f.span for f in coding.factors}, "room_temperature": coding.rooms}
    return sum((check_settings(study, {name: float(value)}) for name, values in ends.items() for value in values), Cautions()).refusals

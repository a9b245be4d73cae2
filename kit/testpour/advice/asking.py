"""Which questions the cure model may answer: those on the resin it knows and the settings its evidence covers."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from testpour.common.problems import Problem
from testpour.common.units import show, to_unit
from testpour.common.wording import in_markdown, listed
from testpour.models.fits import Fits
from testpour.models.physics import NEEDS, PEAK, LotFit, learn_lot
from testpour.models.physics_choice import FEWEST
from testpour.models.settings import as_met, settings_table
from testpour.study.catalogue import catalogue
from testpour.study.cautions import check_settings, hottest_peak
from testpour.study.study import Study

USUAL_MOST = 110.0  # degC, if the study states no aim for the peak; `cautions.toml` warns from here
FURTHER = 1.5  # times the thickest pour, beyond which no answer is given: common practice, no source
CALCULATED = "This is a calculation for a slab in still air, not a measurement: pour one and read its peak before you rely on it."
UNREAD = "No peak is in the log, so how hot it gets rests on belief alone."
REFUTED = "The log's own peaks do not follow this calculation: go by what its fits predict, not by this."


class AskedTooMuch(Problem):
    """A question the cure model has no grounds to answer; `problems` lists each reason."""

    def __init__(self, problems: Iterable[str]) -> None:
        self.problems = tuple(problems)
        super().__init__("This cannot be answered. " + " ".join(self.problems))


class CureAnswer:
    """How an answer of the cure model is shown: whether the log refutes it, its sentences, its caution."""

    caution: str
    refuted: str

    def sentence(self) -> str:
        """The answer in a few sentences."""
        raise NotImplementedError

    def _repr_markdown_(self):
        return f"{in_markdown(f'{self.refuted} {self.sentence()}'.lstrip())}\n\n*{in_markdown(self.caution)}*"

    def __repr__(self):
        return f"{self.refuted} {self.sentence()} {self.caution}".lstrip()


@dataclass(frozen=True)
class CureQuestion:
    """A question that may be answered."""

    study: Study
    settings: dict[str, float]  # one row, in declared units
    lot: LotFit
    thickest: float  # mm, beyond which no answer is given
    warnings: tuple[str, ...]
    refuted: str = ""  # a sentence, if plain terms predict the log's peaks better than heat and cure

    def __getitem__(self, name):
        return self.settings[name]

    @property
    def mix(self) -> str:
        """The mix and the room in words."""
        parts = [self.study.factor(name).show(self[name]) for name in ("catalyst", "room_temperature")]
        return f"{parts[0]} catalyst in a room of {parts[1]}"

    def caution(self, *more: str) -> str:
        """What the answer rests on and what to mind, in sentences, with those given put before the warnings."""
        unread = () if self.lot.peaks else (UNREAD,)
        own = [one for one in self.study.varied if one.name not in catalogue()["factors"] and self[one.name] != one.usual]
        left_out = (f"This calculation leaves out {listed(one.words for one in own)}, of which it knows nothing.",) if own else ()
        return " ".join([self.lot.sentence(), *left_out, *unread, *more, *self.warnings, CALCULATED])


def checked_question(
    fits: Fits, settings: Mapping[str, str | float] | None = None, *, room: str | float | None = None,
    depths: bool = True
) -> CureQuestion:
    """Check a question against the resin, the limits and what was poured; settings left out take their usual values.

    Without `depths` the thickness is not checked. It raises AskedTooMuch if the study lacks thickness, catalyst or room
    temperature, a limit is broken, or a setting lies beyond the pours whose peak was read: beyond all pours if none was, or
    beyond the study's span if nothing was poured.
    """
    study = fits.study
    missing = [name for name in NEEDS if not study.has(name)]
    if missing:
        words, lines = (listed(catalogue()["factors"][name].words for name in missing), listed(f"{name} = {{}}" for name in missing))
        raise AskedTooMuch([f"The study has no {words}. Add {lines} under [factors] in study.toml, and log it of each pour."])
    row = settings_table(as_met(study, fits.castings.pours), settings, room=room).iloc[0].to_dict()
    cautions = check_settings(study, row)
    pours = fits.castings.pours
    with_peak = pours.index.isin(fits[PEAK].rows["pour"]) if PEAK in fits else np.zeros(len(pours), bool)
    pours = pours[with_peak] if with_peak.any() else pours
    problems = [*cautions.refusals]
    for name in ("catalyst", "room_temperature"):
        problems += _outside(study.factor(name), row[name], pours[name].dropna(), with_peak.any())
    thickest = FURTHER * _covered(study.factor("thickness"), pours["thickness"].dropna())[1]
    if depths and row["thickness"] > thickest + 1e-9:
        factor = study.factor("thickness")
        problems.append(
            f"Thickness {factor.show(row['thickness'])} is beyond one and a half times the thickest known here "
            f"({factor.show(thickest)}). Pour something thinner first and log its peak."
        )
    if problems:
        raise AskedTooMuch(problems)
    lot = learn_lot(fits.castings)
    plain = lot.peaks >= FEWEST and all(term.name != "physics" for term in fits[PEAK].believed.terms)
    return CureQuestion(study, row, lot, thickest, cautions.warnings, REFUTED if plain else "")


def peak_bound(asking: CureQuestion, at_most: str | float | None = None) -> float:
    """The peak, °C, to stay under: as given, the study's aim, or the usual one.

    Raises AskedTooMuch unless it lies between the room and the boiling point of styrene.
    """
    aims = [aim.at_most for aim in asking.study.aims if aim.reading == PEAK and aim.at_most is not None]
    bound = to_unit(at_most, "degC", "peak") if at_most is not None else min(aims, default=USUAL_MOST)
    if not asking["room_temperature"] < bound < hottest_peak():
        problem = f"A peak of at most {show(bound, 'degC')} cannot be used as a limit: styrene boils at {hottest_peak():g} °C and the room has"
        room = show(asking["room_temperature"], "degC")
        allowed = f"{room}. Set the aim for the peak in study.toml well between the two, for example \"{USUAL_MOST:g} degC\"."
        raise AskedTooMuch([f"{problem} {allowed}"])
    return bound


def _covered(factor, poured):
    """The range of the evidence: what was poured and a step beyond, or the study's span before any pour."""
    span = factor.span or (factor.low, factor.high)
    if not len(poured):
        return span
    return poured.min() - factor.step, poured.max() + factor.step


def _outside(factor, value, poured, read=True):
    low, high = _covered(factor, poured)
    if low - 1e-9 <= value <= high + 1e-9:
        return []
    what = f"what was poured{' and its peak read' if read else ''} ({factor.between(poured.min(), poured.max())})" if len(poured) else (
        f"the study's span ({factor.between(low, high)})"
    )
    what += "" if read and len(poured) else ", and no peak is in the log"
    return [f"{factor.words.capitalize()} {factor.show(value)} is beyond {what}. Pour one there and log its peak, or ask nearer."]

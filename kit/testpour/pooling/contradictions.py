"""Effects in which the benches of a pool contradict each other, though the pool takes them as the same everywhere."""

from dataclasses import dataclass

import numpy as np
from scipy.stats import chi2

from testpour.common.wording import listed
from testpour.likelihood.posterior import sample
from testpour.models.reading_model import model_from_columns
from testpour.models.terms import Term
from testpour.pooling.reading import PooledReading

# Chance of a false contradiction, in any effect on one reading: among 103 invented guilds without contradictions, with three or
# four benches of six to twelve pours, there was one.
RARE = 0.01
MATTERS = 0.25  # sd between benches, as a share of the belief's, from which a contradiction is reported
DRAWS = 250  # of each bench's own posterior, an effective 125: the mean is within 0.09 sd, the sd within 7 %
TOLD = 0.8  # largest share of a belief's sd that may be left for a bench's own log to count


@dataclass(frozen=True)
class Contradiction:
    """One effect on which the benches' own logs disagree."""

    term: Term
    mean: float  # of a new bench's effect, from the benches' own answers
    sd: float  # at least as large as the distance of any answer from the mean
    matters: bool  # whether the benches differ enough for a maker to notice


def contradictions(fit: PooledReading) -> tuple[Contradiction, ...]:
    """The effects on a reading that the pool shares, but on which its benches, each fitted alone, disagree.

    A bench's own answer is its posterior with the prior removed. Answers are compared by Cochran's Q; the sd between
    benches is the moment estimate of DerSimonian and Laird (1986, Controlled Clinical Trials 7, 177).
    """
    believed = fit.average.believed.without_remainder()
    if len(fit.benches) < 2 or not believed.terms:
        return ()
    means, sds = _own_answers(fit, believed)
    shared = [place for place, term in enumerate(believed.terms) if term.name not in ("level", *fit.sloped)]
    found = []
    for k in shared:
        if (apart := _apart(means[:, k], sds[:, k], believed.beliefs[k], len(shared))) is not None:
            mean, sd = apart
            found.append(Contradiction(believed.terms[k], mean, sd, sd > MATTERS * believed.beliefs[k].sd))
    return tuple(found)


def _own_answers(fit, believed):
    """Mean and sd (benches, terms) of every coefficient from each bench's log alone; the proposal is tuned for the first only."""
    whole, first, drawn = fit.average, None, []
    for at in whole.rows.groupby("bench", sort=False).indices.values():  # parts of one matrix: of 200 benches, tables of their own took longest
        ends, labels = (whole.model.low[at], whole.model.high[at]), {name: values[at] for name, values in whole.labels.items()}
        model = model_from_columns(whole.reading, believed, (), whole.columns[at, : len(believed.terms)], ends, labels)
        drawn.append(sample(model, DRAWS, near=first).coefficients)
        first = first or model
    return np.array([own.mean(axis=0) for own in drawn]), np.array([own.std(axis=0) for own in drawn])


def _apart(mean, sd, belief, effects):
    """Mean and sd of a new bench's effect if the benches' own answers contradict each other, else None."""
    told = sd < TOLD * belief.sd
    if told.sum() < 2:
        return None
    weight = 1 / sd[told] ** 2 - 1 / belief.sd**2
    answer = (mean[told] / sd[told] ** 2 - belief.mean / belief.sd**2) / weight
    off = weight @ (answer - np.average(answer, weights=weight)) ** 2
    if off < chi2.isf(RARE / effects, len(answer) - 1):
        return None
    between = (off - len(answer) + 1) / (weight.sum() - weight @ weight / weight.sum())
    whole = 1 / (1 / weight + between)
    middle = np.average(answer, weights=whole)
    return middle, max(np.sqrt(between + 1 / whole.sum()), np.abs(answer - middle).max())


def contradiction_words(fit: PooledReading, found: tuple[Contradiction, ...]) -> str:
    """The contradictions about one reading in a sentence; empty if none matters."""
    names = dict.fromkeys(name for effect in found if effect.matters for name in effect.term.factors)
    if not names:
        return ""
    words = ["age" if name == "age" else fit.average.study.factor(name).words for name in names]
    do = "does" if len(words) == 1 else "do"
    return f"The benches contradict each other about what {listed(words)} {do} to {fit.reading.words}: a new bench should find out by its own pours."

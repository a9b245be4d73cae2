"""What the log says about the lot: its induction time, its rate of cure, the heat it makes and the heat it loses.

The unknowns of `physics.lots` start at belief. Gel times, times to peak and peaks of the log move them, by
Gauss-Newton steps on each reading's own scale, which gives a normal approximation of the posterior at its
mode (MacKay, Neural Computation 4 (1992) 448, citation from memory).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from scipy.sparse import csr_array, eye_array, hstack
from scipy.sparse.linalg import splu
from scipy.special import logit

from testpour.common.wording import count, listed
from testpour.likelihood.observations import interval_middles
from testpour.logbook.castings import Castings
from testpour.models.beliefs import Belief, beliefs_for
from testpour.models.reading_model import rows_of
from testpour.models.scales import ADIABATIC_RISE, latent_ends
from testpour.models.terms import REFERENCE
from testpour.physics.atlas import minutes_until, rise_of
from testpour.physics.lots import UNKNOWNS, Lots, lot_beliefs, lots_at
from testpour.study.columns import Reading

NEEDS = ("thickness", "catalyst", "room_temperature")
TIMES = {"gel_time": "gel", "time_to_peak": "peak_time"}  # reading and its name in the atlas
PEAK = "peak_temperature"
STEPS, SETTLED = 10, 0.02  # Gauss-Newton steps at most; standard deviations below which they are done
TURN = 0.3  # standard deviations over which a slope is taken
FARTHEST = 3.0  # standard deviations of belief, beyond which the atlas ends
MOVED = 0.7  # posterior sd over prior sd, below which the log has narrowed an unknown


@dataclass(frozen=True, eq=False)
class LotFit:
    """A lot's unknowns, updated by the log."""

    place: np.ndarray  # (9,): posterior mode, in standard deviations of belief (see `physics.lots`)
    covariance: np.ndarray  # (9, 9), about it
    by_times: tuple[np.ndarray, np.ndarray]  # mode and covariance from gel times and times to peak alone
    pours: int = 0  # that it rests on
    peaks: int = 0  # peak readings among them

    def draws(self, number: int, seed: int = 0) -> Lots:
        """Draws of the lot from its posterior, with fields of shape (number, 1)."""
        root = np.linalg.cholesky(self.covariance + 1e-9 * np.eye(len(self.place)))
        scores = np.random.default_rng(seed).standard_normal((number, len(self.place)))
        return lots_at(np.clip(self.place + scores @ root.T, -FARTHEST, FARTHEST))

    @property
    def narrowed(self) -> tuple[str, ...]:
        """Names of the unknowns whose sd the log has clearly narrowed."""
        left = np.sqrt(np.diag(self.covariance))
        return tuple(name for name, sd in zip(UNKNOWNS, left, strict=True) if sd < MOVED)

    def sentence(self) -> str:
        """What the lot's numbers rest on."""
        if not self.pours:
            return "No gel time or peak is in the log, so the resin's numbers are the trade's guesses, not this lot's."
        rest = [lot_beliefs()[name]["words"] for name in UNKNOWNS if name not in self.narrowed]
        text = f"The resin's numbers rest on {count(self.pours, 'pour')} of the log"
        if not rest:
            return f"{text}, which has narrowed all of them."
        if not self.narrowed:
            return f"{text}, which has narrowed none of them: they are still the trade's guesses."
        return f"{text}. In this calculation they hardly narrow what the trade believes about {listed(rest)}."

    __repr__ = sentence


@dataclass(frozen=True, eq=False)
class _Evidence:
    """Readings of one kind: latent ends, settings, and the covariance of their scatter."""

    reading: Reading
    low: np.ndarray
    high: np.ndarray
    settings: np.ndarray
    pigment: np.ndarray
    by_pigment: Belief  # what a per cent of it does
    labels: dict[str, np.ndarray]
    scatter: dict[str, float]


def latent(name: str, lots: Lots, settings: np.ndarray) -> np.ndarray:
    """A reading on its latent scale: shape (lots, rows); `settings` are thickness, catalyst and room, (3, rows)."""
    if name == PEAK:
        return peak_latent(rise_of(lots, *settings))
    return np.log(minutes_until(TIMES[name], lots, *settings))


def peak_latent(rise: np.ndarray) -> np.ndarray:
    """Logit of a rise (K) as a share of the scale's full rise, kept off its ends."""
    return logit(np.clip(rise / ADIABATIC_RISE, 1e-3, 0.995))


def lot_settings(table: pd.DataFrame) -> np.ndarray:
    """Thickness (mm), catalyst (%) and room (°C) of a settings table: shape (3, rows)."""
    thickness, catalyst, room = (np.asarray(table[name], float) for name in NEEDS)
    return np.stack([np.maximum(thickness, 0.5), np.maximum(catalyst, 0.05), room])


def learn_lot(castings: Castings, beliefs: Mapping[str, Any] | None = None) -> LotFit:
    """The lot's unknowns, belief updated by a log; belief alone if log or study hold nothing informative.

    The scatter of readings is taken from `beliefs`, as for `fit_castings`.
    """
    evidence = list(_evidence(castings, beliefs))
    times = [part for part in evidence if part.reading.name in TIMES]
    by_times = _gauss_newton(times)
    place, covariance = _gauss_newton(evidence, start=by_times[0])
    pours = {pour for part in evidence for pour in part.labels["pour"]}
    peaks = sum(len(part.low) for part in evidence if part.reading.name == PEAK)
    return LotFit(place, covariance, by_times, len(pours), peaks)


def _evidence(castings, beliefs):
    """The informative readings of a log, one `_Evidence` per reading."""
    study = castings.study
    if not set(NEEDS) <= {factor.name for factor in study.factors}:
        return
    for reading in study.readings:
        if reading.name not in (*TIMES, PEAK):
            continue
        rows, _ = rows_of(castings, reading)
        low, high = latent_ends(reading, rows)
        telling = (np.isfinite(low) | np.isfinite(high)) & (low < np.inf) & (high > -np.inf)
        rows = rows[telling]
        if not len(rows):
            continue
        believed = beliefs_for(study, reading, beliefs)
        by_pigment = next((belief for term, belief in zip(believed.terms, believed.beliefs, strict=True) if term.name == "pigment"), Belief(0.0, 1.0))
        pigment = rows["pigment"].to_numpy(float) - REFERENCE["pigment"] if "pigment" in rows else np.zeros(len(rows))
        labels = {name: rows[name].astype(str).to_numpy() for name in ("pour", "session", "resin_lot", "catalyst_lot") if name in rows}
        yield _Evidence(reading, low[telling], high[telling], lot_settings(rows), pigment, by_pigment, labels, believed.scatter)


def _gauss_newton(parts, start=None):
    """Mode of the posterior and the covariance there; the belief if there is no evidence."""
    count = len(UNKNOWNS)
    centre = np.r_[np.zeros(count), [part.by_pigment.mean for part in parts]]
    sd = np.r_[np.ones(count), [part.by_pigment.sd for part in parts]]
    if not parts:
        return np.zeros(count), np.eye(count)
    noise, at = _noise_covariance(parts), centre.copy()
    if start is not None:
        at[:count] = start
    for _ in range(STEPS):
        slopes, targets, used = _linearised(parts, at, count)
        weight = _inverse_covariance_times(noise, used, np.c_[slopes[used], targets[used]])
        precision = slopes[used].T @ weight[:, :-1] + np.diag(sd**-2.0)
        top = np.linalg.solve(precision, slopes[used].T @ weight[:, -1] + centre / sd**2)
        step = top - at
        at = at + step * min(1.0, 1.0 / max(np.abs(step[:count]).max(), 1e-9))
        at[:count] = np.clip(at[:count], -FARTHEST, FARTHEST)
        if np.abs(step).max() < SETTLED:
            break
    return at[:count], np.linalg.inv(precision)[:count, :count]


def _linearised(parts, at, count):
    """The linearised model: slopes of every reading, targets for the coefficients, and which rows are informative."""
    moves = np.vstack([np.zeros(count), TURN * np.eye(count), -TURN * np.eye(count)])
    lots = lots_at(at[:count] + moves)
    blocks, targets, used = [], [], []
    for k, part in enumerate(parts):
        predicted = latent(part.reading.name, lots, part.settings)
        slope = (predicted[1 : count + 1] - predicted[count + 1 :]).T / (2 * TURN)
        own = np.zeros((len(part.low), len(parts)))
        own[:, k] = part.pigment
        now = predicted[0] + own @ at[count:]
        open_low, open_high = np.isinf(part.low), np.isinf(part.high)
        binds = np.where(open_low, now > part.high, np.where(open_high, now < part.low, True))
        blocks.append(np.hstack([slope, own]))
        targets.append(interval_middles(part.low, part.high) - now + blocks[-1] @ at)
        used.append(binds)
    return np.vstack(blocks), np.concatenate(targets), np.flatnonzero(np.concatenate(used))


def _noise_covariance(parts):
    """Scatter of the readings: own variances (n,), and a sparse factor (n, levels) of what pours, sessions and lots share."""
    kinds = np.concatenate([[part.reading.name == PEAK] * len(part.low) for part in parts])
    own, shared = [], [csr_array((len(kinds), 0))]
    for part in parts:
        width = np.where(np.isinf(part.high - part.low), 0.0, part.high - part.low)
        own.append(part.scatter["reading"] ** 2 + width**2 / 12)
    for name in ("pour", "session", "resin_lot", "catalyst_lot"):
        if all(name in part.labels for part in parts):
            labels = np.concatenate([part.labels[name] for part in parts])
            if len(set(labels)) > 1:
                scale = np.concatenate([np.full(len(part.low), part.scatter[name]) for part in parts])
                level = np.unique(2 * np.unique(labels, return_inverse=True)[1] + kinds, return_inverse=True)[1]
                shared.append(csr_array((scale, (np.arange(len(kinds)), level))))
    return np.concatenate(own), hstack(shared, format="csr")


def _inverse_covariance_times(noise, used, right):
    """The inverse covariance of the readings `used` times `right` (n, k).

    By Woodbury's identity: the work grows with the readings, not their square.
    """
    own, shared = noise[0][used, None], noise[1][used]
    plain = right / own
    if not shared.shape[1]:
        return plain
    between = shared.T @ (shared / own) + eye_array(shared.shape[1])
    return plain - shared @ splu(between.tocsc()).solve(shared.T @ plain) / own

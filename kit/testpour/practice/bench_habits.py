"""How a bench weighs and reads: a scale with steps, checks of the pot now and then, grades, whole numbers."""

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
import pandas as pd

from testpour.practice.algebraic_resin import Truth
from testpour.practice.physical_resin import PhysicalTruth
from testpour.study.study import Study

CHECK_EVERY = 4.0  # minutes between two checks of the pot
RESIN_IN_POT = 120.0  # g weighed for one pot
LAST_CHECK = 240.0  # min
USUAL_AGE = 24.0  # h
POUR_SCATTER = 0.7  # Shore D between alike castings of a session


def weighed_dose(catalyst: pd.Series, resolution: float, rng: np.random.Generator) -> np.ndarray:
    """Catalyst, %, actually delivered for the target `catalyst`: each weighing is off by up to half a step of the scale, g."""
    half = resolution / 2
    grams = RESIN_IN_POT * catalyst / 100 + rng.uniform(-half, half, len(catalyst))
    return 100 * np.maximum(grams, 0) / (RESIN_IN_POT + rng.uniform(-half, half, len(catalyst)))


def read_pour(
    study: Study, truth: Truth | PhysicalTruth, ideals: Mapping[float, Mapping[str, float]], room: float,
    shared: Mapping[str, float], rng: np.random.Generator
) -> Iterator[dict[str, Any]]:
    """Readings of one pour as a bench gets them: between checks, in whole numbers, in grades.

    Each is as `Logbook.add_all` takes it. `ideals` holds the pour's true average readings at each age in h; `shared` has
    the session's shifts, from `truth.day`.
    """
    for reading in study.readings:
        for age in reading.ages or (None,):
            if reading.name not in ideals[age or USUAL_AGE]:
                continue
            ideal = float(ideals[age or USUAL_AGE][reading.name])
            answer = {"reading": reading.name, "age": age}
            if reading.grades:
                latent = ideal + shared["grade"] + rng.normal(0, truth.step)
                yield {**answer, "value": float(np.clip(np.round(latent), 0, len(reading.grades) - 1))}
            elif reading.scale == "log":
                minutes = ideal * np.exp(shared["log"] + rng.normal(0, truth.reading))
                yield {**answer, **_between_checks(minutes)}
            elif reading.name == "hardness":
                centre = ideal + shared["plain"] + rng.normal(0, POUR_SCATTER)
                for _ in range(3):
                    yield {**answer, "value": float(np.clip(np.round(centre + rng.normal(0, truth.shore)), 0, 100))}
            else:
                yield {**answer, "value": round(truth.peak(ideal, room, shared, rng))}


def _between_checks(minutes):
    """A time known only to be between two checks of the pot, or after the last."""
    if minutes > LAST_CHECK:
        return {"not_yet": LAST_CHECK}
    step = CHECK_EVERY if minutes < 80 else 10.0
    before = step * np.floor(minutes / step)
    return {"between": (max(before, 0.5), before + step)}

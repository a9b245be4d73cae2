"""What a pool knows, as beliefs for a bench that joins, and what they are based on."""

from datetime import date
from importlib.metadata import version

import numpy as np

from testpour.common.wording import count
from testpour.models.beliefs import trade_beliefs
from testpour.models.remainder import projected_on_expected
from testpour.models.terms import TERMS
from testpour.pooling.belief_file import FORM, KIND, PooledBeliefs
from testpour.pooling.pooled_logs import PooledLogs

DIGITS = 6


def pooled_beliefs(pooled: PooledLogs) -> PooledBeliefs:
    """What a pool knows, as the belief of a bench that is not in it yet.

    ``level`` and every effect that may differ by bench are as wide as a new bench makes them; ``scatter`` holds
    half-normal scales of the same mean square as the pool's. An effect on which the benches contradict each other is as
    wide as their answers differ. Each coefficient has a normal belief of its own: their correlations are not in it, nor
    is what the pool knows of a person's own factor.
    """
    tables = {name: _reading_table(fit, _source(fit), pooled.contradictions.get(name, ())) for name, fit in pooled.read.items()}
    benches = {name: _half_normal_scale(fit.average.posterior.group_sds["bench"]) for name, fit in pooled.read.items()}
    return PooledBeliefs(tables, _provenance(pooled), benches)


def _provenance(pooled):
    return {
        "kind": KIND,
        "form": FORM,
        "written": date.today().isoformat(),
        "testpour": version("testpour"),
        "resin": str(pooled.study.resin.get("kind", "")),
        "benches": len(pooled.benches),
        "pours": int(pooled.benches["pours"].sum()),
        "sessions": int(pooled.benches["sessions"].sum()),
        "contradictions": pooled.contradiction_sentences(),
        "packages": [
            {"fingerprint": row.fingerprint, "pours": int(row.pours), "readings": int(row.readings)}
            for row in pooled.benches.itertuples()
        ],
        "units": {name: fit.reading.counted_in for name, fit in pooled.read.items()},
    }


def _source(fit):
    return f"pool of {count(len(fit.benches), 'bench', 'benches')}, {count(fit.average.rows['pour'].nunique(), 'pour')}"


def _reading_table(fit, source, contrary=()):
    posterior, away = fit.average.posterior, fit.newcomer().away
    believed = fit.average.believed
    table = {}
    coefficients = projected_on_expected(fit.average.study, believed, posterior.coefficients)  # a belief has no remainder to carry
    for term, draws in zip(believed.without_remainder().terms, coefficients.T, strict=True):
        if term.name in TERMS:
            table[term.name] = _entry(draws + away.get("bench" if term.name == "level" else term.name, 0.0), source)
    for effect in contrary:
        if effect.term.name in table:
            table[effect.term.name] = {
                "mean": _digits(effect.mean), "sd": _digits(effect.sd), "source": f"{source}, which contradict each other", "confidence": "low",
            }
    if fit.reading.grades:
        steps = posterior.cuts - believed.cuts.width * np.arange(posterior.cuts.shape[1]) - away["bench"][:, None]
        table["cuts"] = _entry(steps.ravel(), source)
    sds = posterior.group_sds | ({} if fit.reading.grades else {"reading": posterior.sd})
    table["scatter"] = {name: _half_normal_scale(sd) for name, sd in sds.items() if name in trade_beliefs()["other"]["scatter"]}
    return table


def _entry(draws, source):
    return {"mean": _digits(draws.mean()), "sd": _digits(draws.std()), "source": source, "confidence": "high"}


def _half_normal_scale(sds):
    """The scale of the half-normal distribution that has the same mean square as `sds`."""
    return _digits(np.sqrt(np.mean(sds**2)))


def _digits(value):
    return float(f"{value:.{DIGITS}g}")

"""Pool the logs of several benches, and pass on what they say together: in a notebook, as a page, as beliefs."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from testpour.common.threads import one_thread
from testpour.pooling.belief_file import PooledBeliefs, write_beliefs
from testpour.pooling.joining import join_logs
from testpour.pooling.learnt_beliefs import pooled_beliefs
from testpour.pooling.pool_page import pool_html, write_page
from testpour.pooling.pooled_logs import PooledLogs
from testpour.pooling.reading import fit_pooled
from testpour.pooling.sources import Given


class Pool(PooledLogs):
    """Several benches' logs, fitted as one, which can be passed on."""

    def _repr_html_(self):
        return pool_html(self, whole=False)

    def beliefs(self, path: str | Path | None = None) -> PooledBeliefs | Path:
        """What the pool knows, as the belief of a newcomer's bench; see `belief_file.write_beliefs`.

        Parameters
        ----------
        path : str or Path, optional
            Where to write them; they are returned, not written, where it is left out.

        Returns
        -------
        PooledBeliefs, or Path of the file
        """
        learnt = pooled_beliefs(self)
        return learnt if path is None else write_beliefs(learnt, path)

    def page(self, path: str | Path = "pool.html") -> Path:
        """Write what the pool says as one page that opens anywhere; return its path.

        Parameters
        ----------
        path : str or Path

        Returns
        -------
        Path
        """
        return write_page(self, path)


@one_thread
def pool(
    benches: Sequence[Given] | Mapping[str, Given], *, leave_out: bool = False,
    beliefs: Mapping[str, Any] | None = None, seed: int = 0
) -> Pool:
    """Join the logs of several benches and fit them as one.

    Parameters
    ----------
    benches : sequence, or dict of name to source
        Each the path of a data package or study folder, a Logbook or Castings. A dict names the benches.
        Notes are dropped, and who read what is numbered by bench.
    leave_out : bool
        Join what can be joined and list the rest under `left_out`, instead of refusing.
    beliefs : dict, optional
        Beliefs that replace the trade's, as for `fit_castings`; those of an earlier pool, from `read_beliefs`, also
        say how far benches lie apart.
    seed : int
        The same logs and seed give the same pool.

    Returns
    -------
    Pool

    Raises
    ------
    PoolProblems
        Where logs cannot be joined as they are, every reason in its `table`.

    Notes
    -----
    Each bench has its own level, drawn from one distribution of benches; so have sessions and lots within it, and, where five
    benches varied them, the effects of catalyst, room temperature and thickness. Where the logs bend away from what the beliefs
    foresee, all benches share the bend (see `models.remainder`). The same lot label at two benches is not taken for one drum.

    Examples
    --------
    >>> tp.pool({"North": castings, **tp.practice_guild(study, benches=2)})
    3 benches: 54 pours in 10 sessions. Gel time: ...
    """
    joined = join_logs(benches, leave_out=leave_out)
    castings = joined.castings
    readings = {r.name: fit_pooled(castings, joined.bench_of, r, beliefs=beliefs, seed=seed) for r in castings.study.readings}
    return Pool(castings, joined.benches, joined.left_out, readings, seed, joined.assumed)

"""Pool the logs of several benches, and report what they show together: in a notebook, as a page, as beliefs."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from markupsafe import Markup

from testpour.common.files import free_for, page_kind, put
from testpour.common.pages import template
from testpour.common.threads import one_thread
from testpour.common.wording import count, in_html, table_html
from testpour.exchange.data_link import image_link, versions
from testpour.pooling.belief_file import PooledBeliefs, write_beliefs
from testpour.pooling.bench_chart import show_benches
from testpour.pooling.bench_words import EVERY, MOST, NOTHING, OPEN, SAME, TOGETHER, expected_in_words, too_few
from testpour.pooling.joining import join_logs
from testpour.pooling.learnt_beliefs import pooled_beliefs
from testpour.pooling.pooled_logs import PooledLogs
from testpour.pooling.reading import fit_pooled
from testpour.pooling.sources import Given

HEADS = {
    EVERY: "Holds at every bench",
    SAME: "Taken as the same at every bench",
    MOST: "Holds at the average bench, but not everywhere",
    TOGETHER: "What all logs together say",
    NOTHING: "Makes no difference that counts",
    OPEN: "Cannot tell yet",
}
PAGE = page_kind("page of pooled logs")
SHOWN = 30  # benches in the page's table; a list of hundreds is in the figure


class Pool(PooledLogs):
    """Several benches' logs, fitted as one, which can be passed on."""

    def _repr_html_(self):
        return _html(self, whole=False)

    def beliefs(self, path: str | Path | None = None) -> PooledBeliefs | Path:
        """What the pool knows, as the belief of a newcomer's bench; see `belief_file.write_beliefs`.

        Parameters
        ----------
        path : str or Path, optional
            Where to write them; by default they are returned and not written.

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
        return put(free_for(path, PAGE), _html(self, whole=True), PAGE)


@one_thread
def pool(benches: Sequence[Given] | Mapping[str, Given], *, leave_out: bool = False, beliefs: Mapping[str, Any] | None = None, seed: int = 0) -> Pool:
    """Join the logs of several benches and fit them as one.

    Parameters
    ----------
    benches : sequence, or dict of name to source
        Each the path of a data package or study folder, a Logbook or Castings. A dict names the benches.
        Notes are dropped, and readers are numbered by bench.
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
        If logs cannot be joined as they are, with every reason in its `table`.

    Notes
    -----
    Each bench has its own level, drawn from one distribution of benches; so have sessions and lots within it, and, where five
    benches varied them, the effects of catalyst, room temperature and thickness. If the logs depart from the shape that the
    beliefs expect, all benches share the departure (see `models.remainder`). A lot label at two benches is not taken for one drum.

    Examples
    --------
    >>> tp.pool({"North": castings, **tp.practice_guild(study, benches=2)})
    3 benches: 54 pours in 10 sessions. Gel time: ...
    """
    joined = join_logs(benches, leave_out=leave_out)
    castings = joined.castings
    readings = {r.name: fit_pooled(castings, joined.bench_of, r, beliefs=beliefs, seed=seed) for r in castings.study.readings}
    return Pool(castings, joined.benches, joined.left_out, readings, seed, joined.assumed)


def _html(pooled, whole):
    """The pool as HTML, what holds where, what differs and what to expect: a part of a notebook, or a `whole` page with its figures."""
    rows = pooled.table
    return template("pooling", "pool.html").render(
        pooled=pooled, whole=whole, title=f"What {count(len(pooled.benches), 'bench', 'benches')} found", words=lambda text: Markup(in_html(text)),
        few=[too_few(len(pooled.benches)), *pooled.contradiction_sentences()],
        effects=[(head, list(rows.loc[rows["where"] == where, "says"])) for where, head in HEADS.items()],
        expected=[expected_in_words(fit) for fit in pooled.read.values()], figures=lambda: [_figure(pooled, name) for name in pooled.read],
        left_out=Markup(table_html(pooled.left_out, border=0, index=False)) if len(pooled.left_out) else "",
        benches=Markup(table_html(pooled.benches.head(SHOWN).reset_index(), border=0, index=False)), shown=SHOWN,
        versions=", ".join(f"{name} {version}" for name, version in versions().items()),
    )


def _figure(pooled, name):
    picture = show_benches(pooled, name)
    return {"src": image_link(picture.to_bytes("svg")), "says": picture.says}

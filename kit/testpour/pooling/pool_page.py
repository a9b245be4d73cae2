"""A pool as a person sees it: in a notebook, and as one page that opens anywhere."""

from pathlib import Path

from markupsafe import Markup

from testpour.common.files import free_for, page_kind, put
from testpour.common.pages import template
from testpour.common.wording import count, in_html, table_html
from testpour.exchange.data_link import image_link, versions
from testpour.pooling.bench_chart import show_benches
from testpour.pooling.bench_words import EVERY, MOST, NOTHING, OPEN, SAME, TOGETHER, expected_in_words, too_few
from testpour.pooling.pooled_logs import PooledLogs

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


def write_page(pooled: PooledLogs, path: str | Path) -> Path:
    """Write the pool as one HTML file that needs no network; return its path. Only such a page is replaced."""
    path = free_for(path, PAGE)
    return put(path, pool_html(pooled, whole=True), PAGE)


def pool_html(pooled: PooledLogs, whole: bool) -> str:
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

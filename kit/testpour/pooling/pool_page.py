"""A pool as a person sees it: in a notebook, and as one page that opens anywhere."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING

from testpour.exchange.data_link import image_link, versions
from testpour.files import free_for, page_kind, put
from testpour.pooling.bench_chart import show_benches
from testpour.pooling.bench_words import EVERY, MOST, NOTHING, OPEN, SAME, TOGETHER, expects, too_few
from testpour.wording import count, in_html, table_html, visible

if TYPE_CHECKING:
    from testpour.pooling.pool import Pool

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
SCROLLS = 'tabindex="0" role="group" aria-label="Scrolls sideways on a narrow screen"'
POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
STYLE = (
    "body{font:1rem/1.5 system-ui,'DejaVu Sans',sans-serif;color:#1a1a1a;background:#fff;max-width:46rem;margin:0 auto;"
    "padding:1rem;overflow-wrap:anywhere}h2{border-top:2px solid #0b4f8a;padding-top:.6rem;margin-top:2rem}"
    "figure{margin:1rem 0}img{width:100%;min-width:26rem;height:auto}.wide{overflow-x:auto;overflow-wrap:normal}"
    "li{margin:.25rem 0}table{border-collapse:collapse;font-size:.9rem}"
    "th,td{border-bottom:1px solid #b8b8b8;padding:.25rem .7rem .25rem 0;text-align:left;vertical-align:top}"
)


def write_page(pooled: Pool, path: str | Path) -> Path:
    """Write the pool as one HTML file that needs no network; return its path. Only such a page is replaced."""
    path = free_for(path, PAGE)
    title = f"What {count(len(pooled.benches), 'bench', 'benches')} found"
    body = [f"<h1>{title}</h1>", *page_body(pooled, level=2), *_figures(pooled), *_basis(pooled)]
    head = (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{title}</title>'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">'
        f'<meta name="viewport" content="width=device-width, initial-scale=1"><style>{STYLE}</style></head><body><main>'
    )
    return put(path, head + "\n".join(body) + "</main></body></html>\n", PAGE)


def page_body(pooled: Pool, level: int) -> Iterator[str]:
    """The pool as HTML under heads of a `level`: a sentence, what holds where, what differs, what to expect."""
    yield f"<p>{in_html(pooled.joined())}</p>"
    if not pooled.tells:
        yield from (f"<p>{in_html(text)}</p>" for text in (too_few(len(pooled.benches)), *pooled.contradiction_sentences()))
    for where, head in HEADS.items():
        rows = pooled.table[pooled.table["where"] == where]
        if len(rows):
            says = "".join(f"<li>{in_html(said)}</li>" for said in rows["says"])
            yield f"<h{level}>{head}</h{level}><ul>{says}</ul>"
    if pooled.tells:
        told = "".join(f"<li>{in_html(text)}</li>" for text in pooled.told())
        yield f"<h{level}>What differs by bench</h{level}><ul>{told}</ul>"
    told = "".join(f"<li>{in_html(expects(fit))}</li>" for fit in pooled.read.values())
    yield (
        f"<h{level}>What a newcomer's bench should expect</h{level}>"
        f"<p>Of its first casting at the usual settings, nine in ten over benches and days:</p><ul>{told}</ul>"
    )
    if len(pooled.left_out):
        yield f"<h{level}>Left out</h{level}>{table_html(pooled.left_out, border=0, index=False)}"


def _figures(pooled):
    yield "<h2>The benches side by side</h2>"
    for name in pooled.read:
        picture = show_benches(pooled, name)
        yield f'<figure class="wide" {SCROLLS}><img src="{image_link(picture.to_bytes("svg"))}" alt="{escape(visible(picture.says))}"></figure>'


def _basis(pooled):
    table = pooled.benches
    rest = f"<p>The first {SHOWN} of {len(table)} benches.</p>" if len(table) > SHOWN else ""
    shown = table_html(table.head(SHOWN).reset_index(), border=0, index=False)
    yield f'<h2>What it rests on</h2><div class="wide" {SCROLLS}>{shown}</div>{rest}'
    yield (
        "<p>Each bench has a level of its own, and so have the sessions and lots within it; how far benches, sessions and lots "
        "lie apart is learned from all logs together. The effects of catalyst, room temperature and thickness may differ by bench once five benches varied "
        "them; all others are taken as the same. Intervals are 90 % intervals of the average casting of a bench; what a newcomer should expect is for "
        f"single castings. Computed by {in_html(', '.join(f'{k} {v}' for k, v in versions().items()))}.</p>"
    )

"""Words of others stay words: nothing they hold is run, fetched, reckoned or read in another order, wherever it is shown."""

import re
import shutil
import zipfile
from dataclasses import replace
from html.parser import HTMLParser
from importlib import import_module
from inspect import getmembers, isclass
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from PIL import Image

import testpour
from testpour.advice.batch import next_pours
from testpour.advice.chart import recipe_chart
from testpour.advice.recommend import recommend
from testpour.advice.stopping import stop_advice
from testpour.advice.what_if import what_if
from testpour.bench.bench_sheet import bench_sheet
from testpour.bench.due import due
from testpour.bench.labels import labels
from testpour.bench.weighing import weigh_out
from testpour.causes.diagnosis import why
from testpour.causes.why_all import why_all
from testpour.exchange.export import write_sheet
from testpour.exchange.package import write_package
from testpour.exchange.reader import read_trace
from testpour.logbook.backup import back_up
from testpour.logbook.book import Logbook
from testpour.logbook.entries import LogProblems
from testpour.logbook.sheet_cells import escape_cell, read_cells, unescape_cell
from testpour.models.chance import chance
from testpour.models.check import check_fit, check_log
from testpour.models.compare import compare
from testpour.models.effects import effects
from testpour.models.fits import fit_castings
from testpour.models.scatter import scatter
from testpour.planning.outlook import outlook
from testpour.planning.plan import plan_pours
from testpour.planning.repair import what_is_lost
from testpour.pooling.joinable import PoolProblems
from testpour.pooling.pool import pool
from testpour.report.page import findings_page
from testpour.report.sheet import handout
from testpour.report.study_comparison import compare_studies
from testpour.report.wall import wall_summary
from testpour.study.cautions import check_settings
from testpour.study.study_file import read_study, save_study, study_from

KIT = Path(testpour.__file__).parent
FAR = "stranger.invalid"  # a name that never resolves (RFC 2606)
TURN = "\u202e"  # turns what follows around (Unicode Standard Annex 9)
EVIL = (
    f"<script src=//{FAR}/s></script><img src=http://{FAR}/i> ![i](http://{FAR}/m) [l](javascript:alert(1)) <http://{FAR}> "
    f"www.{FAR} $\\href{{http://{FAR}}}{{x}}$ {TURN}turned\u202c\u200f\u2067 `c` **b**"
)
# Show nothing that a person typed: numbers, letters of a design, and sentences of the kit itself.
NUMBERS_ONLY = {
    "Asked", "CureAnswer", "Lesson", "NoResult", "Ready", "SafetyText",
}
SHOWS = ("_repr_html_", "_repr_markdown_")


def kinds():
    """Every class of the kit that shows itself in a notebook."""
    for path in sorted(KIT.rglob("*.py")):
        if any(name in path.read_text("utf-8") for name in SHOWS):
            module = import_module("testpour." + ".".join(path.relative_to(KIT).with_suffix("").parts))
            for _, found in getmembers(module, isclass):
                if found.__module__ == module.__name__ and set(SHOWS) & set(vars(found)):
                    yield found


@pytest.fixture(scope="module")
def log(tmp_path_factory):
    """A log whose every text is hostile, with eight pours."""
    folder = tmp_path_factory.mktemp("hostile")
    study = study_from({
        "name": EVIL, "question": EVIL,
        "resin": {"kind": f"polyester {EVIL}"},
        "factors": {"catalyst": {"from": "1 %", "to": "2.5 %"}, "room_temperature": {}, "resin_lot": {},
                    "mine": {"words": f"mine {EVIL}", "how": EVIL, "low": 0, "high": 9, "from": 1, "to": 3}},
        "readings": {"gel_time": {"words": f"gel {EVIL}", "how": EVIL}, "tack": {},
                     "haze": {"words": f"haze {EVIL}", "scale": "grades", "grades": [f"none {EVIL}", "some"], "low": 0, "high": 1, "ages": [24]}},
        "aims": {"gel_time": {"at_least": "15 min", "at_most": "45 min"}, "tack": {"at_most": 1, "age": "24 h"},
                 "haze": {"at_most": 0, "age": "24 h"}},
    }, folder / "study.toml")
    save_study(study)
    book = Logbook(read_study(folder))
    for number in range(8):
        name, made = f"={number} {EVIL}", pd.Timestamp.now().floor("s") - pd.Timedelta(hours=30 - number)
        book.add_pour(name, session=f"@{number % 2} {EVIL}", made_at=made.to_pydatetime(), by=f"+{EVIL}", note=f"-{EVIL}", settings={
            "catalyst": (1.0, 1.8, 2.5)[number % 3], "room_temperature": 17.0 + number % 2 * 5, "mine": 1.0 + number % 3,
            "resin_lot": f"={EVIL}"})
        book.add_reading(name, "gel_time", f"{20 + 3 * (number % 3)} to {22 + 3 * (number % 3)}", by=EVIL, note=f"={EVIL}")
        if number:
            book.add_reading(name, "tack", number % 2, age=24, by=EVIL)
            book.add_reading(name, "haze", number % 2, age=24, by=EVIL)
    Image.new("RGB", (9, 9)).save(folder / "face.png")
    book.add_photo(f"=0 {EVIL}", folder / "face.png", note=EVIL, by=EVIL)
    yield book
    book.close()


@pytest.fixture(scope="module")
def shown(log, tmp_path_factory):
    """One object of every class that shows words of others; files that were written lie in their folder."""
    folder = tmp_path_factory.mktemp("written")
    study, castings = log.study, log.castings()
    fits, plan = fit_castings(castings), plan_pours(study, sessions=2, pours=5)
    pour = castings.pours.index[1]
    checked, trace = check_log(fits), folder / "trace.csv"
    trace.write_text(f"time (min),{EVIL.replace(',', '')}\n" + "".join(f"{m},{22 + m % 2 / 10}\n" for m in range(60)), "utf-8")
    bench = bench_sheet(study, plan.table[plan.table["session"] == plan.table["session"].iloc[0]], resin="150 g", date=EVIL)
    made = [
        study, castings, fits, plan, check_settings(study, {"catalyst": 2.9}), due(log), *log.photos()[:1], log.photos(),
        LogProblems([(EVIL, EVIL, EVIL, EVIL)]), PoolProblems(pd.DataFrame([{"bench": EVIL, "part": EVIL, "what": EVIL, "do": EVIL}])),
        effects(fits["gel_time"]), scatter(fits["gel_time"]), check_fit(fits["gel_time"]), checked, *list(checked.agreements.values())[:1],
        chance(fits, [{"catalyst": 1.5}, {"catalyst": 2.0}]), compare(fits, pour, castings.pours.index[2]), what_if(fits, {"catalyst": 1.5}),
        recommend(fits), next_pours(fits), stop_advice(fits), recipe_chart(fits, rooms=["20 degC"]), why(fits, pour), why_all(fits),
        outlook(plan), what_is_lost(plan, plan.without(plan.table.index[0])), bench, labels(castings), weigh_out(resin="150 g", catalyst="1.5 %"),
        compare_studies(fits, fits, names=(f"a {EVIL}", f"b {EVIL}")), read_trace(trace),
        (guild := pool({EVIL: castings})), guild.expect(bench=guild.benches.index[0]),
        findings_page(fits, folder / "page.html", photos=log.photos(), by=EVIL), handout(fits, folder / "handout.html", by=EVIL, date=EVIL),
        write_package(log, folder / "package.zip", names=True),
    ]
    asked = why(fits, pour, batch="120 g")
    made += [asked.split, asked.saving, asked.scale]
    wall_summary(fits, folder / "wall.html", bench="session", names=True, date=EVIL)
    for thing, name in ((bench, "bench"), (made[27], "labels"), (made[21], "chart")):
        thing.save(folder / f"{name}.html")
    next(one for one in made if type(one).__name__ == "Pool").page(folder / "pool.html")
    next(one for one in made if type(one).__name__ == "Pool").beliefs(folder / "beliefs.toml")
    for ending in (".csv", ".xlsx"):
        write_sheet(castings, folder / f"castings{ending}")
    back_up(study, folder / "copy.sqlite")
    save_study(study, folder / "study.toml")
    trace.unlink()
    return {type(one).__name__: one for one in made}, folder


class Tags(HTMLParser):
    """Tags and addresses of a piece of HTML, and its words."""

    def __init__(self):
        super().__init__()
        self.tags, self.addresses, self.words = [], [], []

    def handle_starttag(self, tag, attributes):
        self.tags.append(tag)
        self.addresses += [value for name, value in attributes if name in ("src", "href", "action", "data", "srcset", "style")]
        self.tags += [name for name, _ in attributes if name.startswith("on")]

    def handle_data(self, data):
        self.words.append(data)


def check_html(text):
    """No tag, address or turning character of a stranger, in words that are all there."""
    seen = Tags()
    seen.feed(text)
    assert not {"script", "iframe", "object", "embed", "link", "base"} & set(seen.tags) and not [t for t in seen.tags if t.startswith("on")]
    assert not [address for address in seen.addresses if FAR in (address or "") or "javascript" in (address or "")]
    assert not re.search("[\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]", text)
    return "".join(seen.words)


def as_notebook(text):
    """Markdown as a notebook exported to a page shows it."""
    from nbconvert.filters import markdown2html

    return str(markdown2html(text))


@pytest.mark.slow
def test_every_class_that_shows_itself_is_known(shown):
    found = {kind.__name__ for kind in kinds()}
    assert len(found) > 40 and found == set(shown[0]) & found | NUMBERS_ONLY | {"Suspect", "JudgedTrace"} and not NUMBERS_ONLY & set(shown[0])


@pytest.mark.slow
def test_no_words_act_in_a_notebook(shown):
    told = 0
    for name, one in shown[0].items():
        if hasattr(one, "_repr_html_"):
            text = check_html(one._repr_html_())
        else:
            raw = one._repr_markdown_()
            words = re.sub("<table.*?</table>", "", raw)  # in a table of HTML no Markdown is read
            assert "http://" not in words and "www." not in words and "$" not in raw, name  # a notebook makes links of these
            text = check_html(as_notebook(raw))
        told += "[U+202E]turned" in text
    assert told > 20


@pytest.mark.slow
def test_no_words_act_on_a_written_page(shown):
    pages = sorted(shown[1].glob("*.html"))
    assert {"page", "handout", "wall", "bench", "labels", "chart", "pool"} == {page.stem for page in pages}
    for page in pages:
        text = page.read_text("utf-8")
        own = re.sub(r"<script>.*?</script>|<script type=\"application/json\"[^>]*>[^<]*</script>", "", text, flags=re.DOTALL)
        assert "[U+202E]turned" in check_html(own), page


def cells(folder):
    """Every cell of every table that was written, as it lies in its file."""
    yield from re.split(r'(?:^|[",])(?=.)', (folder / "castings.csv").read_text("utf-8"))
    for row in openpyxl.load_workbook(folder / "castings.xlsx").active.iter_rows():
        for cell in row:
            assert cell.data_type != "f", f"a formula in {cell.coordinate}"
            yield str(cell.value)
    with zipfile.ZipFile(folder / "package.zip") as held:
        for name in held.namelist():
            if name.endswith(".csv"):
                yield from re.split(r'(?:^|[",])(?=.)', held.read(name).decode("utf-8"))


@pytest.mark.slow
def test_no_table_reckons_or_turns(shown):
    seen = list(cells(shown[1]))
    assert sum(EVIL[:20] in cell for cell in seen) > 50
    assert not [cell for cell in seen if re.match(r"[=@\t\r]|[-+](?!\d)", cell)]
    assert not [cell for cell in seen if re.search("[\u202a-\u202e\u200f\u2066-\u2069]", cell)]


@pytest.mark.slow
def test_files_that_programs_read_show_what_turns_by_its_number(shown):
    with zipfile.ZipFile(shown[1] / "package.zip") as held:
        texts = [held.read("datapackage.json").decode("utf-8")]
    texts += [(shown[1] / name).read_text("utf-8") for name in ("study.toml", "beliefs.toml")]
    for text in texts:
        assert not re.search("[\u202a-\u202e\u200f\u2066-\u2069]", text)
    assert "\\u202eturned" in texts[0] and "\\u202eturned" in texts[1]


@pytest.mark.slow
def test_it_all_comes_back_as_it_was_typed(log, shown):
    castings = log.castings()
    assert read_study(shown[1] / "study.toml").name == EVIL
    for ending in (".csv", ".xlsx"):
        head, *rows = read_cells(shown[1] / f"castings{ending}")[0]
        assert [unescape_cell(row[0]) for row in rows] == list(castings.pours.index)
        assert {unescape_cell(row[head.index("note")]) for row in rows} == {f"-{EVIL}"}
    assert shown[0]["Package"].castings.fingerprint() == castings.fingerprint()
    with_copy = Logbook(replace(log.study, folder=shown[1], log="copy.sqlite"))
    assert with_copy.castings().fingerprint() == castings.fingerprint()
    with_copy.close()


@pytest.mark.parametrize("text", ["[U+202E]x", "[U+005B]", f"[U+005B]U+202E]{TURN}", f"={TURN}", "[U+202]", f"{TURN}=1"])
def test_a_character_that_is_written_out_is_told_from_one_that_was_typed_so(text):
    assert TURN not in escape_cell(text) and unescape_cell(escape_cell(text)) == text


@pytest.mark.slow
def test_no_request_leaves_a_browser(shown, tmp_path):
    """Each shown as a notebook shows it and each page opened, in Chromium; requests are counted, and one that would leave is proof."""
    chromium = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if chromium is None:
        pytest.skip("needs Chromium: apt-get install chromium")
    driver = pytest.importorskip("playwright.sync_api")
    opened = sorted(shown[1].glob("*.html"))
    for name, one in shown[0].items():
        text = one._repr_html_() if hasattr(one, "_repr_html_") else as_notebook(one._repr_markdown_())
        opened.append(tmp_path / f"{name}.html")
        opened[-1].write_text(f"<!doctype html><meta charset='utf-8'>{text}", "utf-8")
    canary = tmp_path / "canary.html"
    canary.write_text(f"<!doctype html><meta charset='utf-8'>{EVIL}", "utf-8")
    with driver.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        page, left = browser.new_page(), []
        page.on("request", lambda request: left.append(request.url) if not request.url.startswith(("file:", "data:", "blob:")) else None)
        for path in opened:
            page.goto(path.as_uri())
        assert left == [] and len(opened) > 40
        page.goto(canary.as_uri())
        assert any(FAR in url for url in left)  # the same words, not made inert, would have gone out
        browser.close()

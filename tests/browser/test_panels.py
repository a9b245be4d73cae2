"""A newcomer taps through the whole round in JupyterLab in Chromium: no code is edited, and few fields are typed.

The tests of this file are one walk, each going on where the one before left off. ``PANEL_PICTURES`` names a folder
for a picture of each step, to look at.
"""

import os
import re
import shutil
import zipfile
from dataclasses import replace
from pathlib import Path

import nbformat
import pytest

import testpour as tp
from testpour.app.command import main
from testpour.exchange.folder import make_folder

TITLES = {"round": "Where do we stand?", "begin": "What do I want to find out?", "plan": "Which test pours should I make?", "pour": "Pour and read",
          "look": "What does each setting do?", "today": "What should I use today?",
          "why": "Why did it come out like this?", "share": "Pass it on"}
PANELS = tuple(TITLES)
MOST_TAPS, MOST_FIELDS = 90, 25  # what a newcomer is asked for, from the empty study to the page
LONGEST = 400_000  # ms that work beside the notebook may take on a busy machine
# The ring about what has the focus: at least 2 CSS pixels (WCAG 2.2, criterion 2.4.13), and outside a button of its own colour.
RING = """() => { const a = document.activeElement, s = getComputedStyle(a.matches('.tpp-options input') ? a.nextElementSibling : a);
  return [s.outlineStyle === "none" ? 0 : parseFloat(s.outlineWidth), parseFloat(s.outlineOffset)]; }"""
LARGE = 44  # CSS pixels: the enhanced target of WCAG 2.2, criterion 2.5.5
pytestmark = pytest.mark.slow


class Newcomer:
    """Taps and types in the panels of one notebook, and counts."""

    wide = 1400

    def __init__(self, page, folder):
        self.page, self.folder, self.taps, self.fields, self.took = page, folder, 0, 0, []

    def at(self, name):
        """The panel of one step."""
        return self.page.locator(f'.tpp[aria-label="{TITLES[name]}"]')

    def settle(self, name, what=""):
        """Until the panel has heard the tap and no work is under way."""
        panel = self.at(name)
        panel.scroll_into_view_if_needed()  # JupyterLab draws the cells that are in view
        self.page.wait_for_timeout(700)  # longer than the pause after typing
        script = """title => { const e = document.querySelector(`.tpp[aria-label="${title}"]`);
          return e && e.dataset.busy !== "yes" && !e.querySelector(".tpp-progress"); }"""
        self.page.wait_for_function(script, arg=TITLES[name], timeout=LONGEST)
        if what:
            self.took.append((int(panel.get_attribute("data-took") or 0), f"{name}: {what}"))
        return panel

    # A hand at the mouse or on the glass; the keys have their own.

    def press(self, name, thing):
        """Tap on a thing of a panel, or of the form in it."""
        thing.click()
        self.taps += 1

    def write(self, name, field, text):
        """Type into a field of a panel, or of the form in it."""
        field.fill(text)
        self.fields += 1

    def set(self, name, option):
        """Choose one of a few answers."""
        option.click()
        self.taps += 1

    def open_list(self, name, label, value):
        """Choose from a list that opens."""
        self.at(name).get_by_label(label, exact=True).select_option(value)
        self.taps += 1

    def slide(self, name, slider):
        """Move a slider five steps."""
        slider.focus()
        for _ in range(5):
            self.page.keyboard.press("ArrowRight")

    def tap(self, name, words, exact=True):
        self.press(name, self.at(name).get_by_role("button", name=words, exact=exact).first)
        return self.settle(name, words)

    def choose(self, name, group, words):
        self.set(name, self.at(name).get_by_role("group", name=group, exact=True).get_by_label(words, exact=True))
        return self.settle(name, words)

    def type(self, name, label, text):
        self.write(name, self.at(name).get_by_label(label, exact=True).first, text)
        return self.settle(name, f"{label} {text}")

    def picture(self, name, as_=""):
        """A picture of a panel, all of it, for the eye, where a folder for it is named."""
        if os.environ.get("PANEL_PICTURES"):
            panel = self.at(name)
            wide = self.page.viewport_size
            self.page.set_viewport_size({**wide, "height": min(panel.evaluate("e => e.scrollHeight") + 400, 9000)})
            self.page.wait_for_timeout(400)
            panel.screenshot(path=Path(os.environ["PANEL_PICTURES"]) / f"{type(self).__name__}-{name}-{as_ or wide['width']}.png")
            self.page.set_viewport_size(wide)


class Tablet(Newcomer):
    """The same on a tablet held upright."""

    wide = 768


class KeysOnly(Newcomer):
    """The same with the keyboard alone: Tab, Enter, Space, Escape and the arrows."""

    def enter(self, name):
        """To the text above the panel by Escape and the arrows, which pass over folded cells, and into the panel by Tab."""
        within = "e => e.contains(document.activeElement)"
        if self.at(name).evaluate(within):
            return
        self.page.keyboard.press("Escape")
        place = """title => [...document.querySelectorAll('.jp-Notebook-cell')].findIndex((e) => e.querySelector(`.tpp[aria-label="${title}"]`)) - 1"""
        active = "() => [...document.querySelectorAll('.jp-Notebook-cell')].findIndex((e) => e.matches('.jp-mod-active'))"
        for _ in range(40):
            wanted, now = self.page.evaluate(place, TITLES[name]), self.page.evaluate(active)
            if wanted == now:
                break
            self.page.keyboard.press("ArrowDown" if wanted > now else "ArrowUp")
            self.page.wait_for_timeout(150)
        for _ in range(12):  # JupyterLab's own buttons on that cell come first
            self.page.keyboard.press("Tab")
            if self.at(name).evaluate(within):
                return
        raise AssertionError(f"Tab does not lead into {name}")

    def reach(self, name, thing):
        """Tab until a thing, or one of its group, has the focus."""
        self.enter(name)
        thing.wait_for(timeout=30_000)
        for _ in range(300):
            where = thing.evaluate("""e => { const a = document.activeElement, radio = e.type === "radio" && a.name === e.name;
              return a === e || radio ? "there" : e.compareDocumentPosition(a) & Node.DOCUMENT_POSITION_FOLLOWING ? "Shift+Tab" : "Tab"; }""")
            if where == "there":
                width, offset = self.page.evaluate(RING)
                assert width >= 2 and offset >= 0, f"the focus cannot be seen on {thing}"
                return
            self.page.keyboard.press(where)
        raise AssertionError(f"{thing} cannot be reached by Tab in {name}")

    def press(self, name, thing):
        self.reach(name, thing)
        self.page.keyboard.press("Enter")
        self.taps += 1

    def write(self, name, field, text):
        self.reach(name, field)
        self.page.keyboard.press("Home")
        self.page.keyboard.press("Shift+End")
        self.page.keyboard.press("Delete")
        self.page.keyboard.type(text)
        self.fields += 1

    def set(self, name, option):
        self.reach(name, option)
        if option.get_attribute("type") == "checkbox":
            self.page.keyboard.press("Space")
        for _ in range(12):
            if option.get_attribute("type") == "checkbox" or option.is_checked():
                break
            self.page.keyboard.press("ArrowRight")
            self.page.wait_for_timeout(200)
        assert option.get_attribute("type") == "checkbox" or option.is_checked()
        self.taps += 1

    def open_list(self, name, label, value):
        self.reach(name, self.at(name).get_by_label(label, exact=True))
        self.page.keyboard.type(value)  # a list goes to the entry that begins so
        assert self.at(name).get_by_label(label, exact=True).input_value() == value
        self.taps += 1

    def slide(self, name, slider):
        self.reach(name, slider)
        super().slide(name, slider)


@pytest.fixture(scope="module", params=[
    pytest.param(Newcomer, id="mouse"),
    pytest.param(KeysOnly, id="keys"),
    pytest.param(Tablet, id="tablet"),
])
def newcomer(request, browse, tmp_path_factory):
    """A notebook in an empty study: as in the kit's own, a text above each panel, whose cell is folded away. Run All, then tap."""
    folder = make_folder(tmp_path_factory.mktemp("lab") / "my-resin", demo=False).path
    cells = [nbformat.v4.new_code_cell("import testpour as tp", id="import")]
    for name in PANELS:
        cells.append(nbformat.v4.new_markdown_cell(f"## {name}", id=f"above-{name}"))
        cells.append(nbformat.v4.new_code_cell(f"tp.{name}_panel()", id=name, metadata={"jupyter": {"source_hidden": True}}))
    nbformat.write(nbformat.v4.new_notebook(cells=cells), folder / "round.ipynb")
    with browse(folder, tmp_path_factory.mktemp("home")) as lab:
        lab.open("round.ipynb")
        if request.param is Tablet:
            lab.page.keyboard.press("Control+b")  # the list of files folded away, as the first notebook says
        lab.page.set_viewport_size({"width": request.param.wide, "height": 1000})  # narrow, JupyterLab shows no name of a kernel to wait for
        lab.run_all("round.ipynb")
        found = request.param(lab.page, folder)
        found.lab = lab
        for name in PANELS:
            found.settle(name)
        yield found


@pytest.fixture
def once(newcomer):
    """The newcomer at the mouse; what does not depend on the hand is looked at once."""
    if type(newcomer) is not Newcomer:
        pytest.skip("looked at in the walk by mouse")
    return newcomer


def test_each_panel_says_first_what_is_needed(newcomer):
    assert "Next: say what you make and what may differ" in newcomer.settle("round").inner_text()
    for name in ("look", "today", "why", "share"):
        assert "Nothing is poured yet" in newcomer.settle(name).inner_text()
    assert "No plan is kept yet" in newcomer.settle("pour").inner_text()


def test_a_study_is_begun(newcomer):
    before = (newcomer.folder / "study.toml").read_text("utf-8")
    at = newcomer.type("begin", "Name of the study", "")
    assert "The study needs a name" in at.inner_text()
    newcomer.type("begin", "Name of the study", "Blue knobs")
    at = newcomer.type("begin", "Catalyst to", "20 %")
    assert "outside 0 to 10 %" in at.inner_text()
    assert at.get_by_label("Catalyst to", exact=True).input_value() == "20 %"
    newcomer.type("begin", "Catalyst to", "2,5")
    newcomer.choose("begin", "Pigment", "stays the same")
    newcomer.choose("begin", "Thickness", "stays the same")
    newcomer.choose("begin", "Hardness with a", "fingertip only")
    newcomer.choose("begin", "What do you read?", "Peak temperature, with a thermometer in the casting")
    newcomer.choose("begin", "What do you read?", "Defects")
    newcomer.picture("begin")
    newcomer.tap("begin", "Change study.toml")
    study = tp.read_study(newcomer.folder)
    assert study.name == "Blue knobs"
    assert {factor.name for factor in study.varied} == {"catalyst", "cover"}
    assert {reading.name for reading in study.readings} == {"gel_time", "tack"}
    after = (newcomer.folder / "study.toml").read_text("utf-8")
    kept = [line for line in before.splitlines() if line.startswith("#")]
    assert len(kept) > 10
    assert all(line in after.splitlines() for line in kept)


def test_a_plan_is_kept_and_its_sheet_written(newcomer):
    newcomer.type("plan", "Days of pouring", "1")
    newcomer.type("plan", "Rooms expected", "18")
    newcomer.tap("plan", "Bench sheet of S1")
    newcomer.tap("plan", "Look at it")
    newcomer.picture("plan")
    newcomer.tap("plan", "Keep this plan")
    assert "P04" in (newcomer.folder / "bench-sheet-S1.html").read_text("utf-8")


def test_four_pours_are_logged(newcomer):
    newcomer.page.wait_for_timeout(6000)  # a panel looks at the folder every five seconds
    newcomer.tap("pour", "Begin S1 of the plan", exact=False)
    form = newcomer.at("pour").locator(".tp-form")
    form.wait_for(timeout=30_000)
    newcomer.write("pour", form.get_by_label("Room temperature (°C)"), "18")
    newcomer.press("pour", form.get_by_role("button", name="Save today's room and lots"))
    for pour in ("P01", "P02", "P03", "P04"):
        card = form.locator(f".tp-card[data-pour='{pour}']")
        newcomer.press("pour", card.get_by_role("button", name="Catalyst in", exact=True))
        card.locator("[data-since]").wait_for(timeout=30_000)
    newcomer.picture("pour")
    log = tp.Logbook(tp.read_study(newcomer.folder))
    assert list(log.castings().pours.index) == ["P01", "P02", "P03", "P04"]
    # The hours until the gel and the day until the tack are not waited for: these go in as from paper.
    for pour, (gel, tack) in {"P01": ("18 min", 0), "P02": ("30 min", 1), "P03": ("24 min", 3), "P04": ("27 min", 2)}.items():
        log.add_reading(pour, "gel_time", gel)
        log.add_reading(pour, "tack", tack, age="24 h")
    log.close()


def test_the_next_session_comes_from_the_advice(newcomer):
    newcomer.page.wait_for_timeout(6000)
    newcomer.press("pour", newcomer.settle("pour").locator("summary", has_text="Begin another session"))
    newcomer.type("pour", "Pours today", "2")
    at = newcomer.tap("pour", "Find the pours worth making next")
    newcomer.picture("pour", "next")
    assert "P05" in at.inner_text()
    newcomer.tap("pour", "Begin a session with these")
    at.locator(".tp-form .tp-card[data-pour='P06']").wait_for(timeout=30_000)
    assert "Session S2 is open below" in at.inner_text()


def test_today_says_what_to_use_and_begins_a_session(newcomer):
    newcomer.settle("today")
    newcomer.type("today", "Room", "19")
    at = newcomer.type("today", "Resin to mix", "three cups")
    assert "not a number" in at.inner_text()
    at = newcomer.type("today", "Resin to mix", "300")
    shown = at.inner_text()
    assert "Working time" in shown
    assert "What to weigh" in shown
    newcomer.picture("today")
    log = tp.Logbook(tp.read_study(newcomer.folder))
    advice = tp.recommend(tp.fit_castings(log.castings()), room="19 degC")
    log.close()
    assert tp.read_study(newcomer.folder).factor("catalyst").show(advice.settings["catalyst"]) in shown  # as the function says
    newcomer.tap("today", "Pour this: begin a session")
    newcomer.at("today").locator(".tp-form .tp-card[data-pour='P07']").wait_for(timeout=30_000)


def test_what_the_settings_do_is_looked_at(newcomer):
    at = newcomer.settle("look")
    at.locator("[data-part=verdict]").wait_for(timeout=30_000)
    before = at.locator("[data-part=readings]").inner_text()
    newcomer.slide("look", at.locator(".slider input[type=range]").first)
    newcomer.picture("look")
    assert at.locator("[data-part=readings]").inner_text() != before


def test_it_is_asked_why_one_stayed_tacky(newcomer):
    at = newcomer.settle("why")
    newcomer.open_list("why", "Casting", "P03")
    at = newcomer.settle("why")
    before = at.locator(".tpp-bars").inner_text()
    newcomer.tap("why", "Open face only")
    assert at.locator(".tpp-bars").inner_text() != before
    newcomer.picture("why")
    log = tp.Logbook(tp.read_study(newcomer.folder))
    assert "observed" not in str(log.castings().pours.loc["P03", "note"])
    newcomer.tap("why", "Save what I saw in the log")
    assert "where = open face only" in log.castings().pours.loc["P03", "note"]
    log.close()


def test_what_is_wrong_in_the_log_is_chosen_from_lists(newcomer):
    at = newcomer.settle("pour")
    newcomer.press("pour", at.locator("summary", has_text="Put right what is in the log"))
    newcomer.open_list("pour", "Pour", "P03")
    newcomer.settle("pour")
    assert at.get_by_label("What is wrong", exact=True).locator("option:checked").inner_text() == "choose what is wrong"
    newcomer.picture("pour", "right")


def test_page_and_chart_are_written_and_say_whom_they_name(newcomer):
    newcomer.page.wait_for_timeout(6000)
    newcomer.settle("share")
    newcomer.tap("share", "Findings page")
    newcomer.tap("share", "Recipe chart")
    at = newcomer.tap("share", "Spreadsheet")
    newcomer.picture("share")
    newcomer.settle("round")
    newcomer.page.wait_for_timeout(6000)
    now = newcomer.settle("round").inner_text()
    newcomer.picture("round")
    assert "4 pours, 0 readings due" in now
    assert "3 files written" in now
    assert (newcomer.folder / "findings.html").is_file()
    assert "It names nobody." in at.inner_text()
    assert (newcomer.folder / "recipe-chart.html").is_file()
    assert (newcomer.folder / "castings.xlsx").is_file()


def test_few_taps_and_few_fields(newcomer):
    slowest = sorted(newcomer.took)[-5:]
    print(f"{newcomer.taps} taps, {newcomer.fields} fields, slowest answers {slowest} ms")
    assert 20 < newcomer.taps <= MOST_TAPS
    assert 5 < newcomer.fields <= MOST_FIELDS


WRONG = [  # panel, field, what is typed, what is said of it, what is right
    ("begin", "Name of the study", "", "The study needs a name", "Blue knobs"),
    ("begin", "Catalyst to", "20 %", "outside 0 to 10 %", "2.5"),
    ("begin", "Resin weighs", "heavy", "not a number", "1.1"),
    ("plan", "Resin in one pour", "a jar", "not a number", "150,5"),
    ("plan", "Days of pouring", "1.5", "not a whole number", "1"),
    ("plan", "Price of 1 kg of resin", "cheap", "not a number", "9,50"),
    ("pour", "Room today", "warm", "not a number", "18,5"),
    ("pour", "Pours today", "some", "not a number", "2"),
    ("today", "Room", "7", "10 °C", "19"),
    ("today", "Resin to mix", "three cups", "not a number", "300,5"),
    ("today", "Pot 1: pigment", "50 %", "outside 0 to 15 %", ""),
]


@pytest.mark.parametrize("name, label, wrong, says, right", WRONG)
def test_a_bad_entry_is_said_beside_its_field_and_nothing_typed_is_lost(once, name, label, wrong, says, right):
    field = once.at(name).get_by_label(label, exact=True).first
    once.write(name, field, wrong)
    once.settle(name)
    beside = field.locator("xpath=ancestor::div[contains(@class, 'tpp-field')]").locator(".tpp-problem")
    assert says in beside.inner_text()
    assert field.input_value() == wrong
    assert field.get_attribute("aria-invalid") == "true"
    once.write(name, field, right)
    once.settle(name)
    assert beside.count() == 0
    assert field.input_value() == right


def test_two_kernels_on_one_study_show_the_same_after_a_reload(once):
    """A second notebook with a kernel of its own, and a reload of the first."""
    shutil.copyfile(once.folder / "round.ipynb", once.folder / "second.ipynb")
    other = Newcomer(once.page.context.browser.new_page(viewport=once.page.viewport_size), once.folder)
    second = replace(once.lab, page=other.page)
    second.open("second.ipynb")
    second.run_all("second.ipynb")
    once.lab.open("round.ipynb")  # the page anew; a bare reload would bring up the tab that the second notebook left in the workspace
    once.page.wait_for_selector(".tpp", timeout=60_000)
    for name in PANELS:
        one, two = (state_of(each.settle(name)) for each in (once, other))
        assert one == two
        assert len(one) > 100
    other.type("plan", "Resin in one pour", "175")  # what is typed in one is in the other, by itself
    once.page.wait_for_timeout(6000)
    assert once.settle("plan").get_by_label("Resin in one pour", exact=True).input_value() == "175"
    other.page.close()


def test_the_commands_agree_with_the_panels(once, capsys):
    """Pours, advice and data of the folder: to the digit what the panels said and wrote."""
    assert main(["check", str(once.folder)]) == 0
    checked = capsys.readouterr().out
    assert "4 pours" in checked and "4 pours" in once.settle("round").inner_text()
    by_panel = once.folder / "findings.html"
    assert main(["page", str(once.folder), "--to", str(once.folder / "again.html")]) == 0
    one, two = (words(path) for path in (by_panel, once.folder / "again.html"))
    assert len(one) > 2000
    assert one == two
    once.tap("share", "Data to share")
    by_panel = max(once.folder.glob("data-*.zip"))
    assert main(["package", str(once.folder), str(once.folder / "again.zip")]) == 0
    one, two = (tables(path) for path in (by_panel, once.folder / "again.zip"))
    assert any("P04" in text for text in one.values())
    assert one == two
    study = tp.read_study(once.folder)
    log = tp.Logbook(study)
    advice = tp.recommend(tp.fit_castings(log.castings()), room="19 degC")
    log.close()
    shown = once.settle("today").inner_text()
    assert study.factor("catalyst").show(advice.settings["catalyst"]) in shown
    assert advice.chance.sentence() in shown


def state_of(panel):
    """What a panel shows, without what it said of the last tap in it: that belongs to whoever tapped."""
    # As textContent: of a cell that has scrolled out of view, JupyterLab leaves no innerText.
    return panel.locator(".tpp-body").evaluate("e => [...e.children].filter((one) => !one.matches('.tpp-good')).map((one) => one.textContent).join('\\n')")


def words(page):
    """The words of a page, without its data, its pictures and the time it was written."""
    text = re.sub(r"<(script|style)\b.*?</\1>", "", page.read_text("utf-8"), flags=re.DOTALL)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", text))


def tables(package):
    """The tables of a Data Package, file to text."""
    with zipfile.ZipFile(package) as held:
        return {name.rsplit("/", 1)[-1]: held.read(name).decode() for name in held.namelist() if name.endswith(".csv")}


def test_every_target_is_large_enough_and_named(once):
    script = """() => [...document.querySelectorAll('.tpp button, .tpp summary, .tpp select, .tpp input[type=text], .tpp .tpp-options label')]
      .filter((e) => !e.closest('.tp-form') && e.offsetParent)
      .map((e) => [e.textContent || e.getAttribute('aria-label') || e.labels?.[0]?.textContent || '', e.getBoundingClientRect().height])"""
    found = once.page.evaluate(script)
    assert len(found) > 60
    assert [one for one in found if one[1] < LARGE] == []
    assert [one for one in found if not one[0].strip()] == []


def test_no_panel_breaks_a_rule_of_access(once):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    found = axe.run(once.page, context={"include": [[".tpp"]]})
    assert found.response["passes"]
    broken = [(v["id"], [n["html"][:120] for n in v["nodes"]]) for v in found.response["violations"]
              if not any(".tp-form" in str(n["target"]) for n in v["nodes"])]
    assert broken == []


def test_no_panel_breaks_a_rule_of_access_in_the_dark(once):
    page = once.page
    page.get_by_role("menuitem", name="Settings", exact=True).click()
    page.get_by_text("Theme", exact=True).hover()
    page.get_by_text("JupyterLab Dark", exact=True).click()
    page.wait_for_selector("[data-jp-theme-light='false']", state="attached")
    page.wait_for_timeout(2000)
    for name in PANELS:
        once.settle(name)
        once.picture(name, "dark")
    test_no_panel_breaks_a_rule_of_access(once)


@pytest.mark.parametrize("width", [390, 640, 768, 1280])  # 640 is what 1280 has at 200 % zoom
def test_nothing_is_cut_off_on_a_phone_or_a_tablet(once, width):
    """The panel itself at that width: JupyterLab keeps its own bars beside it."""
    for name in PANELS:
        wider = once.at(name).evaluate("(e, width) => { e.style.width = `${width}px`; const wide = e.scrollWidth - e.clientWidth; return wide; }", width)
        assert wider <= 1, name
        once.picture(name, f"at-{width}")
    once.page.evaluate("() => document.querySelectorAll('.tpp').forEach((e) => { e.style.width = ''; })")

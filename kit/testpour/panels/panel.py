"""A panel: shows parts, accepts typing and taps, and keeps everything in the study folder."""

import re
from collections.abc import Callable, Iterable, Mapping
from concurrent.futures import wait
from contextlib import contextmanager
from dataclasses import replace
from importlib.resources import files
from pathlib import Path
from typing import Any, ClassVar

import anywidget
import ipywidgets
import traitlets

import testpour as tp
from testpour.models.fits import Fits
from testpour.panels import jobs
from testpour.panels.numbers import Field, Typed, typed_number, with_fahrenheit
from testpour.panels.parts import Part, button, caution, entry, text
from testpour.panels.workshop import LastResult, Memory, Needed, Workshop

HERE = files("testpour.panels")
STOPPED = "Stopped. Nothing was lost."
BY_TAPPING = "Change spans, aims and readings in study.toml by tapping, in the notebook 0-start-here."
DEGREES = re.compile(r"[-\d.,;\s]*\d\s*(?:°|deg)?\s*([CF])(?:[-\d.,;\s°degCF]*)", re.IGNORECASE)  # one temperature, or several
EXPLORER = files("testpour.report").joinpath("templates", "explorer.js")


class Waiting(Exception):
    """Work is under way; the panel shows its progress and tries again."""


class Panel(anywidget.AnyWidget):
    """A step of the round in a notebook.

    A panel keeps no state of its own: what was typed is in the folder ``panels`` of the study, the rest in
    the study file and the log. Subclasses define `name`, `title`, `parts` and ``_tap_...`` for each button; `parts`
    yields the fields first, so that they are shown while work is under way.
    """

    _esm = EXPLORER.read_text("utf-8") + HERE.joinpath("panels.js").read_text("utf-8")
    _css = HERE.joinpath("panels.css").read_text("utf-8")
    screen = traitlets.Dict().tag(sync=True)
    where = traitlets.Unicode().tag(sync=True)
    held = traitlets.Dict().tag(sync=True)
    form = traitlets.Instance(ipywidgets.Widget, allow_none=True).tag(sync=True, **ipywidgets.widget_serialization)

    name, title, lead = "", "", ""
    usual: ClassVar[Mapping[str, str]] = {}  # default of a field
    _waits = False  # whether to wait for work to end

    def __init__(self, folder: str | Path = ".") -> None:
        self.workshop = Workshop(Path(folder).expanduser().absolute())
        self.memory = Memory(self.workshop.folder, self.name)
        self._answer, self._refusal = "", ""
        self._busy: tuple = ()  # key of the work under way, or stopped
        self._stopped = False
        self._fits, self._last = LastResult(), LastResult()  # `_last` is for a panel's own use
        super().__init__(where=f"{self.workshop.folder} {self.name}")
        self.show()
        self.on_msg(self._receive)

    # In words, where no widget can be shown.

    def sentence(self) -> str:
        """What the panel says, in a sentence or two; waits for work that is under way."""
        title = self.title if self.title.endswith("?") else f"{self.title}:"
        try:
            with self._at_once():
                return f"{title} {self.summary()}"
        except (Needed, ValueError, OSError) as problem:
            return f"{title} {in_words(problem)}"
        except Waiting:
            return f"{title} {STOPPED}"

    __repr__ = sentence

    def summary(self) -> str:
        """The sentence without its title."""
        raise NotImplementedError

    def _repr_mimebundle_(self, **options):
        """The widget, and beside it the sentence for a page that cannot show one."""
        data, about = super()._repr_mimebundle_(**options)
        return {**data, "text/plain": f"{self.sentence()} (Run this cell in JupyterLab to tap through it.)"}, about

    # Drawing.

    def parts(self) -> Iterable[Part]:
        """The parts shown, in order."""
        raise NotImplementedError

    def show(self) -> None:
        """Work out the parts anew and send them to the page."""
        self._busy, self._stopped = (), False
        shown: list[Part] = []
        try:
            shown.extend(self.parts())  # parts made before an exception are kept
        except Waiting:
            shown += self._waiting()
        except Needed as needed:
            shown.append(text(str(needed), "needed"))
        except (ValueError, KeyError, OSError) as problem:
            shown.append(caution(in_words(problem), "refuse"))
            if "study.toml" in in_words(problem) and self.name != "begin":
                shown.append(text(BY_TAPPING, "hint"))
        except Exception as problem:  # noqa: BLE001  a bug is shown, so that nobody waits in vain
            shown.append(caution(f"This part failed: {type(problem).__name__}, {in_words(problem)}. What you typed and logged is kept.", "refuse"))
        if Memory(self.workshop.folder, "tools").get("fahrenheit") == "yes":
            shown = with_fahrenheit(shown)
        self.screen = {
            "title": self.title, "lead": self.lead, "parts": shown, "said": self._answer, "wrong": self._refusal,
            "busy": bool(self._busy) and not self._stopped,
        }
        self._shown_at, self._awaited = self._mark(), self._busy

    def work_out(self, words: str, make: Callable[[], Any], *key: Any) -> Any:
        """The result of longer work, begun now; raises `Waiting` until it is done.

        `words` are shown beside the progress bar; `key` is everything the result depends on besides study and log.
        """
        key = (str(self.workshop.folder), words, self.workshop.version(), *key)
        work = jobs.job(key, make)
        self._busy = key
        if self._waits:
            wait([work])
        self._stopped = work.cancelled()
        if self._stopped or not work.done():
            raise Waiting
        self._busy = ()
        if problem := work.exception():
            raise problem.with_traceback(None)  # the same problem may be raised for many panels
        return work.result()

    @contextmanager
    def _at_once(self):
        """Wait for work instead of showing its progress: for a sentence, a table, a test."""
        before, self._waits = self._waits, True
        try:
            yield
        finally:
            self._waits = before

    def fits(self) -> Fits:
        """What was learned from the log."""
        castings = self.workshop.poured()
        found = self.work_out("Learning from the log", lambda: tp.fit_castings(castings))
        # A changed note does not change the models, but must be shown with them.
        return self._fits.of(castings, lambda: found if found.castings is castings else replace(found, castings=castings))

    def _waiting(self):
        if self._stopped:
            return text(STOPPED, "hint"), button("again", "Work it out")
        return ({"kind": "progress", "words": f"{self._busy[1]} …"},)

    # What was typed.

    def typed(self, name: str) -> str:
        """What was typed or chosen under a name, or its default."""
        return self.memory.get(name, self.usual.get(name, ""))

    def read(self, field: Field) -> Typed:
        """What was typed in a field; see `numbers.typed_number`."""
        return typed_number(self.workshop.study, field, self.typed(field.name))

    def value(self, field: Field) -> float | None:
        """The number in a field; None where it is empty or wrong."""
        return self.read(field).value

    def field(self, field: Field) -> Part:
        """A field as a part."""
        found = self.read(field)
        return entry(field.name, field.label, self.typed(field.name), unit=field.unit, hint=field.hint, problem=found.problem, read=found.read)

    def complete(self, *fields: Field, needed: Iterable[Field] = ()) -> list[Any]:
        """The numbers in the fields; raises `Needed` if one is wrong, or a needed one is empty."""
        typed = {field: self.read(field) for field in fields}
        wrong = [field.label for field, one in typed.items() if one.problem]
        if wrong:
            raise Needed(f"First correct: {', '.join(wrong)}. The reason is beside the field.")
        empty = [field.label for field in needed if typed[field].value is None]
        if empty:
            raise Needed(f"Still needed: {', '.join(empty)}.")
        return [one.value for one in typed.values()]

    # Hearing.

    def _receive(self, _widget, message, buffers):
        """A message from the page."""
        deed = message.get("deed")
        if deed == "refresh":
            # Ask `_awaited`: `_busy` may have been cleared already, by a sentence for instance.
            if self._mark() != self._shown_at or jobs.is_done(self._awaited):
                self.show()
            self.send({"fresh": message.get("id", "")})
        elif deed == "paper":
            path = message["path"]
            self.send({"paper": path, "html": Path(path).read_text("utf-8") if path in self.papers else ""})  # of no other file
        else:
            self._refusal = ""
            try:
                self.take(message)
            except (Needed, ValueError, KeyError, OSError) as problem:
                self._refusal, self._answer = in_words(problem), ""
            except Waiting:
                self._answer = ""
            self.show()
            self.send({"heard": message.get("id", "")})

    def take(self, message: dict) -> None:
        """Do what a message asks: type a value, tap a button, stop or begin work again.

        ``deed`` is "type", "tap" or "stop"; ``name`` is the field or button, ``text`` what was typed.
        """
        deed, name = message["deed"], message.get("name", "")
        if deed == "type" and "text" in message:
            self._answer = ""
            self._take_typed(name, str(message.get("text", "")))
        elif deed == "stop" and self._busy:
            jobs.give_up(self._busy)
        elif deed == "tap" and name == "again":
            jobs.forget(self._awaited)
        elif deed == "tap":
            what, _, which = name.partition(":")
            with self._at_once():
                self._answer = getattr(self, f"_tap_{what}")(*[which] * bool(which)) or ""

    def _take_typed(self, name: str, words: str) -> None:
        """Keep what was typed, right or wrong; after °F is typed, every panel also answers in °F."""
        if found := DEGREES.fullmatch(words):
            Memory(self.workshop.folder, "tools").put(fahrenheit="yes" if found[1].upper() == "F" else "no")
        self.memory.put(**{name: words})

    def wrote(self, path: str | Path, words: str) -> None:
        """Remember a file that this panel wrote, so that it can be viewed."""
        self.memory.put(papers={**self.papers, str(path): str(words)})

    @property
    def papers(self) -> dict[str, str]:
        """The files this panel wrote that still exist: path to words, latest last."""
        return {path: words for path, words in self.memory.get("papers", {}).items() if Path(path).is_file()}

    def _mark(self):
        shared = (Memory(self.workshop.folder, name).mark for name in ("kept-plan", "tools"))
        return self.workshop.mark, self.memory.mark, *shared


def in_words(problem: Exception) -> str:
    """A problem in words: every reason where several were collected."""
    own = problem.args[0] if isinstance(problem, KeyError) and problem.args else problem  # a KeyError shows itself in quotes
    return " ".join(map(str, getattr(problem, "problems", None) or [own]))

"""The session form as a widget: it passes taps to the desk and shows the state that comes back."""

import anywidget
import pandas as pd
import traitlets

from testpour.bench.desk import Desk
from testpour.bench.printed_sheet import BenchSheet
from testpour.common.toml_file import own_text
from testpour.common.wording import count
from testpour.logbook.book import Logbook
from testpour.logbook.database import address_words
from testpour.planning.plan import Plan


class SessionForm(anywidget.AnyWidget):
    """A session form in a notebook; see `session_form`."""

    _esm = own_text("bench/session_form.js")
    _css = own_text("bench/session_form.css")
    state = traitlets.Dict().tag(sync=True)
    where = traitlets.Unicode().tag(sync=True)

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        super().__init__(state=desk.state(), where=self._place())
        self.on_msg(self._receive)

    def _repr_mimebundle_(self, **options):
        """The widget, and a sentence for pages that cannot show it."""
        data, about = super()._repr_mimebundle_(**options)
        return {**data, "text/plain": self.sentence()}, about

    def sentence(self) -> str:
        """What the form holds, in a sentence."""
        poured = sum(bool(card["name"]) for card in self.state["cards"])
        pours = len(self.state["cards"])
        return f"Session {self.state['session']}: {poured} of {count(pours, 'pour')} {'has its' if pours == 1 else 'have their'} catalyst in."

    __repr__ = sentence

    def refresh(self) -> None:
        """Read the log again: it may hold more than was tapped here."""
        self.state = self._desk.refresh()

    def _receive(self, _widget, message, buffers):
        """Handle a message from the page: a clock comparison, a preview, or a tap."""
        deed = message.get("deed")
        if deed == "photo":
            message = {**message, "picture": bytes(buffers[0])}
        if deed == "clock":
            self.send({"clock": message["sent"], "now": self._desk.now()})
        elif deed == "look":
            self.send({"look": message["key"], **self._desk.preview(message)})
        elif deed == "refresh":
            self.refresh()
        elif deed == "open":
            self._desk = Desk(self._desk.logbook, session=message["session"])
            with self.hold_sync():
                self.state, self.where = self._desk.state(), self._place()
        else:
            self.state = self._desk.take(message)

    def _place(self):
        """The key under which the browser keeps what was typed but not yet saved."""
        return f"{address_words(self._desk.logbook.address)} {self._desk.session}"


def session_form(logbook: Logbook, plan_or_sheet: Plan | BenchSheet | pd.DataFrame | None = None, session: int | str | None = None) -> SessionForm:
    """A form for one session at the bench: catalyst in, readings as they happen, and what is due.

    Parameters
    ----------
    logbook : Logbook
        Where every tap goes; the form shows it as saved once it is on the disk there.
    plan_or_sheet : Plan, BenchSheet or DataFrame, optional
        The planned pours. With a bench sheet the cards show grams; with a plan, parts of the resin. By default the last
        session is opened again: its plan is saved in the folder ``sessions`` beside the study.
    session : int or str, optional
        Which session, by its number from 1 or its name; needed only if a plan holds several.

    Returns
    -------
    SessionForm
        A widget. It keeps no state of its own: reopened, it shows the session as in the log, with timers running
        from the moments at which the catalyst went in.

    Raises
    ------
    FormProblem
        If it is unclear which session is meant, or a planned name is in another session of the log.
    LogProblem
        If the log cannot be read.

    Examples
    --------
    >>> plan = tp.plan_pours(study, sessions=2, pours=4, purpose="which settings matter")
    >>> tp.session_form(log, plan, session=1)
    Session S1: ...
    """
    return SessionForm(Desk(logbook, plan_or_sheet, session))

"""Today: given the room, the mould and the pots, what to use, what chance it has, and what to weigh."""

import itertools
from collections.abc import Iterator
from pathlib import Path

import pandas as pd

import testpour as tp
from testpour.advice.asking import AskedTooMuch
from testpour.advice.recommend import NINE_IN_TEN, Recommendation, beyond_log, predicted_words
from testpour.bench.amounts import WeighOutProblems
from testpour.bench.bench_sheet import NO_CATALYST
from testpour.bench.weighing import WeighOut
from testpour.common.units import show
from testpour.common.wording import capital, listed
from testpour.models.beliefs import peak_reading
from testpour.models.chance import chance_words
from testpour.panels.numbers import Field
from testpour.panels.panel import Panel
from testpour.panels.parts import Part, bars, button, caution, cautions, choice, entry, fold, row, step, table, text, tiles
from testpour.panels.starting import begin_session, next_names
from testpour.panels.workshop import SCALES

MOST = 6  # pots of one mix
USUAL = {"pots": "1"}
ONE_POT = ("resin ({})", "resin (mL)", "pigment ({})", "catalyst ({})", "catalyst (mL)", "drops", "total ({})")  # in working order
REFUSED = "These settings are refused, so nothing is weighed out. Do what the refusal asks, or enter above the depth of one layer: each is a pour of its own."


class TodayPanel(Panel):
    """What to use today; see `today_panel`."""

    name, title = "today", "What should I use today?"
    usual = USUAL
    lead = "Describe the workshop now. The settings, their chance and the weigh-out follow."

    def fields(self) -> list[Part]:
        study = self.workshop.study
        pots = [row(
            entry(f"colour_{k}", f"Pot {k}: colour", self.memory.get(f"colour_{k}"), hint="a word, such as red"),
            self.field(_pigment(k, "leave empty for the recommended load" if self.pots == 1 else "leave empty for no pigment")),
            self.field(_share(k)) if self.pots > 1 else None,
        ) for k in range(1, self.pots + 1)]
        if not study.has("pigment"):
            pots = []
        return [step(
            "The workshop today",
            row(*[self.field(one) for one in (ROOM, DEPTH) if study.has(one.factor)]),
            row(self.field(RESIN), choice("scale", "Step of the scale", self.memory.scale, SCALES)),
            choice("pots", "Colour pots from one mix", str(self.pots), [(str(k), str(k)) for k in range(1, MOST + 1)]) if pots else None,
            *pots,
        )]

    def parts(self) -> Iterator[Part]:
        yield from self.fields()
        self.workshop.poured()
        advice, answer = self._advised()
        room = advice.settings.get("room_temperature")
        pour = "do not pour with" if advice.cautions.refusals else "pour with"
        yield step(capital(pour) if room is None else f"In a room at {show(room, 'degC')}, {pour}", *answer)
        if advice.cautions.refusals:
            yield text(REFUSED, "needed")
            return
        yield step("Weigh out", *self._weigh_out(advice))
        yield button("pour", "Pour this: begin a session", main=True)

    # What the panel shows.

    @property
    def pots(self) -> int:
        """Colour pots filled from one mix; one if the study has no pigment."""
        return max(1, min(MOST, int(self.typed("pots")))) if self.workshop.study.has("pigment") else 1

    def advice(self) -> Recommendation:
        """What to use, `Recommendation`."""
        return self._advised()[0]

    def _advised(self):
        """The recommendation, and the parts that show it."""
        self.complete(*self._fields(), needed=[ROOM] * self.workshop.study.has("room_temperature"))
        fits, room, loads = self.fits(), self.value(ROOM), self._loads()
        depth = self.value(DEPTH) if self.workshop.study.has("thickness") else None
        given = {"thickness": depth, "pigment": max(loads.values(), default=None)}
        fixed = {name: value for name, value in given.items() if value is not None}

        def make():
            found = tp.recommend(fits, room=room, fixed=fixed)
            base = {k: v for k, v in found.settings.items() if k not in ("age", "room_temperature")}
            at = found.settings.get("room_temperature")
            each = {pot: tp.chance(fits, {**base, "pigment": load}, room=at) for pot, load in loads.items()}
            return found, [*_answer(found, each), _in_layers(fits, found)]

        return self.work_out("Finding the settings with the best chance", make, room, tuple(fixed.items()), tuple(loads.items()))

    @property
    def settings(self) -> dict:
        """The settings recommended now, name to a number in its unit."""
        with self._at_once():
            return self.advice().settings

    @property
    def table(self) -> pd.DataFrame:
        """The weigh-out, one row per pot; amounts in g."""
        with self._at_once():
            return self._mix(self.advice()).table

    def _mix(self, advice: Recommendation) -> WeighOut:
        """What to weigh out for the advice; raises `WeighOutProblems` if the scale cannot weigh it, or the study has no catalyst."""
        if "catalyst" not in advice.settings:
            raise WeighOutProblems([NO_CATALYST])
        pigment = {"pigment": self._loads() or advice.settings["pigment"]} if "pigment" in advice.settings else {}
        return tp.weigh_out(
            self.value(RESIN), catalyst=advice.settings["catalyst"], pots=self._shares(), study=self.workshop.study,
            scale_resolution=self.memory.scale, **pigment,
        )

    def summary(self) -> str:
        return self.advice().sentence()

    def _tap_pour(self) -> str:
        """Begin a session with these settings, on the form below: one pour, or one per pot with its own pigment and share of the mix."""
        advice, loads, resin = self.advice(), self._loads(), self.value(RESIN)
        pours, session = next_names(self.workshop, max(1, len(loads)))
        frame = pd.DataFrame([advice.settings] * len(pours), index=pours)
        if loads:
            frame["pigment"] = list(loads.values())
        parts = list(self._shares().values()) if len(pours) > 1 else [1.0]
        grams = None if resin is None else {pour: resin * part / sum(parts) for pour, part in zip(pours, parts, strict=True)}
        self.form = begin_session(self.workshop, frame, session, grams, self.memory.scale, self.typed(ROOM.name))
        if len(pours) == 1:
            return f"{pours[0]} is ready in session {session}, on the form below."
        said = listed([f"{pour} ({pot})" for pour, pot in zip(pours, loads, strict=True)])
        catalyst, scale = advice.settings["catalyst"], self.memory.scale
        alone = [tp.weigh_out(each, catalyst=catalyst, scale_resolution=scale).scale_warning() for each in (grams or {}).values()]
        way = ": this scale is too coarse to weigh each pot by itself." if any(alone) else "; or weigh each pot by itself, as its card says."
        return (f"{said} are ready in session {session}, on the form below, one card per pot. Make one mix as written above and tap "
                f"Catalyst in on every card as the catalyst goes in{way}")

    # Parts.

    def _weigh_out(self, advice):
        if self.value(RESIN) is None:
            return [text("Enter above how much resin you will mix; the amounts follow.", "needed")]
        try:
            mix = self._mix(advice)
        except WeighOutProblems as problem:
            return [caution(reason, "refuse") for reason in problem.problems]
        shown = mix.shown()
        columns = [head.format(mix.unit[0]) for head in ONE_POT] if len(shown) == 1 else shown.columns  # one pot needs no columns of shares
        few = [c for c in columns if c in shown and not c.startswith("catalyst at")]
        low, high = mix.delivered
        return [
            *cautions(mix.cautions), table(shown[few].rename_axis("pot"), "What to weigh"),
            text(f"This scale delivers {low:.2f} to {high:.2f} % catalyst for {mix.catalyst:g} %.", "hint"),
            caution(warning) if (warning := mix.scale_warning()) else None,
            text("Goggles and gloves on before the catalyst is opened.", "strong"),
            {"kind": "steps", "caption": "In this order", "lines": list(mix.steps)}, fold("Read before the first pour: cautions", *_cautions()),
        ]

    # What was typed.

    def _fields(self):
        has = self.workshop.study.has
        shown = [one for one in (ROOM, DEPTH) if has(one.factor)] + [RESIN]
        if has("pigment"):
            shown += [_pigment(k) for k in range(1, self.pots + 1)]
            shown += [_share(k) for k in range(1, self.pots + 1) if self.pots > 1]
        return shown

    def _loads(self):
        """Pigment of each pot, % of resin; empty if a single pot takes the recommended load."""
        if not self.workshop.study.has("pigment"):
            return {}
        loads = {name: self.value(_pigment(k)) for name, k in self._pots().items()}
        if self.pots == 1 and None in loads.values():
            return {}
        return {name: load or 0.0 for name, load in loads.items()}

    def _shares(self):
        return {name: self.value(_share(k)) or 1.0 for name, k in self._pots().items()} if self.pots > 1 else 1

    def _pots(self):
        """Pot name to number; the name is its colour, numbered if two are the same or nothing was typed."""
        names = {}
        for k in range(1, self.pots + 1):
            said = self.memory.get(f"colour_{k}").strip()
            names[said if said and said not in names else f"{said or 'pot'} {k}"] = k
        return names


ROOM = Field("room", "Room", "°C", "what the thermometer says at the bench; 68 °F is read too", "room_temperature")
DEPTH = Field("depth", "Depth of the mould", "mm", "at its thickest; 1/2 in is read too", "thickness")
RESIN = Field("resin", "Resin to mix", "g", "for all pots together; 350 mL is read too", resin=True)


def _pigment(pot, hint=""):
    """The field of a pot's pigment."""
    return Field(f"pigment_{pot}", f"Pot {pot}: pigment", "%", hint, "pigment")


def _share(pot):
    """The field of a pot's share of the mix."""
    return Field(f"share_{pot}", f"Pot {pot}: parts of the mix", "", "leave empty for 1", low=0.01, high=1000)


def _cautions():
    """The cautions that are always shown, one paragraph each."""
    return [text(line.removeprefix("- ").replace("**", "")) for line in str(tp.safety_text("notebook")).splitlines()]


def _bar(name, chance):
    found = chance.table.iloc[0]
    length = {} if chance.untold else {"share": float(found["chance"])}  # for a chance not known yet, only its interval
    return {"words": capital(name), **length, "low": float(found["low"]), "high": float(found["high"]), "says": chance_words(found)}


def _answer(advice, chances):
    """The parts that show a recommendation, with the chance of each pot."""
    study, at = advice.study, advice.settings
    chosen = [f for f in study.factors if f.role == "chosen" and f.name in at and (f.name in advice.free or len(set(f.span)) == 2)]
    yield tiles("Settings", [(capital(f.words), f.show(at[f.name])) for f in chosen])
    yield bars("Chance that one casting meets every aim, with its 90 % interval",
               [_bar(name, one) for name, one in (chances or {"these settings": advice.chance}).items()], ("0 in 100", "100 in 100"))
    yield text(advice.chance.verdict() + advice.chance.met(), "hint")  # its cautions are shown below
    if advice.conflict:
        yield caution(advice.conflict.sentence(beside_best=True))
    if len(chances) > 1:
        yield text("The settings are worked out for the pot with the most pigment; each pot has its own chance.", "hint")
    if "gel time" in advice.predicted.index:
        gel = advice.predicted.loc["gel time"]
        between = f"nine castings in ten between {gel['low']:.0f} and {gel['high']:.0f} min after the catalyst goes in"
        yield text(f"Working time: about {gel['middle']:.0f} min, {between}.", "strong")
    yield from cautions(advice.cautions)
    beyond_by_pot = [beyond_log(one.fits, one.settings.iloc[0]).values() for one in chances.values()]
    unpoured = dict.fromkeys(itertools.chain(advice.beyond, *beyond_by_pot))  # a pot has its own pigment
    if unpoured and not advice.cautions.refusals:
        yield caution(f"Never poured yet: {', '.join(unpoured)}. Try one pour before relying on it.")
    yield fold("What one casting should read", table(predicted_words(advice.study, advice.predicted), NINE_IN_TEN))


def _in_layers(fits, advice):
    """Two layers in place of one hot pour, and when to pour the second; if the depth is refused, why that cannot be answered.

    If the log's peaks do not follow the calculation, the log decides whether the pour is hot.
    """
    try:
        layers = tp.two_layers(fits, advice.settings)
    except AskedTooMuch as problem:
        return text(f"It cannot be said when to pour a second layer. {' '.join(problem.problems)}") if advice.cautions.refusals else None
    cool = layers.refuted and advice.predicted["high"].get(peak_reading(fits.study).words, float("inf")) < layers.bound
    return fold("In two layers instead", text(layers.sentence()), text(layers.caution, "hint")) if layers.needed and not cool else None


def today_panel(folder: str | Path = ".") -> TodayPanel:
    """What to use today, by tapping: settings, chance, working time, weigh-out, cautions, and a session with them.

    Parameters
    ----------
    folder : str or Path
        The study folder.

    Returns
    -------
    TodayPanel
        A widget. ``.settings`` are the settings it recommends and ``.table`` what to weigh.
    """
    return TodayPanel(folder)

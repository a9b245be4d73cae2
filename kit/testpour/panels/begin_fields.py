"""The fields of a study: its resin, its settings and its readings, with what is wrong with each."""

from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import partial
from typing import Any

from testpour.common.units import UnitProblem, shown_unit, to_unit
from testpour.common.wording import capital
from testpour.panels.numbers import typed
from testpour.panels.parts import Part, cautions, choice, entry, fold, row, text
from testpour.panels.study_text import LEFT_OUT
from testpour.panels.workshop import SCALES
from testpour.study.catalogue import catalogue
from testpour.study.caution_rules import Cautions
from testpour.study.cautions import check_settings
from testpour.study.columns import Factor
from testpour.study.mixing import check_resin
from testpour.study.study import Study
from testpour.study.study_file import DENSITY_RANGE

Says = Callable[[str, str], str]  # what was typed in a field, else its default
DIFFERS, SAME = "may differ", "stays the same"
# The catalogue has no span for these, so that a study that only names them pours without a post-cure; from new_study.toml.
FIRST_SPANS = {"post_cure_temperature": (20.0, 60.0), "post_cure_time": (0.0, 4.0)}
DUROMETERS = ("Shore D", "Shore A", "Barcol")
NO_KIND = "Write what the label says it is, for example unsaturated polyester, casting grade."


class ResinFields:
    """The resin and its catalyst, from the labels."""

    def __init__(self, study: Study, says: Says) -> None:
        self.kind_words = says("resin_kind", study.resin["kind"])
        self.kind = self.kind_words.strip()
        self.kind_problem = " ".join(check_resin(self.kind).refusals) if self.kind else NO_KIND
        self.words = {key: says(f"resin_{key}", f"{study.resin[key]:g}") for key in DENSITIES}
        self.typed = {key: typed(words.strip(), partial(_density, label=DENSITIES[key]), "g/mL") for key, words in self.words.items()}

    def cautions(self) -> Cautions:
        """Warnings about the resin; a refusal is shown beside its field."""
        return replace(check_resin(self.kind), refusals=())

    def parts(self) -> Iterable[Part]:
        yield entry("resin_kind", "Resin, as its label says", self.kind_words, wide=True, problem=self.kind_problem)
        hints = {"density": "or weigh 100 mL: 110 g is 1.10 g/mL", "catalyst_density": "from its data sheet"}
        yield row(*[entry(f"resin_{key}", label, self.words[key], unit="g/mL", hint=hints[key], problem=self.typed[key].problem)
                    for key, label in DENSITIES.items()])

    def wanted(self) -> dict:
        return {"kind": self.kind, **{key: one.value for key, one in self.typed.items()}}

    def wrong(self) -> list[str]:
        return ["the resin"] * bool(self.kind_problem) + [f"what the {label.lower()}" for key, label in DENSITIES.items() if self.typed[key].problem]


def _density(words, label):
    value = to_unit(words, "g/mL", label)
    if not DENSITY_RANGE[0] <= value <= DENSITY_RANGE[1]:
        raise UnitProblem(f"{value:g} g/mL cannot be the density of a resin or a catalyst. Copy it from the label.")
    return value


class SettingField:
    """Whether one setting differs, and over what span; `there` says whether the study already has it."""

    def __init__(self, factor: Factor, study: Study, says: Says, there: bool) -> None:
        self.factor, self.study, self.there = factor, study, there
        one_value = len(set(factor.span)) == 1
        self.way = says(f"way_{factor.name}", LEFT_OUT if not there else DIFFERS if len(set(factor.span)) == 2 else SAME)
        if self.way == SAME:
            first = {"same": factor.span[0] if one_value else factor.usual}
        else:
            first = dict(zip(("from", "to"), _first_span(factor), strict=True))
        asked = self.way == SAME or (self.way == DIFFERS and factor.kind != "yes/no")
        self.words = {key: says(f"{key}_{factor.name}", factor.bare(value)) for key, value in first.items() if asked}
        self.typed = {key: self._read(words.strip()) for key, words in self.words.items()}
        if "to" in self.typed and not self.wrong and not self.values[0] < self.values[1]:
            self.typed["to"] = replace(self.typed["to"], problem=f"{capital(factor.words)} must end above where it begins.")

    def _read(self, words):
        found = typed(words, self.factor.parse, self.factor.unit)
        refused = check_settings(self.study, {self.factor.name: found.value}).refusals if not found.problem else ()
        return replace(found, problem=refused[0]) if refused else found

    @property
    def values(self) -> list[float]:
        """The values typed, as far as they can be read."""
        return [one.value for one in self.typed.values() if one.value is not None]

    @property
    def wrong(self) -> bool:
        """Whether a value typed cannot be used."""
        return any(one.problem for one in self.typed.values())

    def parts(self, logged: bool) -> Iterable[Part]:
        """The fields; a setting of which pours are `logged` cannot be left out."""
        options = (DIFFERS, SAME) if logged and self.there else (DIFFERS, SAME, LEFT_OUT)
        yield choice(f"way_{self.factor.name}", capital(self.factor.words), self.way, [(one, one) for one in options], hint=self.factor.how)
        fields = [self._field(key) for key in self.typed]
        if fields:
            yield row(*fields) if len(fields) > 1 else fields[0]

    def _field(self, key):
        factor, found = self.factor, self.typed[key]
        label = f"{capital(factor.words)} {'in every pour' if key == 'same' else key}"
        read = "" if found.problem or factor.kind == "yes/no" else found.read
        hint = "" if key == "to" else self._usual()
        return entry(f"{key}_{factor.name}", label, self.words[key], unit=shown_unit(factor.unit), problem=found.problem, read=read, hint=hint)

    def _usual(self):
        """The trade's usual span, as a hint; "" if the catalogue has none."""
        known = catalogue()["factors"].get(self.factor.name)
        if known is None or known.kind == "yes/no" or len(set(known.span)) < 2 or known.unit != self.factor.unit:
            return ""
        return f"usually {known.between(*known.span)}{'; the label comes first' if known.name == 'catalyst' else ''}"

    def wanted(self) -> Any:
        """The setting as the study file takes it; None if the file already has it."""
        factor = self.factor
        if self.way == LEFT_OUT:
            return LEFT_OUT
        values = self.values or [0, 1]  # a yes/no setting that differs has no fields
        span = (values[0], values[-1])
        if self.there and span == (factor.span or (factor.usual, factor.usual)):
            return None
        return tuple(int(value) if factor.kind == "yes/no" else f"{value:g} {factor.unit}".strip() for value in span)

    def cautions(self) -> Cautions:
        """Warnings at its values."""
        found = Cautions()
        for value in self.values if self.factor.kind != "yes/no" and not self.wrong else ():
            found += check_settings(self.study, {self.factor.name: value})
        return found.joined()


def _first_span(factor):
    """The default span: the study's own, else the usual one."""
    listed = catalogue()["factors"].get(factor.name)
    if len(set(factor.span)) == 2:
        return factor.span
    usual = FIRST_SPANS.get(factor.name, listed.span) if listed is not None and listed.unit == factor.unit else ()
    return usual or (factor.usual, factor.usual)


class SettingFields:
    """What may differ from pour to pour; once pours are `logged`, their settings must stay in the study."""

    def __init__(self, study: Study, says: Says, logged: bool) -> None:
        self.logged = logged
        study = replace(study, resin={**study.resin, "kind": ""})  # the resin is checked at its own field, as typed there
        there = {f.name: f for f in study.factors if f.role == "chosen" and f.kind != "text"}
        known = {n: f for n, f in catalogue()["factors"].items() if f.role == "chosen"}
        self.fields = {name: SettingField(factor, study, says, name in there) for name, factor in {**known, **there}.items()}

    def lowest(self, name: str) -> float | None:
        """The lowest value of a setting, where it can be read."""
        return next((one.value for one in self.fields[name].typed.values()), None) if name in self.fields else None

    def parts(self) -> Iterable[Part]:
        return [part for field in self.fields.values() for part in field.parts(self.logged)]

    def wrong(self) -> list[str]:
        return [field.factor.words for field in self.fields.values() if field.wrong]

    def wanted(self) -> dict:
        """Each setting as the study file takes it; None if the file already has it."""
        return {name: field.wanted() for name, field in self.fields.items()}

    def cautions(self) -> list[Part]:
        """Warnings at the ends of each setting."""
        return cautions(sum((field.cautions() for field in self.fields.values()), Cautions()))


class ToolFields:
    """The tools for weighing and reading, and what is therefore read."""

    def __init__(self, study: Study, says: Says, scale: str) -> None:
        self.says, self.scale = says, scale
        self.known = catalogue()["readings"]
        self.there = {r.name: r for r in study.readings}

    def parts(self) -> Iterable[Part]:
        yield choice("scale", "Step of the scale", self.scale, SCALES)
        yield choice("durometer", "Hardness with a", self._durometer(), [*((one, f"durometer {one}") for one in DUROMETERS), ("", "fingertip only")])
        items = [[f"read_{name}", f"{capital(reading.words)}{NEEDS.get(name, '')}", self._taken(name)]
                 for name, reading in self.known.items() if name != "hardness"]
        yield {"kind": "checks", "label": "What do you read?", "items": items}
        yield fold("How each is read", *[text(f"{capital(r.words)}: {r.how}.") for r in self.known.values()])
        yield text("Room temperature and humidity are written down at every session; without a thermometer leave them empty there.", "hint")

    def wanted(self) -> dict:
        """For each reading, whether it is taken; the study's own readings stay as they are."""
        taken = {name: self._taken(name) for name in self.known if name != "hardness"}
        return {**taken, "hardness": self._durometer() or False}

    def _taken(self, name):
        return self.says(f"read_{name}", "yes" if name in self.there else "no") == "yes"

    def _durometer(self):
        return self.says("durometer", self.there["hardness"].unit if "hardness" in self.there else "")


NEEDS = {"gel_time": ", with a clock and a stick", "time_to_peak": ", with a thermometer in the casting",
         "peak_temperature": ", with a thermometer in the casting", "tack": ", with a gloved fingertip"}
DENSITIES = {"density": "Resin weighs", "catalyst_density": "Catalyst weighs"}

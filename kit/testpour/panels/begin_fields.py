"""The fields of a study: its resin, its settings and its readings, with what is wrong with each."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from testpour.catalogue import catalogue
from testpour.caution_rules import Cautions
from testpour.cautions import check_settings
from testpour.mixing import check_resin
from testpour.panels.numbers import read_as
from testpour.panels.parts import Part, cautions, choice, entry, fold, row, text
from testpour.panels.study_text import LEFT_OUT
from testpour.panels.workshop import SCALES
from testpour.study import Study
from testpour.study_file import DENSITY_RANGE
from testpour.units import UnitProblem, beside_field, shown_unit, to_unit
from testpour.wording import capital

Says = Callable[[str, str], str]  # what was typed in a field, else what stands there at first
DIFFERS, SAME = "may differ", "stays the same"
# The catalogue has no span for these, so that a study that only names them pours without a post-cure; from new_study.toml.
FIRST_SPANS = {"post_cure_temperature": (20.0, 60.0), "post_cure_time": (0.0, 4.0)}
DUROMETERS = ("Shore D", "Shore A", "Barcol")


class ResinFields:
    """The resin and its catalyst, from the labels."""

    def __init__(self, study: Study, says: Says) -> None:
        self.study, self.says = study, says

    def kind(self) -> str:
        return self.says("resin_kind", self.study.resin["kind"]).strip()

    def cautions(self) -> Cautions:
        """What is warned of in the resin; a refusal stands beside its field."""
        return replace(check_resin(self.kind()), refusals=())

    def parts(self) -> Iterable[Part]:
        return [entry("resin_kind", "Resin, as its label says", self.says("resin_kind", self.study.resin["kind"]), wide=True,
                      problem=self._kind_problem()),
                row(*[self._density(key, label) for key, label in DENSITIES.items()])]

    def wanted(self) -> dict:
        return {"kind": self.kind(), **{key: to_unit(self._words(key), "g/mL") for key in DENSITIES}}

    def wrong(self) -> list[str]:
        return ["the resin"] * bool(self._kind_problem()) + [f"what the {label.lower()}" for key, label in DENSITIES.items() if self._problem(key)]

    def _kind_problem(self):
        if not self.kind():
            return "Write what the label says it is, for example unsaturated polyester, casting grade."
        return " ".join(check_resin(self.kind()).refusals)

    def _words(self, key):
        return self.says(f"resin_{key}", f"{self.study.resin[key]:g}").strip()

    def _problem(self, key):
        try:
            value = to_unit(self._words(key), "g/mL", DENSITIES[key])
        except UnitProblem as problem:
            return beside_field(problem, "g/mL")
        return "" if DENSITY_RANGE[0] <= value <= DENSITY_RANGE[1] else f"{value:g} g/mL cannot be the density of a resin or a catalyst. Read it off the label."

    def _density(self, key, label):
        hint = "or weigh 100 mL: 110 g is 1.10 g/mL" if key == "density" else "from its data sheet"
        return entry(f"resin_{key}", label, self.says(f"resin_{key}", self._words(key)), unit="g/mL", hint=hint, problem=self._problem(key))


class SettingFields:
    """What may differ from pour to pour, and from where to where."""

    def __init__(self, study: Study, says: Says, logged: bool) -> None:
        self.says, self.logged = says, logged
        self.study = replace(study, resin={**study.resin, "kind": ""})  # the resin is checked at its own field, as typed there
        there = {f.name: f for f in study.factors if f.role == "chosen" and f.kind != "text"}
        known = {n: f for n, f in catalogue()["factors"].items() if f.role == "chosen"}
        self.factors = {**known, **there}
        self.there = set(there)

    def way(self, name: str) -> str:
        """Whether a setting differs, stays the same, or is no setting of the study: `DIFFERS`, `SAME` or `LEFT_OUT`."""
        factor = self.factors[name]
        now = LEFT_OUT if name not in self.there else DIFFERS if len(set(factor.span)) == 2 else SAME
        return self.says(f"way_{name}", now)

    def ends(self, name: str) -> tuple[str, str]:
        """The words of both ends; of one that stays the same, its one value twice."""
        factor = self.factors[name]
        if self.way(name) == SAME:
            usual = factor.span[0] if len(set(factor.span)) == 1 else factor.usual
            same = self.says(f"same_{name}", _bare(factor, usual)).strip()
            return same, same
        span = self._first_span(name)
        low, high = (self.says(f"{end}_{name}", _bare(factor, value)).strip() for end, value in zip(("from", "to"), span, strict=True))
        return low, high

    def _first_span(self, name):
        """The span that stands there before anything is typed: the study's own, else the usual one."""
        factor, listed = self.factors[name], catalogue()["factors"].get(name)
        if len(set(factor.span)) == 2:
            return factor.span
        usual = FIRST_SPANS.get(name, listed.span) if listed is not None and listed.unit == factor.unit else ()
        return usual or (factor.usual, factor.usual)

    def problem(self, name: str) -> tuple[str, str]:
        """What is wrong with the ends of a setting: one text for each field, "" where nothing is."""
        factor, ends, found = self.factors[name], self.ends(name), []
        for words in ends:
            try:
                value = factor.parse(words)
                refused = check_settings(self.study, {name: value}).refusals
                found.append((value, refused[0] if refused else ""))
            except UnitProblem as problem:
                found.append((None, beside_field(problem, shown_unit(factor.unit))))
        (low, wrong_low), (high, wrong_high) = found
        if self.way(name) == DIFFERS and not wrong_low and not wrong_high and not low < high:
            wrong_high = f"{capital(factor.words)} must end above where it begins."
        return wrong_low, wrong_high

    def lowest(self, name: str) -> float | None:
        """The lowest value of a setting, where it can be read."""
        try:
            return self.factors[name].parse(self.ends(name)[0])
        except (UnitProblem, KeyError):
            return None

    def parts(self) -> Iterable[Part]:
        ways = ((DIFFERS, DIFFERS), (SAME, SAME))
        for name, factor in self.factors.items():
            options = ways if self.logged and name in self.there else (*ways, (LEFT_OUT, LEFT_OUT))
            yield choice(f"way_{name}", capital(factor.words), self.way(name), options, hint=factor.how)
            if self.way(name) == LEFT_OUT or (factor.kind == "yes/no" and self.way(name) == DIFFERS):
                continue
            ends, (wrong, wrong_too) = self.ends(name), self.problem(name)
            if self.way(name) == SAME:
                yield self._end(name, "same", "in every pour", ends[0], wrong)
            else:
                yield row(self._end(name, "from", "from", ends[0], wrong), self._end(name, "to", "to", ends[1], wrong_too))

    def _end(self, name, key, label, words, problem):
        """The field of one end of a setting."""
        factor, unit = self.factors[name], shown_unit(self.factors[name].unit)
        read = "" if problem or factor.kind == "yes/no" else read_as(factor.parse(words), factor.unit, words)
        return entry(f"{key}_{name}", f"{capital(factor.words)} {label}", self.says(f"{key}_{name}", words), unit=unit, problem=problem, read=read,
                     hint="" if key == "to" else self._usual(name))

    def _usual(self, name):
        """What the trade usually takes, as a hint; "" where the catalogue has no span for it."""
        known, unit = catalogue()["factors"].get(name), self.factors[name].unit
        if known is None or known.kind == "yes/no" or len(set(known.span)) < 2 or known.unit != unit:
            return ""
        return f"usually {known.between(*known.span)}{'; the label comes first' if name == 'catalyst' else ''}"

    def wrong(self) -> list[str]:
        return [self.factors[name].words for name in self.factors if self.way(name) != LEFT_OUT and any(self._asked(name))]

    def wanted(self) -> dict:
        """Each setting as the study file takes it; None where the file says it already."""
        return {name: self._wanted(name) for name in self.factors}

    def cautions(self) -> list[Part]:
        """What is warned of at the ends of each setting."""
        found = Cautions()
        for name, factor in self.factors.items():
            if self.way(name) != LEFT_OUT and factor.kind != "yes/no" and not any(self.problem(name)):
                for words in self.ends(name):
                    found += check_settings(self.study, {name: factor.parse(words)})
        return cautions(found)

    def _asked(self, name):
        """What is wrong with the ends that are asked for: of yes and no that differ, none are."""
        return self.problem(name) if self.factors[name].kind != "yes/no" or self.way(name) == SAME else ("", "")

    def _wanted(self, name):
        factor, way = self.factors[name], self.way(name)
        if way == LEFT_OUT:
            return LEFT_OUT
        if factor.kind == "yes/no":
            span = (0, 1) if way == DIFFERS else (int(factor.parse(self.ends(name)[0])),) * 2
            return None if name in self.there and factor.span == span else span
        values = tuple(factor.parse(words) for words in self.ends(name))
        unchanged = name in self.there and (values == factor.span or (not factor.span and values == (factor.usual,) * 2))
        return None if unchanged else tuple(f"{value:g} {factor.unit}".strip() for value in values)


class ToolFields:
    """What there is to weigh and to read with, and so what is read."""

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
        """Reading to whether it is taken; those of the study that the trade's list lacks stay as they are."""
        taken = {name: self._taken(name) for name in self.known if name != "hardness"}
        return {**taken, "hardness": self._durometer() or False}

    def _taken(self, name):
        return self.says(f"read_{name}", "yes" if name in self.there else "no") == "yes"

    def _durometer(self):
        return self.says("durometer", self.there["hardness"].unit if "hardness" in self.there else "")


def _bare(factor, value):
    """A value without its unit, which stands beside the field."""
    return factor.show(value) if factor.kind == "yes/no" else f"{value:g}"


NEEDS = {"gel_time": ", with a clock and a stick", "time_to_peak": ", with a thermometer in the casting",
         "peak_temperature": ", with a thermometer in the casting", "tack": ", with a gloved fingertip"}
DENSITIES = {"density": "Resin weighs", "catalyst_density": "Catalyst weighs"}

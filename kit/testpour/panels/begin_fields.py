"""The fields of a study: its resin, its settings, its readings and its aims, with what is wrong with each."""

from testpour.catalogue import catalogue
from testpour.cautions import check_settings
from testpour.panels.numbers import plain
from testpour.panels.parts import cautions, checks, choice, entry, fold, row, text
from testpour.panels.study_text import LEFT_OUT
from testpour.panels.tools import SCALES
from testpour.units import UnitProblem, to_unit
from testpour.wording import capital

DENSITY = (0.5, 3.0)  # g/mL; the study file says the same
DIFFERS, SAME = "may differ", "stays the same"
DUROMETERS = ("Shore D", "Shore A", "Barcol")


class Resin:
    """The resin and its catalyst, from the labels."""

    def __init__(self, study, says):
        self.study, self.says = study, says

    def kind(self):
        return self.says("resin_kind", self.study.resin["kind"]).strip()

    def parts(self):
        return [entry("resin_kind", "Resin, as its label says", self.says("resin_kind", self.study.resin["kind"]), wide=True,
                      problem="" if self.kind() else "Write what the label says it is, for example unsaturated polyester, casting grade."),
                row(*[self._density(key, label) for key, label in DENSITIES.items()])]  # fmt: skip

    def wanted(self):
        return {"kind": self.kind(), **{key: to_unit(self._words(key), "g/mL") for key in DENSITIES}}

    def wrong(self):
        return ["the resin"] * (not self.kind()) + [label.lower() for key, label in DENSITIES.items() if self._problem(key)]

    def _words(self, key):
        return self.says(f"resin_{key}", f"{self.study.resin[key]:g}").strip()

    def _problem(self, key):
        try:
            value = to_unit(self._words(key), "g/mL", DENSITIES[key])
        except UnitProblem as problem:
            return plain(problem)
        return "" if DENSITY[0] <= value <= DENSITY[1] else f"{value:g} g/mL is no density of a resin or a catalyst. Read it off the label."

    def _density(self, key, label):
        return entry(f"resin_{key}", label, self.says(f"resin_{key}", self._words(key)), unit="g/mL", hint="or weigh 100 mL: 110 g is 1.10 g/mL", problem=self._problem(key))


class Settings:
    """What may differ from pour to pour, and from where to where."""

    def __init__(self, study, says, logged):
        self.study, self.says, self.logged = study, says, logged
        there = {f.name: f for f in study.factors if f.role == "chosen" and f.kind != "text"}
        known = {n: f for n, f in catalogue()["factors"].items() if f.role == "chosen"}
        self.factors = {**known, **there}
        self.there = set(there)

    def way(self, name):
        """Whether a setting differs, stays the same, or is no setting of the study."""
        factor = self.factors[name]
        now = LEFT_OUT if name not in self.there else DIFFERS if len(set(factor.span)) == 2 else SAME
        return self.says(f"way_{name}", now)

    def ends(self, name):
        """The words of both ends; of one that stays the same, its one value twice."""
        factor = self.factors[name]
        span = factor.span if len(factor.span) == 2 else (factor.usual, factor.usual)
        if self.way(name) == SAME:
            usual = span[0] if span[0] == span[1] else factor.usual
            return (self.says(f"same_{name}", _bare(factor, usual)).strip(),) * 2
        return tuple(self.says(f"{end}_{name}", _bare(factor, value)).strip() for end, value in zip(("from", "to"), span, strict=True))

    def problem(self, name):
        """What is wrong with the ends of a setting: one text for each field."""
        factor, ends, found = self.factors[name], self.ends(name), []
        for words in ends:
            try:
                value = factor.parse(words)
                refused = check_settings(self.study, {name: value}).refusals
                found.append((value, refused[0] if refused else ""))
            except UnitProblem as problem:
                found.append((None, plain(problem)))
        (low, wrong_low), (high, wrong_high) = found
        if self.way(name) == DIFFERS and not wrong_low and not wrong_high and not low < high:
            wrong_high = f"{capital(factor.words)} must end above where it begins."
        return wrong_low, wrong_high

    def lowest(self, name):
        """The lowest value of a setting, where it can be read."""
        try:
            return self.factors[name].parse(self.ends(name)[0])
        except (UnitProblem, KeyError):
            return None

    def parts(self):
        ways = ((DIFFERS, DIFFERS), (SAME, SAME))
        for name, factor in self.factors.items():
            options = ways if self.logged and name in self.there else (*ways, (LEFT_OUT, LEFT_OUT))
            yield choice(f"way_{name}", capital(factor.words), self.way(name), options, hint=factor.how)
            if self.way(name) == LEFT_OUT or (factor.kind == "yes/no" and self.way(name) == DIFFERS):
                continue
            ends, (wrong, wrong_too) = self.ends(name), self.problem(name)
            unit = {"degC": "°C"}.get(factor.unit, factor.unit)
            if self.way(name) == SAME:
                yield entry(f"same_{name}", f"{capital(factor.words)} in every pour", self.says(f"same_{name}", ends[0]), unit=unit, problem=wrong)
            else:
                yield row(entry(f"from_{name}", f"{capital(factor.words)} from", self.says(f"from_{name}", ends[0]), unit=unit, problem=wrong),
                          entry(f"to_{name}", f"{capital(factor.words)} to", self.says(f"to_{name}", ends[1]), unit=unit, problem=wrong_too))  # fmt: skip

    def wrong(self):
        return [f"{self.factors[name].words}" for name in self.factors if self.way(name) != LEFT_OUT and any(self._asked(name))]

    def wanted(self):
        """Each setting as the study file takes it; None where the file says it already."""
        return {name: self._wanted(name) for name in self.factors}

    def cautions(self):
        """What is warned of at the ends of each setting."""
        found = []
        for name, factor in self.factors.items():
            if self.way(name) == LEFT_OUT or any(self._asked(name)) or factor.kind == "yes/no":
                continue
            for words in dict.fromkeys(self.ends(name)):
                found += cautions(check_settings(self.study, {name: factor.parse(words)}))
        unique = {part["text"]: part for part in found}
        return list(unique.values())

    def _asked(self, name):
        return self.problem(name) if self.factors[name].kind != "yes/no" else ("", "")

    def _wanted(self, name):
        factor, way = self.factors[name], self.way(name)
        if way == LEFT_OUT:
            return LEFT_OUT
        if factor.kind == "yes/no" and way == DIFFERS:
            return None if name in self.there and len(set(factor.span)) == 2 else (0, 1)
        if factor.kind == "yes/no":
            value = int(factor.parse(self.ends(name)[0]))
            return None if name in self.there and factor.span == (value, value) else (value, value)
        values = tuple(factor.parse(words) for words in self.ends(name))
        unchanged = name in self.there and (values == factor.span or (not factor.span and values == (factor.usual,) * 2))
        return None if unchanged else tuple(f"{value:g} {factor.unit}".strip() for value in values)


class Tools:
    """What there is to weigh and to read with, and so what is read."""

    def __init__(self, study, says, scale, logged):
        self.study, self.says, self.scale, self.logged = study, says, scale, logged
        self.known = catalogue()["readings"]
        self.there = {r.name: r for r in study.readings}

    def parts(self):
        yield choice("scale", "The scale reads in steps of", self.scale, SCALES)
        yield choice("durometer", "Hardness with a", self._durometer(), [*((one, f"durometer {one}") for one in DUROMETERS), ("", "fingertip only")])
        items = [(f"read_{name}", f"{capital(reading.words)}{NEEDS.get(name, '')}", self._taken(name)) for name, reading in self.known.items() if name != "hardness"]
        yield checks("What do you read?", items)
        yield fold("How each is read", *[text(f"{capital(r.words)}: {r.how}.") for r in self.known.values()])
        yield text("Room temperature and humidity are written down at every session; without a thermometer leave them empty there.", "hint")

    def wanted(self):
        """Reading to whether it is taken; those of the study that the trade's list lacks stay as they are."""
        taken = {name: self._taken(name) for name in self.known if name != "hardness"}
        return {**taken, "hardness": self._durometer() or False}

    def _taken(self, name):
        return self.says(f"read_{name}", "yes" if name in self.there else "no") == "yes"

    def _durometer(self):
        return self.says("durometer", self.there["hardness"].unit if "hardness" in self.there else "")


class Aims:
    """What a good casting must meet."""

    def __init__(self, study, says, taken):
        self.study, self.says = study, says
        own = {r.name: r for r in study.readings}
        known = catalogue()["readings"]
        self.readings = {name: own.get(name, known.get(name)) for name in [*known, *(n for n in own if n not in known)] if taken.get(name, name in own)}
        self.scale = taken.get("hardness") or ""
        self.now = {aim.reading: aim for aim in study.aims}

    def bounds(self, name):
        """Words of each bound and of the age, "" for none."""
        aim, reading = self.now.get(name), self.readings[name]
        found = {}
        for key in self._keys(reading):
            value = getattr(aim, key, None)
            found[key] = self.says(f"{key}_{name}", "" if value is None else f"{value:g}").strip()
        age = getattr(aim, "age", None)
        if reading.ages:
            found["age"] = self.says(f"age_{name}", f"{(age or reading.ages[0]):g}").strip()
        return found

    def parts(self):
        for name, reading in self.readings.items():
            bounds, problems = self.bounds(name), self.problems(name)
            unit = self.scale if name == "hardness" else {"degC": "°C"}.get(reading.unit, reading.unit)
            fields = [self._bound(name, reading, key, bounds[key], problems.get(key, ""), unit) for key in self._keys(reading)]
            age = [entry(f"age_{name}", f"{capital(reading.words)} at age", self.says(f"age_{name}", bounds["age"]), unit="h", problem=problems.get("age", ""))] if reading.ages and any(bounds[k] for k in self._keys(reading)) else []
            yield row(*fields, *age)

    def problems(self, name):
        reading, found = self.readings[name], {}
        for key, words in self.bounds(name).items():
            if words:
                try:
                    value = to_unit(words, "h", "age") if key == "age" else reading.parse(self._own(name, words))
                    if key == "age" and not value > 0:
                        found[key] = "The age is counted in hours after mixing, above 0."
                except UnitProblem as problem:
                    found[key] = plain(problem)
        bounds = self.bounds(name)
        if not found and bounds.get("at_least") and bounds.get("at_most") and reading.parse(self._own(name, bounds["at_least"])) > reading.parse(self._own(name, bounds["at_most"])):
            found["at_most"] = "The upper bound is below the lower one."
        return found

    def wrong(self):
        return [self.readings[name].words for name in self.readings if self.problems(name)]

    def wanted(self):
        """Bounds of each reading as the file takes them; those it says already are left out."""
        found = {name: {} for name in self.now if name not in self.readings}
        for name in self.readings:
            bounds = self.bounds(name)
            if self._values(bounds) != self._values(self._as_is(name)):
                found[name] = {key: self._in_file(name, key, words) for key, words in bounds.items()}
        return found

    def words(self):
        """Each aim as a sentence part."""
        said = []
        for name, reading in self.readings.items():
            bounds = self.bounds(name)
            asked = [f"{'at least' if key == 'at_least' else 'at most'} {bounds[key]}" for key in self._keys(reading) if bounds[key]]
            if asked and not self.problems(name):
                unit = "" if reading.grades else f" {self.scale if name == 'hardness' else {'degC': '°C'}.get(reading.unit, reading.unit)}"
                grade = f" ({reading.grades[int(float(bounds['at_most']))]})" if reading.grades and bounds.get("at_most") else ""
                said.append(f"{capital(reading.words)} {' and '.join(asked)}{unit}{grade}" + (f", {bounds['age']} h after mixing" if bounds.get("age") else ""))
        return said

    def _keys(self, reading):
        return {"lower": ("at_most",), "higher": ("at_least",)}.get(reading.better, ("at_least", "at_most"))

    def _own(self, name, words):
        """A bound in the reading's own unit, where it was typed with that of another durometer."""
        return words.replace(self.scale, "").strip() if name == "hardness" and self.scale else words

    def _as_is(self, name):
        aim, reading = self.now.get(name), self.readings[name]
        found = {key: "" if getattr(aim, key, None) is None else f"{getattr(aim, key):g}" for key in self._keys(reading)}
        return {**found, **({"age": f"{(getattr(aim, 'age', None) or reading.ages[0]):g}"} if reading.ages else {})}

    def _values(self, bounds):
        bare = {key: words.split()[0] if words else "" for key, words in bounds.items()}
        return bare if any(bare.get(key) for key in ("at_least", "at_most")) else {}

    def _in_file(self, name, key, words):
        if not words:
            return ""
        reading = self.readings[name]
        if key == "age":
            return f"{to_unit(words, 'h', 'age'):g} h"
        if reading.grades:
            return int(float(words))
        value = reading.parse(self._own(name, words))
        return f"{value:g} {self.scale if name == 'hardness' else reading.unit}".strip()

    def _bound(self, name, reading, key, words, problem, unit):
        label = f"{capital(reading.words)}, {'at least' if key == 'at_least' else 'at most'}"
        if reading.grades:
            options = [("", "no aim"), *((str(k), word) for k, word in enumerate(reading.grades))]
            return choice(f"{key}_{name}", label, words, options, hint=reading.how)
        return entry(f"{key}_{name}", label, self.says(f"{key}_{name}", words), unit=unit, hint="left empty: no aim", problem=problem)


def _bare(factor, value):
    """A value without its unit, which stands beside the field."""
    return factor.show(value) if factor.kind == "yes/no" else f"{value:g}"


NEEDS = {"gel_time": ", with a clock and a stick", "time_to_peak": ", with a thermometer in the casting",
         "peak_temperature": ", with a thermometer in the casting", "tack": ", with a gloved fingertip"}  # fmt: skip
DENSITIES = {"density": "Resin weighs", "catalyst_density": "Catalyst weighs"}

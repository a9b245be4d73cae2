"""A bench sheet on paper: what is printed for each pour, and the blanks to fill in by hand."""

from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from testpour.bench.slots import events, slots
from testpour.common.files import page_kind, put
from testpour.common.pages import template
from testpour.common.wording import age_words, count, numbered
from testpour.study.caution_rules import safety_text
from testpour.study.columns import Factor
from testpour.study.scale import GRAMS, displayed, in_unit
from testpour.study.study import Study

# Printed at the head of every sheet, whatever the study declares.
BLANKS = {"room_temperature": "Room, °C", "humidity": "Humidity, %", "resin_lot": "Resin lot, opened",
          "catalyst_lot": "Catalyst lot, opened"}
# A gel time lies between two checks; both are written down.
TWO_CHECKS = {"gel_time": ("last check, not gelled", "first check, gelled")}
WEIGHED = ("catalyst", "pigment")
SAVED = page_kind("bench sheet")


@dataclass(frozen=True, eq=False)
class BenchSheet:
    """One session's weigh-out and reading times, ready to print.

    Parameters
    ----------
    study : Study
    session : str
    table : DataFrame
        One row per pour in run order, indexed by pour name: every numeric factor in its unit, and resin_g, pigment_g,
        catalyst_g, catalyst_low, catalyst_high (the % this scale may deliver), and grams of any other share of the
        resin, such as filler_g.
    warnings : dict
        Sentence to the names of the pours it concerns.
    scale_resolution : float
        Step of the scale, g.
    date : str
    unit : tuple of str and float
        Unit of the scale, in which amounts are printed, and how many g it is.
    """

    study: Study = field(repr=False)
    session: str
    table: pd.DataFrame = field(repr=False)
    warnings: dict[str, list[str]]
    scale_resolution: float
    date: str = ""
    unit: tuple[str, float] = GRAMS

    def sentence(self) -> str:
        """What the sheet asks for, in a sentence or two."""
        resin, catalyst = (in_unit(self.table[name].sum(), self.unit) for name in ("resin_g", "catalyst_g"))
        text = (
            f"Session {self.session}: {count(len(self.table), 'pour')} with {resin} of resin and {catalyst} of "
            "catalyst in all. Save the sheet, print it and fill it in by hand."
        )
        return text + (f" It has {count(len(self.warnings), 'warning')}: read them first." if self.warnings else "")

    __repr__ = sentence

    def _repr_html_(self):
        return self._render(whole=False)

    def save(self, path: str | Path) -> Path:
        """Write the sheet as one HTML page that needs nothing else; returns the path written. Only such a page is replaced.

        Open it in a browser and print it on A4 or Letter.

        Parameters
        ----------
        path : str or Path

        Returns
        -------
        Path
        """
        return put(path, self._render(whole=True), SAVED.of(self.study.name))

    def _render(self, whole):
        return template("bench", "bench_sheet.html").render(
            whole=whole,
            study=self.study,
            session=self.session,
            date=self.date,
            scale=in_unit(self.scale_resolution, self.unit, 6),
            unit=self.unit[0],
            blanks=_blanks(self.study),
            pigmented=self.study.has("pigment"),
            own=[f.words for f in own_shares(self.study)],
            alike=_shared_settings(self.study, self.table),
            rows=list(_rows(self)),
            readings=list(_readings(self.study)),
            aims=self.study.aims_in_words,
            warnings=[(", ".join(pours), text) for text, pours in self.warnings.items()],
            cautions=safety_text("bench", html=True),
        )


def own_shares(study: Study) -> list[Factor]:
    """The study's own factors weighed as a share of the resin: filler in %, silica in phr."""
    return [f for f in study.factors if f.is_share and f.name not in (*WEIGHED, "resin")]


def _blanks(study):
    """The blanks at the head of the sheet: room, lots, and other conditions of this study."""
    more = {f.name: f.label.capitalize() for f in study.factors if f.role != "chosen" and f.name not in BLANKS}
    pigment = {"pigment_lot": "Pigment lots"} if study.has("pigment") else {}
    return list({**BLANKS, **pigment, **more}.values())


def _differing_factors(study, table):
    """Factors that differ between these pours, other than what is weighed."""
    shown = [f for f in study.numeric if f.name not in WEIGHED]
    return [f for f in shown if f.role == "chosen" and table[f.name].nunique() > 1]


def _shared_settings(study, table):
    """Settings that all these pours share, in words."""
    apart = {f.name for f in _differing_factors(study, table)}
    shared = [f for f in study.numeric if f.name not in apart and f.name not in WEIGHED]
    shared_words = {f: f.show(table[f.name].iloc[0]) for f in shared if table[f.name].nunique() == 1}
    return [f"{'' if f.role == 'chosen' else 'expected '}{f.words} {value}" for f, value in shared_words.items()]


def _rows(sheet):
    """For each pour, its settings in words and its amounts as the scale shows them."""
    factors, own = _differing_factors(sheet.study, sheet.table), [f.name for f in own_shares(sheet.study)]
    for pour, row in sheet.table.iterrows():
        yield {
            "pour": pour,
            "settings": [f"{f.words} {f.show(row[f.name])}" for f in factors],
            "share": f"{row['catalyst']:.2f}",
            "delivered": f"{row['catalyst_low']:.3f} to {row['catalyst_high']:.3f}",
            "weighed": {name: displayed(row[f"{name}_g"], sheet.scale_resolution, sheet.unit) for name in ("resin", *WEIGHED, *own)},
            "own": own,
        }


def _readings(study):
    """Each reading with the times at which it is read, its scale in words, and how it is taken."""
    planned, look = slots(study), {event.reading: event.look for event in events(study)}
    for reading in study.readings:
        moments = [age_words(slot.age) for slot in planned if slot.reading is reading] or TWO_CHECKS.get(reading.name, [""])
        unit = "" if reading.grades else reading.label.removeprefix(reading.words).strip(" ()")
        how = "; ".join(filter(None, (reading.how, look.get(reading))))
        yield {"words": reading.words, "unit": unit, "moments": moments, "grades": numbered(reading.grades), "how": how}

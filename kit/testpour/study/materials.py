"""Materials: mass from volume or drops, and which plastics withstand the resin.

Densities differ from lot to lot: take them from the data sheet or weigh 100 mL. The defaults are
1.10 g/mL for liquid resin (supplier data sheet, promoted isophthalic laminating resin) and no default at all for
the catalyst, whose density runs from about 1.00 to 1.18 g/mL with what it is diluted in.
"""

import re
from contextlib import suppress
from dataclasses import dataclass
from functools import cache

from testpour.common.problems import NoSuchName
from testpour.common.toml_file import own_toml
from testpour.common.units import UnitProblem, to_number, to_unit

RESIN_DENSITY = 1.10
MASSES = "200 g, 8 oz or 350 mL"  # examples for messages
GALLONS = {"us": 3785.411784, "imperial": 4546.09, "uk": 4546.09}  # mL, exact by definition
PARTS_OF_A_GALLON = {"gallon": 1, "gal": 1, "quart": 4, "qt": 4, "pint": 8, "pt": 8}

CALIBRATE = (
    "Drops differ from dropper to dropper, from about 14 to 40 in a millilitre. Count the drops that fill 1 mL "
    "of a syringe, or weigh 50 drops: drops per mL = 50 x density / grams weighed. Then give drops_per_mL and "
    "catalyst_density, or weigh the catalyst"
)


def to_volume(value: str | float, what: str = "volume") -> float:
    """A volume in mL from a number in mL or text: ``"350 mL"``, ``"8 fl oz"``, ``"1/2 US pint"``.

    Fluid ounces are US ones. Pints, quarts and gallons must say US or imperial, because they differ by a fifth.
    """
    if not isinstance(value, str):
        return float(value)
    number, unit = to_number(value, what)
    found = re.fullmatch(r"(?:(us|uk|imperial)\.?\s+)?(gallon|gal|quart|qt|pint|pt)s?\.?", unit.casefold())
    if not found:
        return to_unit(value, "mL", what)
    country, measure = found.groups()
    if not country:
        raise UnitProblem(f"{what}: {value!r} may be a US or an imperial measure. Write US {measure} or imperial {measure}, or mL.")
    return number * GALLONS[country] / PARTS_OF_A_GALLON[measure]


def to_mass(value: str | float, density: float = RESIN_DENSITY, what: str = "mass") -> float:
    """A mass in g from a number in g or text: ``"200 g"``, ``"8 oz"`` (a mass), ``"0.5 lb"``, ``"350 mL"``.

    `density` is in g/mL, for a volume.
    """
    if not isinstance(value, str):
        return float(value)
    to_number(value, what, like=MASSES)  # reports a wrong number before a wrong unit
    with suppress(UnitProblem):
        return to_unit(value, "g", what)
    try:
        return to_volume(value, what) * density
    except UnitProblem as problem:
        if "imperial" in str(problem):
            raise
    raise UnitProblem(f"{what}: {value!r} is neither a mass nor a volume. Write it like {MASSES}.")


def drops_to_mass(drops: float, drops_per_mL: float | None = None, density: float | None = None) -> float:
    """Mass in g of a number of drops of catalyst of a `density` in g/mL.

    Refused without a calibrated dropper; the message says how to calibrate it.
    """
    if drops_per_mL is None or density is None:
        raise UnitProblem(f"catalyst: {drops:g} drops is not a mass until the dropper is calibrated. {CALIBRATE}.")
    return drops / drops_per_mL * density


@dataclass(frozen=True)
class Container:
    """A plastic for cups or moulds: its code, names, and whether it withstands liquid polyester."""

    code: str
    short: str
    name: str
    also: tuple[str, ...]
    verdict: str
    why: str
    source: str

    def sentence(self) -> str:
        """Whether the plastic withstands liquid polyester resin, in one sentence."""
        advice = {"fine": "suits polyester resin", "warn": "is doubtful for polyester resin",
                  "refuse": "must not hold polyester resin"}[self.verdict]
        return f"Code {self.code}, {self.short} ({self.name}), {advice}: {self.why}."

    __repr__ = sentence


@cache
def containers() -> tuple[Container, ...]:
    """Every plastic that has a code, in the order of the codes."""
    raw = own_toml("study/containers.toml")
    return tuple(Container(**{**entry, "also": tuple(entry["also"])}) for entry in raw["containers"])


def container(code: str | int) -> Container:
    """Whether a cup or mould of some plastic suits styrene resins.

    Parameters
    ----------
    code : int or str
        The code in the triangle (``5``), a short name (``"PP"``) or a name (``"polypropylene"``).

    Returns
    -------
    Container

    Raises
    ------
    NoSuchName
        If no plastic goes by that code or name; it lists those known.

    Examples
    --------
    >>> tp.container("PET")
    Code 1, PET (polyethylene terephthalate), is doubtful for polyester resin: it softens at about 70 to 80 °C, ...
    """
    asked = str(code).strip().casefold().strip("#♷♸♹♺♻♼♽ ")
    asked = asked.removeprefix("code ").removesuffix(" cup").removesuffix(" mould").lstrip("0")
    for plastic in containers():
        if asked in {plastic.code, plastic.short.casefold(), plastic.name, *plastic.also}:
            return plastic
    known = ", ".join(f"{c.code} {c.short}" for c in containers())
    raise NoSuchName(f"No plastic {code!r} in the table; it has {known}. Look for the number in the triangle.")

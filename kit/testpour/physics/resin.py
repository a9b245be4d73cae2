"""The parameters of a resin system, and the kit's default one."""

from dataclasses import dataclass, fields
from functools import cache

from testpour.common.toml_file import own_toml


@dataclass(frozen=True)
class Resin:
    """One resin system: its thermal properties, its induction and its cure.

    Every field is a float; inside the solver the same class holds arrays of shape (castings, 1).
    """

    density: float  # mean while curing, kg/m3
    heat_capacity: float  # J/(kg K)
    conductivity: float  # W/(m K)
    heat_of_cure: float  # given off from liquid to full conversion, J/kg of resin
    reference_temperature: float  # at which the induction time and rates are quoted, °C
    induction: float  # min to use up the inhibitor at 1 % catalyst and the reference temperature; 0 for none
    induction_exponent: float  # the induction time goes as catalyst to minus this power
    induction_energy: float  # activation energy, J/mol
    first_rate: float  # k1 at 1 % catalyst and the reference temperature, 1/s
    second_rate: float  # k2, likewise
    rate_exponent: float  # both rates go as catalyst to this power
    rate_energy: float  # activation energy, J/mol
    order_made: float  # exponent m, of what has cured
    order_left: float  # exponent n, of what is left, at least 1
    ceiling: float  # largest conversion at the reference temperature, 0 to 1; 1 with no slope switches it off
    ceiling_slope: float  # rise of the ceiling, 1/K
    gel_conversion: float  # at which the resin no longer flows, 0 to 1


@cache
def load_resin() -> Resin:
    """The kit's default resin, a plausible ambient-cure casting polyester.

    In `resin.toml` each value has its unit, source and confidence.
    """
    table = own_toml("physics/resin.toml")
    return Resin(**{field.name: float(table[field.name]["value"]) for field in fields(Resin)})

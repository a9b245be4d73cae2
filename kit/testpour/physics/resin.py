"""One resin system in numbers, and the kit's default one."""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cache

from testpour.toml_file import own_toml


@dataclass(frozen=True)
class Resin:
    """One resin system: how it carries heat, how long it waits and how it cures.

    Every field is a float; inside the solver the same class holds arrays of shape (castings, 1).

    Parameters
    ----------
    density : float
        Mean density while curing, kg/m3.
    heat_capacity : float
        Specific heat, J/(kg K).
    conductivity : float
        Thermal conductivity, W/(m K).
    heat_of_cure : float
        Heat given off from liquid to full conversion, J/kg of resin.
    reference_temperature : float
        Temperature at which the induction time and rates are quoted, degC.
    induction : float
        Time to use up the inhibitor at 1 % catalyst and the reference temperature, min; 0 for none.
    induction_exponent : float
        The induction time goes as catalyst to minus this power.
    induction_energy, rate_energy : float
        Activation energies, J/mol.
    first_rate, second_rate : float
        k1 and k2 at 1 % catalyst and the reference temperature, 1/s.
    rate_exponent : float
        Both rates go as catalyst to this power.
    order_made, order_left : float
        Exponents m (of what has cured) and n (of what is left, at least 1).
    ceiling : float
        Largest conversion at the reference temperature, 0 to 1; 1 with no slope switches it off.
    ceiling_slope : float
        Rise of the ceiling, 1/K.
    gel_conversion : float
        Conversion at which the resin no longer flows, 0 to 1.
    """

    density: float
    heat_capacity: float
    conductivity: float
    heat_of_cure: float
    reference_temperature: float
    induction: float
    induction_exponent: float
    induction_energy: float
    first_rate: float
    second_rate: float
    rate_exponent: float
    rate_energy: float
    order_made: float
    order_left: float
    ceiling: float
    ceiling_slope: float
    gel_conversion: float


@cache
def load_resin() -> Resin:
    """The kit's default resin, a plausible ambient-cure casting polyester.

    Returns
    -------
    Resin
        Values from ``resin.toml``, where each stands beside its unit, source and confidence.
    """
    table = own_toml("physics/resin.toml")
    return Resin(**{field.name: float(table[field.name]["value"]) for field in fields(Resin)})

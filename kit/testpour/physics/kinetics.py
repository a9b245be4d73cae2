"""The rates at which the resin uses up its inhibitor and then cures.

Two clocks run one after the other. First the inhibitor is used up: a share ``dt / t_z`` of it goes
in a time ``dt``, and nothing else happens until the shares add up to one. Then the resin cures and
warms itself, faster the further it has gone, until it runs out of double bonds or turns to glass:

    t_z     = induction * catalyst**-induction_exponent * exp(E_z / R * (1/T - 1/T_ref))
    d a/d t = K * (k1 + k2 * a**m) * (a_max(T) - a)**n
    K       = catalyst**rate_exponent * exp(-E_c / R * (1/T - 1/T_ref))
    a_max   = min(1, ceiling + ceiling_slope * (T - T_ref))

References
----------
Kamal & Sourour, Polym. Eng. Sci. 13 (1973) 59, for the rate; Stevenson, Polym. Eng. Sci. 26 (1986)
746, and Batch & Macosko, J. Appl. Polym. Sci. 44 (1992) 1711, for the inhibitor (citations from
memory, not read).
"""

from dataclasses import dataclass

import numpy as np

from testpour.physics.network import PerCasting
from testpour.physics.resin import Resin

GAS_CONSTANT = 8.314462618
ZERO_CELSIUS = 273.15
TINY = 1e-12
SEED = 1e-5


@dataclass(frozen=True)
class Mix(PerCasting):
    """A resin with its catalyst mixed in, as the solver evaluates it at every step."""

    inhibitor_rate: float | np.ndarray  # share of the inhibitor used up per second at the reference temperature
    inhibitor_energy: float | np.ndarray  # activation energies over the gas constant, K
    cure_energy: float | np.ndarray
    first: float | np.ndarray  # rates k1 and k2 at this dose and the reference temperature, 1/s
    second: float | np.ndarray
    order_made: float | np.ndarray
    order_left: float | np.ndarray
    ceiling_slope: float | np.ndarray
    ceiling_at_zero: float | np.ndarray  # ceiling, extrapolated linearly to 0 °C
    inverse_reference: float | np.ndarray  # 1/K

    def inhibitor_rate_at(self, temperature: float | np.ndarray) -> float | np.ndarray:
        """Share of the inhibitor used up per second at `temperature`, °C."""
        cold = 1.0 / (temperature + ZERO_CELSIUS) - self.inverse_reference
        return self.inhibitor_rate * np.exp(-self.inhibitor_energy * cold)

    def rate(self, temperature: float | np.ndarray, conversion: float | np.ndarray) -> float | np.ndarray:
        """Rate of cure, 1/s, at `temperature` in °C."""
        return self._parts(1.0 / (temperature + ZERO_CELSIUS), temperature, conversion)[0]

    def rate_slopes(self, temperature: float | np.ndarray, conversion: float | np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Rate of cure (1/s) with its slopes against temperature (1/(s K)) and conversion (1/s)."""
        inverse = 1.0 / (temperature + ZERO_CELSIUS)
        rate, rest, growth, left, ceiling = self._parts(inverse, temperature, conversion)
        crowding = self.order_left * rate / (left + TINY)
        by_temperature = rate * self.cure_energy * inverse**2 + crowding * self.ceiling_slope * (ceiling < 1.0)
        # The slope is infinite at zero conversion; SEED keeps it finite.
        speeding = rest * growth * self.order_made / np.maximum(conversion, SEED)
        return rate, by_temperature, speeding - crowding

    def _parts(self, inverse, temperature, conversion):
        ceiling = np.minimum(1.0, self.ceiling_at_zero + self.ceiling_slope * temperature)
        left = np.maximum(ceiling - conversion, 0.0)
        rest = np.exp(self.cure_energy * (self.inverse_reference - inverse)) * left**self.order_left
        growth = self.second * np.maximum(conversion, 0.0) ** self.order_made
        return rest * (self.first + growth), rest, growth, left, ceiling


def stir(resin: Resin, catalyst: float | np.ndarray) -> Mix:
    """A resin with the catalyst (% of resin by mass) mixed in."""
    wait = 60.0 * resin.induction * catalyst**-resin.induction_exponent
    dose = catalyst**resin.rate_exponent
    return Mix(
        inhibitor_rate=1.0 / np.maximum(wait, TINY),
        inhibitor_energy=resin.induction_energy / GAS_CONSTANT,
        cure_energy=resin.rate_energy / GAS_CONSTANT,
        first=resin.first_rate * dose,
        second=resin.second_rate * dose,
        order_made=resin.order_made,
        order_left=resin.order_left,
        ceiling_slope=resin.ceiling_slope,
        ceiling_at_zero=resin.ceiling - resin.ceiling_slope * resin.reference_temperature,
        inverse_reference=1.0 / (resin.reference_temperature + ZERO_CELSIUS),
    )


def induction_time(resin: Resin, temperature: float | np.ndarray, catalyst: float | np.ndarray) -> float | np.ndarray:
    """Minutes until the inhibitor is used up at a steady temperature, °C."""
    return 1.0 / (60.0 * stir(resin, catalyst).inhibitor_rate_at(temperature))

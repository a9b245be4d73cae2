"""A casting: thickness, dose, faces, layers and the temperature around it."""

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from testpour.common.wording import count
from testpour.physics.resin import Resin, load_resin

HOUR = 3600.0
MINUTE = 60.0
RAMP = 20.0  # K/h, an oven warming and cooling


@dataclass(frozen=True)
class Face:
    """One face of a casting."""

    # Heat passed to still or moving air, W/(m2 K); inf holds the face at the air's temperature, 0 lets nothing through.
    film: float = 10.0
    mould_resistance: float = 0.0  # thickness of the mould wall over its conductivity, m2 K/W; 0 for an open face

    @property
    def film_resistance(self) -> float:
        """Resistance of the air film, m2 K/W."""
        return np.inf if self.film == 0.0 else 1.0 / self.film


@dataclass(frozen=True)
class Layer:
    """A layer poured onto the one before."""

    thickness: float  # mm
    minute: float  # of pouring
    catalyst: float  # % of resin by mass


@dataclass(frozen=True)
class Casting:
    """One slab and its room."""

    thickness: float  # mm; of the first layer if more follow
    catalyst: float  # peroxide solution, % of resin by mass
    room_temperature: float = 23.0  # °C, steady
    resin_temperature: float | None = None  # °C when mixed; None for that of the room
    face: Face = Face()  # the top
    other_face: Face | None = None  # the bottom; None for the same as `face`
    layers: tuple[Layer, ...] = ()  # further ones, in order of pouring
    # Hour after mixing and °C of the air, straight lines between; the room's before the first, the last after it.
    programme: tuple[tuple[float, float], ...] = ()
    hours: float = 24.0  # how long to follow the casting after mixing
    resin: Resin = field(default_factory=load_resin, repr=False)

    def __post_init__(self):
        if problems := list(_problems(self)):
            raise ValueError(f"{count(len(problems), 'problem')} with this casting: " + "; ".join(problems) + ".")

    @property
    def even(self) -> bool:
        """Whether both faces are the same, so that half the casting is enough."""
        return self.other_face in (None, self.face) and not self.layers

    @property
    def start_temperature(self) -> float:
        """Temperature of the resin at mixing, degC."""
        return self.room_temperature if self.resin_temperature is None else self.resin_temperature

    @property
    def pours(self) -> tuple[Layer, ...]:
        """Every layer, the first included."""
        return (Layer(self.thickness, 0.0, self.catalyst), *self.layers)

    @property
    def breaks(self) -> list:
        """Times in s at which a condition changes, from 0 to the end."""
        times = {0.0, *(hour * HOUR for hour, _ in self.programme), *(pour.minute * MINUTE for pour in self.pours)}
        return sorted(time for time in times if 0.0 <= time < self.hours * HOUR)

    @property
    def end_of_room(self) -> float:
        """Time in s at which the air first leaves the temperature it began with, or the end."""
        away = [k for k, (_, degrees) in enumerate(self.programme) if degrees != self.air(0.0)]
        last = self.hours if not away else self.programme[max(away[0] - 1, 0)][0]
        return min(last, self.hours) * HOUR

    def air(self, time: float) -> float:
        """Air temperature, °C, at `time` in s after mixing."""
        if not self.programme or time < self.programme[0][0] * HOUR:
            return self.room_temperature
        hour, degrees = zip(*self.programme, strict=True)
        return float(np.interp(time / HOUR, hour, degrees))


def post_cure_programme(room_temperature: float, temperature: float, hours: float, start: float = 24.0) -> tuple[tuple[float, float], ...]:
    """An oven programme for `Casting.programme`, °C and h after mixing.

    Rest in the room until `start`, warm up, hold for `hours`, cool down.
    """
    warming = abs(temperature - room_temperature) / RAMP
    steps = np.cumsum([start, warming, hours, warming])
    return tuple(zip(steps.tolist(), (room_temperature, temperature, temperature, room_temperature), strict=True))


def _problems(casting):
    for number, pour in enumerate(casting.pours, start=1):
        if not pour.thickness > 0.0:
            yield f"layer {number} is {pour.thickness} mm thick; give a thickness above 0 mm"
        if not pour.catalyst > 0.0:
            yield f"layer {number} has {pour.catalyst} % catalyst; give a dose above 0 %"
    minutes = [pour.minute for pour in casting.pours]
    if any(later <= before for before, later in pairwise(minutes)):
        yield f"layers are poured at {minutes} min; every layer must come after the one below"
    hours = [hour for hour, _ in casting.programme]
    if any(hour < 0.0 for hour in hours) or hours != sorted(hours):
        yield f"the programme's hours {hours} must start at 0 or later and never step back"
    if not 0.0 < casting.hours < np.inf:
        yield f"hours = {casting.hours}; say how many hours to follow the casting"
    degrees = [casting.room_temperature, casting.start_temperature, *(d for _, d in casting.programme)]
    if not all(-50.0 < degree < 300.0 for degree in degrees):
        yield f"temperatures {degrees} must lie between -50 and 300 degC"

"""A casting divided into slices: the heat that each slice stores, conducts and loses.

Every casting becomes the same thing, a row of slices. A slice has a heat capacity, links to its two
neighbours and perhaps a link to the air, so one solver serves them all, and many castings at once.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self

import numpy as np

from testpour.physics.casting import Face
from testpour.physics.resin import Resin


class PerCasting:
    """A dataclass whose every field has one row per casting."""

    def take(self, rows: np.ndarray) -> Self:
        """The same of some of the castings, numbered or masked by `rows`."""
        parts = vars(self).values()
        return type(self)(*(part.take(rows) if isinstance(part, PerCasting) else part[rows] for part in parts))


@dataclass(frozen=True)
class Network(PerCasting):
    """Slices and links of many castings; every array has shape (castings, slices)."""

    lower: np.ndarray  # link to the slice before over the slice's capacity, 1/s
    upper: np.ndarray  # to the slice after
    sink: np.ndarray  # to the air
    total: np.ndarray  # the sum of the three
    heating: np.ndarray  # temperature rise of a slice that cures fully and keeps its heat, K
    poured: np.ndarray  # whether the resin is in the mould


@dataclass(frozen=True)
class Slices:
    """The slices of one casting."""

    edges: np.ndarray  # m, one more than slices
    centres: np.ndarray  # m


def cut(lengths: Sequence[float], count: int) -> tuple[Slices, np.ndarray]:
    """Cut a slab of layers (m, from the bottom up) into `count` slices, and the layer of each slice.

    Every layer has whole slices.
    """
    total = sum(lengths)
    shares = np.array([max(4, round(count * length / total)) for length in lengths])
    shares[shares.argmax()] += count - shares.sum()
    steps = [np.full(share, length / share) for share, length in zip(shares, lengths, strict=True)]
    edges = np.concatenate([[0.0], np.cumsum(np.concatenate(steps))])
    return Slices(edges, 0.5 * (edges[1:] + edges[:-1])), np.repeat(np.arange(len(lengths)), shares)


def build(
    slices: Slices, resin: Resin, poured: np.ndarray, lower_face: Face | None, upper_face: Face | None
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """One casting while the slices marked in `poured` are in the mould, as parts for `stack`, one value per slice.

    Capacity, links to the next slice (the last is 0), links to air, heat of full cure, poured. The lowest slice comes first.
    A face is what is beyond an end, None for a middle plane. A slice not yet poured is kept apart.
    """
    n = slices.centres.size
    thickness = np.diff(slices.edges)
    capacity = resin.density * resin.heat_capacity * thickness
    heat = resin.density * resin.heat_of_cure * thickness * poured
    link, air = np.zeros(n), np.zeros(n)
    link[:-1] = resin.conductivity / np.diff(slices.centres) * (poured[1:] & poured[:-1])
    top = int(np.flatnonzero(poured)[-1])
    for face, slice_, edge in ((lower_face, 0, 0), (upper_face, top, top + 1)):
        if face is not None:
            half = abs(slices.edges[edge] - slices.centres[slice_]) / resin.conductivity
            air[slice_] += 1.0 / (half + face.mould_resistance + face.film_resistance)
    return capacity, link, air, heat, poured


def stack(parts: Sequence[tuple[np.ndarray, ...]]) -> Network:
    """Join the slices of many castings, each from `build`, into one `Network`."""
    capacity, link, air, heat, poured = (np.array(column) for column in zip(*parts, strict=True))
    before = np.zeros_like(link)
    before[:, 1:] = link[:, :-1]
    total = (before + link + air) / capacity
    return Network(before / capacity, link / capacity, air / capacity, total, heat / capacity, poured)

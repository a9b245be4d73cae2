"""A casting cut into slices: what each slice holds, passes on and loses.

Every casting becomes the same thing, a row of nodes: mould, resin slices, mould. A node has a heat
capacity, links to its two neighbours and perhaps a link to the air. Slabs, rods and balls differ
only in the area of their links, so one solver serves them all, and many castings at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from testpour.physics.casting import Face
    from testpour.physics.resin import Resin

SHAPES = {"slab": 0, "cylinder": 1, "sphere": 2}


@dataclass(frozen=True)
class Network:
    """Nodes and links of many castings; every array has shape (castings, nodes).

    Parameters
    ----------
    capacity : array
        Heat to warm a node by 1 K. J/(m2 K) for a slab, J/(m K) and J/K over 2 pi and 4 pi for a
        cylinder and a sphere.
    lower, upper, sink : array
        Links to the node before, the node after and the air, each over the node's capacity, 1/s.
    total : array
        Their sum, 1/s.
    heating : array
        Temperature rise of a node that cures fully and keeps its heat, K; 0 for mould.
    poured : array of bool
        True for resin that is in the mould.
    """

    capacity: np.ndarray
    lower: np.ndarray
    upper: np.ndarray
    sink: np.ndarray
    total: np.ndarray
    heating: np.ndarray
    poured: np.ndarray

    def take(self, rows: np.ndarray) -> Network:
        """The network of some of the castings.

        Parameters
        ----------
        rows : array, shape (some,)
            Numbers of the castings, or a mask of bool.

        Returns
        -------
        Network
        """
        return Network(*(getattr(self, name)[rows] for name in self.__dataclass_fields__))


@dataclass(frozen=True)
class Slices:
    """How one casting is cut: edges in m (n + 1), centres in m (n), area factor at edges, volume factor."""

    edges: np.ndarray
    centres: np.ndarray
    areas: np.ndarray
    volumes: np.ndarray


def cut(shape: str, length: float, count: int) -> Slices:
    """Cut `length` (m) into `count` slices, from the middle (or the lower face of a slab) outward.

    Parameters
    ----------
    shape : {"slab", "cylinder", "sphere"}
    length : float
        m: thickness of a slab, radius of the others.
    count : int
        Of slices.

    Returns
    -------
    Slices
    """
    power = SHAPES[shape]
    edges = np.linspace(0.0, length, count + 1)
    centres = 0.5 * (edges[1:] + edges[:-1])
    volumes = np.diff(edges ** (power + 1)) / (power + 1)
    return Slices(edges, centres, edges**power, volumes)


def cut_layers(lengths: Sequence[float], count: int) -> tuple[Slices, np.ndarray]:
    """Cut a slab of layers (m, from the bottom up) so that every layer has whole slices; the layer of each slice.

    Parameters
    ----------
    lengths : list of float
        m, from the bottom up.
    count : int
        Of slices in all.

    Returns
    -------
    tuple
        `Slices`, and an array of the layer's number for each slice.

    Raises
    ------
    ValueError
        If a layer would have fewer than two slices.
    """
    total = sum(lengths)
    shares = np.array([max(4, round(count * length / total)) for length in lengths])
    shares[shares.argmax()] += count - shares.sum()
    if shares.min() < 2:
        raise ValueError(
            f"{count} slices are too few for {len(lengths)} layers; ask for {6 * len(lengths)} or more."
        )
    steps = [np.full(share, length / share) for share, length in zip(shares, lengths, strict=True)]
    edges = np.concatenate([[0.0], np.cumsum(np.concatenate(steps))])
    owner = np.repeat(np.arange(len(lengths)), shares)
    return Slices(edges, 0.5 * (edges[1:] + edges[:-1]), np.ones_like(edges), np.diff(edges)), owner


def build(
    slices: Slices, resin: Resin, poured: np.ndarray, lower_face: Face | None, upper_face: Face | None
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """The nodes of one casting while the slices marked in `poured` are in the mould.

    Parameters
    ----------
    slices : Slices
    resin : Resin
    poured : array of bool, shape (slices,)
        The lowest slices first; a slice not yet poured is kept apart.
    lower_face, upper_face : Face or None
        What lies beyond each end; None for a middle plane, axis or centre.

    Returns
    -------
    tuple of arrays, each of shape (slices + 2,)
        capacity, links to the next node (the last is 0), links to air, heat of full cure, poured.
    """
    n = slices.centres.size
    capacity, link, air, heat = (np.zeros(n + 2) for _ in range(4))
    capacity[0], capacity[-1] = _stored(lower_face, slices.areas[0]), _stored(upper_face, slices.areas[-1])
    capacity[1:-1] = resin.density * resin.heat_capacity * slices.volumes
    heat[1:-1] = resin.density * resin.heat_of_cure * slices.volumes * poured
    between = resin.conductivity * slices.areas[1:-1] / np.diff(slices.centres)
    link[1:n] = between * (poured[1:] & poured[:-1])
    top = int(np.flatnonzero(poured)[-1]) + 1
    # A mould on top waits beside the casting until the last layer is in.
    cover = upper_face if top == n or upper_face is None else upper_face.bare()
    for face, node, edge in ((lower_face, 1, 0), (cover, top, top)):
        if face is not None:
            half = abs(slices.edges[edge] - slices.centres[node - 1]) / resin.conductivity
            _close(face, half, slices.areas[edge], node, edge == 0, (link, air))
    return capacity, link, air, heat, np.concatenate([[False], poured, [False]])


def _stored(face, area):
    """Heat capacity of the mould at a face; 1 where there is none, for a node that touches nothing."""
    return 1.0 if face is None or face.mould_capacity == 0.0 else area * face.mould_capacity


def _close(face, half, area, node, first, arrays):
    """Write one face into the arrays: straight to the air, or by way of a mould that stores heat."""
    link, air = arrays
    if face.mould_capacity == 0.0:
        air[node] += area / (half + face.mould_resistance + face.film_resistance)
        return
    mould = 0 if first else node + 1
    link[min(mould, node)] = area / (half + 0.5 * face.mould_resistance)
    air[mould] = area / (0.5 * face.mould_resistance + face.film_resistance)


def stack(parts: Sequence[tuple[np.ndarray, ...]]) -> Network:
    """Join the nodes of many castings into one `Network`.

    Parameters
    ----------
    parts : list of tuple of array
        One a casting: capacity, link, air, heat and poured of its nodes.

    Returns
    -------
    Network
    """
    capacity, link, air, heat, poured = (np.array(column) for column in zip(*parts, strict=True))
    before = np.zeros_like(link)
    before[:, 1:] = link[:, :-1]
    total = (before + link + air) / capacity
    return Network(
        capacity, before / capacity, link / capacity, air / capacity, total, heat / capacity, poured
    )

"""Two-level sets of pours: full, fractions with their aliases, and their split into sessions.

Every set is an array of coded settings, one row per pour. Factors are named by letters unless names are given.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import combinations, product
from math import comb

import numpy as np

LETTERS = "ABCDEFGHJKLMNOP"          # the letter I is kept for the identity
MOST = 200_000                       # choices of generators that are tried


def _full_factorial(k: int) -> np.ndarray:
    """Every combination of low (−1) and high (1) of `k` factors, standard order (first fastest)."""
    return np.array(list(product((-1.0, 1.0), repeat=k))).reshape(-1, k)[:, ::-1]


@dataclass(frozen=True, eq=False)
class FractionalSet:
    """A regular two-level fraction."""

    rows: np.ndarray = field(repr=False)  # coded settings, -1 and 1
    names: tuple[str, ...]
    relation: frozenset[frozenset[int]] = field(repr=False)  # its words, each of factor positions

    @property
    def resolution(self) -> int:
        """Length of the shortest word; one more than the number of factors for a full set."""
        return min((len(word) for word in self.relation), default=len(self.names) + 1)

    def aliases(self) -> tuple[str, ...]:
        """Groups of effects of one or two factors that share a column, such as ``"A+BC"``; those alone are left out."""
        effects = [frozenset(c) for size in (1, 2) for c in combinations(range(len(self.names)), size)]
        strings, seen = [], set()
        for effect in effects:
            mixed = {effect ^ word for word in self.relation}
            group = [other for other in effects if other in mixed]
            if effect not in seen and group:
                strings.append("+".join(_word_name(one, self.names) for one in (effect, *group)))
                seen.update(group)
        return tuple(strings)


def _word_name(word: Collection[int], names: Sequence[str]) -> str:
    """A product of factors in names: ``"AB"``, or ``"catalyst:cover"`` when names are longer than a letter."""
    joint = "" if all(len(name) == 1 for name in names) else ":"
    return joint.join(names[i] for i in sorted(word))


def fractional_factorial(k: int, generators: Sequence[str] = (), names: Sequence[str] | None = None) -> FractionalSet:
    """A two-level fraction from generators such as ``["D=AB", "E=AC"]``; full when there are none.

    The letters A, B, C ... are used in generators whatever the names. Box and Hunter (1961), Technometrics 3, 311-351.
    """
    base = k - len(generators)
    rows = np.ones((2**base, k))
    relation: set[frozenset[int]] = {frozenset()}
    rows[:, :base] = _full_factorial(base)
    for i, generator in enumerate(generators):
        word = frozenset(LETTERS.index(letter) for letter in generator.partition("=")[2])
        rows[:, base + i] = rows[:, sorted(word)].prod(axis=1)
        relation |= {known ^ word ^ {base + i} for known in relation}
    return FractionalSet(rows, tuple(names or LETTERS[:k]), frozenset(relation - {frozenset()}))


@lru_cache
def best_generators(k: int, base: int) -> tuple[str, ...]:
    """Generators of the minimum-aberration fraction of `k` factors in 2**base pours, such as ``("D=ABC",)``.

    Found by trying every choice of generators, if there are not too many, and keeping the one with fewest short words:
    the criterion of Fries and Hunter (1980), Technometrics 22, 601-608.
    """
    added = k - base
    products = [m for m in range(3, 2**base) if m.bit_count() > 1]
    if comb(len(products), added) > MOST:
        raise ValueError(f"{k} factors in {2**base} pours take too long a search.")
    products.sort(key=lambda m: (-m.bit_count(), m))
    chosen = min(combinations(products, added), key=lambda choice: _word_lengths(choice, base, k))
    chosen = tuple(sorted(chosen, key=lambda m: (m.bit_count(), [b for b in range(base) if m >> b & 1])))
    return tuple(f"{LETTERS[base + i]}=" + "".join(LETTERS[b] for b in range(base) if m >> b & 1) for i, m in enumerate(chosen))


def _word_lengths(choice, base, k):
    words = [0]
    for i, drawn in enumerate(choice):
        words += [word ^ (drawn | 1 << (base + i)) for word in words]
    sizes = [word.bit_count() for word in words[1:]]
    return tuple(sizes.count(size) for size in range(3, k + 1))


def block_two_level(fraction: FractionalSet, sessions: int) -> tuple[np.ndarray, tuple[str, ...]]:
    """Session number of each pour, splitting a two-level set into equal sessions without touching main effects.

    With it comes the shortest name of each effect that is given up to differences between sessions. A ValueError when
    every split would give up a main effect.
    """
    n, k = fraction.rows.shape
    if sessions < 2 or sessions & (sessions - 1) or sessions >= n:
        raise ValueError(f"{n} pours cannot be split evenly into {sessions} sessions.")
    groups = _effect_columns(fraction)
    best = None
    for choice in combinations(list(groups), sessions.bit_length() - 1):
        lost = _confounded(choice, fraction)
        shortest = None if lost is None else sorted(len(min(c, key=len)) for c in lost)
        if shortest and shortest[0] > 1 and (best is None or (shortest > best[0])):
            best = (shortest, choice, lost)
    if best is None:
        raise ValueError(f"{n} pours of {k} factors in {sessions} sessions give up a main effect.")
    numbers = sum((fraction.rows[:, sorted(word)].prod(axis=1) > 0).astype(int) << i for i, word in enumerate(best[1]))
    names = sorted((min(c, key=lambda w: (len(w), sorted(w))) for c in best[2]), key=lambda w: (len(w), sorted(w)))
    return numbers, tuple(_word_name(word, fraction.names) for word in names)


def _effect_columns(fraction):
    """One word per independent column other than the constant: the shortest name of each alias group."""
    k, seen, out = len(fraction.names), set(fraction.relation), []
    for size in range(1, k + 1):
        for choice in combinations(range(k), size):
            word = frozenset(choice)
            if word not in seen:
                out.append(word)
                seen |= {word} | {word ^ other for other in fraction.relation}
    return out


def _confounded(choice, fraction):
    """Alias groups equal to a product of the chosen columns; None when the choice is not independent."""
    products = [frozenset()]
    for word in choice:
        products += [known ^ word for known in products]
    groups = [{p} | {p ^ r for r in fraction.relation} for p in products[1:]]
    return None if any(frozenset() in group for group in groups) else groups

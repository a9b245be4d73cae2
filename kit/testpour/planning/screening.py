"""Screening sets from number theory: Hadamard and conference matrices built by Paley's construction."""

import numpy as np

# Paley (1933), J. Mathematics and Physics 12, 311-320: the quadratic character of a finite field.


def _character(q):
    """Quadratic character of a - b for all a, b of the field with q elements, shape (q, q), q odd."""
    p = next(d for d in range(3, q + 1) if q % d == 0)
    if q == p:
        squares = {x * x % q for x in range(1, q)}
        sign = np.array([0] + [1 if x in squares else -1 for x in range(1, q)])
        return sign[(np.arange(q)[:, None] - np.arange(q)) % q]
    if q != p * p or p % 4 != 3:
        raise ValueError(f"No field with {q} elements is built here: the order must be a prime, or the square "
                         "of a prime that leaves 3 when divided by 4.")
    a, b = np.divmod(np.arange(q), p)                       # a + bi with i^2 = -1
    squares = set(zip((a * a - b * b) % p, 2 * a * b % p, strict=True)) - {(0, 0)}
    da, db = (a[:, None] - a) % p, (b[:, None] - b) % p
    found = np.array([[1 if pair in squares else -1 for pair in zip(*row, strict=True)]
                      for row in zip(da, db, strict=True)])
    return np.where((da == 0) & (db == 0), 0, found)


def conference_matrix(order):
    """Square matrix C, 0 on the diagonal and -1 or 1 elsewhere, with C'C = (order - 1) I.

    Raises
    ------
    ValueError
        When order - 1 is not a field order covered here.
    """
    q = order - 1
    if order % 2 or q < 3:
        raise ValueError(f"A conference matrix has an even order from 4; {order} is not.")
    matrix = np.zeros((order, order), int)
    matrix[0, 1:] = 1
    matrix[1:, 0] = 1
    matrix[1:, 1:] = _character(q)
    if not np.array_equal(matrix.T @ matrix, q * np.eye(order, dtype=int)):
        raise ValueError(f"No conference matrix of order {order} is built here: try {order + 2}.")
    return matrix


def hadamard_matrix(order):
    """Square matrix of -1 and 1 with orthogonal columns; first column all ones, last row otherwise all -1.

    Cyclic (Paley) when order - 1 is a prime leaving 3 when divided by 4, else doubled (Sylvester).
    """
    if order <= 2:
        return np.array([[1.0, 1.0], [1.0, -1.0]])[:order, :order]
    q = order - 1
    if q % 4 == 3 and all(q % d for d in range(2, int(q**0.5) + 1)):
        sign = _character(q)[:, 0].astype(float)
        sign[0] = 1
        shifted = sign[(np.arange(q) - np.arange(q)[:, None]) % q]
        body = np.vstack([shifted, -np.ones(q)])
        return np.column_stack([np.ones(order), body])
    if order % 4 or order % 8 and order > 4:
        raise ValueError(f"No two-level screening set of {order} pours is built here: try {order + 4 - order % 4}.")
    half = hadamard_matrix(order // 2)
    return np.block([[half, half], [half, -half]])


def two_level_screening(k, runs=None):
    """Orthogonal two-level set for up to runs - 1 main effects, shape (runs, k).

    Parameters
    ----------
    k : int
        Factors.
    runs : int, optional
        8, 12, 16, 20, 24 ...; by default the smallest multiple of four above k.

    References
    ----------
    Plackett and Burman (1946), Biometrika 33, 305-325.
    """
    runs = runs or 4 * (k // 4 + 1)
    if k >= runs:
        raise ValueError(f"{runs} pours hold at most {runs - 1} factors: use {4 * (k // 4 + 1)} pours for {k}.")
    return hadamard_matrix(runs)[:, 1 : k + 1]


def three_level_screening(k, centres=1):
    """Three-level set whose main effects are clear of every two-factor interaction and square, 2k + 1 pours.

    Pairs of mirrored pours from a conference matrix, plus centre pours. When no matrix of order k is built here
    (odd k always), the next larger one is used and its spare columns are dropped.

    References
    ----------
    Jones and Nachtsheim (2011), J. Quality Technology 43, 1-15; Xiao, Lin and Bai (2012), ibid. 44, 2-8.
    """
    if k < 3:
        raise ValueError(f"A three-level screening set needs at least 3 factors; {k} given. Use a full factorial.")
    for order in range(k + k % 2, k + 12, 2):
        try:
            half = conference_matrix(order)[:, :k].astype(float)
        except ValueError:
            continue
        return np.vstack([np.stack([half, -half], axis=1).reshape(-1, k), np.zeros((centres, k))])
    raise ValueError(f"No three-level screening set for {k} factors is built here: drop some factors.")

"""A result as a sparse polynomial in the normal scores of its inputs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Sequence

FloatArray = NDArray[np.floating[Any]]

HIGHEST_DEGREE = 3
_MOST_TERMS = 40
_MOST_PARTNERS = 10
_SMALLEST_SPREAD = 1e-12


@dataclass(frozen=True, slots=True)
class Term:
    """Product of Hermite polynomials: degree by column of the inputs."""

    degrees: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class Fit:
    """A fitted polynomial.

    Attributes
    ----------
    terms
        Those kept; the constant is apart.
    constant
        Mean of the result.
    values
        Each term at the draws it was fitted to, centred, shape ``(n_draws, n_terms)``.
    weights
        Coefficient of each term.
    covariance
        Of the coefficients, shape ``(n_terms, n_terms)``.
    """

    terms: tuple[Term, ...]
    constant: float
    values: FloatArray
    weights: FloatArray
    covariance: FloatArray

    def at(self, known: FloatArray) -> FloatArray:
        """Return the expected result once data have been seen, over what the data may say.

        Parameters
        ----------
        known
            Share of the variance of each input's score that the data take away [-]; 1 for perfect
            knowledge, shape ``(n_inputs,)``.

        Notes
        -----
        The Gaussian approximation of Jalal and Alarid-Escudero (2018), Medical Decision Making
        38, 174-188: what is known beforehand is worth so many samples, the data so many more.
        For a Hermite polynomial of degree k the mean given the data is exact: the same polynomial
        times known^(k/2) (Mehler's formula).
        """
        return np.asarray(self.constant + self.values @ (self.weights * self.shrinkage(known)))

    def shrinkage(self, known: FloatArray) -> FloatArray:
        """Return the factor on each term, shape ``(n_terms,)``."""
        return np.array(
            [
                np.prod([known[column] ** (degree / 2) for column, degree in term.degrees])
                for term in self.terms
            ]
        )


def sparse_fit(scores: FloatArray, result: FloatArray) -> Fit:
    """Fit a result by few terms.

    Parameters
    ----------
    scores
        Standard normal, shape ``(n_draws, n_inputs)``.
    result
        Shape ``(n_draws,)``.

    Returns
    -------
    Fit
        Without terms where no input says anything about the result.

    Notes
    -----
    Nonparametric regression as Strong, Oakley and Brennan (2014), Medical Decision Making 34,
    311-326, ask for, here a polynomial chaos. Terms are added one by one, each the one nearest
    to what is left (orthogonal matching pursuit: Pati, Rezaiifar and Krishnaprasad 1993), as long
    as the extended Bayesian criterion of Chen and Chen (2008), Biometrika 95, 759-771, falls, so
    inputs without influence get no term. Products of two inputs are offered after single ones.
    """
    centred = result - result.mean()
    scale = float(np.abs(centred).max(initial=0.0))
    if scale <= _SMALLEST_SPREAD * (1 + abs(float(result.mean()))) or not scores.shape[1]:
        return _fit_of((), result, np.zeros((result.size, 0)))
    singles = [
        Term(((column, degree),))
        for degree in range(1, HIGHEST_DEGREE + 1)
        for column in range(scores.shape[1])
    ]
    values = _evaluate(scores, singles)
    chosen = _pursue(values, centred, [])
    partners = list(dict.fromkeys(singles[place].degrees[0][0] for place in chosen))
    partners = partners[:_MOST_PARTNERS]
    products = [
        Term(((one, 1), (other, 1))) if one < other else Term(((other, 1), (one, 1)))
        for place, one in enumerate(partners)
        for other in partners[place + 1 :]
    ]
    if products:
        values = np.hstack([values, _evaluate(scores, products)])
        chosen = _pursue(values, centred, chosen)
    terms = [*singles, *products]
    return _fit_of(tuple(terms[place] for place in chosen), result, values[:, chosen])


def _evaluate(scores: FloatArray, terms: Sequence[Term]) -> FloatArray:
    """Centred values of orthonormal Hermite terms, shape ``(n_draws, n_terms)``."""
    by_degree = {
        1: scores,
        2: (scores**2 - 1) / np.sqrt(2),
        3: (scores**3 - 3 * scores) / np.sqrt(6),
    }
    values = np.stack(
        [
            np.prod([by_degree[degree][:, column] for column, degree in term.degrees], axis=0)
            for term in terms
        ],
        axis=1,
    )
    return np.asarray(values - values.mean(axis=0))


def _pursue(values: FloatArray, centred: FloatArray, chosen: list[int]) -> list[int]:
    """Return the terms to keep, those chosen before first."""
    count = centred.size
    length = np.sqrt((values**2).sum(axis=0))
    usable = length > _SMALLEST_SPREAD * np.sqrt(count)
    directions = np.divide(values, length, out=np.zeros_like(values), where=usable)
    basis = np.zeros((count, 0))
    kept: list[int] = []
    rest = centred

    def add(place: int) -> bool:
        nonlocal basis, rest
        new = directions[:, place] - basis @ (basis.T @ directions[:, place])
        new -= basis @ (basis.T @ new)
        size = float(np.sqrt(new @ new))
        if size < 1e-6:
            return False
        new /= size
        basis = np.column_stack([basis, new])
        rest = rest - new * (new @ rest)
        kept.append(place)
        return True

    for place in chosen:
        add(place)
    price = np.log(count) + 2 * np.log(values.shape[1])
    floor = _SMALLEST_SPREAD**2 * float(centred @ centred)
    while len(kept) < min(_MOST_TERMS, count // 10):
        nearness = np.abs(directions.T @ rest)
        nearness[kept] = 0
        place = int(nearness.argmax())
        before, previous = float(rest @ rest), rest
        if before <= floor or not add(place):
            break
        after = max(float(rest @ rest), floor)
        if count * np.log(before / after) < price:
            kept.pop()
            rest = previous
            break
    return kept


def _fit_of(terms: tuple[Term, ...], result: FloatArray, values: FloatArray) -> Fit:
    centred = result - result.mean()
    if not terms:
        return Fit((), float(result.mean()), values, np.zeros(0), np.zeros((0, 0)))
    inverse = np.linalg.pinv(values.T @ values)
    weights = inverse @ (values.T @ centred)
    rest = centred - values @ weights
    noise = float(rest @ rest) / max(result.size - len(terms) - 1, 1)
    return Fit(terms, float(result.mean()), values, weights, noise * inverse)

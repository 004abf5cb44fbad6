"""Numbers from zero up of any magnitude: where floats would underflow, an exponent for each.

A float64 keeps nothing below 2**-1074, and the probability of hundreds of contradicting pieces of
evidence lies far below that. :class:`Magnitudes` stands in for an array there: it has the
operations of arrays that the engine uses, so that one set of formulas serves both.

It is needed rarely, and a total tells when. All factors of the engine are at most one, so whatever
underflows on the way was less than 2**-1022 and stays so; a total that is at least
:data:`LEAST` has lost nothing that a float could show.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import log2 as _log2
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from dating.arrays import Floats

LEAST = 2.0**-900
"""A total of products of factors up to one that is smaller may have lost something to underflow."""
_NOTHING = -1100
"""Powers of two this far below a number, and further, add nothing to it."""
_LN2_HIGH, _LN2_LOW = 0.693145751953125, 1.42860682030941723212e-6
"""The natural logarithm of two in two parts, so that its multiples lose no digits."""


class Magnitudes:
    """An array of numbers from zero up, each a number times a power of two.

    Parameters
    ----------
    number : array_like of float64
        From zero up.
    power : array_like of float64
        Whole numbers, of a shape that broadcasts to that of the numbers; zero unless given.

    Examples
    --------
    >>> tiny = Magnitudes(np.array([0.01, 0.02]))
    >>> for _ in range(9):
    ...     tiny = tiny * tiny
    >>> (tiny / tiny.sum()).tolist() == [2.0**-512, 1.0]
    True
    """

    __array_ufunc__ = None

    def __init__(self, number: Any, power: Any = 0.0) -> None:
        mantissa, shift = np.frexp(np.asarray(number, dtype=float))
        self.number: Floats = np.asarray(mantissa)
        self.power: Floats = np.where(self.number > 0, shift + power, -np.inf)

    @classmethod
    def exp(cls, logs: Floats) -> Magnitudes:
        """Give exp of natural logarithms.

        Parameters
        ----------
        logs : ndarray of float64
            Natural logarithms.

        Returns
        -------
        Magnitudes
            Of the same shape.

        Examples
        --------
        >>> ratio = Magnitudes.exp(np.array([-5e6])) / Magnitudes.exp(np.array([-5e6 - 1]))
        >>> ratio.round(9).tolist()
        [2.718281828]
        """
        power = np.floor(logs / (_LN2_HIGH + _LN2_LOW))
        return cls(np.exp(logs - power * _LN2_HIGH - power * _LN2_LOW), power)

    @property
    def shape(self) -> tuple[int, ...]:
        """Lengths of the axes."""
        return self.number.shape

    @property
    def T(self) -> Magnitudes:  # noqa: N802 (as arrays have it)
        """The transpose."""
        return self._each(np.transpose)

    def __len__(self) -> int:
        """Give the length of the first axis."""
        return len(self.number)

    def __bool__(self) -> bool:
        """Return whether a single number is above zero."""
        return bool(self.number > 0)

    def __ge__(self, limit: float) -> NDArray[np.bool_]:
        """Compare with a plain float, element by element."""
        return np.asarray(self.over(0.0) >= limit)

    def __getitem__(self, index: Any) -> Magnitudes:
        """Pick elements, as of an array."""
        return self._each(lambda array: array[index])

    def __mul__(self, other: Any) -> Magnitudes:
        """Multiply, element by element."""
        other = _as_magnitudes(other)
        return Magnitudes(self.number * other.number, self.power + other.power)

    def __rmul__(self, other: Any) -> Magnitudes:
        """Multiply, element by element."""
        return self.__mul__(other)

    def __add__(self, other: Any) -> Magnitudes:
        """Add, element by element."""
        other = _as_magnitudes(other)
        top = _finite(np.maximum(self.power, other.power))
        return Magnitudes(self.over(top) + other.over(top), top)

    def __truediv__(self, other: Magnitudes) -> Floats:
        """Divide, element by element: plain floats; what is divided by nought is nought."""
        power = np.clip(self.power - _finite(other.power), _NOTHING, 1023).astype(np.int32)
        quotient = self.number / np.where(other.number > 0, other.number, np.inf)
        return np.asarray(np.ldexp(quotient, power))

    def __rtruediv__(self, other: Any) -> Floats:
        """Divide plain floats, element by element, as above."""
        return _as_magnitudes(other) / self

    def __matmul__(self, other: Any) -> Magnitudes:
        """Multiply matrices."""
        return _contracted("ab,bc->ac", self, other)

    def __rmatmul__(self, other: Any) -> Magnitudes:
        """Multiply matrices, or a vector with a matrix."""
        if np.ndim(other) == 1:
            return _contracted("b,bc->c", other, self)
        return _contracted("ab,bc->ac", other, self)

    def sum(
        self, axis: int | tuple[int, ...] | None = None, *, keepdims: bool = False
    ) -> Magnitudes:
        """Sum over axes.

        Parameters
        ----------
        axis : int or tuple of int, optional
            The axes; all of them unless given.
        keepdims : bool
            Whether they stay, with length 1.

        Returns
        -------
        Magnitudes
            The sums.
        """
        top = _finite(self.power.max(axis=axis, keepdims=True))
        total = Magnitudes(np.sum(self.over(top), axis=axis, keepdims=True), top)
        return total if keepdims else total._each(lambda array: np.squeeze(array, axis))

    def log(self) -> Floats:
        """Give natural logarithms.

        Returns
        -------
        ndarray of float64
            Of the same shape; that of nought is -1e300.

        Examples
        --------
        >>> Magnitudes(np.array([1.0, 0.0])).log().tolist()
        [0.0, -1e+300]
        """
        number = np.where(self.number > 0, self.number, 1.0)
        logs = np.log(number) + self.power * (_LN2_HIGH + _LN2_LOW)
        return np.maximum(logs, -1e300)

    def reshape(self, *shape: int) -> Magnitudes:
        """Give another shape to the same numbers.

        Parameters
        ----------
        *shape : int
            As arrays take it.

        Returns
        -------
        Magnitudes
            The same numbers.
        """
        return self._each(lambda array: array.reshape(*shape))

    def over(self, power: Floats | float) -> Floats:
        """Divide by powers of two.

        Parameters
        ----------
        power : ndarray of float64, any shape, or float
            Powers of two not much less than the numbers.

        Returns
        -------
        ndarray of float64, of the same shape
            Plain floats; what is too small for them is zero.
        """
        shift = np.maximum(self.power - power, _NOTHING).astype(np.int32)
        return np.asarray(np.ldexp(self.number, shift))

    def __array_function__(
        self, func: Callable[..., Any], types: Any, args: Any, kwargs: Any
    ) -> Any:
        """Do what numpy's functions do, as far as the engine calls them."""
        if func is np.einsum:
            return _contracted(*args)
        if func is np.zeros_like:
            return np.zeros(self.shape)
        if func in {np.concatenate, np.stack}:
            parts = [_as_magnitudes(part) for part in args[0]]
            return _of_each(lambda arrays: func(arrays, *args[1:], **kwargs), parts)
        if func is np.broadcast_arrays:
            shape = np.broadcast_shapes(*(part.shape for part in args))
            return [np.broadcast_to(part, shape) for part in args]
        if func is np.broadcast_to:
            return self._each(lambda array: np.broadcast_to(array, *args[1:], **kwargs))
        return NotImplemented

    def _each(self, change: Callable[[Floats], Floats]) -> Magnitudes:
        """Move numbers and powers about in the same way."""
        return _of_each(lambda arrays: change(arrays[0]), [self])


def wide(array: Floats) -> Floats:
    """Let an array hold numbers of any magnitude.

    Parameters
    ----------
    array : ndarray of float64, any shape
        Numbers from zero up.

    Returns
    -------
    Magnitudes
        The same numbers; typed as the array that they stand in for.
    """
    return cast(Floats, _as_magnitudes(array))


def floats(*arrays: Floats) -> tuple[Floats, ...]:
    """Give plain floats, on a scale that arrays have in common.

    Parameters
    ----------
    *arrays : ndarray of float64, any shape, or Magnitudes
        Plain arrays, or numbers of any magnitude.

    Returns
    -------
    tuple of ndarray of float64, of the same shapes
        Plain arrays as they are. Where there is any other, all are divided by the same power of
        two, so that the largest number lies between one half and one.

    Examples
    --------
    >>> tiny = wide(np.array([2.0**-800, 2.0**-801]))
    >>> [array.tolist() for array in floats(tiny * tiny)]
    [[0.5, 0.125]]
    """
    if not any(isinstance(array, Magnitudes) for array in arrays):
        return arrays
    each = [_as_magnitudes(array) for array in arrays]
    top = float(_finite(np.asarray(max(part.power.max() for part in each))))
    return tuple(part.over(top) for part in each)


def ratio(first: Floats, second: Floats) -> Floats:
    """Divide; what is divided by nought is nought.

    Parameters
    ----------
    first, second : ndarray of float64, or Magnitudes
        Both of a kind, of shapes that broadcast.

    Returns
    -------
    ndarray of float64
        Plain floats.

    Examples
    --------
    >>> ratio(np.array([3.0, 0.0]), np.array([4.0, 0.0])).tolist()
    [0.75, 0.0]
    """
    if isinstance(first, Magnitudes):
        return cast(Any, first) / second
    shape = np.broadcast_shapes(first.shape, second.shape)
    return np.divide(first, second, out=np.zeros(shape), where=second > 0)


def log2(value: Any) -> float:
    """Give the binary logarithm of one number.

    Parameters
    ----------
    value : float or Magnitudes
        Above zero.

    Returns
    -------
    float
        However small the number is.

    Examples
    --------
    >>> tiny = Magnitudes(2.0**-800)
    >>> log2(tiny * tiny), log2(0.25)
    (-1600.0, -2.0)
    """
    if isinstance(value, Magnitudes):
        return _log2(float(value.number)) + float(value.power)
    return _log2(value)


def _as_magnitudes(array: Any) -> Magnitudes:
    return array if isinstance(array, Magnitudes) else Magnitudes(array)


def _of_each(change: Callable[[list[Floats]], Floats], parts: Sequence[Magnitudes]) -> Magnitudes:
    """Put numbers together as they are, without splitting off powers again."""
    moved = Magnitudes.__new__(Magnitudes)
    moved.number = np.asarray(change([part.number for part in parts]))
    moved.power = np.asarray(change([part.power for part in parts]))
    return moved


def _finite(power: Floats) -> Floats:
    """Take nought for the power of zero."""
    return np.where(np.isfinite(power), power, 0.0)


def _contracted(subscripts: str, first: Any, second: Any) -> Magnitudes:
    """Sum products of two arrays as ``numpy.einsum`` does, a row of what comes out at a time."""
    inputs, out = subscripts.split("->")
    one, two = inputs.split(",")
    letters = out + "".join(letter for letter in dict.fromkeys(one + two) if letter not in out)
    first, second = _aligned(first, one, letters), _aligned(second, two, letters)
    summed = tuple(range(len(out) - 1, len(letters) - 1))
    rows = [
        (first[min(row, len(first) - 1)] * second[min(row, len(second) - 1)]).sum(axis=summed)
        for row in range(max(len(first), len(second)))
    ]
    return _of_each(np.array, rows)


def _aligned(array: Any, letters: str, target: str) -> Magnitudes:
    """Put the axes of an array into another order; those it lacks have length 1."""
    order = [letters.index(letter) for letter in target if letter in letters]
    missing = tuple(place for place, letter in enumerate(target) if letter not in letters)
    return _as_magnitudes(array)._each(
        lambda part: np.expand_dims(np.transpose(part, order), missing)
    )

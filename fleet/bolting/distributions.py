"""The three distributions that uncertainty and reliability need, without a numerics library.

The regularised incomplete beta function by its continued fraction (DLMF 8.17.22, evaluated by the modified
Lentz method); quantiles by bisection, which is slow and cannot miss.
"""

import math
from collections.abc import Callable

_TINY = 1e-300
_STEPS = 10_000
_BISECTIONS = 200
# From here on Student's distribution is the normal one to eight figures, and its own formula, which takes one
# less a number next to one, loses them.
_AS_GOOD_AS_INFINITE = 1e8


def normal_below(value: float, mean: float = 0.0, standard_deviation: float = 1.0) -> float:
    """Give the probability that a normal variable lies below ``value``."""
    return 0.5 * math.erfc((mean - value) / (standard_deviation * math.sqrt(2)))


def beta_below(value: float, a: float, b: float) -> float:
    """Give the regularised incomplete beta function: the probability that Beta(a, b) lies below ``value``."""
    if value <= 0:
        return 0.0
    if value >= 1:
        return 1.0
    # The fraction converges fast on one side of the mean only; the other side is its mirror image.
    if value > (a + 1) / (a + b + 2):
        return 1.0 - beta_below(1 - value, b, a)
    log_front = math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b)
    log_front += a * math.log(value) + b * math.log1p(-value)
    return math.exp(log_front) / a * _beta_fraction(value, a, b)


def _beta_fraction(x: float, a: float, b: float) -> float:
    c, d = 1.0, 1.0 / _away_from_zero(1 - (a + b) * x / (a + 1))
    fraction = d
    for m in range(1, _STEPS):
        even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        change = 1.0
        for term in (even, odd):
            d = 1.0 / _away_from_zero(1 + term * d)
            c = _away_from_zero(1 + term / c)
            change = c * d
            fraction *= change
        if abs(change - 1) < 1e-15:  # noqa: PLR2004  The last digit of a float.
            break
    return fraction


def _away_from_zero(value: float) -> float:
    return value if abs(value) > _TINY else _TINY


def beta_quantile(probability: float, a: float, b: float) -> float:
    """Give the value below which Beta(a, b) lies with ``probability``."""
    return _bisect(lambda value: beta_below(value, a, b), probability, 0.0, 1.0)


def student_factor(confidence: float, degrees_of_freedom: float) -> float:
    """Give t so that ±t holds ``confidence`` of Student's distribution.

    The degrees of freedom need not be whole; when they are infinite, the distribution is the normal one.
    """
    if degrees_of_freedom > _AS_GOOD_AS_INFINITE:
        return _bisect(lambda t: 2 * normal_below(t) - 1, confidence, 0.0, 40.0)
    # With x = ν/(ν + t²), the probability outside ±t is the incomplete beta function at (ν/2, 1/2).
    x = beta_quantile(1 - confidence, degrees_of_freedom / 2, 0.5)
    return math.sqrt(degrees_of_freedom * (1 - x) / x)


def _bisect(rising: Callable[[float], float], wanted: float, low: float, high: float) -> float:
    for _ in range(_BISECTIONS):
        middle = (low + high) / 2
        if middle in {low, high}:
            break
        if rising(middle) < wanted:
            low = middle
        else:
            high = middle
    return (low + high) / 2

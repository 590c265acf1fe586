"""Where a rising function crosses zero: the one solver of this package, apart from its formulas."""

from collections.abc import Callable


def rising_root(
    function: Callable[[float], float], low: float, high: float, *, tolerance: float = 1e-10
) -> float:
    """The x in [low, high] where a continuous rising function is 0, by halving.

    An end is returned where the function has no change of sign up to it: the caller checks its
    own range first. Halving is slow and can't fail; a root costs about forty calls.
    """
    while high - low > tolerance:
        middle = (low + high) / 2.0
        if function(middle) < 0.0:
            low = middle
        else:
            high = middle
    return (low + high) / 2.0

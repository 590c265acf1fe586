"""How noisy a sensor's readings are, beyond what it is declared as. Mutable, but pure."""

from typing import Any


class Noise:
    """How much single readings scatter: learned from three neighbours each, so no trend counts.

    For independent readings the variance of a - 2 b + c is six times that of one. The memory is
    about fifty readings; a spike counts as two standard uncertainties at most, since each is seen
    three times: with one reading in twenty wild, what is learned is still half too much at most.
    """

    _MEMORY = 50
    _MOST = 4.0
    _MEAN_BELOW_MOST = 0.9205
    """The mean of min(z * z, 4) where z is normal: 1 - 0.2160 - 0.0455 + 4 * 0.0455 by erf."""

    def __init__(self, declared: float) -> None:
        self._declared = declared * declared
        self._variance = self._declared
        self._before: float | None = None
        self._last: float | None = None

    def add(self, value: float) -> None:
        """Take one value."""
        before, last = self._before, self._last
        self._before, self._last = last, value
        if before is None or last is None:
            return
        square = (before - 2 * last + value) ** 2 / 6
        most = self._MOST * self._variance
        if square > most:  # noqa: PLR1730 - min() costs a call with each reading
            square = most
        self._variance += (square / self._MEAN_BELOW_MOST - self._variance) / self._MEMORY

    @property
    def variance(self) -> float:
        """Of one reading: what the sensor's own is declared as, at least."""
        return max(self._declared, self._variance)

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [self._variance, self._before, self._last]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        self._variance, self._before, self._last = data

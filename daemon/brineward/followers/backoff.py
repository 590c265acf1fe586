"""How long to wait after failures: twice as long each time, up to a longest wait. Pure."""

_MOST_DOUBLINGS = 30  # beyond it every longest wait has been reached


def doubled_wait_seconds(failures: int, *, first_seconds: float, longest_seconds: float) -> float:
    """The wait after this many failures in a row, in s, before jitter; the first is failure 1."""
    doublings = min(max(failures - 1, 0), _MOST_DOUBLINGS)
    return min(first_seconds * 2.0**doublings, longest_seconds)

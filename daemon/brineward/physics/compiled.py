"""Plain functions of numbers, compiled to machine code: what a loop over a million values needs.

Needs numba, which the extra `science` brings; nothing that the service runs imports this.
"""

from collections.abc import Callable
from functools import cache
from types import FunctionType
from typing import Any, TypeVar, cast

from numba import njit

F = TypeVar("F", bound=Callable[..., Any])


def compiled(function: F) -> F:
    """The function, and the plain functions that it calls by name, compiled at its first call.

    So what is done one by one and what is done in an array are one text. Dividing by zero gives
    no error but infinity or no number, as in an array; a product and a sum may be rounded once
    instead of twice, which changes the last digit.
    """
    return cast("F", _twin(function))


@cache
def _twin(function: FunctionType) -> object:
    known = function.__globals__
    called = {
        name: _twin(known[name])
        for name in function.__code__.co_names
        if isinstance(known.get(name), FunctionType)
    }
    # Not kept on disk: numba would not notice that a coefficient in another file has changed.
    own = FunctionType(function.__code__, {**known, **called}, function.__name__)
    return cast("object", njit(error_model="numpy", fastmath={"contract"})(own))

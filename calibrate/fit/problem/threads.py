"""One thread for the linear algebra of a fit.

A fit is hundreds of small factors: more threads only get in each other's way, and one thread adds
in one order, so that the same readings give the same bytes.
"""

from __future__ import annotations

from contextlib import AbstractContextManager
from functools import cache
from typing import Any

from threadpoolctl import ThreadpoolController


@cache
def _libraries() -> ThreadpoolController:
    # Finding the libraries takes longer than to fit a tube.
    return ThreadpoolController()


def one_thread() -> AbstractContextManager[Any]:
    """Hold the linear algebra libraries to one thread, within a ``with``."""
    limited: AbstractContextManager[Any] = _libraries().limit(limits=1, user_api="blas")
    return limited

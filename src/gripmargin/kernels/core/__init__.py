"""Kernels in C, for those numpy functions in which most of the time goes; both give the same.

They are built with the package where there is a C compiler, and are not needed: without them, or with
``GRIPMARGIN_CORE=off`` in the environment, the numpy functions do the same work, more slowly. They are plain C99
functions ``int64_t name(const int64_t *sizes, void *const *arrays)`` of a library that has no part in Python: nothing
of it is imported, no reference is held, and each says what its arrays are.
"""

from __future__ import annotations

import ctypes
import os
from collections.abc import Callable, Sequence
from functools import lru_cache
from importlib.machinery import EXTENSION_SUFFIXES
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

INTERFACE = 3  # of the library that these sources build: another one is not used
KERNELS = (
    "follow",
    "press_on",
    "displaced_load",
    "answer",
    "corners",
    "marched",
    "fading_sum",
    "response",
    "straight_between",
    "tables_between",
)
SWITCH = "GRIPMARGIN_CORE"
KINDS = {np.dtype(kind) for kind in (np.float64, np.int64, np.bool_, np.complex128)}

Kernel = Callable[[Sequence[int], Sequence[NDArray[Any]], Sequence[NDArray[Any]]], int]


def kernel(name: str) -> Kernel | None:
    """Return a kernel, None where it was not built or is switched off.

    It takes sizes, arrays that it reads (copied where they are not contiguous) and arrays that it writes (contiguous),
    and returns a number.
    """
    loaded = None if os.environ.get(SWITCH, "").lower() in ("off", "0", "no", "false") else library()
    if loaded is None:
        return None
    function = loaded[name]

    def run(sizes: Sequence[int], given: Sequence[NDArray[Any]], made: Sequence[NDArray[Any]]) -> int:
        if not all(array.flags.carray for array in made):
            raise ValueError(f"kernel {name}: an array to write is not contiguous")
        arrays = [*(np.ascontiguousarray(array) for array in given), *made]
        if not {array.dtype for array in arrays} <= KINDS:
            raise TypeError(f"kernel {name}: {[array.dtype.name for array in arrays]}")
        addresses = (ctypes.c_void_p * len(arrays))(*(array.ctypes.data for array in arrays))
        return int(function((ctypes.c_int64 * len(sizes))(*sizes), addresses))

    return run


def built() -> Path | None:
    """Return the library that was built with the package."""
    places = (Path(__file__).with_name(f"_compiled{suffix}") for suffix in EXTENSION_SUFFIXES)
    return next((place for place in places if place.is_file()), None)


@lru_cache(maxsize=1)
def library() -> ctypes.CDLL | None:
    """Return the library, loaded, None where there is none of this machine and this interface."""
    place = built() if np.dtype(np.intp) == np.int64 else None  # indices of other machines are shorter
    try:
        loaded = None if place is None else ctypes.CDLL(str(place))
    except OSError:  # of another machine
        return None
    if loaded is None or loaded.interface() != INTERFACE:
        return None
    for name in KERNELS:
        loaded[name].restype = ctypes.c_int64
    return loaded

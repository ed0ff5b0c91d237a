"""Mitsuba with its variant chosen: on a GPU if there is one, otherwise on the CPU through LLVM.

``GRADER_RENDER_VARIANT`` overrides the choice, ``DRJIT_LIBLLVM_PATH`` the LLVM library (versions before 19 crash).
Everything that reaches a kernel as a number is made opaque first: a literal would be compiled into it, and each
picture would wait for its own kernels.
"""

from __future__ import annotations

import ctypes.util
import os
from typing import Any

_LLVM = ctypes.util.find_library("LLVM-19")
if _LLVM is not None:
    os.environ.setdefault("DRJIT_LIBLLVM_PATH", _LLVM)

import drjit as dr  # noqa: E402
import mitsuba as mi  # noqa: E402

_CHOSEN = os.environ.get("GRADER_RENDER_VARIANT") or (
    "cuda_ad_rgb" if dr.has_backend(dr.JitBackend.CUDA) else "llvm_ad_rgb"
)
mi.set_variant(_CHOSEN)
mi.set_log_level(mi.LogLevel.Error)

__all__ = ["dr", "kernel_float", "mi", "point", "vector", "whole"]


def kernel_float(value: float) -> Any:
    """A float that kernels read from memory."""
    return dr.opaque(mi.Float, float(value))


def whole(value: int) -> Any:
    """An unsigned integer that kernels read from memory."""
    return dr.opaque(mi.UInt32, int(value))


def vector(values: Any) -> Any:
    """A 3-vector that kernels read from memory."""
    return mi.Vector3f(*[kernel_float(v) for v in values])


def point(values: Any) -> Any:
    """A point that kernels read from memory."""
    return mi.Point3f(*[kernel_float(v) for v in values])

"""Kill a process at one chosen system call, SQLite's own among them. Linux only; nothing to install."""

from __future__ import annotations

import ctypes
import os
import signal
import sys
from collections.abc import Callable
from dataclasses import dataclass

_TRACEME, _SYSCALL, _SETOPTIONS = 0, 24, 0x4200
_SYSGOOD, _EXITKILL = 1, 0x100000
_AT_CALL = signal.SIGTRAP | 0x80


@dataclass(frozen=True)
class Ended:
    """How a traced process ended.

    Attributes:
        stops: beginnings and ends of system calls that it came to.
        killed: it was killed at the chosen one.
        code: its exit status where it was not.
    """

    stops: int
    killed: bool
    code: int


def run_until(work: Callable[[], int], stop: int | None) -> Ended:
    """Run ``work`` in a fork of this process, killed as it begins or ends its ``stop``-th system call.

    Args:
        work: gives the exit status.
        stop: counted from 1, where a call has two stops, before and after it is done; None never kills.
    """
    libc = ctypes.CDLL(None, use_errno=True)
    libc.ptrace.argtypes = (ctypes.c_long, ctypes.c_long, ctypes.c_void_p, ctypes.c_void_p)
    libc.ptrace.restype = ctypes.c_long

    child = os.fork()
    if child == 0:
        libc.ptrace(_TRACEME, 0, None, None)
        os.kill(os.getpid(), signal.SIGSTOP)
        forked(work)
    os.waitpid(child, 0)
    if libc.ptrace(_SETOPTIONS, child, None, _SYSGOOD | _EXITKILL):
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        raise OSError(ctypes.get_errno(), "this system allows no ptrace")
    seen, passed_on = 0, 0
    while True:
        libc.ptrace(_SYSCALL, child, None, passed_on)
        _, status = os.waitpid(child, 0)
        if os.WIFEXITED(status):
            return Ended(seen, killed=False, code=os.WEXITSTATUS(status))
        if os.WIFSIGNALED(status):
            return Ended(seen, killed=False, code=-os.WTERMSIG(status))
        passed_on = os.WSTOPSIG(status)
        if passed_on == _AT_CALL:
            passed_on = 0
            seen += 1
            if seen == stop:
                os.kill(child, signal.SIGKILL)
                os.waitpid(child, 0)
                return Ended(seen, killed=True, code=-signal.SIGKILL)


def forked(work: Callable[[], int]) -> None:
    """End this process, a fork, with what ``work`` gives; nothing of the parent's is cleaned up twice."""
    code = 70
    try:
        code = work()
    except BaseException as error:  # a fork must never go on as its parent
        sys.stderr.write(f"{type(error).__name__}: {error}\n")
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code)

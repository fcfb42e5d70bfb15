"""CVODE of SUNDIALS, spoken to directly, so that nothing but machine code runs inside its steps.

The library comes with the wheel of scikit-sundae; its sparse direct solver there is SuperLU_MT.
Every name below is one of the SUNDIALS 7 interface.
"""

from __future__ import annotations

import ctypes
from ctypes import POINTER, byref, c_double, c_int, c_long, c_void_p
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import numba
import numpy as np
import sksundae
from numba.core import types

from tests.bench.equations import Array, Equations, as_integers

BDF, NORMAL, COMPRESSED_COLUMNS = 2, 1, 0

ORDERINGS = {"natural": 0, "minimum degree of A'A": 1, "minimum degree of A'+A": 2, "colamd": 3}
"""How the sparse solver orders the unknowns; ours are numbered by minimum degree already."""


class CvodeError(RuntimeError):
    """CVODE gave up."""


class Effort(NamedTuple):
    """What a run took."""

    steps: int
    evaluations: int
    jacobians: int
    factorisations: int


class Cvode:
    """One integrator for equations, at one tolerance, from one state."""

    def __init__(
        self,
        equations: Equations,
        y: Array,
        rtol: float,
        *,
        max_order: int = 5,
        ordering: str = "natural",
    ) -> None:
        self._library = library = _library()
        self._equations = equations
        self.y = np.ascontiguousarray(y)
        tolerance = rtol * equations.problem.scale
        pattern = equations.problem
        size, entries = len(y), len(pattern.place)
        self._links = np.array(
            [equations.address, size, entries, pattern.indptr.ctypes.data,
             pattern.indices.ctypes.data], dtype=np.int64,
        )  # fmt: skip
        self._context = c_void_p()
        _fine(library.SUNContext_Create(0, byref(self._context)))
        context = self._context
        self._y = library.N_VMake_Serial(size, self.y.ctypes.data, context)
        self._tolerance = tolerance
        self._atol = library.N_VMake_Serial(size, tolerance.ctypes.data, context)
        self._memory = memory = c_void_p(library.CVodeCreate(BDF, context))
        rates, jacobian = _callbacks(equations)
        _fine(library.CVodeInit(memory, rates.address, 0.0, self._y))
        _fine(library.CVodeSVtolerances(memory, rtol, self._atol))
        self._matrix = library.SUNSparseMatrix(size, size, entries, COMPRESSED_COLUMNS, context)
        self._solver = library.SUNLinSol_SuperLUMT(self._y, self._matrix, 1, context)
        _fine(library.SUNLinSol_SuperLUMTSetOrdering(self._solver, ORDERINGS[ordering]))
        _fine(library.CVodeSetLinearSolver(memory, self._solver, self._matrix))
        _fine(library.CVodeSetJacFn(memory, jacobian.address))
        _fine(library.CVodeSetUserData(memory, self._links.ctypes.data))
        _fine(library.CVodeSetMaxOrd(memory, max_order))
        _fine(library.CVodeSetMaxNumSteps(memory, 10_000_000))
        _fine(library.SUNContext_ClearErrHandlers(context))
        self._done = Effort(0, 0, 0, 0)

    def restart(self, time: float) -> None:
        """Forgets the past: order one, a first step of its own choice."""
        self._done = self.effort
        _fine(self._library.CVodeReInit(self._memory, time, self._y))

    def stop_at(self, time: float) -> None:
        """Never evaluates beyond this time."""
        _fine(self._library.CVodeSetStopTime(self._memory, time))

    def advance(self, time: float) -> None:
        """Fills y with the state at a time."""
        reached = c_double()
        status = self._library.CVode(self._memory, time, self._y, byref(reached), NORMAL)
        if status < 0:
            raise CvodeError(f"CVODE stopped at {reached.value:.6f} s with status {status}")

    @property
    def effort(self) -> Effort:
        """What has been taken so far."""
        names = ("Steps", "RhsEvals", "JacEvals", "LinSolvSetups")
        found = []
        for name, done in zip(names, self._done, strict=True):
            count = c_long()
            _fine(getattr(self._library, f"CVodeGetNum{name}")(self._memory, byref(count)))
            found.append(done + count.value)
        return Effort(*found)

    def close(self) -> None:
        """Gives the memory back."""
        library = self._library
        library.CVodeFree(byref(self._memory))
        library.SUNLinSolFree(self._solver)
        library.SUNMatDestroy(self._matrix)
        library.N_VDestroy(self._y)
        library.N_VDestroy(self._atol)
        library.SUNContext_Free(byref(self._context))


def _fine(status: int) -> None:
    if status != 0:
        raise CvodeError(f"a call of SUNDIALS returned {status}")


@cache
def _library() -> Any:
    """The functions used, with their argument types."""
    folder = Path(sksundae.__file__).parents[1] / "scikit_sundae.libs"
    parts = [
        ctypes.CDLL(str(next(folder.glob(f"libsundials_{part}-*"))), mode=ctypes.RTLD_GLOBAL)
        for part in ("core", "nvecserial", "sunmatrixsparse", "sunlinsolsuperlumt", "cvode")
    ]
    size, at = c_int, c_void_p
    signatures: dict[str, tuple[Any, ...]] = {
        "SUNContext_Create": (c_int, c_int, at),
        "SUNContext_Free": (c_int, at),
        "SUNContext_ClearErrHandlers": (c_int, at),
        "N_VMake_Serial": (at, size, at, at),
        "N_VGetArrayPointer": (at, at),
        "N_VDestroy": (None, at),
        "SUNSparseMatrix": (at, size, size, size, c_int, at),
        "SUNSparseMatrix_Data": (at, at),
        "SUNSparseMatrix_IndexValues": (at, at),
        "SUNSparseMatrix_IndexPointers": (at, at),
        "SUNMatDestroy": (None, at),
        "SUNLinSol_SuperLUMT": (at, at, at, c_int, at),
        "SUNLinSol_SuperLUMTSetOrdering": (c_int, at, c_int),
        "SUNLinSolFree": (c_int, at),
        "CVodeCreate": (at, c_int, at),
        "CVodeInit": (c_int, at, at, c_double, at),
        "CVodeReInit": (c_int, at, c_double, at),
        "CVodeFree": (None, at),
        "CVodeSVtolerances": (c_int, at, c_double, at),
        "CVodeSetLinearSolver": (c_int, at, at, at),
        "CVodeSetJacFn": (c_int, at, at),
        "CVodeSetUserData": (c_int, at, at),
        "CVodeSetMaxOrd": (c_int, at, c_int),
        "CVodeSetMaxNumSteps": (c_int, at, c_long),
        "CVodeSetStopTime": (c_int, at, c_double),
        "CVode": (c_int, at, c_double, at, POINTER(c_double), c_int),
        "CVodeGetNumSteps": (c_int, at, POINTER(c_long)),
        "CVodeGetNumRhsEvals": (c_int, at, POINTER(c_long)),
        "CVodeGetNumJacEvals": (c_int, at, POINTER(c_long)),
        "CVodeGetNumLinSolvSetups": (c_int, at, POINTER(c_long)),
    }
    library = type("Library", (), {})()
    for name, (result, *arguments) in signatures.items():
        function = next(getattr(part, name) for part in parts if hasattr(part, name))
        function.restype, function.argtypes = result, arguments
        setattr(library, name, function)
    return library


@cache
def _compiled(machine: Any) -> tuple[Any, Any]:
    library = _library()
    rates_at, jacobian_at = machine.rates, machine.jacobian
    data_of = library.N_VGetArrayPointer
    values_of = library.SUNSparseMatrix_Data
    rows_of = library.SUNSparseMatrix_IndexValues
    starts_of = library.SUNSparseMatrix_IndexPointers
    at = types.voidptr

    @numba.cfunc(types.int32(types.float64, at, at, at))
    def rates(time, y, out, links_at):  # type: ignore[no-untyped-def]
        links = numba.carray(links_at, (5,), np.int64)
        y_at, out_at = types.intp(data_of(y)), types.intp(data_of(out))
        return 0 if rates_at(links[0], time, y_at, out_at, links[1]) else 1

    @numba.cfunc(types.int32(types.float64, at, at, at, at, at, at, at))
    def jacobian(time, y, rate, matrix, links_at, a, b, c):  # type: ignore[no-untyped-def]
        links = numba.carray(links_at, (5,), np.int64)
        size, entries = links[1], links[2]
        values = types.intp(values_of(matrix))
        if not jacobian_at(links[0], time, types.intp(data_of(y)), values, size):
            return 1
        starts = numba.carray(as_integers(types.intp(starts_of(matrix))), (size + 1,))
        rows = numba.carray(as_integers(types.intp(rows_of(matrix))), (entries,))
        starts[:] = numba.carray(as_integers(links[3]), (size + 1,))
        rows[:] = numba.carray(as_integers(links[4]), (entries,))
        return 0

    return rates, jacobian


def _callbacks(equations: Equations) -> tuple[Any, Any]:
    return _compiled(equations.machine)

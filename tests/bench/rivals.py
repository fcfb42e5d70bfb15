"""Other solvers for the same stretches, one function each.

A rival integrates from stretch to stretch, whose ends it is given, and fills the states on a grid
of times. An empty grid is the timed run: nothing but the integration.
"""

from __future__ import annotations

from collections.abc import Callable
from time import process_time
from typing import NamedTuple

import numpy as np
from scipy.integrate import solve_ivp
from scipy.sparse import csc_matrix

from tests.bench.cvode import Cvode, CvodeError
from tests.bench.equations import SHORTEST, Array, Equations


class TooSlowError(Exception):
    """A run was given up because it took longer than allowed."""


class FailedError(Exception):
    """A solver could not go on."""


class Run(NamedTuple):
    """What a rival delivered."""

    states: Array
    """(grid, main)"""
    seconds: float
    """Processor time."""
    steps: int
    evaluations: int


Rival = Callable[[Equations, float, Array, float], Run]
"""(equations, relative tolerance, grid of times, seconds allowed) -> what it delivered."""


def cvode(*, restart: bool, max_order: int = 5) -> Rival:
    """CVODE, BDF with a sparse direct solver.

    At an event it restarts at order one, or goes on with what it remembers: a spool bends the
    rates only, it does not make them jump.
    """

    def run(equations: Equations, rtol: float, grid: Array, allowed: float) -> Run:
        stretches = equations.problem.stretches
        states = np.zeros((len(grid), equations.size))
        equations.enter(0)
        solver = Cvode(equations, equations.problem.start.copy(), rtol, max_order=max_order)
        begun = process_time()
        done = 0
        try:
            for number, stretch in enumerate(stretches):
                equations.enter(number)
                if restart and number:
                    solver.restart(stretch.start)
                solver.stop_at(stretch.end)
                while done < len(grid) and grid[done] < stretch.end:
                    if grid[done] > stretch.start + SHORTEST:
                        solver.advance(grid[done])
                    states[done] = solver.y
                    done += 1
                solver.advance(stretch.end)
                if process_time() - begun > allowed:
                    raise TooSlowError
            states[done:] = solver.y
            seconds = process_time() - begun
            effort = solver.effort
        except CvodeError as reason:
            raise FailedError(str(reason)) from reason
        finally:
            solver.close()
        return Run(states, seconds, effort.steps, effort.evaluations)

    return run


def scipy_solver(method: str) -> Rival:
    """A solver of scipy: "BDF" and "Radau" with sparse Jacobians, "LSODA" with dense ones."""

    def run(equations: Equations, rtol: float, grid: Array, allowed: float) -> Run:
        problem = equations.problem
        shape = (equations.size, equations.size)
        states = np.zeros((len(grid), equations.size))
        begun = process_time()

        def rates(time: float, y: Array) -> Array:
            if process_time() - begun > allowed:
                raise TooSlowError
            return equations.rates(time, y)

        def jacobian(time: float, y: Array) -> Array | csc_matrix:
            entries = equations.entries(time, y)
            sparse = csc_matrix((entries, problem.indices, problem.indptr), shape=shape)
            return sparse.toarray() if method == "LSODA" else sparse

        y = problem.start
        steps = evaluations = 0
        for number, stretch in enumerate(problem.stretches):
            equations.enter(number)
            inside = (grid >= stretch.start) & (grid < stretch.end)
            wanted = np.append(grid[inside], stretch.end)
            found = solve_ivp(
                rates, (stretch.start, stretch.end), y, method, wanted if len(grid) else None,
                jac=jacobian, rtol=rtol, atol=rtol * problem.scale,
            )  # fmt: skip
            y = found.y[:, -1]
            if not found.success or not np.isfinite(y).all():
                raise FailedError(f"stopped in the stretch from {stretch.start:g} s")
            states[inside] = found.y[:, :-1].T if len(grid) else 0.0
            steps += len(found.t) - 1
            evaluations += found.nfev
        states[grid >= problem.stretches[-1].end] = y
        return Run(states, process_time() - begun, steps, evaluations)

    return run

"""Global search, then local: differential evolution on the weighted score, least squares from its best points.

Several points are led downhill by Levenberg-Marquardt steps, the best of them to its end by SciPy. They are the
best that lie apart among all points that were ever scored, not only the last population, which has often
gathered in one valley (after Rinnooy Kan & Timmer, Stochastic global optimization methods, 1987).

Sources: Storn & Price, Differential evolution, 1997, and trust-region reflective least squares of Branch,
Coleman & Li 1999, both as in SciPy; each population and each Jacobian is one compiled batch.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import OptimizeResult, differential_evolution, least_squares

from frame2d.fitting.problem import Problem
from frame2d.kernels import compiled

#: Residual that stands for a law without an answer, in multiples of those at the start of the local search.
_FAR = 1e3
#: Share of a range by which two starts of the local search differ at least in one parameter (own rule).
APART = 0.15


@dataclass(frozen=True)
class Effort:
    """How long to search: population per parameter, generations, and how many points are refined.

    While the best is doubtful (what is left over is correlated, and the refined points do not agree), up to `doubt`
    times as many points are refined, and then all is done `again` from another random population.
    """

    population: int = 6
    generations: int = 120
    starts: int = 4
    iterations: int = 60
    doubt: int = 4
    again: int = 1


def explore(
    problem: Problem, start: np.ndarray, effort: Effort, rng: np.random.Generator, bar: object
) -> np.ndarray:
    """Every point that differential evolution scored, best first; half of the first ones lie around `start`."""
    n = problem.size
    count = max(24, effort.population * n)
    first = rng.random((count, n))
    around = count // 2
    first[:around] = np.clip(start + 0.15 * rng.normal(size=(around, n)), 0.0, 1.0)
    first[0] = start
    points: list[np.ndarray] = []
    values: list[np.ndarray] = []

    def score(x: np.ndarray) -> np.ndarray:
        points.append(np.array(np.atleast_2d(x.T)))
        values.append(np.minimum(problem.scores(points[-1]), 1e6))
        return values[-1]

    def after(intermediate_result: OptimizeResult) -> None:
        bar.set_postfix_str(f"score {problem.best[0]:.4g}")  # type: ignore[attr-defined]
        bar.update()  # type: ignore[attr-defined]

    differential_evolution(
        score,
        [(0.0, 1.0)] * n,
        maxiter=effort.generations,
        init=first,
        mutation=(0.5, 0.9),
        recombination=0.8,
        tol=0.005,
        polish=False,
        vectorized=True,
        updating="deferred",
        seed=rng,
        callback=after,
    )
    return np.concatenate(points)[np.argsort(np.concatenate(values), kind="stable")]


def distinct(points: np.ndarray, count: int, apart: float = APART) -> list[np.ndarray]:
    """Up to `count` of `points` (best first) that differ by `apart` in some coordinate."""
    kept = [points[0]]
    distance = np.max(np.abs(points - points[0]), axis=1)
    while len(kept) < count and np.any(far := distance > apart):
        kept.append(points[int(np.argmax(far))])
        distance = np.minimum(distance, np.max(np.abs(points - kept[-1]), axis=1))
    return kept


@compiled
def products(J, r, normal, gradient):  # type: ignore[no-untyped-def]
    """JᵀJ and Jᵀr of a Jacobian given by rows, one a parameter; in one thread, beside which others may run."""
    n, size = J.shape
    for i in range(n):
        for k in range(i + 1):
            total = 0.0
            for at in range(size):
                total += J[i, at] * J[k, at]
            normal[i, k] = normal[k, i] = total
        total = 0.0
        for at in range(size):
            total += J[i, at] * r[at]
        gradient[i] = total


def normal_equations(J: np.ndarray, r: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """JᵀJ and Jᵀr of a Jacobian given by rows."""
    normal, gradient = np.zeros((len(J), len(J))), np.zeros(len(J))
    products(np.ascontiguousarray(J), np.ascontiguousarray(r), normal, gradient)
    return normal, gradient


class Misfit:
    """Residuals and Jacobian of the local search, both from compiled batches.

    `likelihood`: (F − Fₘ)/σ of every sample, σ of each test; else the blocks of the weighted score.
    """

    def __init__(self, problem: Problem, sigmas: np.ndarray, likelihood: bool) -> None:
        self.problem, self.sigmas, self.likelihood = problem, sigmas, likelihood
        self.steps = np.full(problem.size, 1e-5)
        self.far = _FAR

    def rows(self, X: np.ndarray) -> np.ndarray:
        """Residuals, one row a row of X; not finite where there is no answer."""
        parts = []
        for (_, target), computed, sigma in zip(
            self.problem.tests, self.problem.outputs(X), self.sigmas, strict=True
        ):
            if self.likelihood:
                parts.append((computed - target.force) / sigma)
            else:
                parts.append(target.blocks(computed, self.problem.weights))
        return np.concatenate(parts, axis=1)

    def __call__(self, x: np.ndarray) -> np.ndarray:
        r = self.rows(x[None, :])[0]
        return r if np.all(np.isfinite(r)) else np.full_like(r, self.far)

    def jacobian(self, x: np.ndarray, central: bool = False) -> np.ndarray:
        """Derivatives, a row a parameter: differences forward (or central), turned inwards at the bounds."""
        n = x.size
        inward = np.where(x + self.steps <= 1.0, 1.0, -1.0) * self.steps
        back = np.where((x - inward >= 0.0) & (x - inward <= 1.0), -inward, 0.0) if central else np.zeros(n)
        X = np.concatenate(
            [x[None, :], x + np.diag(inward), x + np.diag(back)]
            if central
            else [x[None, :], x + np.diag(inward)]
        )
        r = self.rows(X)
        base = r[0]
        ahead, behind = r[1 : n + 1], r[n + 1 :] if central else np.broadcast_to(base, (n, base.size))
        width = inward - back
        J = (ahead - behind) / width[:, None]
        for j in np.flatnonzero(~np.isfinite(J).all(axis=1)):
            for step in (-inward[j], inward[j]):
                moved = x.copy()
                moved[j] += step
                if 0.0 <= moved[j] <= 1.0 and np.isfinite(other := self.rows(moved[None, :])[0]).all():
                    J[j] = (other - base) / step
                    break
            else:
                J[j] = 0.0
        return J


def refine(misfit: Misfit, x: np.ndarray, iterations: int) -> tuple[float, np.ndarray]:
    """Local minimum from x: sum of squares and coordinates."""
    x = np.clip(x, 1e-9, 1.0 - 1e-9)
    first = misfit(x)
    misfit.far = _FAR * (float(np.sqrt(np.mean(first**2))) + 1e-300)
    found = least_squares(
        misfit,
        x,
        jac=lambda at: misfit.jacobian(at).T,
        bounds=(0.0, 1.0),
        method="trf",
        x_scale="jac",
        tr_solver="lsmr",  # no threaded factorisation, which waits where processors are shared
        ftol=1e-10,
        xtol=1e-9,
        gtol=1e-10,
        max_nfev=iterations,
    )
    return 2.0 * float(found.cost), np.asarray(found.x)


def settle(
    misfit: Misfit, x: np.ndarray, tolerance: float, iterations: int, held: int | None = None
) -> tuple[float, np.ndarray]:
    """Least sum of squares, and where: Levenberg-Marquardt on the normal equations (Marquardt 1963).

    Coordinates that press against a bound are left out of a step, and so is `held`. Ends when a step gains less
    than `tolerance`.
    """
    r = misfit(x)
    cost = float(r @ r)
    damping = 1e-3
    for _ in range(iterations):
        normal, gradient = normal_equations(misfit.jacobian(x), r)
        free = ~(((x <= 0.0) & (gradient > 0.0)) | ((x >= 1.0) & (gradient < 0.0)))
        if held is not None:
            free[held] = False
        if not free.any():
            break
        normal, gradient = normal[np.ix_(free, free)], gradient[free]
        size = np.diag(normal)
        size = np.diag(np.maximum(size, 1e-12 * float(np.max(size)) + 1e-300))
        gained = 0.0
        for _ in range(5):
            step = np.linalg.solve(normal + damping * size, -gradient)
            ahead = x.copy()
            ahead[free] = np.clip(x[free] + step, 0.0, 1.0)
            tried = misfit(ahead)
            gained = cost - float(tried @ tried)
            if gained > 0.0:
                x, r, cost, damping = ahead, tried, cost - gained, damping / 10.0
                break
            damping *= 10.0
        if gained < tolerance:
            break
    return cost, x

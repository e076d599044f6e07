"""The speed frame stepped by vectorised numpy: the same algorithm as the engine, written again over arrays of members.

Generalized-alpha with Newton's method: columns (P-Delta) and hinges (Bouc-Wen by the trapezoidal rule in sub-steps) are
evaluated as arrays, the tangent is assembled by one matrix product, and LAPACK's Cholesky solves it. It shares with the
engine the constant matrices and the section properties, and nothing that it computes with.
"""

from typing import Any

import numpy as np
from scipy.linalg.lapack import dposv

from frame2d.analysis.schemes import chung_hulbert


class Twin:
    """The frame as dense matrices and arrays of columns and hinges, ready to step."""

    def __init__(self, system: Any, standing: Any, damping: Any) -> None:
        self.M, self.K, self.C = system.mass.toarray(), system.stiffness.toarray(), damping.toarray()
        places = system.parts
        gather = (system.gather_all @ system.free).toarray()
        columns = [place for place in places if place.part.law is None]
        hinges = [place for place in places if place.part.law is not None]
        self.G6 = np.array([gather[place.first : place.last] for place in columns])
        self.Gh = np.array([gather[place.first] for place in hinges])
        self.col = np.array([place.part.parameters[:8] for place in columns]).T
        law = hinges[0].part.law
        self.law = law
        self.per_uy, self.elastic, self.hysteretic = law.k / law.Fy, law.a * law.k, (1.0 - law.a) * law.Fy
        self.longest = law._substep
        motion = standing.copy_motion()
        first = [system.memory_at[place.number] for place in hinges]
        self.z = np.array([motion.m0[k + 1] for k in first])
        self.u = np.array([motion.m0[k + 3] for k in first])
        self.q, self.f = motion.q, motion.f
        self.v = np.zeros_like(self.q)
        self.inertial = system.plan.inertial > 0.0
        self.scale = system.plan.scale
        self.iterations = 0

    def columns(self, q: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Forces and tangents of all columns in their six freedoms (equations of `frame2d.elements.beam_kernels`)."""
        L, cx, cy, EAL, kii, kij, gii, gij = self.col
        d = self.G6 @ q
        du, dv = d[:, 3] - d[:, 0], d[:, 4] - d[:, 1]
        psi = (cx * dv - cy * du) / L
        ti, tj = d[:, 2] - psi, d[:, 5] - psi
        bi, bj = gii * ti + gij * tj, gij * ti + gii * tj
        N = EAL * (cx * du + cy * dv + 0.5 * psi * psi * L + 0.5 * (bi * ti + bj * tj))
        Mi, Mj = kii * ti + kij * tj + N * bi, kij * ti + kii * tj + N * bj
        # Rows: elongation with the shortening by bending, then the two end rotations against the chord.
        B = np.zeros((len(L), 3, 6))
        zx, zy = -cy / L, cx / L  # dψ/d(du), dψ/d(dv)
        ex, ey = cx - psi * cy, cy + psi * cx
        share = bi + bj
        B[:, 0, 3], B[:, 0, 4] = ex - share * zx, ey - share * zy
        B[:, 0, 0], B[:, 0, 1] = -B[:, 0, 3], -B[:, 0, 4]
        B[:, 0, 2], B[:, 0, 5] = bi, bj
        for row in (1, 2):
            B[:, row, 3], B[:, row, 4], B[:, row, 0], B[:, row, 1] = -zx, -zy, zx, zy
        B[:, 1, 2], B[:, 2, 5] = 1.0, 1.0
        # Moments without the part of N, which the first row carries.
        force = np.stack([N, Mi - N * bi, Mj - N * bj], axis=1)
        f = np.einsum("eba,eb->ea", B, force)
        D = np.zeros((len(L), 3, 3))
        D[:, 0, 0] = EAL
        D[:, 1, 1] = D[:, 2, 2] = kii + N * gii
        D[:, 1, 2] = D[:, 2, 1] = kij + N * gij
        k = B.transpose(0, 2, 1) @ D @ B
        string = N / L
        z = np.stack([cy, -cx, 0.0 * cx, -cy, cx, 0.0 * cx], axis=1)
        k += string[:, None, None] * z[:, :, None] * z[:, None, :]
        return f, k

    def hinges(self, u: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Moments, tangents and z of all hinges at trial rotations `u`: dw/d|x| = 1 − ψ·w², ψ = 1 loading, 0 unloading."""
        dx = (u - self.u) * self.per_uy
        s = np.where(dx >= 0.0, 1.0, -1.0)
        rest = np.abs(dx)
        w = s * self.z
        load, unload = self.law._gamma + self.law.beta, self.law._gamma - self.law.beta
        slope = 1.0 - unload * w * w
        while True:
            h = np.minimum(rest, self.longest)
            active = h > 0.0
            if not active.any():
                break
            G0 = 1.0 - np.where(w > 0.0, load, unload) * w * w
            B = w + 0.5 * h * (G0 + 1.0)
            psi = np.where(B > 0.0, load, unload)
            side = np.where(B > 0.0, 1.0, -1.0)
            steep = np.sqrt(1.0 + 2.0 * h * psi * side * np.abs(B))
            y = 2.0 * np.abs(B) / (1.0 + steep)
            slope = np.where(active, 0.5 * (G0 + 1.0 - psi * y * y) / steep, slope)
            w = np.where(active, side * y, w)
            rest = rest - h
        z = s * w
        return (
            self.elastic * u + self.hysteretic * z,
            self.elastic + self.hysteretic * self.per_uy * slope,
            z,
        )

    def forces(self, q: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """Internal force of columns and hinges, then what the tangent and the commit need."""
        f6, k6 = self.columns(q)
        u = self.Gh @ q
        moment, stiffness, z = self.hinges(u)
        return np.einsum("eba,eb->a", self.G6, f6) + moment @ self.Gh, k6, stiffness, u, z

    def run(self, load: np.ndarray, dt: float, tolerance: float) -> np.ndarray:
        """Displacements at all rows of `load` (free freedoms); residual `tolerance` in N."""
        scheme = chung_hulbert(0.8)
        am, af, gamma, beta = scheme.alpha_m, scheme.alpha_f, scheme.gamma, scheme.beta
        weight, cv, ca = 1.0 - af, gamma / (beta * dt), 1.0 / (beta * dt * dt)
        effective = weight * (self.K + cv * self.C) + (1.0 - am) * ca * self.M
        q, v, f, some = self.q.copy(), self.v.copy(), self.f.copy(), self.inertial
        a = np.zeros_like(q)
        a[some] = (load[0] - f - self.C @ v)[some] / np.diag(self.M)[some]
        dq = np.zeros_like(q)
        out = np.zeros_like(load)
        out[0] = q
        for step in range(1, len(load)):
            qp = q + dt * v + np.where(some, dt * dt * (0.5 - beta) * a, 0.0)
            vp = v + np.where(some, dt * (1.0 - gamma) * a, 0.0)
            new = np.where(some, qp + beta * dt * dt * a, q + dq)
            g = self.M @ ((1.0 - am) * ca * qp - am * a) + self.C @ (weight * (cv * qp - vp) - af * v)
            g += weight * load[step] + af * (load[step - 1] - f)
            for _ in range(20):
                parts, k6, kh, u, z = self.forces(new)
                r = g - effective @ new - weight * parts
                if np.max(np.abs(r) * self.scale) <= tolerance:
                    break
                tangent = effective + weight * (
                    np.tensordot(self.G6, k6 @ self.G6, ((0, 1), (0, 1))) + (self.Gh.T * kh) @ self.Gh
                )
                new = new + dposv(tangent, r)[1]
                self.iterations += 1
            else:
                raise RuntimeError(f"no equilibrium in step {step}")
            v = vp + cv * (new - qp)
            a = np.where(some, (new - qp) * ca, 0.0)
            dq, q, f = new - q, new, self.K @ new + parts
            self.u, self.z = u, z
            out[step] = q
        return out

"""Elastic beam between two points with second-order effects, in three kinematics.

Natural deformations: elongation e and the end rotations θi, θj against the chord.

    N = EA/L·(e + ½·(gii·θi² + 2gij·θiθj + gjj·θj²)),  Mi = kii·θi + kij·θj + N·(gii·θi + gij·θj)

The quadratic terms are the shortening by bending (½∫v′²dx of the beam's own shape functions), so that N, Mi, Mj derive
from one energy and the tangent is symmetric. P-Delta: e = Δu + ½ψ²L, ψ = Δv/L on the straight member's axes
(second-order theory, Timoshenko & Gere 1961). Corotational: the exact chord (Crisfield 1991, ch. 7).
Shear flexibility: Φ = 12EI/(G·As·L²) (Przemieniecki 1968, ch. 5).
"""

import math
from typing import Any

import numpy as np

from frame2d.kernels import OK, OUT_OF_RANGE, compiled, member_kernel


@compiled
def natural(EAL, kii, kij, gii, gij, stretch, ti, tj, q):
    """Forces q = N, Mi, Mj and, in q[3:9], the slopes bi, bj of the shortening and the rotational stiffnesses."""
    bi = gii * ti + gij * tj
    bj = gij * ti + gii * tj
    N = EAL * (stretch + 0.5 * (bi * ti + bj * tj))
    q[0] = N
    q[1] = kii * ti + kij * tj + N * bi
    q[2] = kij * ti + kii * tj + N * bj
    q[3] = bi
    q[4] = bj
    q[5] = kii + N * gii
    q[6] = kij + N * gij
    q[7] = 0.5 * (kii * (ti * ti + tj * tj) + 2.0 * kij * ti * tj + N * N / EAL)


@compiled
def mirror(k):
    """Fill the 6×6 stiffness from its independent entries (translation differences)."""
    k[6] = k[1]
    k[3], k[4] = -k[0], -k[1]
    k[9], k[10] = -k[1], -k[7]
    k[12], k[13] = k[2], k[8]
    k[15], k[16] = -k[2], -k[8]
    k[18], k[19], k[20], k[21], k[22], k[23] = k[3], k[9], k[15], k[0], k[1], -k[5]
    k[24], k[25], k[26], k[27], k[28], k[29] = k[4], k[10], k[16], k[1], k[7], -k[11]
    k[30], k[31], k[32], k[33], k[34] = k[5], k[11], k[17], -k[5], -k[11]


@member_kernel
def p_delta(
    p: Any, m0: Any, d: Any, w: Any, dt: float, c: float, scratch: Any, f: Any, k: Any, e: Any, m1: Any
) -> int:
    """Second-order beam on the axes of the straight member; p = L, cos, sin, EA/L, kii, kij, gii, gij."""
    L, cx, cy = p[0], p[1], p[2]
    du, dv = d[3] - d[0], d[4] - d[1]
    psi = (cx * dv - cy * du) / L
    stretch = cx * du + cy * dv + 0.5 * psi * psi * L
    natural(p[3], p[4], p[5], p[6], p[7], stretch, d[2] - psi, d[5] - psi, scratch)
    # The elongation turns with ψ: its direction is r + ψ·z, and N/L·zzᵀ is the stiffness of the string.
    scratch[10], scratch[11] = cx - psi * cy, cy + psi * cx
    chord(p[3], cx, cy, scratch, L, f, k)
    string = scratch[0] / L
    k[0] += string * cy * cy
    k[1] -= string * cy * cx
    k[7] += string * cx * cx
    mirror(k)
    e[0] = scratch[7]
    return OK


@compiled
def chord(EAL, cx, cy, q, L, f, k):
    """Forces and independent entries of the material stiffness in six freedoms.

    (cx, cy) is the chord that divides the rotations, (q[10], q[11]) the direction of the elongation.
    """
    N, Mi, Mj, bi, bj = q[0], q[1], q[2], q[3], q[4]
    V = (Mi + Mj) / L
    f[0] = -q[10] * N - cy * V
    f[1] = -q[11] * N + cx * V
    f[2] = Mi
    f[3] = -f[0]
    f[4] = -f[1]
    f[5] = Mj
    kii, kij = q[5], q[6]
    sum_b = (bi + bj) / L
    h0 = -q[10] - cy * sum_b
    h1 = -q[11] + cx * sum_b
    t0, t1 = -cy / L, cx / L
    both = 2.0 * (kii + kij)
    one = kii + kij
    k[0] = EAL * h0 * h0 + both * t0 * t0
    k[1] = EAL * h0 * h1 + both * t0 * t1
    k[7] = EAL * h1 * h1 + both * t1 * t1
    k[2] = EAL * h0 * bi + one * t0
    k[8] = EAL * h1 * bi + one * t1
    k[5] = EAL * h0 * bj + one * t0
    k[11] = EAL * h1 * bj + one * t1
    k[14] = EAL * bi * bi + kii
    k[17] = EAL * bi * bj + kij
    k[35] = EAL * bj * bj + kii


@member_kernel
def corotational(
    p: Any, m0: Any, d: Any, w: Any, dt: float, c: float, scratch: Any, f: Any, k: Any, e: Any, m1: Any
) -> int:
    """Beam on its own chord, whatever the rotation; p as for `p_delta`."""
    L, cx, cy = p[0], p[1], p[2]
    du, dv = d[3] - d[0], d[4] - d[1]
    x = L + cx * du + cy * dv
    y = cx * dv - cy * du
    length = math.sqrt(x * x + y * y)
    if length < 1e-6 * L:
        return OUT_OF_RANGE
    psi = math.atan2(y, x)
    # Of the chord's angles that differ by whole turns, take the one nearest to the ends' rotations.
    turns = (0.5 * (d[2] + d[5]) - psi) / (2.0 * math.pi)
    psi += 2.0 * math.pi * math.floor(turns + 0.5)
    # L' − L without cancellation.
    stretch = ((x - L) * (x + L) + y * y) / (length + L)
    natural(p[3], p[4], p[5], p[6], p[7], stretch, d[2] - psi, d[5] - psi, scratch)
    rx, ry = (cx * x - cy * y) / length, (cy * x + cx * y) / length
    scratch[10], scratch[11] = rx, ry
    chord(p[3], rx, ry, scratch, length, f, k)
    string = scratch[0] / length
    pair = (scratch[1] + scratch[2]) / (length * length)
    # N/L'·zzᵀ + (Mi + Mj)/L'²·(rzᵀ + zrᵀ) with r = (−rx, −ry), z = (ry, −rx) on the first node.
    k[0] += string * ry * ry - pair * 2.0 * rx * ry
    k[1] += -string * rx * ry + pair * (rx * rx - ry * ry)
    k[7] += string * rx * rx + pair * 2.0 * rx * ry
    mirror(k)
    e[0] = scratch[7]
    return OK


@member_kernel
def corotational_arms(
    p: Any, m0: Any, d: Any, w: Any, dt: float, c: float, scratch: Any, f: Any, k: Any, e: Any, m1: Any
) -> int:
    """Corotational beam on rigid arms that turn with the nodes.

    d = ux, uy, rotation of arm, rotation of beam end at the first node, the same at the second; p[8:12] the arms.
    """
    ends = 200
    for end in range(2):
        ax, ay = p[8 + 2 * end], p[9 + 2 * end]
        turn = d[4 * end + 2]
        co, si = math.cos(turn), math.sin(turn)
        scratch[ends + 3 * end] = d[4 * end] + (co - 1.0) * ax - si * ay
        scratch[ends + 3 * end + 1] = d[4 * end + 1] + si * ax + (co - 1.0) * ay
        scratch[ends + 3 * end + 2] = d[4 * end + 3]
        scratch[ends + 10 + 2 * end] = -si * ax - co * ay
        scratch[ends + 11 + 2 * end] = co * ax - si * ay
    L, cx, cy = p[0], p[1], p[2]
    b = ends
    du, dv = scratch[b + 3] - scratch[b], scratch[b + 4] - scratch[b + 1]
    x = L + cx * du + cy * dv
    y = cx * dv - cy * du
    length = math.sqrt(x * x + y * y)
    if length < 1e-6 * L:
        return OUT_OF_RANGE
    psi = math.atan2(y, x)
    turns = (0.5 * (scratch[b + 2] + scratch[b + 5]) - psi) / (2.0 * math.pi)
    psi += 2.0 * math.pi * math.floor(turns + 0.5)
    stretch = ((x - L) * (x + L) + y * y) / (length + L)
    natural(p[3], p[4], p[5], p[6], p[7], stretch, scratch[b + 2] - psi, scratch[b + 5] - psi, scratch)
    rx, ry = (cx * x - cy * y) / length, (cy * x + cx * y) / length
    scratch[10], scratch[11] = rx, ry
    fe, ke = 20, 30
    inner_beam(p[3], rx, ry, length, scratch, fe, ke)
    # T: rows are the six end displacements, columns the eight freedoms.
    for a in range(64):
        k[a] = 0.0
    for a in range(6):
        end_a = a // 3
        for row in range(2 if a % 3 < 2 else 1):
            ia = 4 * end_a + (a % 3 if row == 0 and a % 3 < 2 else 2 if a % 3 < 2 else 3)
            ta = 1.0 if row == 0 else scratch[b + 10 + 2 * end_a + a % 3]
            for bb in range(6):
                end_b = bb // 3
                for col in range(2 if bb % 3 < 2 else 1):
                    ib = 4 * end_b + (bb % 3 if col == 0 and bb % 3 < 2 else 2 if bb % 3 < 2 else 3)
                    tb = 1.0 if col == 0 else scratch[b + 10 + 2 * end_b + bb % 3]
                    k[8 * ia + ib] += ta * tb * scratch[ke + 6 * a + bb]
    for end in range(2):
        bx, by = scratch[b + 10 + 2 * end], scratch[b + 11 + 2 * end]
        fx, fy = scratch[fe + 3 * end], scratch[fe + 3 * end + 1]
        f[4 * end] = fx
        f[4 * end + 1] = fy
        f[4 * end + 2] = fx * bx + fy * by
        f[4 * end + 3] = scratch[fe + 3 * end + 2]
        # The arm's own turning: ∂(bx)/∂θ = −by, ∂(by)/∂θ = bx.
        k[8 * (4 * end + 2) + 4 * end + 2] += -fx * by + fy * bx
    e[0] = scratch[7]
    return OK


@compiled
def inner_beam(EAL, rx, ry, length, scratch, fe, ke):
    """Forces and tangent of the corotational beam, written into the scratch memory."""
    N, Mi, Mj, bi, bj = scratch[0], scratch[1], scratch[2], scratch[3], scratch[4]
    kii, kij = scratch[5], scratch[6]
    V = (Mi + Mj) / length
    scratch[fe] = -rx * N - ry * V
    scratch[fe + 1] = -ry * N + rx * V
    scratch[fe + 2] = Mi
    scratch[fe + 3] = -scratch[fe]
    scratch[fe + 4] = -scratch[fe + 1]
    scratch[fe + 5] = Mj
    string = N / length
    pair = (Mi + Mj) / (length * length)
    for a in range(6):
        sa = -1.0 if a < 3 else 1.0
        ra = sa * rx if a % 3 == 0 else sa * ry if a % 3 == 1 else 0.0
        za = -sa * ry if a % 3 == 0 else sa * rx if a % 3 == 1 else 0.0
        tia = -za / length + (1.0 if a == 2 else 0.0)
        tja = -za / length + (1.0 if a == 5 else 0.0)
        ha = ra + bi * tia + bj * tja
        for b in range(6):
            sb = -1.0 if b < 3 else 1.0
            rb = sb * rx if b % 3 == 0 else sb * ry if b % 3 == 1 else 0.0
            zb = -sb * ry if b % 3 == 0 else sb * rx if b % 3 == 1 else 0.0
            tib = -zb / length + (1.0 if b == 2 else 0.0)
            tjb = -zb / length + (1.0 if b == 5 else 0.0)
            hb = rb + bi * tib + bj * tjb
            scratch[ke + 6 * a + b] = (
                EAL * ha * hb
                + kii * (tia * tib + tja * tjb)
                + kij * (tia * tjb + tja * tib)
                + string * za * zb
                + pair * (ra * zb + za * rb)
            )


def section_terms(E: float, A: float, I: float, GAs: float, L: float) -> np.ndarray:  # noqa: E741
    """EA/L, kii, kij, gii, gij of a uniform beam; GAs = 0 means rigid in shear."""
    phi = 12.0 * E * I / (GAs * L * L) if GAs > 0.0 else 0.0
    kii = (4.0 + phi) / (1.0 + phi) * E * I / L
    kij = (2.0 - phi) / (1.0 + phi) * E * I / L
    share = L / (30.0 * (1.0 + phi) ** 2)
    return np.array(
        [
            E * A / L,
            kii,
            kij,
            share * (4.0 + 5.0 * phi + 2.5 * phi * phi),
            -share * (1.0 + 5.0 * phi + 2.5 * phi * phi),
        ]
    )

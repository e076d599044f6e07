"""Internal forces and tangent of the parts at a trial displacement."""

from frame2d.kernels import at, call_member, compiled


@compiled
def evaluate(plan, room, q, v, shift, m0, m1, dt, c):
    """Call every part's kernel at displacement `q`, velocity `v`; returns -1, or the part that had no answer."""
    d, w = room.d, room.w
    moving = dt > 0.0
    for i in range(plan.g_start.size - 1):
        s = shift[i]
        rate = 0.0
        for t in range(plan.g_start[i], plan.g_start[i + 1]):
            s += plan.g_val[t] * q[plan.g_col[t]]
            rate += plan.g_val[t] * v[plan.g_col[t]]
        d[i] = s
        w[i] = rate if moving else 0.0
    for part in range(plan.address.size):
        here = plan.d_at[part]
        status = call_member(
            plan.address[part],
            at(plan.parameters, plan.p_at[part]),
            at(m0, plan.m_at[part]),
            at(d, here),
            at(w, here),
            dt,
            c,
            at(room.scratch, 0),
            at(room.fe, here),
            at(room.ke, plan.k_at[part]),
            at(room.e, part),
            at(m1, plan.m_at[part]),
        )
        if status != 0:
            return part
    return -1


@compiled
def gather_forces(plan, fe, out):
    """out += Gᵀ·fe: forces of the parts on the free freedoms."""
    for i in range(out.size):
        s = 0.0
        for t in range(plan.s_start[i], plan.s_start[i + 1]):
            s += plan.s_val[t] * fe[plan.s_col[t]]
        out[i] += s


@compiled
def symmetric_product(start, row, values, x, y):
    """y = A·x for a symmetric matrix given by its lower columns (each begins with its diagonal)."""
    for j in range(x.size):
        y[j] = 0.0
    for j in range(x.size):
        first = start[j]
        xj = x[j]
        s = values[first] * xj
        for place in range(first + 1, start[j + 1]):
            i = row[place]
            y[i] += values[place] * xj
            s += values[place] * x[i]
        y[j] += s


@compiled
def assemble(plan, room, weight, virgin):
    """Tangent in the factor's pattern: effective constant matrix plus `weight` times the parts (or virgin parts)."""
    values = room.values
    if virgin:
        for place in range(values.size):
            values[place] = weight * plan.virgin[place]
    else:
        for place in range(values.size):
            values[place] = 0.0
    for t in range(plan.a_place.size):
        values[plan.a_place[t]] += room.effective[t]
    if not virgin:
        for t in range(plan.t_place.size):
            values[plan.t_place[t]] += weight * plan.t_weight[t] * room.ke[plan.t_entry[t]]

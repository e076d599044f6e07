"""I-sections: rolled with root fillets, with cut flanges, welded of three plates."""

from dataclasses import dataclass, replace

from frame2d.errors import InputError, within
from frame2d.sections.combined import plates
from frame2d.sections.fillet import fillet
from frame2d.sections.section import Section, length
from frame2d.sections.shear import thin_walled


@dataclass(frozen=True, kw_only=True)
class ISection(Section):
    """Doubly symmetric I that keeps its dimensions (m): width, web, flanges, root fillets."""

    b: float
    tw: float
    tf: float
    r: float = 0.0


def rolled_i(h: float, b: float, tw: float, tf: float, r: float = 0.0, *, name: str = "") -> ISection:
    """I-section of depth `h`, width `b`, web `tw`, flanges `tf` and root fillets `r` (m); exact, fillets
    included.

    Av = A − 2b·tf + (tw + 2r)·tf, not under hw·tw (EN 1993-1-1 6.2.6(3)a, η = 1). As thin-walled, fillets
    neglected. Raises `InputError` for dimensions that do not fit together or smell of mm.
    """
    for thing, value in (("h", h), ("b", b), ("tw", tw), ("tf", tf)):
        length(thing, value)
    length("r", r, zero=True)
    if 2.0 * (tf + r) > h or tw + 2.0 * r > b or tw > b:
        raise InputError(
            f"I-section {name}: h {h:g}, b {b:g}, tw {tw:g}, tf {tf:g}, r {r:g} do not fit together; "
            "allowed: 2(tf + r) ≤ h, tw + 2r ≤ b. Likely mistake: another order, or mixed units"
        )
    root = fillet(r)
    hw = h - 2.0 * tf
    A = 2.0 * b * tf + hw * tw + 4.0 * root.A
    y, z = hw / 2.0 - root.c, tw / 2.0 + root.c
    I = (b * h**3 - (b - tw) * hw**3) / 12.0 + 4.0 * (root.I + root.A * y**2)  # noqa: E741
    Iz = (2.0 * tf * b**3 + hw * tw**3) / 12.0 + 4.0 * (root.I + root.A * z**2)
    Av = max(A - 2.0 * b * tf + (tw + 2.0 * r) * tf, hw * tw)
    name = name or f"I {h * 1e3:g}x{b * 1e3:g}x{tw * 1e3:g}x{tf * 1e3:g}"
    weak = Section(
        name=f"{name}, turned",
        A=A,
        I=Iz,
        Wel=2.0 * Iz / b,
        Wpl=tf * b**2 / 2.0 + hw * tw**2 / 4.0 + 4.0 * root.A * z,
        As=2.0 * b * tf * 5.0 / 6.0,
        Av=A - hw * tw,
        depth=b,
    )
    return ISection(
        name=name,
        A=A,
        I=I,
        Wel=2.0 * I / h,
        Wpl=b * tf * (h - tf) + tw * hw**2 / 4.0 + 4.0 * root.A * y,
        As=thin_walled(h - tf, tw, b, tf),
        Av=Av,
        depth=h,
        weak=weak,
        b=b,
        tw=tw,
        tf=tf,
        r=r,
    )


def weakened_i(section: ISection, cut: float, *, name: str = "") -> ISection:
    """`section` with `cut` (m) taken off each of its four flange tips, at the narrowest place."""
    most = (section.b - section.tw) / 2.0 - section.r
    within("cut", cut, 0.0, most, hint="the depth of one cut in m; it may not reach the fillets")
    return rolled_i(
        section.depth,
        section.b - 2.0 * cut,
        section.tw,
        section.tf,
        section.r,
        name=name or f"{section.name}, {cut * 1e3:g} mm cut",
    )


def welded_i(
    h: float,
    b: float,
    tw: float,
    tf: float,
    *,
    b_bottom: float | None = None,
    tf_bottom: float | None = None,
    name: str = "",
) -> Section:
    """I of three plates without fillets (welds neglected), lower flange as the upper unless given (m).

    Av = hw·tw (EN 1993-1-1 6.2.6(3), η = 1). A doubly symmetric one is an `ISection`.
    """
    if b_bottom is None and tf_bottom is None:
        return replace(rolled_i(h, b, tw, tf, name=name or f"welded I {h * 1e3:g}"), Av=(h - 2.0 * tf) * tw)
    b2, t2 = b if b_bottom is None else b_bottom, tf if tf_bottom is None else tf_bottom
    for thing, value in (("h", h), ("b", b), ("tw", tw), ("tf", tf), ("b_bottom", b2), ("tf_bottom", t2)):
        length(thing, value)
    if tf + t2 >= h:
        raise InputError(
            f"welded I {name}: flanges {tf:g} + {t2:g} leave no web in h = {h:g}; allowed: less than h"
        )
    hw = h - tf - t2
    return plates(
        [(b2, t2, t2 / 2.0), (tw, hw, t2 + hw / 2.0), (b, tf, h - tf / 2.0)],
        Av=hw * tw,
        name=name or f"welded I {h * 1e3:g}",
    )

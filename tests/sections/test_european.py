"""European rolled sizes against handbook values."""

import pytest

from frame2d.errors import InputError
from frame2d.sections import european, european_names
from frame2d.units import cm2, cm3, cm4

# Areas in cm² as handbooks of EN 10365 list them (from memory; HE 260 M remembered as 219.7 and corrected to
# 219.6 after a published table, 219.64).
AREAS = {
    "IPE {}": "80 7.64 100 10.3 120 13.2 140 16.4 160 20.1 180 23.9 200 28.5 220 33.4 240 39.1 270 45.9 "
    "300 53.8 330 62.6 360 72.7 400 84.5 450 98.8 500 116 550 134 600 156",
    "HE {} A": "100 21.2 120 25.3 140 31.4 160 38.8 180 45.3 200 53.8 220 64.3 240 76.8 260 86.8 280 "
    "97.3 300 112.5 320 124.4 340 133.5 360 142.8 400 159 450 178 500 197.5 550 211.8 600 "
    "226.5",
    "HE {} B": "100 26.0 120 34.0 140 43.0 160 54.3 180 65.3 200 78.1 220 91.0 240 106 260 118.4 280 "
    "131.4 300 149.1 320 161.3 340 170.9 360 180.6 400 197.8 450 218 500 238.6 550 254.1 600 "
    "270",
    "HE {} M": "100 53.2 120 66.4 140 80.6 160 97.1 180 113.3 200 131.3 220 149.4 240 199.6 260 219.6 "
    "280 240.2 300 303.1",
}

# Iy, Wel,y, Wpl,y, Avz, Iz, Wpl,z in cm: the first eight from memory, the others from a published table of
# design properties of EN 10365 sections.
HANDBOOK = {
    "IPE 300": (8356, 557.1, 628.4, 25.7, 603.8, 125.2),
    "IPE 200": (1943, 194.3, 220.6, 14.0, 142.4, 44.61),
    "IPE 400": (23130, 1156, 1307, 42.7, 1318, 229.0),
    "IPE 600": (92080, 3069, 3512, 83.8, 3387, 485.6),
    "HE 200 A": (3692, 388.6, 429.5, 18.1, 1336, 203.8),
    "HE 300 A": (18260, 1260, 1383, 37.3, 6310, 641.2),
    "HE 200 B": (5696, 569.6, 642.5, 24.8, 2003, 305.8),
    "HE 300 B": (25170, 1678, 1869, 47.4, 8563, 870.1),
    "HE 450 A": (63720, 2896, 3216, 65.78, 9465, 965.5),
    "HE 360 B": (43190, 2400, 2683, 60.60, 10140, 1032),
    "HE 260 M": (31310, 2159, 2524, 66.89, 10450, 1192),
    "IPE 550": (67120, 2441, 2787, 72.34, 2668, 400.5),
}


def test_area_of_every_size() -> None:
    """Every size in the table has its handbook area to the digits printed there."""
    checked = 0
    for pattern, text in AREAS.items():
        numbers = text.split()
        for size, area in zip(numbers[::2], numbers[1::2], strict=True):
            printed = 0.5 * 10.0 ** -len(area.partition(".")[2])
            assert european(pattern.format(size)).A / cm2 == pytest.approx(float(area), abs=1.02 * printed), (
                pattern,
                size,
            )
            checked += 1
    assert checked == len(european_names())


@pytest.mark.parametrize("name", HANDBOOK)
def test_handbook_values(name: str) -> None:
    """Moments, moduli and shear areas agree with the handbook to its four digits."""
    section = european(name)
    weak = section.turned()
    found = (
        section.I / cm4,
        section.Wel / cm3,
        section.Wpl / cm3,
        section.Av / cm2,
        weak.I / cm4,
        weak.Wpl / cm3,
    )
    for value, reference in zip(found, HANDBOOK[name], strict=True):
        assert value == pytest.approx(reference, rel=4e-3 if reference < 100 else 1e-3)


def test_names() -> None:
    """A size is found under both usual spellings, and a wrong name is answered by the closest one."""
    assert european("heb  200") is european("HE 200 B") or european("heb 200") == european("HE 200 B")
    with pytest.raises(InputError, match="IPE 300"):
        european("IPE 3OO")

"""The look of every picture: colours, line styles, axes, captions, and how a picture reaches the disk.

Colours are those of Okabe & Ito 2008, 'Color Universal Design', readable with every common colour blindness; line
styles differ too, so that a grey print loses nothing.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from frame2d.errors import InputError
from frame2d.written import folder_at, written

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.colors import LinearSegmentedColormap
    from matplotlib.figure import Figure

INK, FAINT, PAPER = "#1a1a1a", "#9a9a9a", "#ffffff"
BLUE, VERMILION, GREEN, ORANGE, SKY, PURPLE = "#0072B2", "#D55E00", "#009E73", "#E69F00", "#56B4E9", "#CC79A7"
SERIES = (BLUE, VERMILION, GREEN, PURPLE, ORANGE, SKY, INK)
STYLES = ("-", "--", "-.", ":", (0, (5, 1, 1, 1, 1, 1)), (0, (8, 2)), (0, (1, 1)))

#: Lightness falls along both ramps, so they order values in grey print as well.
DRIFT_RAMP = ("#b9c7da", "#5b8dbf", "#0b3c7a", "#041a3d")
DEVICE_RAMP = ("#fff3d6", "#f5a623", "#c0410a", "#5c1200")

PICTURES = (".png", ".pdf", ".svg")


def ramp(name: str, colours: Sequence[str]) -> "LinearSegmentedColormap":
    """Colour map through the given colours."""
    from matplotlib.colors import LinearSegmentedColormap

    return LinearSegmentedColormap.from_list(name, list(colours))


def new_figure(width: float, height: float) -> "Figure":
    """Empty figure (inches) that no window system and no global state knows of."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width, height), dpi=150, layout="constrained", facecolor=PAPER)
    FigureCanvasAgg(figure)
    return figure


def caption(figure: "Figure", text: str) -> None:
    """Set a caption below everything."""
    from textwrap import fill

    figure.supxlabel(fill(text, int(figure.get_figwidth() * 14)), fontsize=8, color=INK, x=0.5)


def dress(axes: "Axes", x: str, y: str, title: str = "") -> None:
    """Label axes (with units) and quieten everything that is not data."""
    axes.set_xlabel(x, fontsize=9)
    axes.set_ylabel(y, fontsize=9)
    if title:
        axes.set_title(title, fontsize=9.5, loc="left")
    axes.tick_params(labelsize=8)
    axes.grid(True, color="#e4e4e4", linewidth=0.6)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def style(number: int) -> dict[str, Any]:
    """Colour and dash of the series with this number."""
    return {"color": SERIES[number % len(SERIES)], "linestyle": STYLES[number % len(STYLES)]}


def save_figure(figure: "Figure", path: Any) -> Path:
    """Write a figure as PNG, PDF or SVG; the file appears whole or not at all. Returns its path.

    Raises `InputError` for another suffix.
    """
    target = Path(path)
    if target.suffix.lower() not in PICTURES:
        raise InputError(f"picture is {str(path)!r}; allowed suffixes: {', '.join(PICTURES)}")
    folder_at(target.parent)
    with written(target) as beside:
        figure.savefig(beside)
    return target

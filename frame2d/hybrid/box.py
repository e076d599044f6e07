"""Many arrays as one argument of compiled code, by the names of before; `frame2d.bundle` is what to use."""

from typing import Any

from frame2d.bundle import handle as boxed
from frame2d.kernels import inner


@inner
def opened(box: Any) -> Any:
    """What was boxed."""
    return box


__all__ = ["boxed", "opened"]

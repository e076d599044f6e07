"""The package as installed: what an import costs, and what it does not bring along."""

import subprocess
import sys


def test_importing_brings_no_picture_libraries():
    """`import frame2d` imports neither pyvista, matplotlib, meshio nor ObsPy."""
    code = "import frame2d, sys; print([m for m in ('pyvista', 'matplotlib', 'meshio', 'obspy') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_nothing_is_named_elements_or_materials_at_the_top():
    """The mapped folders are rooms of the package."""
    import frame2d.elements
    import frame2d.materials

    assert frame2d.elements.__name__ == "frame2d.elements"
    assert frame2d.materials.__name__ == "frame2d.materials"

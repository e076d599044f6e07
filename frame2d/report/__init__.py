"""The report: one self-contained page, rendered from `summary.json` and the stored results of a folder.

| name | what |
| --- | --- |
| `build_report` | folder → report.html |
| `write_summary`, `read_summary` | `summary.json` with schema, checks and checksums (see `frame2d.report.contents`) |
| `limit_state_entry` | a campaign's `Result`, and a reference, as an entry of the summary |
| `fact`, `table`, `picture` | pieces of a section |
| `write_scene` | data of the animation of a response |
| `hybrid_block`, `save_outcome` | tracking, energy error, events of a hybrid test |
| `matrix_table`, `intensity_curves`, `fragility_block` | sweeps |
"""

from frame2d.report.collect import comparison, fact, limit_state_entry, peaks, picture, table
from frame2d.report.contents import SCHEMA, SECTIONS, read_summary, write_summary
from frame2d.report.hybrid_block import hybrid_block, save_outcome
from frame2d.report.render import build_report
from frame2d.report.scene import write_scene
from frame2d.report.sweep_blocks import fragility_block, intensity_curves, matrix_table

__all__ = [
    "SCHEMA",
    "SECTIONS",
    "build_report",
    "comparison",
    "fact",
    "fragility_block",
    "hybrid_block",
    "intensity_curves",
    "limit_state_entry",
    "matrix_table",
    "peaks",
    "picture",
    "read_summary",
    "save_outcome",
    "table",
    "write_scene",
    "write_summary",
]

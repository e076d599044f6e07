"""The report: one self-contained page, rendered from `summary.json` and the stored results of a folder.

| name | what |
| --- | --- |
| `build_report` | folder → report.html |
| `write_summary`, `read_summary` | `summary.json` with schema, checks and checksums (see `frame2d.report.contents`) |
| `limit_state_entry` | a campaign's `Result`, and a reference, as an entry of the summary |
| `fact`, `table`, `picture` | pieces of a section |
| `write_scene` | data of the animation of a response |
"""

from frame2d.report.collect import comparison, fact, limit_state_entry, peaks, picture, table
from frame2d.report.contents import SCHEMA, SECTIONS, read_summary, write_summary
from frame2d.report.render import build_report
from frame2d.report.scene import write_scene

__all__ = [
    "SCHEMA",
    "SECTIONS",
    "build_report",
    "comparison",
    "fact",
    "limit_state_entry",
    "peaks",
    "picture",
    "read_summary",
    "table",
    "write_scene",
    "write_summary",
]

"""The trade's cautions, shown wherever a person meets a hybrid test."""

CAUTION = """\
CAUTION. The rig needs hardware interlocks of its own, independent of this program: emergency stop, stroke and force
limits, pressure relief. The software's limits are the second line, never the first. Keep people clear of a loaded
frame. Results support design to the local code by licensed engineers; they never replace it."""

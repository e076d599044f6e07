"""Hybrid testing, the laboratory's side: specimens, rig, guard, wire, journal, and the conduct of a test.

| file | what |
| --- | --- |
| specimen | what a specimen is; a user's own needs one method |
| network, replay, rig, remote | specimens: laws in this process, a recorded test, a simulated rig, across the network |
| geometry | interface motion ↔ actuator strokes and forces |
| actuator | parameters and closed forms of actuator, controller, sensors |
| scheme; operator_splitting, linearly_implicit, chang, kr_alpha | one measured displacement a step |
| computed | a computed part given by matrices; what a solver must do |
| frame_solver, part_state | a computed part given by a frame, or by a split; where it begins |
| frame_specimen, condense | a tested part given by a frame: in this process, and inside the simulated rig |
| compensation, margin | delay compensation; stability of the loop, predicted |
| rehearse_split, scatter, rehearsal, virtual | virtual tests by the hundred, of a split frame in one call, and what they say |
| time_scale | how fast a test can be run |
| deadline, pace, awake, twin | whether steps come in time, and what it takes |
| limits, guard, watch, energy, unloading | what may leave and come back, and what happens otherwise |
| wire, serve | protocol and server |
| journal, journal_file, journal_pipe, journal_writer | crash-safe log, as it is written, read, and written behind a test |
| checks, conduct, resume, outcome | before, during, after an interruption, and what a test says |
| operator, interrupt | the person in charge, and Ctrl-C |
| live, page, run_line | views |

CAUTION. The rig needs hardware interlocks of its own, independent of this program; software limits are the second
line, never the first. People stay clear of a loaded frame. Results support, and never replace, design to the local
code by licensed engineers.
"""

from frame2d.hybrid.actuator import Actuator, Controller, Sensors
from frame2d.hybrid.caution import CAUTION
from frame2d.hybrid.chang import Chang
from frame2d.hybrid.checks import Checks
from frame2d.hybrid.compensation import AdaptiveSeries, inverse_model, polynomial, uncompensated
from frame2d.hybrid.computed import Computed, Declared, MatrixSolver, Solver
from frame2d.hybrid.condense import condensed_network
from frame2d.hybrid.conduct import CHECKS, HybridTest, Outcome, Progress
from frame2d.hybrid.frame_solver import FrameSolver
from frame2d.hybrid.frame_specimen import FrameSpecimen, computed_state, held_at
from frame2d.hybrid.geometry import Geometry, Pin, Placed
from frame2d.hybrid.guard import Guarded, Tripped
from frame2d.hybrid.journal import Journal
from frame2d.hybrid.kr_alpha import KRAlpha
from frame2d.hybrid.limits import Action, Limits, Table
from frame2d.hybrid.linearly_implicit import LinearlyImplicit
from frame2d.hybrid.live import Terminal
from frame2d.hybrid.margin import first_estimate, loop_margin
from frame2d.hybrid.network import Model, Network
from frame2d.hybrid.operator import Console, Operator, Unattended
from frame2d.hybrid.operator_splitting import OperatorSplitting
from frame2d.hybrid.page import Page
from frame2d.hybrid.part_state import balanced, part_state
from frame2d.hybrid.rehearse_split import rehearse_split
from frame2d.hybrid.remote import Remote
from frame2d.hybrid.replay import Replay
from frame2d.hybrid.rig import Rig
from frame2d.hybrid.scatter import Spreads
from frame2d.hybrid.serve import Server, serve
from frame2d.hybrid.specimen import Command, Reading, Specimen, as_specimen

__all__ = [
    "CAUTION",
    "CHECKS",
    "Action",
    "Actuator",
    "AdaptiveSeries",
    "Chang",
    "Checks",
    "Command",
    "Computed",
    "Console",
    "Controller",
    "Declared",
    "FrameSolver",
    "FrameSpecimen",
    "Geometry",
    "Guarded",
    "HybridTest",
    "Journal",
    "KRAlpha",
    "Limits",
    "LinearlyImplicit",
    "MatrixSolver",
    "Model",
    "Network",
    "Operator",
    "OperatorSplitting",
    "Outcome",
    "Page",
    "Pin",
    "Placed",
    "Progress",
    "Reading",
    "Remote",
    "Replay",
    "Rig",
    "Sensors",
    "Server",
    "Solver",
    "Specimen",
    "Spreads",
    "Table",
    "Terminal",
    "Tripped",
    "Unattended",
    "as_specimen",
    "balanced",
    "computed_state",
    "condensed_network",
    "first_estimate",
    "held_at",
    "inverse_model",
    "loop_margin",
    "part_state",
    "polynomial",
    "rehearse_split",
    "serve",
    "uncompensated",
]

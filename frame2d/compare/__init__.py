"""Error indices of two histories, x the reference and y the compared one, each with its exact definition.

| index | says | source |
| --- | --- | --- |
| `rmse`, `nrmse` | overall difference, by a named denominator | common practice |
| `signal_energy_error` | amplitude alone | common practice |
| `work_error`, `end_work_error` | energy of loops | Thewalt & Roman 1994 |
| `largest_work_error` | the same, while it happens | Mosqueda et al. 2007 |
| `peak`, `peak_error`, `largest_difference` | peaks per sign | common practice |
| `residual_difference` | what remains | common practice |
| `frequency_index` | gain, phase, delay | Guo et al. 2014 |
| `tracking_indicator` | lag or lead as it grows | Mercan & Ricles 2007 |
| `sprague_geers`, `russell` | magnitude and phase | 2003; 1997 |
| `correlation_delay`, `local_delay` | delay, overall and at each instant | common practice; C. Chen 2024 |
| `half_cycles`, `loop_errors` | energy, secant stiffness, peak force per half-cycle | common practice |
| `time_frequency_misfit` | envelope and phase by time and frequency | Kristeková et al. 2006, 2009 |

`compare` returns all of them as one table. Zero, constant, unequal or not finite histories raise
`InputError` with what is wrong; in the table, an index that a history leaves undefined is a row that says
why.
"""

from frame2d.compare.delay import Delay, LocalDelay, correlation_delay, local_delay
from frame2d.compare.differences import DENOMINATORS, Normalised, nrmse, rmse, signal_energy_error
from frame2d.compare.frequency import FrequencyIndex, frequency_index
from frame2d.compare.histories import on_times
from frame2d.compare.loops import HalfCycles, LoopErrors, half_cycles, loop_errors, reversals
from frame2d.compare.magnitude_phase import MagnitudePhase, russell, sprague_geers
from frame2d.compare.peaks import Peak, largest_difference, peak, peak_error, residual_difference
from frame2d.compare.table import Comparison, Index, compare
from frame2d.compare.time_frequency import TimeFrequencyMisfit, morlet, time_frequency_misfit
from frame2d.compare.tracking import tracking_indicator
from frame2d.compare.work import end_work_error, largest_work_error, work, work_error

__all__ = [
    "DENOMINATORS",
    "Comparison",
    "Delay",
    "FrequencyIndex",
    "HalfCycles",
    "Index",
    "LocalDelay",
    "LoopErrors",
    "MagnitudePhase",
    "Normalised",
    "Peak",
    "TimeFrequencyMisfit",
    "compare",
    "correlation_delay",
    "end_work_error",
    "frequency_index",
    "half_cycles",
    "largest_difference",
    "largest_work_error",
    "local_delay",
    "loop_errors",
    "morlet",
    "nrmse",
    "on_times",
    "peak",
    "peak_error",
    "residual_difference",
    "reversals",
    "rmse",
    "russell",
    "signal_energy_error",
    "sprague_geers",
    "time_frequency_misfit",
    "tracking_indicator",
    "work",
    "work_error",
]

"""The ordered limit states of one test: runs, inspection, replacement, sweeps."""

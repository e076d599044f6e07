"""Laws fitted to measured loops: one call, intervals, cards."""

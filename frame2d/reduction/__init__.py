"""Building to plane frame to cut to stick model, each step proved against the one before."""

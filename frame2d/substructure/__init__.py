"""A frame divided in parts: split, condensation, partitioned integration tied by Lagrange multipliers."""

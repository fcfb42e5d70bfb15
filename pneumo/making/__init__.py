"""Makes drills: a fault by a seed, how hard it is to find, and what the operator says of it."""

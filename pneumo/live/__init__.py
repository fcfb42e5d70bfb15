"""A ride that runs while people act on it: its frames, its journal, going back, its two seats."""

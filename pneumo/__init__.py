"""pneumo: compressed-air brake circuits and their control logic, simulated to rehearse faults."""

__version__ = "0.1.0"

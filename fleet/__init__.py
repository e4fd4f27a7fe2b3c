"""A tool room that lends hydraulic torque equipment: register, upkeep, kit checks, letters."""

__version__ = "0.1.0"

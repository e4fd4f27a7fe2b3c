"""Findings as every rule answers them. The class lives one floor below: the formulas find things too."""

from fleet.bolting.findings import Finding, Severity

__all__ = ["Finding", "Severity"]

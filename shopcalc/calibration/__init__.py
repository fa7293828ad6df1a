"""Logged against programmed: a machine's factors with their uncertainty, and the machine they make."""

from shopcalc.calibration.calibrating import Calibration, Learned, ProgramError, calibrate
from shopcalc.calibration.factors import FACTORS, Factor, factors_of, with_factors
from shopcalc.calibration.knowing import Combination, Knowledge, NextProgram
from shopcalc.calibration.logged import LoggedTime, Run, gathered, read_times

__all__ = [
    "FACTORS",
    "Calibration",
    "Combination",
    "Factor",
    "Knowledge",
    "Learned",
    "LoggedTime",
    "NextProgram",
    "ProgramError",
    "Run",
    "calibrate",
    "factors_of",
    "gathered",
    "read_times",
    "with_factors",
]

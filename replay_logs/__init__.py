"""Recorded sessions of the simulated car, shipped with the program."""

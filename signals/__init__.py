"""The engine: from measured columns to derived signals, flags and explanations.

Pure: no input or output, no clock, no logging, no randomness. Imports nothing of
the other folders.
"""

"""Guided tests: the technician does something, and the reading must answer.

A test is a script of steps. Steps leave marks, and every judgement is a function of
the columns and those marks, so a replay shows the same result.
"""

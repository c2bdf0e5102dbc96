"""Conditions of the rules: a small language, checked when it is read and never executed as code."""

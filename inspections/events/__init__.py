"""The record of what happened at a building: kinds of events, their bytes, chains and folds.

Pure: plain values in, the same out. `kinds` says what an event may hold, `canonical` how it is
written as bytes, `chain` how a stream is made tamper-evident, `heads` how two answers stand side by
side, `clock` when something happened, and `fold` what a visit amounts to.
"""

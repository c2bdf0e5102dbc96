"""The valve model: what a system valve, its piping, its trim and its releasing panel do.

A pure function of configuration, state, act and elapsed seconds; pressures in psi gauge, times in
seconds, positions in percent open, water columns in feet. Written in the portable subset of
Python, so that the same source runs on the technician's tablet.
"""

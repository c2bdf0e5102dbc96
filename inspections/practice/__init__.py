"""The practice bench: what can be done on a riser of the model, and how a run is scored.

Pure: it knows the valve model and no framework.
"""

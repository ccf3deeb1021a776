"""Jobs across the record: match, outlook, teardown sheet and back-test of a logbook's engines.

These are the edge: they read the register once, and hand values to the stages.
"""

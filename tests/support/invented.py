"""An engine spec for tests: what every spec must state, and no more."""

SPEC = """
[engine]
type = "invented four"
cylinders = 4
bore_mm = 86.0
stroke_mm = 86.0
rod_length_mm = 143.0
idle_rpm = 1100
[over_rev]
redline_rpm = 7600
mechanical_rpm = 8300
[oil_temperature]
limit_c = 135.0
[coolant_temperature]
limit_c = 108.0
[boost]
limit_kpa = 180.0
"""

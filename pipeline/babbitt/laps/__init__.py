"""Where on a circuit a run was: laps, corners and a map. Values in, values out."""

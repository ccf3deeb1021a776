"""Whether the sensors of a run can be believed, by what they read and what earlier runs read."""

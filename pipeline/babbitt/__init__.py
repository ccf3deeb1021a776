"""The computation, from the bytes of a log to totals; it knows nothing of any screen."""

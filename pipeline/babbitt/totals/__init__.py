"""From runs and events to exposures, and from exposures to totals since the last refresh."""

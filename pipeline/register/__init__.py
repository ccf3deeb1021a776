"""The record of engines, builds, runs, events and reviews, and the only place that speaks SQL."""

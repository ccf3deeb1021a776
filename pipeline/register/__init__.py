"""The record of engines, builds, runs, events and reviews, and the only place that speaks SQL."""

from sqlalchemy.orm import Session

__all__ = ["Session"]

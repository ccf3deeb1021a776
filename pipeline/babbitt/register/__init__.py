"""The record of engines, builds, runs, events and reviews, and the only place that speaks SQL."""

from sqlalchemy import URL
from sqlalchemy.orm import Session

__all__ = ["URL", "Session"]

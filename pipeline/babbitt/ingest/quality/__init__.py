"""Samples -> quality flags."""

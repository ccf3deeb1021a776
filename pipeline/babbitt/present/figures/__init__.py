"""Figures: pure functions from values to Plotly figures, for pages and for printed reports."""

"""Answers for a person: words, views, figures and reports."""

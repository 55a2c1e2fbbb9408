"""Exercises, and lessons as pages."""

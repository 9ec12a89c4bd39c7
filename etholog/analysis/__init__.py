"""Measures: tables in, tables out. Pure functions; each docstring names the published source of its method."""

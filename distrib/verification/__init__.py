"""Checks against numbers from outside the project; `distrib verify` and pytest walk one list."""

"""Figures, drawings, tables and the one-page report; reads results, solves nothing."""

"""Loss laws: pure, vectorised, each on a stated area, each with source, range and uncertainty.

The families live in one file each; `registry` lists them by name. Nothing runs at import.
"""
